package contour

import "portmatch/internal/geom"

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
