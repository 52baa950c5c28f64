package synth

import (
	"fmt"
	"math"

	"portmatch/internal/geom"
)

// pattern is a joint as designed: the openings of the target, the holes, the part's own edge; design frame, mm.
type pattern struct {
	ids     []string
	shapes  []string
	ports   [][]geom.PointMM
	holes   []Hole
	outline []geom.PointMM
}

// patternWish says what kind of joint is wanted; zero values leave it to the dice.
type patternWish struct {
	ports     int
	noDowels  bool
	symmetric bool // the holes lie mirror-symmetric, so that they fit more than one way
	alike     bool // with symmetric: so do the openings, and nothing tells the ways apart
	maxMM     float64
	minMM     float64
}

// newPattern draws a joint: a row of openings, two rows, or one bore, bolts round them, perhaps two dowels.
func newPattern(rng dice, wish patternWish) *pattern {
	for {
		if p := tryPattern(rng, wish); p != nil {
			return p
		}
	}
}

func tryPattern(rng dice, wish patternWish) *pattern {
	n := wish.ports
	if n == 0 {
		n = pick(rng, 1, 1, 2, 3, 4, 4, 4, 5, 6, 8)
	}
	p := &pattern{}
	kind := pick(rng, "oval", "rect", "circle", "d", "irregular")
	w := rng.in(22, 52)
	h := rng.in(20, 46)
	if n == 1 {
		w, h = rng.in(40, 110), rng.in(36, 90)
	}
	rowsOf := 1
	if n >= 4 && n%2 == 0 && rng.chance(0.25) || n == 8 {
		rowsOf = 2
		w, h = rng.in(20, 34), rng.in(18, 30)
	}
	cols := (n + rowsOf - 1) / rowsOf
	gap := rng.in(14, 42)
	pitch := w + gap
	rowPitch := h + rng.in(16, 30)
	base := shapeOf(rng, kind, w, h)
	for i := range n {
		o := base
		switch {
		case kind == "irregular" && !wish.symmetric:
			o = shapeOf(rng, kind, w, h)
		case rng.chance(0.1) && !wish.symmetric:
			o = shapeOf(rng, pick(rng, "oval", "rect", "circle"), w, h)
		}
		if wish.symmetric && !wish.alike {
			o = shapeOf(rng, kind, w*(1-0.12*float64(i)), h*(1-0.05*float64(i)))
		}
		c := geom.PointMM{X: (float64(i%cols) - float64(cols-1)/2) * pitch, Y: (float64(rowsOf-1)/2 - float64(i/cols)) * rowPitch}
		if wish.symmetric && !wish.alike {
			c.Y += 2.5 // upside down the openings lie 5 mm off
		}
		if !wish.symmetric && n > 1 {
			c.X += rng.in(-1.5, 1.5)
			c.Y += rng.in(-2, 2)
		}
		turn := 0.0
		if !wish.symmetric && rng.chance(0.3) {
			turn = rng.in(-12, 12) * math.Pi / 180
		}
		m := geom.Rigid{A: math.Cos(turn), B: -math.Sin(turn), C: math.Sin(turn), D: math.Cos(turn), Tx: c.X, Ty: c.Y}
		p.ports = append(p.ports, mapped(o, m))
		p.ids = append(p.ids, fmt.Sprint(i+1))
		p.shapes = append(p.shapes, kind)
	}
	if !p.drill(rng, wish, cols, pitch, w, float64(rowsOf-1)*rowPitch+h) {
		return nil
	}
	p.outline = around(p.ports, p.holes, rng.in(8, 13), rng.in(6, 9))
	if !p.holdsTogether() {
		return nil
	}
	lo, hi := extent(p.outline)
	long := math.Max(hi.X-lo.X, hi.Y-lo.Y)
	lowest, highest := 80.0, 500.0
	if wish.minMM > 0 {
		lowest = wish.minMM
	}
	if wish.maxMM > 0 {
		highest = wish.maxMM
	}
	if long < lowest || long > highest {
		return nil
	}
	return p
}

// holdsTogether tells whether every opening and hole lies inside the part's edge with at least 3 mm of land.
func (p *pattern) holdsTogether() bool {
	f := newDistanceField([]curve{{outline: p.outline, outer: true}}, 2, coarseMM)
	for _, o := range p.ports {
		for _, q := range o {
			if f.soft(q.X, q.Y) < 3 {
				return false
			}
		}
	}
	for _, h := range p.holes {
		if f.soft(h.Centre.X, h.Centre.Y) < h.DiameterMM/2+3 {
			return false
		}
	}
	return true
}

func shapeOf(rng dice, kind string, w, h float64) []geom.PointMM {
	switch kind {
	case "oval":
		return RoundedRect(w, h, 1e9)
	case "rect":
		return RoundedRect(w, h, rng.in(3, math.Min(w, h)/2.5))
	case "circle":
		return Circle(geom.PointMM{}, math.Min(w, h)*1.05)
	case "d":
		h = math.Min(h, 1.6*w)
		return DShape(w+2, h, rng.in(2.5, 6))
	}
	return Irregular(w, h, rng.in(0.08, 0.2), rng.Rand)
}

// drill places bolts and dowels clear of the openings; false if they don't fit.
func (p *pattern) drill(rng dice, wish patternWish, cols int, pitch, w, h float64) bool {
	d := pick(rng, 6.6, 8.4, 9.0, 11.0)
	var at []geom.PointMM
	up := h/2 + d/2 + rng.in(6, 12)
	half := float64(cols) * pitch / 2
	switch {
	case len(p.ports) == 1 && rng.chance(0.5):
		k := pick(rng, 3, 4, 5)
		r := math.Hypot(w, h)/2 + d/2 + 5
		turn := rng.in(0, 2*math.Pi)
		for i := range k {
			a := turn + 2*math.Pi*float64(i)/float64(k)
			if !wish.symmetric && i == 0 {
				a += rng.in(0.12, 0.3)
			}
			at = append(at, polar(r, a))
		}
	case len(p.ports) == 1:
		x, y := w/2+rng.in(4, 10), h/2+rng.in(4, 10)
		j := 0.0
		if !wish.symmetric {
			j = rng.in(2, 8)
		}
		at = []geom.PointMM{{X: -x, Y: -y}, {X: x + j, Y: -y}, {X: x, Y: y}, {X: -x, Y: y}}
	default:
		for i := 0; i <= cols; i++ {
			x := -half + float64(i)*pitch
			if i == 0 || i == cols {
				x *= 1 - 0.3*rng.Float64()*pitch/(2*half)
				if wish.symmetric {
					x = math.Copysign(half, x)
				}
			}
			top := wish.symmetric || rng.chance(0.65)
			bottom := wish.symmetric || !top || rng.chance(0.35)
			j := func() float64 {
				if wish.symmetric {
					return 0
				}
				return rng.in(-3, 3)
			}
			if top {
				at = append(at, geom.PointMM{X: x + j(), Y: up + j()/2})
			}
			if bottom {
				at = append(at, geom.PointMM{X: x + j(), Y: -up + j()/2})
			}
		}
	}
	if len(at) < 3 {
		return false
	}
	free := func(c geom.PointMM, r float64) bool {
		for _, o := range p.ports {
			if inside(c, o) {
				return false
			}
			for i := 0; i < len(o); i += 4 {
				if o[i].Dist(c) < r {
					return false
				}
			}
		}
		for _, q := range p.holes {
			if q.Centre.Dist(c) < r+q.DiameterMM/2 {
				return false
			}
		}
		return true
	}
	for i, c := range at {
		for range 20 {
			if free(c, d/2+4) {
				break
			}
			c.Y += math.Copysign(1.5, c.Y)
		}
		if !free(c, d/2+4) {
			return false
		}
		p.holes = append(p.holes, Hole{ID: fmt.Sprintf("B%d", i+1), Centre: c, DiameterMM: d, EdgeDiameterMM: d})
	}
	if !wish.noDowels && rng.chance(0.65) {
		dd := pick(rng, 6.0, 8.0, 10.0)
		if math.Abs(dd-d) < 1 {
			dd = d + 2
		}
		x := half + rng.in(2, 10)
		if len(p.ports) == 1 {
			x = w/2 + rng.in(9, 16)
		}
		y := rng.in(-h/3, h/3)
		if wish.symmetric {
			y = 0
		}
		a, b := geom.PointMM{X: -x, Y: y}, geom.PointMM{X: x, Y: -y}
		if free(a, dd/2+4) && free(b, dd/2+4) {
			p.holes = append(p.holes, Hole{ID: "D1", Dowel: true, Centre: a, DiameterMM: dd, EdgeDiameterMM: dd},
				Hole{ID: "D2", Dowel: true, Centre: b, DiameterMM: dd, EdgeDiameterMM: dd})
		}
	}
	return true
}

func extent(p []geom.PointMM) (lo, hi geom.PointMM) {
	lo, hi = p[0], p[0]
	for _, q := range p {
		lo.X, lo.Y = math.Min(lo.X, q.X), math.Min(lo.Y, q.Y)
		hi.X, hi.Y = math.Max(hi.X, q.X), math.Max(hi.Y, q.Y)
	}
	return lo, hi
}

// around draws the part's own edge: lobes round openings and holes, joined with fillets. It is the zero line of a smooth
// minimum of the distances, followed on a 1 mm grid.
func around(ports [][]geom.PointMM, holes []Hole, portMarginMM, holeMarginMM float64) []geom.PointMM {
	var cs []curve
	for _, p := range ports {
		cs = append(cs, curve{outline: p})
	}
	pf := newDistanceField(cs, 60, coarseMM)
	var mid geom.PointMM
	for _, p := range ports {
		mid = mid.Add(centroidOf(p).Scale(1 / float64(len(ports))))
	}
	// A bar through all openings, and one from every hole to its nearest opening, hold the part together.
	type bar struct{ a, b geom.PointMM }
	var bars []bar
	for i := range ports {
		c := centroidOf(ports[i])
		best, at := math.Inf(1), mid
		for j := range ports {
			q := centroidOf(ports[j])
			if d := q.Dist(mid); j != i && d < c.Dist(mid) && q.Dist(c) < best {
				best, at = q.Dist(c), q
			}
		}
		bars = append(bars, bar{c, at})
	}
	for _, h := range holes {
		best, at := math.Inf(1), mid
		for i := range ports {
			if q := centroidOf(ports[i]); q.Dist(h.Centre) < best {
				best, at = q.Dist(h.Centre), q
			}
		}
		bars = append(bars, bar{h.Centre, at})
	}
	value := func(p geom.PointMM) float64 {
		const k = 9.0
		e := math.Exp(-(pf.soft(p.X, p.Y) - portMarginMM) / k * 2)
		for _, h := range holes {
			e += math.Exp(-(p.Dist(h.Centre) - h.DiameterMM/2 - holeMarginMM) / k * 2)
		}
		for _, b := range bars {
			e += math.Exp(-(distToSegment(p, b.a, b.b) - 9) / k * 2)
		}
		return -math.Log(e)
	}
	lo, hi := extent(ports[0])
	for _, p := range ports {
		a, b := extent(p)
		lo, hi = geom.PointMM{X: math.Min(lo.X, a.X), Y: math.Min(lo.Y, a.Y)}, geom.PointMM{X: math.Max(hi.X, b.X), Y: math.Max(hi.Y, b.Y)}
	}
	for _, h := range holes {
		lo, hi = geom.PointMM{X: math.Min(lo.X, h.Centre.X), Y: math.Min(lo.Y, h.Centre.Y)}, geom.PointMM{X: math.Max(hi.X, h.Centre.X), Y: math.Max(hi.Y, h.Centre.Y)}
	}
	rough := levelLine(value, lo, hi)
	// Closing with a ball of 7 mm fills slits and rounds inner corners, as on a casting.
	const ball = 7.0
	grown := newDistanceField([]curve{{outline: rough, outer: true}}, 40, coarseMM)
	grownLine := levelLine(func(p geom.PointMM) float64 { return -grown.soft(p.X, p.Y) - ball }, lo, hi)
	back := newDistanceField([]curve{{outline: grownLine, outer: true}}, 40, coarseMM)
	return levelLine(func(p geom.PointMM) float64 { return -back.soft(p.X, p.Y) + ball }, lo, hi)
}

// levelLine is the longest zero line of value, negative inside, within 35 mm of the box lo to hi; smoothed over 3 mm.
func levelLine(value func(geom.PointMM) float64, lo, hi geom.PointMM) []geom.PointMM {
	nx, ny := int(hi.X-lo.X)+70, int(hi.Y-lo.Y)+70
	at := func(x, y float64) geom.PointMM { return geom.PointMM{X: lo.X - 35 + x, Y: lo.Y - 35 + y} }
	v := make([]float64, nx*ny)
	for iy := range ny {
		for ix := range nx {
			v[iy*nx+ix] = value(at(float64(ix), float64(iy)))
		}
	}
	loop := longestZeroLine(v, nx, ny)
	out := make([]geom.PointMM, len(loop))
	for i, q := range loop {
		out[i] = at(q.X, q.Y)
	}
	out = resample(out, 1)
	for range 3 { // smooths the grid out of the line
		q := make([]geom.PointMM, len(out))
		for i := range out {
			a, b := out[(i+len(out)-1)%len(out)], out[(i+1)%len(out)]
			q[i] = out[i].Scale(0.5).Add(a.Add(b).Scale(0.25))
		}
		out = q
	}
	return resample(spline(out), outlineStepMM)
}

// spline rounds a closed polyline off (Catmull-Rom, eight points a span).
func spline(p []geom.PointMM) []geom.PointMM {
	n := len(p)
	var out []geom.PointMM
	for i := range p {
		a, b, c, d := p[(i+n-1)%n], p[i], p[(i+1)%n], p[(i+2)%n]
		for k := range 8 {
			t := float64(k) / 8
			f := func(a, b, c, d float64) float64 {
				return 0.5 * (2*b + t*(c-a) + t*t*(2*a-5*b+4*c-d) + t*t*t*(3*b-a-3*c+d))
			}
			out = append(out, geom.PointMM{X: f(a.X, b.X, c.X, d.X), Y: f(a.Y, b.Y, c.Y, d.Y)})
		}
	}
	return out
}

// longestZeroLine follows the zero line of v, negative inside, and returns its longest loop in grid units.
func longestZeroLine(v []float64, nx, ny int) []geom.PointMM {
	// Every crossed grid edge is a node; a cell joins its crossed edges two by two.
	type node struct {
		p    geom.PointMM
		next []int
	}
	nodes := map[int]*node{}
	key := func(ix, iy int, down bool) int {
		k := 2 * (iy*nx + ix)
		if down {
			k++
		}
		return k
	}
	get := func(ix, iy int, down bool) int {
		k := key(ix, iy, down)
		if nodes[k] == nil {
			a := v[iy*nx+ix]
			if down {
				b := v[(iy+1)*nx+ix]
				nodes[k] = &node{p: geom.PointMM{X: float64(ix), Y: float64(iy) + a/(a-b)}}
			} else {
				b := v[iy*nx+ix+1]
				nodes[k] = &node{p: geom.PointMM{X: float64(ix) + a/(a-b), Y: float64(iy)}}
			}
		}
		return k
	}
	for iy := range ny - 1 {
		for ix := range nx - 1 {
			a, b, c, d := v[iy*nx+ix] < 0, v[iy*nx+ix+1] < 0, v[(iy+1)*nx+ix] < 0, v[(iy+1)*nx+ix+1] < 0
			var e []int
			if a != b {
				e = append(e, get(ix, iy, false))
			}
			if b != d {
				e = append(e, get(ix+1, iy, true))
			}
			if c != d {
				e = append(e, get(ix, iy+1, false))
			}
			if a != c {
				e = append(e, get(ix, iy, true))
			}
			for j := 0; j+1 < len(e); j += 2 {
				nodes[e[j]].next = append(nodes[e[j]].next, e[j+1])
				nodes[e[j+1]].next = append(nodes[e[j+1]].next, e[j])
			}
		}
	}
	var best []geom.PointMM
	seen := map[int]bool{}
	for k := range 2 * nx * ny {
		if nodes[k] == nil || seen[k] {
			continue
		}
		var loop []geom.PointMM
		for at := k; ; {
			seen[at] = true
			loop = append(loop, nodes[at].p)
			next := -1
			for _, q := range nodes[at].next {
				if !seen[q] {
					next = q
				}
			}
			if next < 0 {
				break
			}
			at = next
		}
		if len(loop) > len(best) {
			best = loop
		}
	}
	return best
}
