package contour

import (
	"math"

	"portmatch/internal/geom"
)

// A hole in a face shows two circles: the edge of the face, and deeper and so displaced where the camera looks at a slant, a
// second one. In a thick part that is the bore at the foot of its chamfer, where the dark begins; in a gasket the foot of the
// cut wall, where the bench begins. Both belong to one axis, so one circle and one depth say where both of them are seen.
// The strong edge is the second one, and the fit's parameters are those of the second circle as it is seen.

// twin is a hole as it is seen on the face's plane, mm.
type twin struct {
	b     geom.PointMM // centre of the second circle, from the middle of the band
	r     float64      // its radius
	depth float64      // of the second circle below the face
}

// holeBand is the photo round one candidate, unrolled along rays from its middle.
type holeBand struct {
	*band
	mid    geom.PointMM
	radius float64        // of the circle at s = 0
	u      []geom.PointMM // unit rays, outward
	lean   geom.PointMM   // what lies 1 mm below the middle is seen displaced by this, on the face's plane
	shrink float64        // what lies 1 mm below is seen larger by this factor less 1 (it is negative)
	cast   *castShadow    // the shadow that the lamp throws; nil for none
	wall   bool           // the second circle is a wall's foot, as large as the first; else a chamfer's of 45°
	shape  *edgeShape
	// leastStep is what the brightness must change by at a gasket's edge, of the face's.
	leastStep float64
	// leastAgree is the share of a gasket's edge that must lie on the circle.
	leastAgree float64
	weight     []float64 // of the samples, one row a sector: 1 / variance
	cum        []moments // running sums along the rays, n+1 each

	sectors int       // the rays fall into so many groups of neighbours, whose levels are the same
	rays    int       // in a sector
	level   []float64 // of the face beside each sector
	spread  []float64
}

const (
	// chamferMaxMM is the widest chamfer looked for; common practice for bolt and dowel holes is 0.3 to 1 mm, no source.
	chamferMaxMM = 1.0
	// sectorMM is how far along an edge the brightness of a chamfer or wall stays much the same.
	sectorMM = 2.0
)

// holeBand unrolls the photo round the circle (centre, radius), inMM to its inside and outMM to its outside. It returns nil
// where that leaves the photo.
func (s *surface) holeBand(centre geom.PointMM, radius, inMM, outMM float64, wall bool, shape *edgeShape) *holeBand {
	px := s.mmPerPx(centre)
	around := 2 * math.Pi * radius
	h := &holeBand{mid: centre, radius: radius, wall: wall, shape: shape, leastStep: 0.45, leastAgree: 0.65, sectors: min(max(int(around/sectorMM+0.5), 16), 30)}
	// Between rays: closer where pixels are few, as each then brings more of the news.
	apart := math.Min(math.Max(0.036/px, 0.25), 0.4)
	if s.cam.Scan != nil {
		h.leastStep, h.leastAgree = 0.15, 0.5
	}
	h.rays = max(2, int(around/float64(h.sectors)/apart+0.5))
	h.u = make([]geom.PointMM, h.sectors*h.rays)
	ring := make([]geom.PointMM, len(h.u))
	for i := range ring {
		si, co := math.Sincos(2 * math.Pi * (float64(i) + 0.5) / float64(len(ring)))
		h.u[i] = geom.PointMM{X: co, Y: si}
		ring[i] = centre.Add(h.u[i].Scale(radius))
	}
	h.band = s.unroll(ring, -outMM, math.Min(inMM, 0.9*radius), 0.5*px, 0, false)
	for _, y := range h.rows {
		if y != y {
			return nil
		}
	}
	below := func(p geom.PointMM) geom.PointMM { return s.face(s.cam.PixelFromPlane(p, s.heightMM-1)) }
	h.lean = below(centre).Sub(centre)
	x := below(centre.Add(geom.PointMM{X: radius})).Dist(below(centre.Sub(geom.PointMM{X: radius})))
	y := below(centre.Add(geom.PointMM{Y: radius})).Dist(below(centre.Sub(geom.PointMM{Y: radius})))
	h.shrink = (x+y)/(4*radius) - 1

	level, spread := faceLevels(h.band, -outMM, -outMM+0.8)
	for k := range h.sectors {
		h.level = append(h.level, level[k*h.rays+h.rays/2])
		h.spread = append(h.spread, spread[k*h.rays+h.rays/2])
	}
	h.weigh()
	return h
}

// weigh gives every sample its weight and makes the running sums. What lies in the dark of a bore is far less noisy than a
// milled face: texture is in proportion to brightness, and next to an edge the edge's shape is not known perfectly.
func (h *holeBand) weigh() {
	const (
		darkNoise = 0.006 // of full scale, linear light: noise and compression in dark places
		misshapen = 0.1   // of the step across an edge: how well its shape is known
		reach     = 3     // samples, 1.5 px
	)
	m := h.n + 1
	h.weight = make([]float64, h.sectors*h.n)
	h.cum = make([]moments, len(h.u)*m)
	mean, scatter := make([]float64, h.n), make([]float64, h.n)
	for k := range h.sectors {
		for j := range mean {
			var s, q float64
			for i := k * h.rays; i < (k+1)*h.rays; i++ {
				y := float64(h.rows[i*h.n+j])
				s, q = s+y, q+y*y
			}
			mean[j] = s / float64(h.rays)
			scatter[j] = math.Max(0, q-s*mean[j]) / float64(h.rays-1)
		}
		w := h.weight[k*h.n : (k+1)*h.n]
		for j := range w {
			lo, hi, s, q := math.Inf(1), math.Inf(-1), 0.0, 0.0
			a, b := max(j-reach, 0), min(j+reach, h.n-1)
			for i, v := range mean[a : b+1] {
				lo, hi, s, q = min(lo, v), max(hi, v), s+v, q+scatter[a+i]
			}
			n := float64(b - a + 1)
			noise := h.spread[k] * s / n / (h.level[k] + 1e-3)
			// Glitter on a chamfer is seen in how its rays differ.
			w[j] = 1 / (math.Max(noise*noise, 0.25*q/n) + darkNoise*darkNoise + math.Pow(misshapen*(hi-lo), 2))
		}
		for i := k * h.rays; i < (k+1)*h.rays; i++ {
			c := h.cum[i*m : (i+1)*m]
			for j, v := range h.band.row(i) {
				c[j+1] = c[j].with(w[j], h.s0+float64(j)*h.ds, float64(v))
			}
		}
	}
}

// moments are sums over samples of weight times powers of the offset s, alone and times brightness.
type moments struct {
	w, ws, ws2, ws3, ws4 float64
	y, ys, ys2           float64
	yy                   float64
}

func (m moments) with(w, s, y float64) moments {
	wy := w * y
	return moments{m.w + w, m.ws + w*s, m.ws2 + w*s*s, m.ws3 + w*s*s*s, m.ws4 + w*s*s*s*s,
		m.y + wy, m.ys + wy*s, m.ys2 + wy*s*s, m.yy + wy*y}
}

func (m moments) less(o moments) moments {
	return moments{m.w - o.w, m.ws - o.ws, m.ws2 - o.ws2, m.ws3 - o.ws3, m.ws4 - o.ws4,
		m.y - o.y, m.ys - o.ys, m.ys2 - o.ys2, m.yy - o.yy}
}

// from returns the moments about s = b instead of 0.
func (m moments) from(b float64) moments {
	return moments{
		w: m.w, ws: m.ws - b*m.w, ws2: m.ws2 + b*(-2*m.ws+b*m.w),
		ws3: m.ws3 + b*(-3*m.ws2+b*(3*m.ws-b*m.w)), ws4: m.ws4 + b*(-4*m.ws3+b*(6*m.ws2+b*(-4*m.ws+b*m.w))),
		y: m.y, ys: m.ys - b*m.y, ys2: m.ys2 + b*(-2*m.ys+b*m.y), yy: m.yy,
	}
}

// first returns centre (from the middle) and radius of the face's edge.
func (h *holeBand) first(t twin) (geom.PointMM, float64) {
	e := t.b.Sub(h.lean.Scale(t.depth))
	r := t.r / (1 + h.shrink*t.depth)
	if !h.wall {
		r += t.depth
	}
	return e, r
}

// second is the inverse of first.
func (h *holeBand) second(e geom.PointMM, r, depth float64) twin {
	if !h.wall {
		r -= depth
	}
	return twin{e.Add(h.lean.Scale(depth)), r * (1 + h.shrink*depth), depth}
}

// reachOf returns how far from the middle the circle (e, r) crosses the ray u.
func reachOf(e geom.PointMM, r float64, u geom.PointMM) float64 {
	a := e.Dot(u)
	return a + math.Sqrt(max(r*r-e.Dot(e)+a*a, 0)) // max, not math.Max: the compiler writes it in line
}

// crossings say where every ray crosses the face's edge, the second circle, and the rim of the shadow that the lamp throws past it, as
// offsets s; rim is nil where no shadow is known of. bare says of every sector that nothing is seen there of the wall.
type crossings struct {
	edge, second, rim []float64
	bare              []bool
}

func (h *holeBand) newCrossings() *crossings {
	c := &crossings{edge: make([]float64, len(h.u)), second: make([]float64, len(h.u)), bare: make([]bool, h.sectors)}
	if h.cast != nil {
		c.rim = make([]float64, len(h.u))
	}
	return c
}

// cross lays the circles of t, and the shadow they throw, across the rays.
func (h *holeBand) cross(t twin, c *crossings) {
	e, r := h.first(t)
	for i, u := range h.u {
		c.edge[i] = h.radius - reachOf(e, r, u)
		c.second[i] = max(c.edge[i], h.radius-reachOf(t.b, t.r, u))
	}
	if c.rim == nil {
		return
	}
	thrown := t.b.Add(h.cast.at(h.mid))
	for i, u := range h.u {
		c.rim[i] = max(c.second[i], h.radius-reachOf(thrown, t.r, u))
	}
	for k := range h.sectors {
		wall := 0.0
		for i := k * h.rays; i < (k+1)*h.rays; i++ {
			wall = max(wall, c.second[i]-c.edge[i])
		}
		c.bare[k] = wall <= seenPx*h.pxMM
	}
}

// seenPx is how wide, in pixels, what lies between two edges must be to be told from either side.
const seenPx = 0.3

// shadowed tells whether a shadow is seen past the second circle in sector k.
func (h *holeBand) shadowed(k int, c *crossings) bool {
	if c.rim == nil {
		return false
	}
	for i := k * h.rays; i < (k+1)*h.rays; i++ {
		if c.rim[i]-c.second[i] > seenPx*h.pxMM {
			return true
		}
	}
	return false
}

// edgeShape is what a straight edge from level 0 to level 1 looks like across, in pixels: blurred, and sharpened by the camera.
// A camera sharpens gamma-coded pixels, so that in linear light the overshoot on the bright side is large and that on the
// dark side small.
type edgeShape struct {
	sigmaPx, halo float64
	rise, fall    [shapeSteps + 2]float64 // the first level dark, and bright
}

const (
	shapeReach = 4.0 // px to either side of the edge; beyond it all is flat
	shapeSteps = 800 // of 0.01 px
	sharpenPx  = 1.0 // standard deviation of the blur that sharpening compares with, px: that of a 3 x 3 neighbourhood
	darkHalo   = 0.2 // overshoot on the dark side, of that on the bright side
)

func newEdgeShape(sigmaPx, halo float64) *edgeShape {
	e := &edgeShape{sigmaPx: sigmaPx, halo: halo}
	wide := math.Hypot(sigmaPx, sharpenPx)
	for i := range e.rise {
		x := float64(i)*2*shapeReach/shapeSteps - shapeReach
		f := phi(x / sigmaPx)
		over := halo * (f - phi(x/wide))
		if x < 0 {
			e.fall[i], e.rise[i] = f+over, f+darkHalo*over
		} else {
			e.fall[i], e.rise[i] = f+darkHalo*over, f+over
		}
	}
	return e
}

// shapeAt returns the shape at x px past the edge.
func shapeAt(table *[shapeSteps + 2]float64, x float64) float64 {
	t := (x + shapeReach) * (shapeSteps / (2 * shapeReach))
	if t <= 0 {
		return 0
	}
	if t >= shapeSteps {
		return 1
	}
	i := int(t)
	return table[i] + (t-float64(i))*(table[i+1]-table[i])
}

// sumOver returns the weighted sum and the weight of ray i's samples from s = a to b.
func (h *holeBand) sumOver(i int, a, b float64) (float64, float64) {
	j0, j1 := max(int(math.Ceil(h.index(a))), 0), min(int(h.index(b)), h.n-1)
	if j1 <= j0 {
		return 0, 0
	}
	c := h.cum[i*(h.n+1):]
	return c[j1+1].y - c[j0].y, c[j1+1].w - c[j0].w
}

// levels is what a sector's fit finds.
type levels struct {
	sse  float64
	cost float64 // minus the log likelihood, the levels marginalised
	// Level of the face at its edge, step there, step at the second circle; what comes behind that: in a thick part a rise or fall
	// over rampMM, in a gasket the shadow on the bench as a parabola; and the slope of the face, up to its edge or up to the
	// second circle.
	x  [levelCols]float64
	as look
}

// fitSector fits the levels of sector k with the edges of its rays moved by shift, the ground between the first two looking
// as given.
func (h *holeBand) fitSector(k int, c *crossings, shift float64, as look) levels {
	n := h.sums(k, c, shift)
	return h.solve(k, &n, as)
}

// sums adds up the normal equations of sector k with the edges of its rays moved by shift.
func (h *holeBand) sums(k int, at *crossings, shift float64) normal {
	if h.shadowed(k, at) {
		return h.shadowedSums(k, at, shift)
	}
	s1, s2 := at.edge, at.second
	lo, hi := k*h.rays, (k+1)*h.rays
	two := false
	var outer, between, inner, nOuter, nBetween, nInner float64
	for i := lo; i < hi; i++ {
		a, b := s1[i]+shift, s2[i]+shift
		two = two || b-a > seenPx*h.pxMM
		v, n := h.sumOver(i, a-0.6, a)
		outer, nOuter = outer+v, nOuter+n
		v, n = h.sumOver(i, a, b)
		between, nBetween = between+v, nBetween+n
		v, n = h.sumOver(i, b, b+0.5)
		inner, nInner = inner+v, nInner+n
	}
	outer, inner = outer/math.Max(nOuter, 1e-9), inner/math.Max(nInner, 1e-9)
	if nBetween > 0 {
		between /= nBetween
	} else {
		between = inner
	}
	t1, t2 := &h.shape.fall, &h.shape.fall
	if between > outer {
		t1 = &h.shape.rise
	}
	if inner > between {
		t2 = &h.shape.rise
	}
	var ata equations
	var yy float64
	inv := 1 / h.pxMM
	weight := h.weight[k*h.n : (k+1)*h.n]
	var n02, n12, n22, n2y float64 // of the second step, for one sector
	var n01, n11, n1y float64
	var g0, g1, g2, gg, gy float64 // of the slope of the face, up to its edge
	var k0, k1, k2, kk, ky float64 // and up to the second circle
	for i := lo; i < hi; i++ {
		a, b := s1[i]+shift, s2[i]+shift
		row := h.band.row(i)
		c := h.cum[i*(h.n+1) : (i+1)*(h.n+1)]
		all := &c[h.n]
		ata[0][0] += all.w
		ata[0][levelCols] += all.y
		yy += all.yy
		// Outside the reach of the edges every column is simple: nothing but face without, and steps taken in full within.
		j0 := min(max(int(math.Ceil(h.index(a-shapeReach*h.pxMM))), 0), h.n)
		j1 := min(max(int(math.Ceil(h.index(b+shapeReach*h.pxMM))), j0), h.n)
		face := c[j0].from(a)
		g0, gg, gy = g0+face.ws, gg+face.ws2, gy+face.ys
		face = c[j0].from(b)
		k0, kk, ky = k0+face.ws, kk+face.ws2, ky+face.ys
		for j := j0; j < j1; j++ {
			y, w := float64(row[j]), weight[j]
			s := h.s0 + float64(j)*h.ds
			c1 := shapeAt(t1, (s-a)*inv)
			w1 := w * c1
			n01 += w1
			n11 += w1 * c1
			n1y += w1 * y
			var c2 float64
			if two {
				c2 = shapeAt(t2, (s-b)*inv)
				w2 := w * c2
				n02 += w2
				n12 += c1 * w2
				n22 += c2 * w2
				n2y += w2 * y
			}
			if s < a {
				wg := w * (s - a)
				g0 += wg
				g1 += c1 * wg
				g2 += c2 * wg
				gg += (s - a) * wg
				gy += wg * y
			}
			if s < b {
				wk := w * (s - b)
				k0 += wk
				k1 += c1 * wk
				k2 += c2 * wk
				kk += (s - b) * wk
				ky += wk * y
			} else {
				r := s - b
				if !h.wall {
					r = min(r/rampMM, 1)
				}
				wr := w * r
				ata[0][3] += wr
				ata[1][3] += c1 * wr
				ata[2][3] += c2 * wr
				ata[3][3] += r * wr
				ata[3][levelCols] += wr * y
				if h.wall {
					q := r * r
					wq := w * q
					ata[0][4] += wq
					ata[1][4] += c1 * wq
					ata[2][4] += c2 * wq
					ata[3][4] += r * wq
					ata[4][4] += q * wq
					ata[4][levelCols] += wq * y
				}
			}
		}
		rest := all.less(c[j1])
		n01, n11, n1y = n01+rest.w, n11+rest.w, n1y+rest.y
		n02, n12, n22, n2y = n02+rest.w, n12+rest.w, n22+rest.w, n2y+rest.y
		var r1, r2, ry float64 // of the ramp
		if h.wall {
			m := rest.from(b)
			r1, r2, ry = m.ws, m.ws2, m.ys
			for p := range 3 {
				ata[p][4] += m.ws2
			}
			ata[3][4] += m.ws3
			ata[4][4] += m.ws4
			ata[4][levelCols] += m.ys2
		} else {
			j2 := min(max(int(math.Ceil(h.index(b+rampMM))), j1), h.n)
			rising, full := c[j2].less(c[j1]).from(b), all.less(c[j2])
			r1 = rising.ws/rampMM + full.w
			r2 = rising.ws2/(rampMM*rampMM) + full.w
			ry = rising.ys/rampMM + full.y
		}
		for p := range 3 {
			ata[p][3] += r1
		}
		ata[3][3] += r2
		ata[3][levelCols] += ry
	}
	ata[0][1], ata[1][1], ata[1][levelCols] = n01, n11, n1y
	ata[0][2], ata[1][2], ata[2][2], ata[2][levelCols] = n02, n12, n22, n2y
	ata[0][5], ata[1][5], ata[2][5], ata[5][5], ata[5][levelCols] = g0, g1, g2, gg, gy
	ata[0][6], ata[1][6], ata[2][6], ata[6][6], ata[6][levelCols] = k0, k1, k2, kk, ky
	return normal{ata, yy, two, false, false}
}

// shadowedSums is sums where a shadow is seen past the wall's foot, or past the edge where nothing is seen of the wall: a step at its rim, as soft
// as that is, takes the place of what comes behind the second circle.
func (h *holeBand) shadowedSums(k int, at *crossings, shift float64) normal {
	lo, hi := k*h.rays, (k+1)*h.rays
	bare := at.bare[k]
	var level, count [3]float64 // of the face, of the wall, of the shadow
	for i := lo; i < hi; i++ {
		a, b, c := at.edge[i]+shift, at.second[i]+shift, at.rim[i]+shift
		for q, from := range [3][2]float64{{a - 0.6, a}, {a, b}, {b, c}} {
			v, n := h.sumOver(i, from[0], from[1])
			level[q], count[q] = level[q]+v, count[q]+n
		}
	}
	for q := range level {
		level[q] /= max(count[q], 1e-9)
	}
	if bare {
		level[1] = level[2]
	}
	t1, t2 := &h.shape.fall, &h.shape.fall
	if level[1] > level[0] {
		t1 = &h.shape.rise
	}
	if level[2] > level[1] {
		t2 = &h.shape.rise
	}
	var ata equations
	var yy float64
	inv, soft := 1/h.pxMM, 1/math.Hypot(h.shape.sigmaPx*h.pxMM, h.cast.blurMM)
	for i := lo; i < hi; i++ {
		a, b, c := at.edge[i]+shift, at.second[i]+shift, at.rim[i]+shift
		row := h.band.row(i)
		cum := h.cum[i*(h.n+1) : (i+1)*(h.n+1)]
		yy += cum[h.n].yy
		// Outside the reach of the edge there is nothing but face. Its slope is taken up to the edge or up to the second circle, never both.
		j0 := min(max(int(math.Ceil(h.index(a-shapeReach*h.pxMM))), 0), h.n)
		ata[0][0] += cum[j0].w
		ata[0][levelCols] += cum[j0].y
		for q, from := range [2]float64{a, b} {
			face := cum[j0].from(from)
			ata[0][5+q] += face.ws
			ata[5+q][5+q] += face.ws2
			ata[5+q][levelCols] += face.ys
		}
		for j := j0; j < h.n; j++ {
			y, w := float64(row[j]), h.weight[k*h.n+j]
			s := h.s0 + float64(j)*h.ds
			x := [levelCols]float64{0: 1, 1: shapeAt(t1, (s-a)*inv), 5: min(s-a, 0), 6: min(s-b, 0)}
			if rim, past := phi((s-c)*soft), max(s-c, 0); bare {
				x[2], x[3], x[4] = rim, past, past*past
			} else {
				x[2], x[3], x[4] = shapeAt(t2, (s-b)*inv), rim, past
			}
			for p, v := range x {
				wv := w * v
				for q := p; q < levelCols; q++ {
					ata[p][q] += wv * x[q]
				}
				ata[p][levelCols] += wv * y
			}
		}
	}
	return normal{ata, yy, true, true, bare}
}

// look is what the ground between the two circles looks like in a sector.
type look int

const (
	free       look = iota // any brightness
	likeFace               // no step at the face's edge
	likeBehind             // no step at the second circle
	looks
)

// Chances of the looks in one sector, and of a sector's look being its neighbour's: light turns gradually round a chamfer, so that it
// stands out, or does not, over a stretch. What stands out in one sector alone is rather a mark on the face.
var (
	lookPrice  = [looks]float64{-math.Log(0.35), -math.Log(0.5), -math.Log(0.15)}
	staysPrice = -math.Log(0.8)
	turnsPrice = -math.Log(0.1)
)

// all fits every sector's levels, and chooses the looks of all sectors together. It returns them with their cost, and whether the
// ground between the circles is seen at all.
func (h *holeBand) all(t twin, at *crossings) (fits []levels, cost float64, shown bool) {
	h.cross(t, at)
	options := make([][looks]levels, h.sectors)
	for k := range options {
		n := h.sums(k, at, 0)
		options[k][free] = h.solve(k, &n, free)
		if !n.two {
			options[k][likeFace], options[k][likeBehind] = options[k][free], options[k][free]
			continue
		}
		options[k][likeFace] = h.solve(k, &n, likeFace)
		options[k][likeBehind] = h.solve(k, &n, likeBehind)
	}
	price := func(a, b look) float64 {
		if a == b {
			return staysPrice
		}
		return turnsPrice
	}
	best := math.Inf(1)
	chosen := make([]look, h.sectors)
	from := make([][looks]look, h.sectors)
	// Once for every look of the first sector, so that the chain closes on it.
	for first := range looks {
		var sofar [looks]float64
		for l := range looks {
			sofar[l] = math.Inf(1)
		}
		sofar[first] = options[0][first].cost + lookPrice[first]
		for k := 1; k < h.sectors; k++ {
			var next [looks]float64
			for b := range looks {
				least := math.Inf(1)
				for a := range looks {
					if c := sofar[a] + price(a, b); c < least {
						least, from[k][b] = c, a
					}
				}
				next[b] = least + options[k][b].cost
			}
			sofar = next
		}
		for last := range looks {
			if c := sofar[last] + price(last, first); c < best {
				best = c
				l := last
				for k := h.sectors - 1; k >= 0; k-- {
					chosen[k] = l
					l = from[k][l]
				}
			}
		}
	}
	fits = make([]levels, h.sectors)
	for k, l := range chosen {
		fits[k] = options[k][l]
		shown = shown || l == free || l != chosen[0]
	}
	if t.depth == 0 {
		for _, l := range fits {
			cost += l.cost
		}
		return fits, cost, false
	}
	if !shown {
		best += unseen
	}
	return fits, best, shown
}

// unseen is the price, log likelihood, of a chamfer that looks like the face, or like the bore, all the way round: one in seven
// might (a guess).
const unseen = 2

// solve fits the levels to the sums over sector k.
func (h *holeBand) solve(k int, sums *normal, as look) levels {
	ata, yy, two := sums.ata, sums.yy, sums.two
	add, weights := 0.0, 1.0
	lv, sp := h.level[k], h.spread[k]
	prior := func(col int, mean, sigma float64) {
		w := 1 / (sigma * sigma * news)
		weights *= w
		ata[col][col] += w
		ata[col][levelCols] += w * mean
		add += w * mean * mean
	}
	large := lv + sp
	cols := [levelCols]bool{0: true, 1: true, 2: two, 3: true, 4: h.wall}
	// Ground that looks like the face goes on like the face.
	slope := 5
	if two && as == likeFace {
		slope = 6
	}
	cols[slope] = true
	prior(slope, 0, sp+0.02*lv)
	prior(0, lv, lv)
	switch {
	case two && as == likeFace:
		cols[1] = false
	case two && h.wall:
		prior(1, -0.3*lv, 0.4*lv+sp)
	default:
		prior(1, 0, large)
	}
	if two && as == likeBehind {
		cols[2] = false
	} else if two {
		prior(2, 0, large)
	}
	if sums.shadowed && !sums.bare {
		prior(3, 0, large)
		prior(4, 0, lv+sp)
	} else if h.wall {
		// Behind the wall lies the bench, in a shadow as soft as it likes.
		prior(3, 0, lv+sp)
		prior(4, 0, lv+sp)
	} else {
		prior(3, 0, 0.1*lv)
	}
	x, det, ok := ata.solve(cols)
	if !ok {
		return levels{sse: yy, cost: h.cost(yy)}
	}
	sse := yy + add
	for a := range levelCols {
		sse -= x[a] * ata[a][levelCols]
	}
	sse = math.Max(sse, 0)
	return levels{sse, h.cost(sse) + math.Max(0, 0.5*math.Log(det/weights)), x, as}
}

// levelCols is the number of levels fitted to a sector.
const levelCols = 7

// normal is what a sector's samples add up to.
type normal struct {
	ata equations
	yy  float64
	two bool // there is ground between the circles
	// shadowed: a step at the rim of a shadow takes the place of what comes behind the second circle; bare: and of that circle's
	shadowed, bare bool
}

// equations are normal equations: the upper triangle, and the right side in the last column.
type equations [levelCols][levelCols + 1]float64

// solve solves for the columns wanted by Cholesky and returns the determinant with it. The sums over some hundred samples of weights
// up to 3e4 keep it between what a number can hold.
func (m *equations) solve(wanted [levelCols]bool) (x [levelCols]float64, det float64, ok bool) {
	det = 1
	var idx [levelCols]int
	n := 0
	for i, w := range wanted {
		if w {
			idx[n] = i
			n++
		}
	}
	var l [levelCols][levelCols]float64
	var z [levelCols]float64
	for a := range n {
		for c := 0; c <= a; c++ {
			v := m[idx[c]][idx[a]]
			for t := 0; t < c; t++ {
				v -= l[a][t] * l[c][t]
			}
			if a == c {
				if v <= 1e-12 {
					return x, 0, false
				}
				det *= v
				l[a][a] = math.Sqrt(v)
			} else {
				l[a][c] = v / l[c][c]
			}
		}
		v := m[idx[a]][levelCols]
		for t := 0; t < a; t++ {
			v -= l[a][t] * z[t]
		}
		z[a] = v / l[a][a]
	}
	for a := n - 1; a >= 0; a-- {
		v := z[a]
		for t := a + 1; t < n; t++ {
			v -= l[t][a] * x[idx[t]]
		}
		x[idx[a]] = v / l[a][a]
	}
	return x, det, true
}

// news is how many independent samples a sample is worth: they lie half a pixel apart.
const news = 0.5

// fair is added to a sector's mean squared residual, in units of the expected: a sector that happens to fit better than
// the noise allows has no more to say.
const fair = 0.3

// cost is minus the log likelihood of a sector's residuals, its noise unknown and its own: a sector that nothing fits (glare, a
// scratch) has little to say.
func (h *holeBand) cost(sse float64) float64 {
	n := float64(h.n * h.rays)
	return 0.5 * n * news * math.Log(sse/n+fair)
}

// total is the cost of all sectors.
func (h *holeBand) total(t twin) float64 {
	at := h.newCrossings()
	_, cost, _ := h.all(t, at)
	return cost
}

// twinFit is the best place of the circles at one depth.
type twinFit struct {
	twin
	cost  float64
	costs []float64     // of the sectors
	shown bool          // the ground between the circles is seen
	cov   [3][3]float64 // of b and r, mm²
	// excess is how much larger the variance of the places is by the sectors' scatter than by the noise assumed.
	excess float64
}

// settle moves the circles, at their depth, to the least cost by Newton's method, the levels eliminated.
func (h *holeBand) settle(t twin, rounds int) twinFit {
	step := 0.35 * h.pxMM * math.Max(h.shape.sigmaPx, 0.5)
	grads, costs := make([][3]float64, h.sectors), make([]float64, h.sectors)
	at := h.newCrossings()
	n := float64(h.n * h.rays)
	var hess [3][3]float64
	var total float64
	var shown bool
	for round := 0; ; round++ {
		hess = [3][3]float64{}
		var g [3]float64
		var fits []levels
		fits, total, shown = h.all(t, at)
		for k, f := range fits {
			fm, fp := h.fitSector(k, at, -step, f.as), h.fitSector(k, at, step, f.as)
			costs[k] = f.cost
			w := 0.5 * news / (f.sse/n + fair)
			d1 := w * (fp.sse - fm.sse) / (2 * step)
			d2 := math.Max(0, w*(fp.sse-2*f.sse+fm.sse)/(step*step))
			// s falls as the circle grows.
			var j [3]float64
			for i := k * h.rays; i < (k+1)*h.rays; i++ {
				u := h.u[i]
				a := t.b.Dot(u)
				q := math.Sqrt(max(t.r*t.r-t.b.Dot(t.b)+a*a, 1e-9))
				j[0] -= (u.X + (a*u.X-t.b.X)/q) / float64(h.rays)
				j[1] -= (u.Y + (a*u.Y-t.b.Y)/q) / float64(h.rays)
				j[2] -= t.r / q / float64(h.rays)
			}
			for p := range 3 {
				grads[k][p] = d1 * j[p]
				g[p] += d1 * j[p]
				for q := range 3 {
					hess[p][q] += d2 * j[p] * j[q]
				}
			}
		}
		if round == rounds {
			break
		}
		damp := hess
		for p := range 3 {
			damp[p][p] += 1e-3*(hess[0][0]+hess[1][1]+hess[2][2]) + 1e-9
		}
		inv, ok := invert3(damp)
		if !ok {
			break
		}
		var d [3]float64
		var size float64
		for p := range 3 {
			for q := range 3 {
				d[p] -= inv[p][q] * g[q]
			}
			size += d[p] * d[p]
		}
		size = math.Sqrt(size)
		f := 1.0
		if most := h.pxMM; size > most {
			f = most / size
		}
		t.b.X += f * d[0]
		t.b.Y += f * d[1]
		t.r += f * d[2]
		if size < 5e-4 {
			rounds = round + 1
		}
	}
	out := twinFit{twin: t, cost: total, costs: costs, shown: shown}
	inv, ok := invert3(hess)
	if !ok {
		for p := range 3 {
			out.cov[p][p] = 1
		}
		return out
	}
	// The sandwich: the sectors' own scatter says what the noise is.
	var meat [3][3]float64
	for _, s := range grads {
		for p := range 3 {
			for q := range 3 {
				meat[p][q] += s[p] * s[q]
			}
		}
	}
	f := float64(h.sectors) / float64(h.sectors-3)
	out.cov = sandwich(inv, meat)
	out.excess = f * (out.cov[0][0] + out.cov[1][1] + out.cov[2][2]) / (inv[0][0] + inv[1][1] + inv[2][2])
	for p := range 3 {
		for q := range 3 {
			out.cov[p][q] *= f
		}
	}
	return out
}

func sandwich(a, m [3][3]float64) (out [3][3]float64) {
	var t [3][3]float64
	for i := range 3 {
		for j := range 3 {
			for k := range 3 {
				t[i][j] += a[i][k] * m[k][j]
			}
		}
	}
	for i := range 3 {
		for j := range 3 {
			for k := range 3 {
				out[i][j] += t[i][k] * a[k][j]
			}
		}
	}
	return out
}

func invert3(m [3][3]float64) (o [3][3]float64, ok bool) {
	c := func(i, j int) float64 {
		a, b := (i+1)%3, (i+2)%3
		p, q := (j+1)%3, (j+2)%3
		return m[a][p]*m[b][q] - m[a][q]*m[b][p]
	}
	det := m[0][0]*c(0, 0) + m[0][1]*c(0, 1) + m[0][2]*c(0, 2)
	if !(math.Abs(det) > 1e-12*math.Abs(m[0][0]*m[1][1]*m[2][2])) {
		return o, false
	}
	for i := range 3 {
		for j := range 3 {
			o[j][i] = c(i, j) / det
		}
	}
	return o, true
}
