package contour

import (
	"math"

	"portmatch/internal/geom"
)

// loop is a closed level curve of the plan: one candidate for an opening, a hole or the part's own edge.
type loop struct {
	pts        []geom.PointMM // face frame, anticlockwise, first not repeated
	areaMM2    float64
	lo, hi     geom.PointMM // bounding box
	darkInside bool
	level      float32
	cut        bool // touches the photo's edge
	// contrast is the 15 % quantile, along the loop, of the step in grey level across it; positive where the inside differs
	// in the sense of darkInside.
	contrast float64
	// wide is the same over 2 mm to either side: a line passed on the way (scribed, bead) does not count.
	wide      float64
	perimeter float64
}

// levelLoops returns the closed curves of the plan at one level, by marching squares with linear interpolation on the
// cell edges. Bright is kept to the left, so that a loop that runs anticlockwise is bright inside. Curves that run out of the photo are closed along its
// edge and marked cut.
func (p *plan) levelLoops(t float32, minAreaMM2 float64, seen []uint8) []*loop {
	// seen holds, for every cell, which of its edges a curve of this level has already entered by.
	for i := range seen {
		seen[i] = 0
	}
	var out []*loop
	w, h := p.w, p.h
	bright := func(i, j int) bool {
		if i < 0 || j < 0 || i >= w || j >= h {
			return false
		}
		n := j*w + i
		return p.valid[n] && p.level[n] >= t
	}
	val := func(i, j int) float32 {
		if i < 0 || j < 0 || i >= w || j >= h || !p.valid[j*w+i] {
			return t - 1e3 // the outside counts as dark, with the curve close to the last pixel inside
		}
		return p.level[j*w+i]
	}
	// Cells are addressed by their lower-left pixel, from -1 to w-1. A curve crosses a horizontal pixel pair
	// (i,j)-(i+1,j) upwards where left is dark and right is bright... starting edges: vertical pairs are found when met.
	for j := 0; j < h; j++ {
		row := p.level[j*w : (j+1)*w]
		prev := false
		for i := 0; i < w; i++ {
			b := row[i] >= t && p.valid[j*w+i]
			if b && !prev && seen[j*w+i]&1 == 0 {
				// Start between (i-1, j), dark, and (i, j), bright: keeping bright on the left means going down (y falling),
				// into the cell whose top edge this pair is.
				if l := p.follow(i-1, j, t, bright, val, seen); l != nil && l.areaMM2 >= minAreaMM2 {
					out = append(out, l)
				}
			}
			prev = b
		}
	}
	return out
}

// follow walks the curve that crosses the pixel pair (i0, j0), (i0+1, j0), dark then bright.
func (p *plan) follow(i0, j0 int, t float32, bright func(i, j int) bool, val func(i, j int) float32, seen []uint8) *loop {
	l := &loop{level: t}
	// State: the dark pixel (di, dj) and the bright pixel (bi, bj) of the pair being crossed. The curve moves with
	// bright on its left: the two pixels ahead decide where it goes.
	di, dj, bi, bj := i0, j0, i0+1, j0
	maxSteps := 4 * (p.w + p.h) * 40
	for n := 0; ; n++ {
		if n > maxSteps {
			return nil
		}
		a, b := val(di, dj), val(bi, bj)
		f := float64((t - a) / (b - a))
		x, y := float64(di)+f*float64(bi-di), float64(dj)+f*float64(bj-dj)
		l.pts = append(l.pts, geom.PointMM{X: p.lo.X + x*p.stepMM, Y: p.lo.Y + y*p.stepMM})
		if a < t-500 {
			l.cut = true
		}
		if dj == bj && bi == di+1 {
			seen[bj*p.w+bi] |= 1
		}
		// Ahead: with bright on the left of the travel direction, direction = (dark - bright) turned by +90° ... the
		// vector from bright to dark points right of travel, so travel = that vector turned anticlockwise by 90°.
		rx, ry := di-bi, dj-bj
		tx, ty := -ry, rx
		db := bright(di+tx, dj+ty)
		bb := bright(bi+tx, bj+ty)
		switch {
		case !bb: // the pixel ahead on the bright side is dark: turn left
			di, dj = bi+tx, bj+ty
		case db: // both ahead bright: turn right
			bi, bj = di+tx, dj+ty
		default: // straight on
			di, dj, bi, bj = di+tx, dj+ty, bi+tx, bj+ty
		}
		if di == i0 && dj == j0 && bi == i0+1 && bj == j0 {
			break
		}
	}
	area := signedArea(l.pts)
	l.darkInside = area < 0
	l.areaMM2 = math.Abs(area)
	if l.darkInside {
		reverse(l.pts)
	}
	l.lo, l.hi = bounds(l.pts)
	return l
}

func signedArea(pts []geom.PointMM) float64 {
	if len(pts) == 0 {
		return 0
	}
	var s float64
	o := pts[0]
	q := pts[len(pts)-1].Sub(o)
	for _, p := range pts {
		r := p.Sub(o)
		s += q.Cross(r)
		q = r
	}
	return s / 2
}

func reverse(pts []geom.PointMM) {
	for i, j := 0, len(pts)-1; i < j; i, j = i+1, j-1 {
		pts[i], pts[j] = pts[j], pts[i]
	}
}

func bounds(pts []geom.PointMM) (lo, hi geom.PointMM) {
	lo, hi = geom.PointMM{X: math.Inf(1), Y: math.Inf(1)}, geom.PointMM{X: math.Inf(-1), Y: math.Inf(-1)}
	for _, p := range pts {
		lo.X, lo.Y = math.Min(lo.X, p.X), math.Min(lo.Y, p.Y)
		hi.X, hi.Y = math.Max(hi.X, p.X), math.Max(hi.Y, p.Y)
	}
	return lo, hi
}
