package contour

import (
	"slices"

	"portmatch/internal/geom"
)

// onStrip returns a test for points of the face that lie on a printed strip, so that nobody takes a tag's cell for a hole.
func (s *surface) onStrip(quadsPx [][4]geom.PointPx) func(geom.PointMM) bool {
	quads := s.stripCurves(quadsPx)
	return func(p geom.PointMM) bool {
		for _, q := range quads {
			if contains(q, p) {
				return true
			}
		}
		return false
	}
}

// stripCurves returns where the printed strips appear on the face.
func (s *surface) stripCurves(quadsPx [][4]geom.PointPx) [][]geom.PointMM {
	quads := make([][]geom.PointMM, len(quadsPx))
	for i, q := range quadsPx {
		for _, c := range q {
			quads[i] = append(quads[i], s.face(c))
		}
	}
	return quads
}

// withoutStripShadows drops the curves that run along a strip for much of their length: strips propped up level with a face throw long shadows
// onto the bench, or hide it.
func (v *Survey) withoutStripShadows(cands []*loop) []*loop {
	const besideMM, most = 3.0, 0.38
	var strips []*geom.Index
	for _, q := range v.s.stripCurves(v.sol.StripQuadsPx) {
		strips = append(strips, geom.NewIndex(geom.Outline(q)))
	}
	return slices.DeleteFunc(cands, func(l *loop) bool {
		pts := resampleClosed(l.pts, 2)
		for _, s := range strips {
			along := 0
			for _, p := range pts {
				if _, _, d := s.Nearest(p); d < besideMM {
					along++
				}
			}
			if float64(along) > most*float64(len(pts)) {
				return true
			}
		}
		return false
	})
}
