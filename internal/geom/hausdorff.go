package geom

import "math"

// DirectedHausdorffMM returns the largest distance from any point of the polyline a (its sides included, not its vertices
// alone) to the polyline b, to within errMM > 0 below it. Along a side the distance changes by no more than one walks, so
// a piece whose ends bound it under what was found already need not be looked into.
func DirectedHausdorffMM(a, b *Index, errMM float64) float64 {
	var worst float64
	var walk func(p, q PointMM, dp, dq float64)
	walk = func(p, q PointMM, dp, dq float64) {
		worst = math.Max(worst, math.Max(dp, dq))
		if (dp+dq+p.Dist(q))/2 <= worst+errMM {
			return
		}
		m := p.Add(q).Scale(0.5)
		_, _, dm := b.Nearest(m)
		walk(p, m, dp, dm)
		walk(m, q, dm, dq)
	}
	for i := range a.sides {
		p, q := a.side(i)
		_, _, dp := b.Nearest(p)
		_, _, dq := b.Nearest(q)
		walk(p, q, dp, dq)
	}
	return worst
}

// HausdorffMM returns the larger of both directed distances.
func HausdorffMM(a, b *Index, errMM float64) float64 {
	return math.Max(DirectedHausdorffMM(a, b, errMM), DirectedHausdorffMM(b, a, errMM))
}
