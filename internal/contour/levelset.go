package contour

import (
	"math"
	"slices"

	"portmatch/internal/geom"
)

// loop is a closed level curve of the plan: one candidate for an opening, a hole or the part's own edge.
type loop struct {
	pts        []geom.PointMM // face frame, anticlockwise, first not repeated
	areaMM2    float64
	lo, hi     geom.PointMM // bounding box
	darkInside bool
	level      float32
	cut        bool    // touches the photo's edge
	holdsStrip bool    // goes round a printed strip, so that it is no opening
	landMM     float64 // see edgeModel; 0 for wide
	// contrast is the 15 % quantile, along the loop, of the step in grey level across it; positive where the inside differs
	// in the sense of darkInside.
	contrast float64
	// wide is the same over 2 mm to either side: a line passed on the way (scribed, bead) does not count.
	wide float64
	// outside and inside are the median levels as far to either side.
	outside, inside float64
	perimeter       float64
}

// terraces is the plan cut into steps of grey level: what the level curves of all levels are followed on.
type terraces struct {
	*plan
	lo     float32 // level k is at lo + (k + 1/2) levelSpacing
	stride int
	// above[c] is how many levels lie at or below cell c; 0 outside the photo, of which there is one cell all round.
	above []uint8
	// The cells where the curve of level k passes from a dark left neighbour into a bright cell are starts[first[k]:first[k+1]].
	starts []int32
	first  []int
}

// hidden are squares of the plan's cells in which no curve is begun.
type hidden struct {
	w  int // squares a row
	in []bool
}

const hiddenSide = 8 // cells

// within finds the squares that lie in a region, and those around them too. A curve that goes anywhere else begins
// there as well, unless all its places with dark to their left are in such squares.
func (p *plan) within(region func(geom.PointMM) bool) *hidden {
	w, h := (p.w+hiddenSide-1)/hiddenSide, (p.h+hiddenSide-1)/hiddenSide
	const margin = 1 // squares
	corners := w + 1 + 2*margin
	corner := make([]bool, corners*(h+1+2*margin))
	for k := range corner {
		i, j := k%corners-margin, k/corners-margin
		corner[k] = region(p.lo.Add(geom.PointMM{X: float64(i), Y: float64(j)}.Scale(hiddenSide * p.stepMM)))
	}
	out := &hidden{w: w, in: make([]bool, w*h)}
	for k := range out.in {
		all := true
		for c := range (2 + 2*margin) * (2 + 2*margin) {
			all = all && corner[(k/w+c/(2+2*margin))*corners+k%w+c%(2+2*margin)]
		}
		out.in[k] = all
	}
	return out
}

// terraces cuts the plan at n levels, at most 255. No curve begins in what is hidden; nil hides nothing.
func (p *plan) terraces(lo float32, n int, hide *hidden) *terraces {
	t := &terraces{plan: p, lo: lo, stride: p.w + 2, above: make([]uint8, (p.w+2)*(p.h+2)), first: make([]int, n+1)}
	parallelRows(p.h, func(j int) {
		out := t.above[(j+1)*t.stride+1:][:p.w]
		valid := p.valid[j*p.w:][:p.w]
		for i, v := range p.level[j*p.w:][:p.w] {
			if v = (v-lo)/levelSpacing + 0.5; v >= 1 && valid[i] {
				out[i] = uint8(min(int(v), n))
			}
		}
	})
	rises := func(f func(c int, from, to uint8)) {
		prev := uint8(0)
		for c, v := range t.above {
			if v > prev && !(hide != nil && hide.in[(c/t.stride-1)/hiddenSide*hide.w+(c%t.stride-1)/hiddenSide]) {
				f(c, prev, v)
			}
			prev = v
		}
	}
	rises(func(_ int, from, to uint8) {
		for k := from; k < to; k++ {
			t.first[k+1]++
		}
	})
	for k := range n {
		t.first[k+1] += t.first[k]
	}
	t.starts = make([]int32, t.first[n])
	next := slices.Clone(t.first)
	rises(func(c int, from, to uint8) {
		for k := from; k < to; k++ {
			t.starts[next[k]] = int32(c)
			next[k]++
		}
	})
	return t
}

// walk is scratch space for following curves, for one goroutine.
type walk struct {
	seen []bool // cells that a curve of this level has passed into from a dark left neighbour
	pts  []geom.PointMM
}

// loops returns the closed curves at level k, by marching squares with linear interpolation on the cell edges. Bright is kept
// to the left, so that a loop that runs anticlockwise is bright inside. Curves that run out of the photo are closed along its
// edge and marked cut. Curves that skip knows by their box and area are left out.
func (t *terraces) loops(k int, minAreaMM2 float64, skip func(*loop) bool, s *walk) []*loop {
	if s.seen == nil {
		s.seen = make([]bool, len(t.above))
	}
	var out []*loop
	starts := t.starts[t.first[k]:t.first[k+1]]
	for _, c := range starts {
		if !s.seen[c] {
			if l := t.follow(int(c), k, minAreaMM2, s); l != nil && !skip(l) {
				l.keep(s.pts)
				out = append(out, l)
			}
		}
	}
	for _, c := range starts {
		s.seen[c] = false
	}
	return out
}

// follow walks the curve of level k that passes between cell start and its dark left neighbour, and leaves its points in s.
// It returns nil for a curve round less than minAreaMM2.
func (t *terraces) follow(start, k int, minAreaMM2 float64, s *walk) *loop {
	level := t.lo + (float32(k)+0.5)*levelSpacing
	l := &loop{level: level}
	s.pts = s.pts[:0]
	// The pair being crossed: bright cell (i, j), also c, and the dark one at (rx, ry), also r, from it. Right of travel is
	// dark, so travel is that turned anticlockwise by 90°.
	c, i, j := start, start%t.stride-1, start/t.stride-1
	rx, ry, r := -1, 0, -1
	maxSteps := 4 * (t.w + t.h) * 40
	for {
		if len(s.pts) > maxSteps {
			return nil
		}
		dark := level - 1e3 // the outside counts as dark, with the curve close to the last pixel inside
		if x, y := i+rx, j+ry; t.above[c+r] > 0 || x >= 0 && y >= 0 && x < t.w && y < t.h && t.valid[y*t.w+x] {
			dark = t.level[y*t.w+x]
		} else {
			l.cut = true
		}
		f := float64((level - dark) / (t.level[j*t.w+i] - dark))
		// From dark to bright, as f runs.
		x, y := float64(i+rx)-f*float64(rx), float64(j+ry)-f*float64(ry)
		s.pts = append(s.pts, geom.PointMM{X: t.plan.lo.X + x*t.stepMM, Y: t.plan.lo.Y + y*t.stepMM})
		if r == -1 {
			s.seen[c] = true
		}
		// The two cells ahead decide where the curve goes.
		tx, ty := -ry, rx
		ahead := ty*t.stride + tx
		switch {
		case int(t.above[c+ahead]) <= k: // the one on the bright side is dark: turn left
			rx, ry, r = tx, ty, ahead
		case int(t.above[c+r+ahead]) > k: // both are bright: turn right
			i, j, c = i+rx+tx, j+ry+ty, c+r+ahead
			rx, ry, r = -tx, -ty, -ahead
		default: // straight on
			i, j, c = i+tx, j+ty, c+ahead
		}
		if c == start && r == -1 {
			break
		}
	}
	area := signedArea(s.pts)
	l.darkInside = area < 0
	l.areaMM2 = math.Abs(area)
	if l.areaMM2 < minAreaMM2 {
		return nil
	}
	l.lo, l.hi = bounds(s.pts)
	return l
}

// keep copies the curve's points, anticlockwise.
func (l *loop) keep(pts []geom.PointMM) {
	l.pts = slices.Clone(pts)
	if l.darkInside {
		slices.Reverse(l.pts)
	}
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

func bounds(pts []geom.PointMM) (lo, hi geom.PointMM) {
	lo, hi = geom.PointMM{X: math.Inf(1), Y: math.Inf(1)}, geom.PointMM{X: math.Inf(-1), Y: math.Inf(-1)}
	for _, p := range pts {
		// Plain comparisons: min and max look after NaN, which takes them longer.
		if p.X < lo.X {
			lo.X = p.X
		}
		if p.X > hi.X {
			hi.X = p.X
		}
		if p.Y < lo.Y {
			lo.Y = p.Y
		}
		if p.Y > hi.Y {
			hi.Y = p.Y
		}
	}
	return lo, hi
}
