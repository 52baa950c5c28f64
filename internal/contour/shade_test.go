package contour

import (
	"math"
	"math/rand/v2"
	"testing"

	"portmatch/internal/face"
	"portmatch/internal/geom"
	"portmatch/internal/scalecard"
)

// A part 0.7 mm thick, lit from one side: behind every edge that faces the lamp lies a shadow as wide as it is thick, as bright as the part,
// or darker. Only the first is in doubt, only there, and as wide as it is. Truth is closed form.
func TestShadesShownByHoles(t *testing.T) {
	const face0, bench, thick = 0.2, 0.5, 0.7 // linear light, mm
	holes := []face.Hole{{Centre: geom.PointMM{X: -20}, DiameterMM: 9}, {Centre: geom.PointMM{X: 20, Y: 4}, DiameterMM: 9}, {Centre: geom.PointMM{X: 3, Y: -20}, DiameterMM: 8}}
	for _, tt := range []struct {
		name   string
		shadow float64
		wide   float64 // mm
		want   bool
	}{
		{"as bright as the part", face0, thick, true},
		{"as bright as the part and narrow", face0, 0.25, true},
		{"darker", 0.03, thick, false},
		{"none", bench, thick, false},
	} {
		s := drawn{light: func(p geom.PointMM) float64 {
			inside := func(p geom.PointMM) bool {
				for _, h := range holes {
					if p.Dist(h.Centre) < h.DiameterMM/2 {
						return true
					}
				}
				return false
			}
			switch {
			case !inside(p):
				return face0
			case !inside(p.Sub(geom.PointMM{X: tt.wide})): // what the edge to the left keeps from the light
				return tt.shadow
			}
			return bench
		}, seed: 9}.surface(t)
		sh := (&Survey{s: s, holes: holes, opt: Options{HeightMM: thick}}).shades()
		if got := sh.at(geom.PointMM{X: 1}); tt.want != (got > 0) || tt.want && math.Abs(got-tt.wide) > 0.15 {
			t.Errorf("%s: behind edges that face right a look-alike shadow is %.2f mm wide, want one: %v", tt.name, got, tt.want)
		}
		if got := sh.at(geom.PointMM{X: -1}); got > 0 {
			t.Errorf("%s: behind edges that face left a look-alike shadow is %.2f mm wide, want none", tt.name, got)
		}
	}
}

// Gaskets on the bench are up to 3 mm thick; a casting may stand a few mm above its strips, and has no cut wall.
func TestHeightOfAThinPart(t *testing.T) {
	for heightMM, want := range map[float64]bool{0: false, 0.5: true, 3: true, 4: false, 8: false} {
		v := &Survey{sol: &scalecard.Solution{}, opt: Options{HeightMM: heightMM}}
		if got := v.isThin(); got != want {
			t.Errorf("a part %.1f mm above its strips is thin: %v, want %v", heightMM, got, want)
		}
	}
}

// Behind the true edge, at 0 mm, lies a shadow 0.7 mm wide that is as bright as the part. An edge taken for the shadow's rim has none of it
// behind it, one in its midst half of it; less than 0.15 mm is as good as none.
func TestShadowTakenForThePart(t *testing.T) {
	const part, bench, wide = 0.2, 0.5, 0.7 // linear light, mm
	b := hueBand(func(_ *rand.Rand, s float64) (float64, float64) {
		if s < wide {
			return part, 0
		}
		return bench, 0
	})
	b.inward, b.lean = make([]geom.PointMM, len(b.base)), make([]float64, len(b.base))
	var all shades
	for i := range b.inward {
		b.inward[i] = geom.PointMM{X: 1}
	}
	for k := range all {
		all[k] = wide
	}
	for edge, want := range map[float64]float64{0: 0, 0.35: 0.2, wide: 0.55} {
		r := &edgeReading{pxMM: b.pxMM, raw: make([]float64, len(b.base)), onFace: make([]float64, len(b.base))}
		for i := range r.raw {
			r.raw[i], r.onFace[i] = edge, part
		}
		r.shade(b, edgeModel{shades: &all})
		if got := r.shadeMM[60]; math.Abs(got-want) > 0.1 {
			t.Errorf("edge %.2f mm inside the true one: %.2f mm of shadow are in doubt, want %.2f", edge, got, want)
		}
	}
}
