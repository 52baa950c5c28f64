package scalecard

import (
	"slices"

	"portmatch/internal/geom"
	"portmatch/internal/photo"
	"portmatch/internal/scalecard/strip"
)

// leastPrimary is the least light that the strips' white paper must have in one primary, of what it has in the strongest. Lamps and what cameras make of
// them leave more (common practice, no source); with 0.05 the hue of bare metal hid a rounded rim, and an area was 1 % off without a word.
const leastPrimary = 0.1

// tint returns how much light the strips' paper has in the weakest primary, of what it has in the strongest; 1 for a grey picture.
func (s *solver) tint(found []foundTag) float64 {
	if !s.photo.HasColour() {
		return 1
	}
	var light [3][]float64
	for _, t := range found {
		to := homographyOf(t.corners)
		for col := range strip.Cells {
			for row := range strip.Cells {
				if strip.Black(t.id(), col, row) {
					continue
				}
				at := to(geom.PointMM{X: (float64(col)+0.5)*strip.CellMM - strip.TagMM/2, Y: (float64(row)+0.5)*strip.CellMM - strip.TagMM/2})
				u, v := int(at.U+0.5), int(at.V+0.5)
				if u < 0 || v < 0 || u >= s.photo.Width || v >= s.photo.Height {
					continue
				}
				grey := float32(s.photo.Gray[v*s.photo.Width+u])
				cb, cr := s.photo.ChromaAt(at.U, at.V)
				for k, p := range []photo.Primary{photo.Red, photo.Green, photo.Blue} {
					light[k] = append(light[k], read(&s.photo.Tone, float64(p.Level(grey, cb, cr))))
				}
			}
		}
	}
	if len(light[0]) == 0 {
		return 1
	}
	var middle []float64
	for _, l := range light {
		middle = append(middle, max(0, median(l)))
	}
	return slices.Min(middle) / max(slices.Max(middle), 1e-6)
}
