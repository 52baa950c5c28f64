package contour

import (
	"fmt"
	"math"
	"testing"

	"portmatch/internal/face"
)

// Blue dye is nearly as dark as a port. In grey its edges were 0.1 mm RMS off in the median, and up to half of the places not measured; in blue light
// they stand out. Where the rim of the openings is bare the flat face ends where the dye does: in grey, between a light dye and a rim as
// bright, they were up to 0.4 mm off.
func TestDyedFaces(t *testing.T) {
	for _, c := range []struct {
		class string
		seed  uint64
		bare  bool
	}{
		{"dye", 7007, false},
		{"dye", 7016, false},
		{"mixed", 236, true},
	} {
		t.Run(fmt.Sprint(c.class, c.seed), func(t *testing.T) {
			t.Parallel()
			v, truth := surveyOf(t, c.class, c.seed, true)
			var all []float64
			var places int
			offTruth(t, v, truth, func(p face.Port, offMM []float64) {
				for i, d := range offMM {
					places++
					if p.Sure[i] {
						all = append(all, math.Abs(d))
					}
				}
			})
			if v.edge.bareRimMM > 0 != c.bare {
				t.Errorf("a bare rim %.2f mm wide is seen, there is one: %v", v.edge.bareRimMM, c.bare)
			}
			if off := quantile(all, 0.95); off > 0.2 || float64(len(all)) < 0.8*float64(places) {
				t.Errorf("%d of %d places are sure, and 5 %% of those more than %.3f mm off", len(all), places, off)
			}
		})
	}
}

// Dye that leaves bare patches right beside the edges ends in patches, too, and regions went off along its end, 5 mm: dye is face wherever it lies.
// Where profiles still follow the dye's end from a bare rim, up to 0.9 mm, the place is marked.
func TestPatchyDye(t *testing.T) {
	const farMM = 0.45
	v, truth := surveyOf(t, "rims", 90002, true)
	var far, sure int
	offTruth(t, v, truth, func(p face.Port, offMM []float64) {
		for i, d := range offMM {
			if math.Abs(d) > 1.5 {
				t.Fatalf("port %d: a place is %.2f mm off", p.Number, d)
			}
			if math.Abs(d) > farMM {
				far++
				if p.Sure[i] {
					sure++
				}
			}
		}
	})
	if far == 0 || 10*sure > far {
		t.Errorf("of %d places more than %g mm off %d are not marked", far, farMM, sure)
	}
}
