package contour

import (
	"fmt"
	"testing"

	"portmatch/internal/face"
	"portmatch/internal/synth"
)

// A felt-pen line drawn beside part of a port's edge, as one marks the metal to grind, is no edge: neither may what is called sure go out to it,
// nor may much of the edge be given up for it.
func TestEdgesComeBackFromFeltPenLines(t *testing.T) {
	const mostMM, leastSure = 0.3, 0.9
	for _, c := range []struct {
		seed           uint64
		offMM, widthMM float64
	}{
		{7003, 1.2, 0.4}, {7008, 1.2, 0.4}, {7003, 1.5, 0.8}, {7009, 1.5, 0.8}, {7007, 1.9, 0.6}, {7003, 1.9, 0.6},
	} {
		t.Run(fmt.Sprintf("%d, %.1f mm off", c.seed, c.offMM), func(t *testing.T) {
			t.Parallel()
			v, truth := surveyWith(t, "plain", c.seed, true, 0.6, func(s *synth.Scene) {
				for _, p := range s.Part.Ports {
					o := resampleClosed(p.Outline, 1)
					in := inwardNormals(o)
					pen := synth.Line{WidthMM: c.widthMM, Albedo: synth.RGB{.02, .02, .02}, Opacity: 0.9}
					for i := len(o) / 10; i < 6*len(o)/10; i++ {
						pen.Points = append(pen.Points, o[i].Sub(in[i].Scale(c.offMM)))
					}
					s.Part.Surface.Lines = append(s.Part.Surface.Lines, pen)
				}
			})
			offTruth(t, v, truth, func(p face.Port, offMM []float64) {
				if worst := worstSure(p, offMM); worst > mostMM || share(p.Sure) < leastSure {
					t.Errorf("port %d is %.2f mm off where it is called sure, which %.0f %% of its edge is", p.Number, worst, 100*share(p.Sure))
				}
			})
		})
	}
}
