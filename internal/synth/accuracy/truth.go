package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"

	"portmatch/internal/geom"
	"portmatch/internal/synth"
)

// known is the truth of a pair: how the openings differ, and where they lie in the work picture.
type known struct {
	pair *synth.PairTruth
	work *synth.Truth
}

// readKnown reads a pair's truth and that of its work picture, which lies beside it.
func readKnown(path string) (*known, error) {
	k := &known{pair: &synth.PairTruth{}, work: &synth.Truth{}}
	if err := readJSON(path, k.pair); err != nil {
		return nil, err
	}
	return k, readJSON(filepath.Join(filepath.Dir(path), k.pair.Face+".truth.json"), k.work)
}

func readJSON(path string, to any) error {
	b, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	if err := json.Unmarshal(b, to); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	return nil
}

// faceFromJob takes places of the result to the work picture's part frame: the result says where the work face lies in the job
// frame, and the face frame is that of the lowest-numbered strip, whose place in the part frame is known. ok is false
// without a strip.
func (k *known) faceFromJob(jobFromWork [6]float64, strips []int) (geom.Rigid, bool) {
	m := jobFromWork
	workFromJob := geom.Rigid{A: m[0], B: m[1], Tx: m[2], C: m[3], D: m[4], Ty: m[5]}.Inverse()
	if len(strips) == 0 {
		return workFromJob, false
	}
	low := strips[0]
	for _, s := range strips {
		low = min(low, s)
	}
	for _, s := range k.work.Strips {
		if s.Strip == low {
			a := s.RotDeg * math.Pi / 180
			partFromStrip := geom.Rigid{A: math.Cos(a), B: -math.Sin(a), Tx: s.Origin[0], C: math.Sin(a), D: math.Cos(a), Ty: s.Origin[1]}
			return partFromStrip.After(workFromJob), true
		}
	}
	return workFromJob, false
}

// centres are the middles of the work openings in the part frame, by port id.
func (k *known) centres() map[string]geom.PointMM {
	c := map[string]geom.PointMM{}
	for _, p := range k.work.Ports {
		c[p.ID] = geom.PointMM{X: p.Centroid[0], Y: p.Centroid[1]}
	}
	return c
}

// rayTraced finds the pairs of pictures with truth in a folder.
func rayTraced(dir string) ([]scene, error) {
	found, err := filepath.Glob(filepath.Join(dir, "*.pair.truth.json"))
	if err != nil {
		return nil, err
	}
	var out []scene
	for _, f := range found {
		k, err := readKnown(f)
		if err != nil {
			return nil, err
		}
		if k.pair.Edge != "visible" {
			continue // the tool measures where the flat face ends
		}
		s := scene{class: "traced", name: strings.TrimSuffix(filepath.Base(f), ".pair.truth.json"), workable: true, known: k, dir: dir}
		s.target, s.targetTruth = filepath.Join(dir, k.pair.Target+".jpg"), filepath.Join(dir, k.pair.Target+".truth.json")
		s.work = filepath.Join(dir, k.pair.Face+".jpg")
		var t synth.Truth
		if err := readJSON(s.targetTruth, &t); err != nil {
			return nil, err
		}
		for _, side := range []struct {
			name string
			t    *synth.Truth
		}{{"target", &t}, {"work", k.work}} {
			if h := side.t.PlaneOffset.FaceMinusStripsMM; h != 0 {
				s.args = append(s.args, "--"+side.name+"-height", fmt.Sprint(h))
			}
			if d := side.t.Camera.DeclaredDPI; d != 0 {
				s.args = append(s.args, "--"+side.name+"-dpi", fmt.Sprint(d))
			}
		}
		out = append(out, s)
	}
	return out, nil
}
