package main

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"

	"portmatch/internal/synth"
)

// spoiler takes one or both photos of a pair at hand and spoils them.
type spoiler struct {
	kind         synth.Spoiling
	target, work bool
	seed         uint64
}

// spoilt are n spoilt pairs, the kinds in turn, over the pairs in turn; which photo is hit the seed decides.
func spoilt(kinds []synth.Spoiling, pairs []scene, n int, seed uint64) []*scene {
	var out []*scene
	for i := 0; i < n && len(kinds) > 0 && len(pairs) > 0; i++ {
		k, round := kinds[i%len(kinds)], i/len(kinds)
		p := pairs[(i+round)%len(pairs)]
		s := seed + uint64(round)
		hit := rand.New(rand.NewPCG(s, uint64(i))).IntN(3)
		p.class, p.name, p.seed, p.workable = k.Name, fmt.Sprintf("%s-%s-%04d", k.Name, p.name, s), s, k.Workable
		p.spoiler = &spoiler{kind: k, target: hit != 1, work: hit != 0, seed: s}
		out = append(out, &p)
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
