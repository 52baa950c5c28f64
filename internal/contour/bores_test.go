package contour

import (
	"fmt"
	"math"
	"testing"

	"portmatch/internal/face"
)

// A casting whose strips lie as little below its face as a gasket is thick is no gasket for that: its openings show no bench and have no cut
// wall. Taken for one, its edges were up to 0.4 mm off, half of them not measured, or no opening was found. A gasket as thick stays one.
func TestCastingLittleAboveItsStrips(t *testing.T) {
	for _, seed := range []uint64{7002, 7010, 7014} {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			t.Parallel()
			v, truth := surveyOf(t, "drop", seed, true)
			if v.opt.HeightMM > maxGasketMM || v.opt.HeightMM < 0.5 {
				t.Fatalf("it stands %.1f mm above its strips, no gasket's thickness", v.opt.HeightMM)
			}
			if v.thin {
				t.Error("taken for a gasket")
			}
			offTruth(t, v, truth, func(p face.Port, offMM []float64) {
				var sum float64
				var sure int
				for i, d := range offMM {
					if p.Sure[i] {
						sum, sure = sum+d*d, sure+1
					}
				}
				if rms := math.Sqrt(sum / float64(sure)); sure < len(offMM)/2 || rms > 0.06 {
					t.Errorf("port %d: %d of %d places are sure, %.3f mm RMS off", p.Number, sure, len(offMM), rms)
				}
			})
			if g, _ := surveyOf(t, "drop", seed, false); !g.thin {
				t.Error("its gasket is taken for a casting")
			}
		})
	}
}
