package render

import (
	"math"

	"portmatch/internal/geom"
)

// drawingToleranceMM is how far a drawn outline may stand from the given one. A tenth of a dot at 600 dpi (0.042 mm) can't
// be seen or printed, and it cuts a dense outline to a tenth of its vertices. Files for a cutter or a program keep every vertex.
const drawingToleranceMM = 0.004

// ring is a closed curve in mm, anticlockwise, first point not repeated.
type ring []geom.PointMM

// newRing copies a closed curve of either hand into an anticlockwise ring; a repeated last point is dropped.
func newRing(outline [][2]float64) ring {
	r := make(ring, len(outline))
	for i, p := range outline {
		r[i] = geom.PointMM{X: p[0], Y: p[1]}
	}
	if n := len(r); n > 1 && r[0] == r[n-1] {
		r = r[:n-1]
	}
	if r.signedArea() < 0 {
		for i, j := 0, len(r)-1; i < j; i, j = i+1, j-1 {
			r[i], r[j] = r[j], r[i]
		}
	}
	return r
}

func (r ring) signedArea() float64 {
	var a float64
	for i, p := range r {
		a += p.Cross(r[(i+1)%len(r)])
	}
	return a / 2
}

// centroid of the enclosed area; of the vertices where there is no area.
func (r ring) centroid() geom.PointMM {
	if len(r) == 0 {
		return geom.PointMM{}
	}
	o := r[0] // close by, so that the sums don't cancel
	var c geom.PointMM
	var a float64
	for i, p := range r {
		q := r[(i+1)%len(r)]
		w := p.Sub(o).Cross(q.Sub(o))
		a += w
		c = c.Add(p.Sub(o).Add(q.Sub(o)).Scale(w))
	}
	if a == 0 {
		for _, p := range r {
			c = c.Add(p.Sub(o))
		}
		return o.Add(c.Scale(1 / float64(len(r))))
	}
	return o.Add(c.Scale(1 / (3 * a)))
}

// mapped returns the ring under f, anticlockwise again if f changes the hand.
func (r ring) mapped(f func(geom.PointMM) geom.PointMM) ring {
	m := make([][2]float64, len(r))
	for i, p := range r {
		q := f(p)
		m[i] = [2]float64{q.X, q.Y}
	}
	return newRing(m)
}

// simplified drops vertices that stand within tol of the curve without them (Ramer 1972; Douglas and Peucker 1973).
func (r ring) simplified(tol float64) ring {
	if len(r) < 8 {
		return r
	}
	// A closed curve is cut at its first vertex and at the one furthest from it; both stay.
	far := 0
	for i, p := range r {
		if p.Dist(r[0]) > r[far].Dist(r[0]) {
			far = i
		}
	}
	keep := make([]bool, len(r))
	keep[0], keep[far] = true, true
	at := func(i int) geom.PointMM { return r[i%len(r)] }
	stack := [][2]int{{0, far}, {far, len(r)}}
	for len(stack) > 0 {
		s := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		worst, where := tol, -1
		for i := s[0] + 1; i < s[1]; i++ {
			if d := distToSegment(at(i), at(s[0]), at(s[1])); d > worst {
				worst, where = d, i
			}
		}
		if where >= 0 {
			keep[where] = true
			stack = append(stack, [2]int{s[0], where}, [2]int{where, s[1]})
		}
	}
	var out ring
	for i, k := range keep {
		if k {
			out = append(out, r[i])
		}
	}
	if len(out) < 3 {
		return r
	}
	return out
}

func distToSegment(p, a, b geom.PointMM) float64 {
	d := b.Sub(a)
	l2 := d.Dot(d)
	if l2 == 0 {
		return p.Dist(a)
	}
	t := math.Min(1, math.Max(0, p.Sub(a).Dot(d)/l2))
	return p.Dist(a.Add(d.Scale(t)))
}

// stretch returns the part of the ring from one arc length to another, in mm anticlockwise from the rightmost point, as
// compare.PortResult counts unsure arcs. An end before its start runs on past the rightmost point.
func (r ring) stretch(fromMM, toMM float64) []geom.PointMM {
	if len(r) < 2 {
		return nil
	}
	start := 0
	var total float64
	for i, p := range r {
		if p.X > r[start].X {
			start = i
		}
		total += p.Dist(r[(i+1)%len(r)])
	}
	if total == 0 {
		return nil
	}
	fromMM = math.Mod(math.Mod(fromMM, total)+total, total)
	span := math.Mod(math.Mod(toMM-fromMM, total)+total, total)
	if toMM-fromMM != 0 && span == 0 {
		span = total
	}
	var out []geom.PointMM
	along := 0.0
	// Twice round, since the stretch may cross the rightmost point.
	for k := 0; k < 2*len(r); k++ {
		p, q := r[(start+k)%len(r)], r[(start+k+1)%len(r)]
		l := p.Dist(q)
		lo, hi := math.Max(along, fromMM), math.Min(along+l, fromMM+span)
		if l > 0 && lo <= hi {
			if len(out) == 0 {
				out = append(out, p.Add(q.Sub(p).Scale((lo-along)/l)))
			}
			out = append(out, p.Add(q.Sub(p).Scale((hi-along)/l)))
		}
		along += l
	}
	return out
}

// box is an upright rectangle in mm.
type box struct{ lo, hi geom.PointMM }

func emptyBox() box {
	return box{geom.PointMM{X: math.Inf(1), Y: math.Inf(1)}, geom.PointMM{X: math.Inf(-1), Y: math.Inf(-1)}}
}

func (b box) empty() bool       { return !(b.lo.X <= b.hi.X && b.lo.Y <= b.hi.Y) }
func (b box) w() float64        { return b.hi.X - b.lo.X }
func (b box) h() float64        { return b.hi.Y - b.lo.Y }
func (b box) mid() geom.PointMM { return b.lo.Add(b.hi).Scale(0.5) }

func (b box) with(p geom.PointMM) box {
	return box{
		geom.PointMM{X: math.Min(b.lo.X, p.X), Y: math.Min(b.lo.Y, p.Y)},
		geom.PointMM{X: math.Max(b.hi.X, p.X), Y: math.Max(b.hi.Y, p.Y)},
	}
}

func (b box) union(c box) box {
	if c.empty() {
		return b
	}
	return b.with(c.lo).with(c.hi)
}

func (b box) grown(d float64) box {
	v := geom.PointMM{X: d, Y: d}
	return box{b.lo.Sub(v), b.hi.Add(v)}
}

// holds tells whether c lies inside b; a hair of floating-point error is no reason to say it doesn't.
func (b box) holds(c box) bool {
	const hair = 1e-9
	return c.lo.X >= b.lo.X-hair && c.lo.Y >= b.lo.Y-hair && c.hi.X <= b.hi.X+hair && c.hi.Y <= b.hi.Y+hair
}

func (r ring) bounds() box {
	b := emptyBox()
	for _, p := range r {
		b = b.with(p)
	}
	return b
}
