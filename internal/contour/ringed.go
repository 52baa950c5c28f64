package contour

import (
	"math"

	"portmatch/internal/geom"
)

// Some gaskets' openings are lined by a ring of another colour: a fire ring, an eyelet, a bead at the very edge. The opening's edge is
// the ring's inner one, however much stronger the outer one is. A cut wall and a shadow lie beside an edge too, but on one side of
// the opening only.

// ringWidthMM returns the least width of the ring between two curves, the inner one inside the outer one all round, or 0 where what
// lies between them is no ring.
func ringWidthMM(outer, inner []geom.PointMM) float64 {
	const (
		leastMM, mostMM = 0.6, 6.0 // common practice, no source
		uneven          = 0.5      // how much the widths may differ, of the usual one, and for a cut wall and a shadow besides
		shadowMM        = 1.0
		stepMM          = 1.0 // along the inner edge
	)
	ix := geom.NewIndex(geom.Outline(outer))
	var apart []float64
	for _, p := range resampleClosed(inner, stepMM) {
		_, _, d := ix.Nearest(p)
		if !ix.Contains(p) {
			d = -d
		}
		apart = append(apart, d)
	}
	least, usual, widest := quantile(apart, 0.03), quantile(apart, 0.5), quantile(apart, 0.97)
	if least < leastMM || widest > mostMM || widest-least > uneven*usual+shadowMM {
		return 0
	}
	return least
}

// beaded tells whether a bead or a line runs all along the edge at base, close outside it.
func (s *surface) beaded(base []geom.PointMM) bool {
	const (
		nearMM, behindMM = 2.4, 0.8
		unlike           = 0.35 // of the step at the edge
	)
	b := s.unroll(base, -nearMM-0.2, behindMM+0.2, 0.5*s.mmPerPx(base[0]), profileAverageMM, false)
	mean := make([]float64, b.n)
	column := make([]float64, 0, len(base))
	for j := range mean {
		column = column[:0]
		for i := range base {
			if y := float64(b.row(i)[j]); y == y {
				column = append(column, y)
			}
		}
		mean[j] = quantile(column, 0.5)
	}
	at := func(mm float64) int { return min(max(int(b.index(mm)), 0), b.n-1) }
	first := at(-math.Max(0.3, 2.5*b.pxMM))
	step := math.Abs(mean[at(behindMM)] - mean[first])
	for j := first; j >= at(-nearMM); j-- {
		if math.Abs(mean[j]-mean[first]) > unlike*step {
			return true
		}
	}
	return false
}

// ringed looks inside the opening l of a thin part for a ring's inner edge. It returns l where there is none. Between the two edges
// lies the ring, of one brightness; what a bench in the part's shadow shows instead grows lighter all the way.
func ringed(l *loop, cands []*loop) *loop {
	const (
		asClear, asCompact, asSolid = 0.6, 0.93, 0.95 // of the ring's outer edge
		even                        = 0.35            // how far the ring's brightness may differ at its edges, of the lesser step there
	)
	best := l
	for _, c := range cands {
		if c == l || c.cut || c.holdsStrip || !encloses(l, c) || c.wide < minContrast || compactness(c) < asCompact*compactness(l) || solidity(c) < asSolid*solidity(l) {
			continue
		}
		if c.tint != nil {
			if !c.inTint(l, even) {
				continue
			}
		} else if c.darkInside != l.darkInside || c.contrast < asClear*l.contrast || math.Abs(l.inside-c.outside) > even*math.Min(l.wide, c.wide) {
			continue
		}
		if width := ringWidthMM(l.pts, c.pts); width > 0 && (best == l || c.contrast > best.contrast) {
			inner := *c
			inner.landMM = width
			best = &inner
		}
	}
	return best
}
