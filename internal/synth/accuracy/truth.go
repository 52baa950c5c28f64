package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"portmatch/internal/geom"
	"portmatch/internal/synth"
)

// known is the truth of a pair: how the openings differ, and where they lie in both pictures.
type known struct {
	pair         *synth.PairTruth
	target, work *synth.Truth
}

// readKnown reads a pair's truth and that of its pictures, which lie beside it.
func readKnown(path string) (*known, error) {
	k := &known{pair: &synth.PairTruth{}, target: &synth.Truth{}, work: &synth.Truth{}}
	if err := readJSON(path, k.pair); err != nil {
		return nil, err
	}
	beside := func(name string) string { return filepath.Join(filepath.Dir(path), name+".truth.json") }
	if err := readJSON(beside(k.pair.Target), k.target); err != nil {
		return nil, err
	}
	return k, readJSON(beside(k.pair.Face), k.work)
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

// partFromJob takes places of the result to a picture's part frame: the result says where the face lies in the job frame, and the
// face frame is that of the picture's lowest-numbered strip, whose place in the part frame is known. ok is false without a
// strip.
func partFromJob(picture *synth.Truth, jobFromFace [6]float64, strips []int) (m geom.Rigid, ok bool) {
	j := jobFromFace
	faceFromJob := geom.Rigid{A: j[0], B: j[1], Tx: j[2], C: j[3], D: j[4], Ty: j[5]}.Inverse()
	if len(strips) == 0 {
		return faceFromJob, false
	}
	low := slices.Min(strips)
	for _, s := range picture.Strips {
		if s.Strip == low {
			a := s.RotDeg * math.Pi / 180
			partFromStrip := geom.Rigid{A: math.Cos(a), B: -math.Sin(a), Tx: s.Origin[0], C: math.Sin(a), D: math.Cos(a), Ty: s.Origin[1]}
			return partFromStrip.After(faceFromJob), true
		}
	}
	return faceFromJob, false
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
		s.target, s.work = filepath.Join(dir, k.pair.Target+".jpg"), filepath.Join(dir, k.pair.Face+".jpg")
		for _, side := range []struct {
			name string
			t    *synth.Truth
		}{{"target", k.target}, {"work", k.work}} {
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
