package contour

import (
	"math"
	"slices"
	"sort"

	"portmatch/internal/geom"
)

const (
	stripLoopMM2 = 8000 // a curve about a strip's middle and smaller than this is the strip's own, 190 x 28 mm with its shadow
	levelSpacing = 4    // grey levels between two level curves; the faintest edge looked for is twice that
	minContrast  = 8    // grey levels across an edge
	minHoleMM    = 3.0  // diameter: M3 clearance is 3.2 mm (ISO 273, fine 3.2)
	maxHoleMM    = 25.0 // diameter: common practice, no source: M16 and its spot face are under this
	wideMM       = 1.3  // how far to either side of an edge the contrast must last; a scribed or felt-pen line is thinner
	weakest      = 0.15 // share of a curve's length that may have less contrast than minContrast
	minSolidity  = 0.72 // area over that of the convex hull; a kidney-shaped port has about 0.8
)

// candidates returns the closed curves of the plan that look like edges of something, best first within each edge: one
// curve an edge.
func (p *plan) candidates(skip func(geom.PointMM) bool) []*loop {
	lo, hi := p.range256()
	n := int((hi-lo)/levelSpacing) + 1
	byLevel := make([][]*loop, n)
	minArea := math.Pi / 4 * minHoleMM * minHoleMM
	t := p.terraces(lo, n, p.within(skip)) // what begins well within a strip is of the strip
	ofStrip := func(l *loop) bool { return l.areaMM2 < stripLoopMM2 && skip(mid(l.lo, l.hi)) }
	parallelItemsWith(n, func(k int, w *walk) {
		var kept []*loop
		for _, l := range t.loops(k, minArea, ofStrip, w) {
			p.judge(l)
			if l.contrast >= minContrast {
				kept = append(kept, l)
			}
		}
		byLevel[k] = kept
	})
	return oneAnEdge(slices.Concat(byLevel...))
}

func mid(a, b geom.PointMM) geom.PointMM { return a.Add(b).Scale(0.5) }

// range256 returns the 1 % and 99.5 % quantiles of the plan's levels.
func (p *plan) range256() (lo, hi float32) {
	var hist [256]int
	n := 0
	for i, v := range p.level {
		if p.valid[i] {
			hist[int(v)]++
			n++
		}
	}
	c := 0
	lo = -1
	for v, k := range hist {
		c += k
		if lo < 0 && float64(c) > 0.002*float64(n) {
			lo = float32(v)
		}
		if float64(c) < 0.998*float64(n) {
			hi = float32(v)
		}
	}
	return lo, hi
}

// judge measures how much of an edge the loop is, all the way round.
func (p *plan) judge(l *loop) {
	total := pathLength(l.pts)
	ring := resampled(l.pts, total, math.Max(2*p.stepMM, total/240))
	l.perimeter = pathLength(ring)
	n := len(ring)
	if n < 6 {
		return
	}
	near := make([]float64, 0, n)
	outward := make([]geom.PointMM, n)
	sign := float32(1)
	if !l.darkInside {
		sign = -1
	}
	wide := l.wideMM()
	// So many faint places settle that the quantile is below minContrast; most curves are grain, and go here.
	faint, tooMany := 0, int(weakest*float64(n))+2
	for i := range ring {
		t := ring[(i+1)%n].Sub(ring[(i+n-1)%n])
		d := t.Norm()
		if d == 0 {
			continue
		}
		out := geom.PointMM{X: t.Y / d, Y: -t.X / d}
		outward[i] = out
		step := 1.5 * p.stepMM
		a, okA := p.at(ring[i].Add(out.Scale(step)))
		b, okB := p.at(ring[i].Sub(out.Scale(step)))
		if okA && okB {
			v := float64(sign * (a - b))
			near = append(near, v)
			if v < minContrast {
				if faint++; faint > tooMany {
					return
				}
			}
		}
	}
	outer, inner := p.either(ring, outward, wide)
	far := make([]float64, len(outer))
	for i := range far {
		far[i] = float64(sign) * (outer[i] - inner[i])
	}
	if len(near) < n/2 || len(far) < n/2 {
		return
	}
	l.contrast = quantile(near, weakest)
	l.wide = quantile(far, weakest)
	l.outside, l.inside = quantile(outer, 0.5), quantile(inner, 0.5)
}

// wideMM is how far to either side of the curve the contrast must last.
func (l *loop) wideMM() float64 { return math.Min(wideMM, 0.3*math.Sqrt(l.areaMM2/math.Pi)+0.6) }

// either returns the levels mm outside and inside the places of a curve, of those that have both.
func (p *plan) either(ring, outward []geom.PointMM, mm float64) (outer, inner []float64) {
	outer, inner = make([]float64, 0, len(ring)), make([]float64, 0, len(ring))
	for i, out := range outward {
		a, okA := p.at(ring[i].Add(out.Scale(mm)))
		b, okB := p.at(ring[i].Sub(out.Scale(mm)))
		if okA && okB && out != (geom.PointMM{}) {
			outer, inner = append(outer, float64(a)), append(inner, float64(b))
		}
	}
	return outer, inner
}

// quantile sorts v and returns its q quantile.
func quantile(v []float64, q float64) float64 {
	if len(v) == 0 {
		return 0
	}
	sort.Float64s(v)
	return sortedQuantile(v, q)
}

// sortedQuantile returns the q quantile of v, which is sorted and not empty.
func sortedQuantile(v []float64, q float64) float64 {
	x := q * float64(len(v)-1)
	i := int(x)
	if i >= len(v)-1 {
		return v[len(v)-1]
	}
	return v[i] + (x-float64(i))*(v[i+1]-v[i])
}

// oneAnEdge keeps, of all curves that run along the same edge, the one with the highest contrast. Level curves never
// cross, so two of them are nested or apart, and the mean distance between nested ones is the difference of their areas over
// their length.
func oneAnEdge(all []*loop) []*loop {
	const sameEdgeMM = 0.7
	sort.SliceStable(all, func(i, j int) bool { return all[i].contrast > all[j].contrast })
	var kept []*loop
	for _, l := range all {
		dup := false
		for _, k := range kept {
			if k.darkInside == l.darkInside && math.Abs(k.areaMM2-l.areaMM2) < sameEdgeMM*math.Max(k.perimeter, l.perimeter) && boxesAgree(k, l, 3) {
				dup = true
				break
			}
		}
		if !dup {
			kept = append(kept, l)
		}
	}
	return kept
}

func boxesAgree(a, b *loop, tolMM float64) bool {
	return math.Abs(a.lo.X-b.lo.X) < tolMM && math.Abs(a.lo.Y-b.lo.Y) < tolMM && math.Abs(a.hi.X-b.hi.X) < tolMM && math.Abs(a.hi.Y-b.hi.Y) < tolMM
}

// contains tells whether q lies inside the closed curve.
func contains(pts []geom.PointMM, q geom.PointMM) bool {
	in := false
	for i, j := 0, len(pts)-1; i < len(pts); j, i = i, i+1 {
		a, b := pts[i], pts[j]
		if (a.Y > q.Y) != (b.Y > q.Y) && q.X < a.X+(q.Y-a.Y)/(b.Y-a.Y)*(b.X-a.X) {
			in = !in
		}
	}
	return in
}

// encloses tells whether a lies round b (a and b are level curves, which do not cross but for the noise of different
// levels).
func encloses(a, b *loop) bool {
	if a.areaMM2 <= b.areaMM2 || a.lo.X > b.lo.X+1 || a.lo.Y > b.lo.Y+1 || a.hi.X < b.hi.X-1 || a.hi.Y < b.hi.Y-1 {
		return false
	}
	in := 0
	for k := range 8 {
		if contains(a.pts, b.pts[k*len(b.pts)/8]) {
			in++
		}
	}
	return in >= 6
}

func pathLength(pts []geom.PointMM) float64 {
	var s float64
	for i, p := range pts[:max(0, len(pts)-1)] {
		s += p.Dist(pts[i+1])
	}
	if len(pts) > 0 {
		s += pts[len(pts)-1].Dist(pts[0])
	}
	return s
}

// resampleClosed returns points evenly spaced along the closed curve, about spacingMM apart.
func resampleClosed(pts []geom.PointMM, spacingMM float64) []geom.PointMM {
	return resampled(pts, pathLength(pts), spacingMM)
}

// resampled is resampleClosed for a curve of known length.
func resampled(pts []geom.PointMM, total, spacingMM float64) []geom.PointMM {
	n := max(int(math.Round(total/spacingMM)), 8)
	out := make([]geom.PointMM, 0, n)
	step := total / float64(n)
	var along float64
	j := 0
	for i := range pts {
		a, b := pts[i], pts[0]
		if i+1 < len(pts) {
			b = pts[i+1]
		}
		d := a.Dist(b)
		for j < n && float64(j)*step <= along+d {
			f := 0.0
			if d > 0 {
				f = (float64(j)*step - along) / d
			}
			out = append(out, a.Add(b.Sub(a).Scale(f)))
			j++
		}
		along += d
	}
	return out
}

// solidity is the area over the convex hull's.
func solidity(l *loop) float64 { return l.areaMM2 / math.Abs(signedArea(convexHull(l.pts))) }

// convexHull returns the convex hull of points, anticlockwise (Andrew's monotone chain).
func convexHull(points []geom.PointMM) []geom.PointMM {
	pts := slices.Clone(points)
	sort.Slice(pts, func(i, j int) bool {
		return pts[i].X < pts[j].X || pts[i].X == pts[j].X && pts[i].Y < pts[j].Y
	})
	hull := make([]geom.PointMM, 0, len(pts))
	half := func(seq []geom.PointMM) {
		base := len(hull)
		for _, q := range seq {
			for len(hull) >= base+2 && hull[len(hull)-1].Sub(hull[len(hull)-2]).Cross(q.Sub(hull[len(hull)-1])) <= 0 {
				hull = hull[:len(hull)-1]
			}
			hull = append(hull, q)
		}
		hull = hull[:len(hull)-1]
	}
	half(pts)
	slices.Reverse(pts)
	half(pts)
	return hull
}

// roundness fits a circle to the loop (centre = mean of the bounding curve's centroid, radius from the area) and returns the
// diameter and the RMS deviation from it over the radius.
func roundness(l *loop) (centre geom.PointMM, diameterMM, relRMS float64) {
	ring := resampleClosed(l.pts, l.perimeter/64)
	for _, q := range ring {
		centre = centre.Add(q)
	}
	centre = centre.Scale(1 / float64(len(ring)))
	var s, s2 float64
	for _, q := range ring {
		r := q.Dist(centre)
		s += r
		s2 += r * r
	}
	n := float64(len(ring))
	m := s / n
	return centre, 2 * m, math.Sqrt(math.Max(0, s2/n-m*m)) / m
}
