package contour

import (
	"math"
	"sort"

	"portmatch/internal/geom"
)

const (
	partMarginMM = 80.0  // how far the part may reach beyond its openings and holes
	partCells    = 30000 // bounds the work of the search
	// landMM is the least metal round an opening or hole: what is nearer to one belongs to the part.
	landMM = 2.0
	// Where the face is learned from, beyond an opening's edge: clear of what a coarse edge may be off, and within the land.
	seedFromMM, seedToMM = 0.7, 3.0
)

// partGrid is the photo laid out in cells of a mm or two round the openings: what the search for the part's own edge works on.
type partGrid struct {
	w, h    int
	lo      geom.PointMM
	cellMM  float64
	feature [3][]float32 // gamma-coded level, and hue along its two principal axes
	valid   []bool       // false outside the photo
	strip   []int8       // the strip that covers the cell, from 1; 0 for none
	nearMM  []float32    // to the nearest opening's edge, negative inside; exact to nearReachMM
	nearest []int16      // the opening that is nearest
	// sin and cos turn hue as the photo has it into the axes used here.
	sin, cos float32
	tone     *[256]float32
}

const nearReachMM = 5.0

func (g *partGrid) at(i, j int) geom.PointMM {
	return g.lo.Add(geom.PointMM{X: float64(i) * g.cellMM, Y: float64(j) * g.cellMM})
}

// span returns the cells along one axis whose centres lie in [a, b] mm from the grid's corner.
func (g *partGrid) span(a, b float64, n int) (from, to int) {
	return max(0, int(math.Ceil(a/g.cellMM))), min(n-1, int(math.Floor(b/g.cellMM)))
}

// newPartGrid lays out the grid round openings (ports and holes, closed curves); nil where they lie outside the photo.
func (s *surface) newPartGrid(pl *plan, openings [][]geom.PointMM, strips [][]geom.PointMM) *partGrid {
	lo, hi := bounds(openings[0])
	for _, c := range openings[1:] {
		a, b := bounds(c)
		lo = geom.PointMM{X: math.Min(lo.X, a.X), Y: math.Min(lo.Y, a.Y)}
		hi = geom.PointMM{X: math.Max(hi.X, b.X), Y: math.Max(hi.Y, b.Y)}
	}
	end := pl.lo.Add(geom.PointMM{X: float64(pl.w-1) * pl.stepMM, Y: float64(pl.h-1) * pl.stepMM})
	lo = geom.PointMM{X: math.Max(lo.X-partMarginMM, pl.lo.X), Y: math.Max(lo.Y-partMarginMM, pl.lo.Y)}
	hi = geom.PointMM{X: math.Min(hi.X+partMarginMM, end.X), Y: math.Min(hi.Y+partMarginMM, end.Y)}
	size := hi.Sub(lo)
	if math.Min(size.X, size.Y) < 10*pl.stepMM {
		return nil
	}
	g := &partGrid{lo: lo, tone: s.tone, cellMM: math.Max(math.Sqrt(size.X*size.Y/partCells), 2*pl.stepMM)}
	g.w, g.h = int(size.X/g.cellMM)+1, int(size.Y/g.cellMM)+1
	g.sample(s, pl)
	g.strip = make([]int8, g.w*g.h)
	for t, q := range strips {
		a, b := bounds(q)
		i0, i1 := g.span(a.X-lo.X, b.X-lo.X, g.w)
		j0, j1 := g.span(a.Y-lo.Y, b.Y-lo.Y, g.h)
		for j := j0; j <= j1; j++ {
			for i := i0; i <= i1; i++ {
				if contains(q, g.at(i, j)) {
					g.strip[j*g.w+i] = int8(t + 1)
				}
			}
		}
	}
	g.measure(openings)
	return g
}

// sample fills in what the cells look like: the mean of four places each.
func (g *partGrid) sample(s *surface, pl *plan) {
	n := g.w * g.h
	for f := range g.feature {
		g.feature[f] = make([]float32, n)
	}
	g.valid = make([]bool, n)
	colour := s.photo.HasColour()
	quarter := g.cellMM / 4
	parallelRows(g.h, func(j int) {
		// The camera is smooth: go straight between every eighth cell's pixels.
		const stride = 8
		var q0, q1, up geom.PointPx
		for i := range g.w {
			if i%stride == 0 {
				q0, q1 = s.pixel(g.at(i, j)), s.pixel(g.at(i+stride, j))
				up = s.pixel(g.at(i, j).Add(geom.PointMM{Y: quarter})).Sub(q0)
			}
			f := float64(i%stride) / stride
			q := geom.PointPx{U: q0.U + f*(q1.U-q0.U), V: q0.V + f*(q1.V-q0.V)}
			right := geom.PointPx{U: (q1.U - q0.U) / (4 * stride), V: (q1.V - q0.V) / (4 * stride)}
			p := g.at(i, j)
			var y, a, b float32
			ok := true
			for dy := -1.0; dy <= 1; dy += 2 {
				for dx := -1.0; dx <= 1 && ok; dx += 2 {
					var v float32
					if v, ok = pl.at(p.Add(geom.PointMM{X: dx * quarter, Y: dy * quarter})); !ok {
						break
					}
					y += v
					if colour {
						cb, cr := s.photo.ChromaAt(q.U+dx*right.U+dy*up.U, q.V+dx*right.V+dy*up.V)
						a, b = a+cb, b+cr
					}
				}
			}
			k := j*g.w + i
			if g.valid[k] = ok; ok {
				y /= 4
				g.feature[0][k], g.feature[1][k], g.feature[2][k] = y, a/4/(y+hueFloor), b/4/(y+hueFloor)
			}
		}
	})
	if colour {
		g.turnHue()
	}
}

// turnHue lays the hues' axes along their scatter, so that they say different things.
func (g *partGrid) turnHue() {
	var n, sa, sb, saa, sab, sbb float64
	for k, ok := range g.valid {
		if ok {
			a, b := float64(g.feature[1][k]), float64(g.feature[2][k])
			n, sa, sb, saa, sab, sbb = n+1, sa+a, sb+b, saa+a*a, sab+a*b, sbb+b*b
		}
	}
	sin, cos := math.Sincos(0.5 * math.Atan2(2*(sab-sa*sb/n), saa-sa*sa/n-sbb+sb*sb/n))
	g.sin, g.cos = float32(sin), float32(cos)
	for k := range g.valid {
		g.feature[1][k], g.feature[2][k] = g.turned(g.feature[1][k], g.feature[2][k])
	}
}

func (g *partGrid) turned(a, b float32) (float32, float32) {
	return g.cos*a + g.sin*b, g.cos*b - g.sin*a
}

// code is the gamma-coded level of linear light y.
func (g *partGrid) code(y float32) float32 {
	k := sort.Search(255, func(k int) bool { return g.tone[k+1] > y })
	if k >= 255 {
		return 255
	}
	return float32(k) + max(0, (y-g.tone[k])/(g.tone[k+1]-g.tone[k]))
}

// measure fills in the distance from the openings: exact next to them, by steps from cell to cell further out.
func (g *partGrid) measure(openings [][]geom.PointMM) {
	const far = 1e6
	n := g.w * g.h
	g.nearMM, g.nearest = make([]float32, n), make([]int16, n)
	for k := range g.nearMM {
		g.nearMM[k] = far
	}
	for t, c := range openings {
		ix := geom.NewIndex(c)
		a, b := bounds(c)
		i0, i1 := g.span(a.X-g.lo.X-nearReachMM, b.X-g.lo.X+nearReachMM, g.w)
		j0, j1 := g.span(a.Y-g.lo.Y-nearReachMM, b.Y-g.lo.Y+nearReachMM, g.h)
		parallelRows(max(0, j1-j0+1), func(r int) {
			for i := i0; i <= i1; i++ {
				k := (j0+r)*g.w + i
				if d, _, _ := ix.SignedDistMM(g.at(i, j0+r)); float32(d) < g.nearMM[k] {
					g.nearMM[k], g.nearest[k] = float32(d), int16(t)
				}
			}
		})
	}
	side, corner := float32(g.cellMM), float32(g.cellMM*math.Sqrt2)
	from := func(k, o int, step float32) {
		if d := g.nearMM[o] + step; d < g.nearMM[k] {
			g.nearMM[k], g.nearest[k] = d, g.nearest[o]
		}
	}
	for j := 1; j < g.h; j++ {
		for i := 1; i < g.w-1; i++ {
			k := j*g.w + i
			from(k, k-1, side)
			from(k, k-g.w, side)
			from(k, k-g.w-1, corner)
			from(k, k-g.w+1, corner)
		}
	}
	for j := g.h - 2; j >= 0; j-- {
		for i := g.w - 2; i > 0; i-- {
			k := j*g.w + i
			from(k, k+1, side)
			from(k, k+g.w, side)
			from(k, k+g.w+1, corner)
			from(k, k+g.w-1, corner)
		}
	}
}

// spine marks what lies between the openings of use: the hull of the ports, and the straight way from every hole to the
// nearest port.
func (g *partGrid) spine(openings [][]geom.PointMM, ports int, use func(t int) bool) []bool {
	// A waist between two ports may be cut in by this much.
	const waistMM = 4.0
	out := make([]bool, g.w*g.h)
	var all []geom.PointMM
	var index []*geom.Index
	for t, c := range openings[:ports] {
		if use(t) {
			all = append(all, c...)
			index = append(index, geom.NewIndex(c))
		}
	}
	if len(all) == 0 {
		return out
	}
	mark := func(lo, hi geom.PointMM, in func(p geom.PointMM) bool) {
		i0, i1 := g.span(lo.X-g.lo.X, hi.X-g.lo.X, g.w)
		j0, j1 := g.span(lo.Y-g.lo.Y, hi.Y-g.lo.Y, g.h)
		for j := j0; j <= j1; j++ {
			for i := i0; i <= i1; i++ {
				if k := j*g.w + i; !out[k] && in(g.at(i, j)) {
					out[k] = true
				}
			}
		}
	}
	hull := convexHull(all)
	ix := geom.NewIndex(hull)
	lo, hi := bounds(hull)
	mark(lo, hi, func(p geom.PointMM) bool {
		d, _, _ := ix.SignedDistMM(p)
		return d < -waistMM
	})
	for t := ports; t < len(openings); t++ {
		if !use(t) {
			continue
		}
		centre := centroid(openings[t])
		radius := openings[t][0].Dist(centre)
		foot, least := centre, math.Inf(1)
		for _, x := range index {
			if q, _, d := x.Nearest(centre); d < least {
				foot, least = q, d
			}
		}
		lo, hi := bounds([]geom.PointMM{centre, foot})
		r := geom.PointMM{X: radius, Y: radius}
		mark(lo.Sub(r), hi.Add(r), func(p geom.PointMM) bool { return segmentDist(p, centre, foot) < radius })
	}
	return out
}

func segmentDist(p, a, b geom.PointMM) float64 {
	d := b.Sub(a)
	f := 0.0
	if l := d.Dot(d); l > 0 {
		f = math.Max(0, math.Min(1, p.Sub(a).Dot(d)/l))
	}
	return p.Dist(a.Add(d.Scale(f)))
}
