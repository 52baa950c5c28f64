package contour

import (
	"fmt"
	"math"
	"testing"

	"portmatch/internal/geom"
)

// Pictures in which edges went astray: outward along dark milling marks and glare. No place of an edge that is called sure may be
// as far off as that again.
func TestEdgesKeepOffMarksAndGlare(t *testing.T) {
	for _, c := range []struct {
		class  string
		seed   uint64
		work   bool
		mostMM float64
	}{
		{"glare", 7007, true, 0.3},
		{"orientation", 7008, true, 0.2},
	} {
		t.Run(fmt.Sprint(c.class, c.seed), func(t *testing.T) {
			t.Parallel()
			v, truth := surveyOf(t, c.class, c.seed, c.work)
			f, err := v.Trace(t.Context(), nil)
			if err != nil {
				t.Fatal(err)
			}
			for _, want := range truth {
				ix := geom.NewIndex(geom.Outline(want))
				for _, p := range f.Ports {
					if !contains(want, centroid(p.Outline)) {
						continue
					}
					var worst float64
					for i, q := range p.Outline {
						if _, _, d := ix.Nearest(q); p.Sure[i] {
							worst = math.Max(worst, d)
						}
					}
					if worst > c.mostMM {
						t.Errorf("port %d is %.2f mm off at a place called sure, %.2f at most is wanted", p.Number, worst, c.mostMM)
					}
				}
			}
		})
	}
}
