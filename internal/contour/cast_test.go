package contour

import (
	"fmt"
	"math"
	"testing"

	"portmatch/internal/face"
	"portmatch/internal/geom"
	"portmatch/internal/scalecard"
)

// Holes of a part 0.8 mm thick are cut off on one side by a shadow as bright as the part, with a sharp rim and a soft one. What is known of the
// shadow puts the circles right; where there is none, none is found. Truth is closed form.
func TestCastShadowFoundByTheHoles(t *testing.T) {
	const part, bench, height, radius = 0.2, 0.5, 0.8, 4.0 // linear light, mm
	centres := []geom.PointMM{{X: -25, Y: 3}, {X: 20, Y: 4}, {X: 3, Y: -20}, {X: 25, Y: -22}}
	for _, c := range []struct {
		name         string
		cast         geom.PointMM
		rimMM        float64
		shadow       float64
		there, fools bool
		mostMM       float64
	}{
		{"like the part", geom.PointMM{X: 0.3, Y: -0.15}, 0.02, part, true, true, 0.025},
		{"like the part, with a soft rim", geom.PointMM{X: -0.1, Y: 0.45}, 0.12, part, true, true, 0.04},
		{"dark", geom.PointMM{X: 0.3, Y: -0.15}, 0.02, 0.03, true, false, 0.02},
		{"none", geom.PointMM{}, 0.02, bench, false, false, 0.02},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := drawn{light: func(p geom.PointMM) float64 {
				for _, m := range centres {
					if d := p.Sub(m); d.Norm() < radius {
						lit := phi((radius - d.Sub(c.cast).Norm()) / c.rimMM)
						return c.shadow + lit*(bench-c.shadow)
					}
				}
				return part
			}, seed: 9}.surface(t)
			v := &Survey{s: s, thin: true, sol: &scalecard.Solution{BlurPx: 1}, opt: Options{HeightMM: height}}
			var starts []*holeStart
			for _, m := range centres {
				st := v.startHole(m.Add(c.cast.Scale(0.3)), radius, throughSearch, v.firstShape())
				if st == nil {
					t.Fatalf("no hole is seen at %v", m)
				}
				starts = append(starts, st)
			}
			v.fitHoles(starts)
			if (v.cast != nil) != c.there {
				t.Fatalf("a shadow is found: %v, want %v", v.cast != nil, c.there)
			}
			if v.cast != nil {
				v.castLight(v.cast)
				if off := v.cast.offset.Sub(c.cast).Norm(); off > 0.1 {
					t.Errorf("the shadow falls %.2f, want %.2f", v.cast.offset, c.cast)
				}
				if v.cast.misleads() != c.fools {
					t.Errorf("a shadow of light %.2f may be taken for the part: %v, want %v", v.cast.light, v.cast.misleads(), c.fools)
				}
			}
			if len(v.holes) != len(centres) {
				t.Fatalf("%d holes, want %d", len(v.holes), len(centres))
			}
			for i, h := range v.holes {
				if off, wide := h.Centre.Dist(centres[i]), h.DiameterMM-2*radius; off > c.mostMM || math.Abs(wide) > 1.5*c.mostMM {
					t.Errorf("hole %d is %.3f mm off and %.3f mm too wide", i+1, off, wide)
				}
			}
		})
	}
}

// Grey gaskets on light benches, drawn: where their shadows are as bright as they are, edges had been put at the shadows' rims, 0.3 to 0.6 mm too far in, and
// the holes with them, up to 0.4 mm off and too small.
func TestEdgesBeforeCastShadows(t *testing.T) {
	for _, c := range []struct {
		class  string
		seed   uint64
		mostMM float64
	}{{"orientation", 7005, 0.15}, {"orientation", 7003, 0.2}} {
		t.Run(fmt.Sprint(c.class, c.seed), func(t *testing.T) {
			v, truth := surveyAt(t, c.class, c.seed, false, 1)
			offTruth(t, v, truth, func(p face.Port, offMM []float64) {
				if worst := worstSure(p, offMM); worst > c.mostMM {
					t.Errorf("port %d is up to %.3f mm off, %.2f at most is wanted", p.Number, worst, c.mostMM)
				}
			})
		})
	}
}
