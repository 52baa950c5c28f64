package render

import (
	"math"

	"portmatch/internal/geom"
)

// drawingToleranceMM is how far a drawn outline may stand from the given one. A tenth of a dot at 600 dpi (0.042 mm) can't
// be seen or printed, and it cuts a dense outline to a tenth of its vertices. Files for a cutter or a program keep every
// vertex.
const drawingToleranceMM = 0.004

// outlineOf returns a result's closed curve, anticlockwise, the first point not repeated.
func outlineOf(points [][2]float64) geom.Outline {
	o := make(geom.Outline, len(points))
	for i, p := range points {
		o[i] = geom.PointMM{X: p[0], Y: p[1]}
	}
	if n := len(o); n > 1 && o[0] == o[n-1] {
		o = o[:n-1]
	}
	return o.Anticlockwise()
}

// stretch returns the part of an outline between two lengths along it in mm, anticlockwise from its rightmost point, as
// compare.PortResult counts unsure arcs. An end before its start lies beyond the rightmost point.
func stretch(o geom.Outline, fromMM, toMM float64) []geom.PointMM {
	if len(o) < 2 {
		return nil
	}
	o = o.StartingAt(o.Rightmost())
	s := o.ArcLengthsMM()
	total := s[len(o)]
	if total == 0 {
		return nil
	}
	span := toMM - fromMM
	if span < 0 {
		span = math.Mod(span, total) + total
	}
	from := math.Mod(math.Mod(fromMM, total)+total, total)
	to := from + math.Min(span, total)
	pts := []geom.PointMM{o.At(o.PlaceAlong(s, from))}
	for _, turn := range []float64{0, total} { // it may run past the rightmost point
		for i, p := range o {
			if at := turn + s[i]; at > from && at < to {
				pts = append(pts, p)
			}
		}
	}
	return append(pts, o.At(o.PlaceAlong(s, to)))
}

// box is an upright rectangle in mm; the zero value is the point at the origin, emptyBox holds nothing.
type box struct{ lo, hi geom.PointMM }

func emptyBox() box {
	return box{geom.PointMM{X: math.Inf(1), Y: math.Inf(1)}, geom.PointMM{X: math.Inf(-1), Y: math.Inf(-1)}}
}

func boundsOf(points []geom.PointMM) box {
	b := emptyBox()
	for _, p := range points {
		b = b.with(p)
	}
	return b
}

func (b box) empty() bool       { return b.lo.X > b.hi.X || b.lo.Y > b.hi.Y }
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

func (b box) meets(c box) bool {
	return b.lo.X < c.hi.X && c.lo.X < b.hi.X && b.lo.Y < c.hi.Y && c.lo.Y < b.hi.Y
}
