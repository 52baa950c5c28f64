package main

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"

	"portmatch/internal/synth"
)

// spoiler takes one or both photos of a pair at hand and spoils them.
type spoiler struct {
	kind         synth.Spoiling
	target, work bool
	seed         uint64
}

// spoilt are n spoilt pairs, the kinds in turn. Kind and seed alone decide which pair it is and which of its photos are hit, so
// that one of them can be made again by itself; kinds that only does not name are left out, nil names all.
func spoilt(only []string, pairs []scene, n int, seed uint64) []*scene {
	var out []*scene
	kinds := synth.Spoilings()
	for ; len(out) < n && len(pairs) > 0; seed++ {
		had := len(out)
		for i, k := range kinds {
			if len(out) == n || only != nil && !slices.Contains(only, k.Name) {
				continue
			}
			p := pairs[(uint64(i)+seed)%uint64(len(pairs))]
			hit := rand.New(rand.NewPCG(seed, uint64(i))).IntN(3)
			p.class, p.name, p.seed, p.workable = k.Name, fmt.Sprintf("%s-%04d-%s", k.Name, seed, p.name), seed, k.Workable
			p.spoiler = &spoiler{kind: k, target: hit != 1, work: hit != 0, seed: seed}
			out = append(out, &p)
		}
		if len(out) == had {
			break // none of the kinds is wanted
		}
	}
	return out
}

// spoil writes spoilt copies of the scene's pictures into dir; the truth stays where it is.
func (s *scene) spoil(dir string) error {
	for _, side := range []struct {
		hit  bool
		path *string
		name string
	}{{s.spoiler.target, &s.target, "target"}, {s.spoiler.work, &s.work, "work"}} {
		if !side.hit {
			continue
		}
		whole, err := os.ReadFile(*side.path)
		if err != nil {
			return err
		}
		bad, err := s.spoiler.kind.Apply(whole, s.spoiler.seed)
		if err != nil {
			return fmt.Errorf("%s: %w", s.name, err)
		}
		*side.path = filepath.Join(dir, s.name+"-"+side.name+".jpg")
		if err := os.WriteFile(*side.path, bad, 0o666); err != nil {
			return err
		}
		s.drawn = append(s.drawn, *side.path)
	}
	s.spoiler = nil
	return nil
}
