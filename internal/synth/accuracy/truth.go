package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
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
		s := scene{class: "traced", name: strings.TrimSuffix(filepath.Base(f), ".pair.truth.json"), workable: true, known: k}
		for _, name := range []string{k.pair.Target + ".truth.json", k.pair.Face + ".truth.json"} {
			s.truth = append(s.truth, filepath.Join(dir, name))
		}
		s.truth = append(s.truth, f)
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
