package geom

import "math"

// DirectedHausdorffMM returns the largest distance from any point of the polyline a (its sides included, not its vertices
// alone) to the polyline b, to within errMM > 0 below it.
//
// Along a straight piece the distance to one side of b is convex, so that the larger of its values at the piece's ends
// bounds it, and the distance to b, between them. Pieces so bounded under what was found already are not looked into.
func DirectedHausdorffMM(a, b *Index, errMM float64) float64 {
	type end struct {
		p    PointMM
		d    float64
		side int
	}
	at := func(p PointMM) end {
		_, pl, d := b.Nearest(p)
		return end{p, d, pl.Side}
	}
	to := func(p PointMM, side int) float64 {
		q, r := b.side(side)
		return distToSegment(p, q, r)
	}
	var worst float64
	var walk func(e, f end)
	walk = func(e, f end) {
		worst = max(worst, e.d, f.d)
		bound := min(max(e.d, to(f.p, e.side)), max(f.d, to(e.p, f.side)))
		if bound <= worst+errMM {
			return
		}
		m := at(e.p.Add(f.p).Scale(0.5))
		walk(e, m)
		walk(m, f)
	}
	for i := range a.sides {
		p, q := a.side(i)
		walk(at(p), at(q))
	}
	return worst
}

// HausdorffMM returns the larger of both directed distances.
func HausdorffMM(a, b *Index, errMM float64) float64 {
	return math.Max(DirectedHausdorffMM(a, b, errMM), DirectedHausdorffMM(b, a, errMM))
}
