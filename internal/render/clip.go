package render

import (
	"portmatch/internal/geom"
)

// clipSegment returns what of a segment lies in b (Liang and Barsky 1984); ok is false if nothing does.
func clipSegment(s segment, b box) (segment, bool) {
	d := s.b.Sub(s.a)
	t0, t1 := 0.0, 1.0
	for _, c := range [][2]float64{
		{-d.X, s.a.X - b.lo.X}, {d.X, b.hi.X - s.a.X},
		{-d.Y, s.a.Y - b.lo.Y}, {d.Y, b.hi.Y - s.a.Y},
	} {
		p, q := c[0], c[1]
		switch {
		case p == 0 && q < 0:
			return segment{}, false
		case p < 0:
			t0 = max(t0, q/p)
		case p > 0:
			t1 = min(t1, q/p)
		}
	}
	if t0 > t1 {
		return segment{}, false
	}
	// An end that lies inside stays what it is to the last bit, so that a curve's pieces can be joined by it.
	c := s
	if t0 > 0 {
		c.a = s.a.Add(d.Scale(t0))
	}
	if t1 < 1 {
		c.b = s.a.Add(d.Scale(t1))
	}
	return c, true
}

// clipCurve returns the pieces of a curve that lie in b. A closed curve that lies in b whole comes back as one piece that
// ends where it starts.
func clipCurve(pts []geom.PointMM, closed bool, b box) [][]geom.PointMM {
	if closed && len(pts) > 0 {
		pts = append(append([]geom.PointMM{}, pts...), pts[0])
	}
	var pieces [][]geom.PointMM
	var piece []geom.PointMM
	for i := 1; i < len(pts); i++ {
		s, ok := clipSegment(segment{pts[i-1], pts[i]}, b)
		if !ok {
			continue
		}
		if len(piece) == 0 || piece[len(piece)-1] != s.a {
			if len(piece) > 1 {
				pieces = append(pieces, piece)
			}
			piece = []geom.PointMM{s.a}
		}
		piece = append(piece, s.b)
	}
	if len(piece) > 1 {
		pieces = append(pieces, piece)
	}
	return pieces
}

// clipArea returns the part of an area that lies in b (Sutherland and Hodgman 1974). Where the cut leaves several pieces
// they hang together by lines along b's edge, which enclose nothing.
func clipArea(o geom.Outline, b box) geom.Outline {
	for _, side := range []struct {
		inside func(p geom.PointMM) bool
		cut    func(p, q geom.PointMM) geom.PointMM
	}{
		{func(p geom.PointMM) bool { return p.X >= b.lo.X }, atX(b.lo.X)},
		{func(p geom.PointMM) bool { return p.X <= b.hi.X }, atX(b.hi.X)},
		{func(p geom.PointMM) bool { return p.Y >= b.lo.Y }, atY(b.lo.Y)},
		{func(p geom.PointMM) bool { return p.Y <= b.hi.Y }, atY(b.hi.Y)},
	} {
		var kept geom.Outline
		for i, q := range o {
			p := o[(i+len(o)-1)%len(o)]
			if side.inside(p) != side.inside(q) {
				kept = append(kept, side.cut(p, q))
			}
			if side.inside(q) {
				kept = append(kept, q)
			}
		}
		o = kept
	}
	return o
}

func atX(x float64) func(p, q geom.PointMM) geom.PointMM {
	return func(p, q geom.PointMM) geom.PointMM {
		return geom.PointMM{X: x, Y: p.Y + (q.Y-p.Y)*(x-p.X)/(q.X-p.X)}
	}
}

func atY(y float64) func(p, q geom.PointMM) geom.PointMM {
	return func(p, q geom.PointMM) geom.PointMM {
		return geom.PointMM{X: p.X + (q.X-p.X)*(y-p.Y)/(q.Y-p.Y), Y: y}
	}
}
