package contour

import (
	"fmt"
	"math"
	"testing"

	"portmatch/internal/geom"
)

// Where a ring of another colour lines the openings of a gasket, the edge is the ring's inner one. Truth is what was drawn; the rings
// are 1.2 to 2 mm wide, so that their outer edge is far beyond what is allowed.
func TestRingBelongsToTheFace(t *testing.T) {
	const rightMM, share = 0.25, 0.95
	for _, seed := range []uint64{7010, 7022} {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			t.Parallel()
			v, ports := surveyOf(t, "bead", seed, false)
			f, err := v.Trace(t.Context(), nil)
			if err != nil {
				t.Fatal(err)
			}
			var near, all float64
			for _, p := range f.Ports {
				for _, want := range ports {
					if !contains(want, centroid(p.Outline)) {
						continue
					}
					ix := geom.NewIndex(geom.Outline(want))
					for i, q := range p.Outline {
						if !p.Sure[i] {
							continue
						}
						if _, _, d := ix.Nearest(q); math.Abs(d) < rightMM {
							near++
						}
						all++
					}
				}
			}
			if all < 100 || near < share*all {
				t.Errorf("%.0f of %.0f places lie within %.2f mm of the drawn edges", near, all, rightMM)
			}
		})
	}
}

// A shadow that falls to one side, and the narrow band of a cut wall, are no ring.
func TestRingWidth(t *testing.T) {
	circle := func(x, r float64) (out []geom.PointMM) {
		for k := range 180 {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / 180)
			out = append(out, geom.PointMM{X: x + r*cos, Y: r * sin})
		}
		return out
	}
	for _, c := range []struct {
		shift, inner, want float64
	}{
		{0, 18, 2},       // a ring
		{0.4, 18, 1.6},   // with a wall beside it
		{1.5, 18.5, 0},   // a shadow
		{0, 19.6, 0},     // a wall, or blur
		{0, 12, 0},       // something that lies in the opening
		{0, 20.5, 0},     // outside
		{2, 16, 0},       // far from even
		{0.1, 18.9, 1.0}, // narrow
	} {
		got := ringWidthMM(circle(0, 20), circle(c.shift, c.inner))
		if math.Abs(got-c.want) > 0.03 {
			t.Errorf("circle of %.1f mm, %.1f mm aside, in one of 20 mm: %.2f mm wide, want %.2f", c.inner, c.shift, got, c.want)
		}
	}
}
