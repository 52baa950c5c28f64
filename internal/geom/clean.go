package geom

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
)

// Outlines are made simple on a grid of whole numbers, where every question of which side a point lies on has an exact
// answer. A step of the grid is 2^-18 mm, four millionths of a millimetre; an outline may be 4 m across, so that no
// product overflows 64 bits.
const (
	gridPerMM  = 1 << 18
	maxReachMM = 2000
)

// ErrNoArea says that an outline encloses nothing: fewer than three distinct points, or all on a line.
var ErrNoArea = errors.New("the outline encloses no area")

// ErrTangled says that an outline crosses itself so often that it can't be an outline of anything.
var ErrTangled = errors.New("the outline is tangled beyond repair")

// ErrBadPoint says that an outline has a coordinate that is no number, or lies metres away from the rest.
var ErrBadPoint = errors.New("the outline has an impossible point")

// CrossingError says that an outline crosses itself so that it can't be told what it encloses: besides the largest loop
// there are others of DroppedMM2 in all.
type CrossingError struct {
	At                  PointMM // the middle of the largest other loop
	KeptMM2, DroppedMM2 float64
}

func (e *CrossingError) Error() string {
	return fmt.Sprintf("the outline crosses itself near (%.2f, %.2f) mm: a loop of %.2f mm² and others of %.2f mm²",
		e.At.X, e.At.Y, e.KeptMM2, e.DroppedMM2)
}

// maxDroppedShare is the share of the area that loops may hold and still be cut off as a tracer's slip: a tenth of what
// areas are wanted to.
const maxDroppedShare = 3e-4

// Simple returns o as a simple anticlockwise curve: repeated points, spikes, stretches run to and fro and small loops
// are taken out. An outline that is simple already comes back with its own points. Loops of more than 0.03 % of the area
// give a *CrossingError; nothing enclosed gives ErrNoArea, impossible coordinates ErrBadPoint.
func Simple(o Outline) (Outline, error) {
	o = withoutRepeats(o)
	if len(o) < 3 {
		return nil, ErrNoArea
	}
	if !finite(o) {
		return nil, ErrBadPoint
	}
	o = o.Anticlockwise()
	a, err := arrange([]Outline{o})
	if err != nil {
		return nil, err
	}
	if a.simple(len(o)) {
		if o.SignedAreaMM2() <= 0 {
			return nil, ErrNoArea
		}
		return o, nil
	}
	// A stretch of the curve that was run the wrong way round encloses area with a negative winding number: it counts as
	// dropped too.
	kept := a.region(func(winding int) bool { return winding >= 1 })
	all := a.region(func(winding int) bool { return winding != 0 })
	if len(kept) == 0 {
		return nil, ErrNoArea
	}
	main := kept.Largest()
	total := all.AreaMM2()
	for _, p := range kept {
		for _, h := range p.Holes {
			total += h.AreaMM2() // a hole in a port is a fold of the curve, and is filled
		}
	}
	if dropped := total - main.AreaMM2(); dropped > maxDroppedShare*total {
		e := &CrossingError{KeptMM2: main.AreaMM2(), DroppedMM2: dropped}
		var largest float64
		for _, p := range all {
			c := p.Outer.CentroidMM()
			if !main.Contains(c) && p.Outer.AreaMM2() > largest {
				largest, e.At = p.Outer.AreaMM2(), c
			}
		}
		if largest == 0 {
			e.At = main[0]
		}
		return nil, e
	}
	return main, nil
}

func withoutRepeats(o Outline) Outline {
	r := make(Outline, 0, len(o))
	for i, p := range o {
		if len(r) > 0 && p == r[len(r)-1] || i == len(o)-1 && len(r) > 0 && p == r[0] {
			continue
		}
		r = append(r, p)
	}
	return r
}

// gridPoint is a point on the grid, in grid steps from the arrangement's origin.
type gridPoint struct{ x, y int64 }

func (p gridPoint) sub(q gridPoint) gridPoint { return gridPoint{p.x - q.x, p.y - q.y} }
func (p gridPoint) cross(q gridPoint) int64   { return p.x*q.y - p.y*q.x }
func (p gridPoint) dot(q gridPoint) int64     { return p.x*q.x + p.y*q.y }
func compareGridPoints(p, q gridPoint) int {
	return cmp.Or(cmp.Compare(p.x, q.x), cmp.Compare(p.y, q.y))
}

// sideOf is positive if p lies left of the line from a to b.
func sideOf(a, b, p gridPoint) int64 { return b.sub(a).cross(p.sub(a)) }

// arrangement is a set of closed curves cut at every crossing: no two of its edges meet but at their ends. Each edge
// carries how many more times the curves run along it than back, which is the difference of the winding numbers on its
// left and right; edges that are run as often to as fro are left out.
type arrangement struct {
	origin PointMM
	points []gridPoint
	halves []halfEdge // halves 2k and 2k+1 are the two directions of one edge
	out    [][]int32  // by point: the half edges that leave it, by angle, anticlockwise from -π
	inner  bool       // something was cut: the curves were not simple
}

type halfEdge struct {
	from, to int32
	net      int // times run in this direction, less the times run back
	left     int // winding number on its left
}

// maxRounds bounds the cutting: moving a crossing to the grid can make a new one beside it, seldom more than twice.
const maxRounds = 30

func arrange(curves []Outline) (*arrangement, error) {
	lo := PointMM{math.Inf(1), math.Inf(1)}
	hi := PointMM{math.Inf(-1), math.Inf(-1)}
	for _, o := range curves {
		l, h := o.Bounds()
		lo = PointMM{min(lo.X, l.X), min(lo.Y, l.Y)}
		hi = PointMM{max(hi.X, h.X), max(hi.Y, h.Y)}
	}
	a := &arrangement{origin: lo.Add(hi).Scale(0.5)}
	if d := hi.Sub(lo); !(max(d.X, d.Y) <= 2*maxReachMM) {
		return nil, fmt.Errorf("%w: it is %.0f mm across", ErrBadPoint, max(d.X, d.Y))
	}
	var segs [][2]gridPoint
	for _, o := range curves {
		for i := range o {
			p, q := a.toGrid(o[i]), a.toGrid(o[o.next(i)])
			if p != q {
				segs = append(segs, [2]gridPoint{p, q})
			}
		}
	}
	for round := 0; ; round++ {
		cut, n, err := cutOnce(segs)
		if err != nil {
			return nil, err
		}
		if n == 0 {
			break
		}
		if round == maxRounds {
			return nil, ErrTangled
		}
		segs, a.inner = cut, true
	}
	a.connect(segs)
	a.wind()
	return a, nil
}

func (a *arrangement) toGrid(p PointMM) gridPoint {
	d := p.Sub(a.origin)
	return gridPoint{int64(math.Round(d.X * gridPerMM)), int64(math.Round(d.Y * gridPerMM))}
}

func (a *arrangement) toMM(p gridPoint) PointMM {
	return a.origin.Add(PointMM{float64(p.x) / gridPerMM, float64(p.y) / gridPerMM})
}

// Bounds on the work that a hostile outline can make: an offset's raw curve has some hundred crossings for every point where
// it is rounder than the step, an outline none.
const (
	maxPairs = 30_000_000 // segments held against each other, in one round: a second
	maxCuts  = 1_000_000
)

// cutOnce cuts every segment where another crosses or touches it, and returns the pieces and the number of cuts.
func cutOnce(segs [][2]gridPoint) ([][2]gridPoint, int, error) {
	if len(segs) == 0 {
		return nil, 0, nil
	}
	mm := func(p gridPoint) PointMM { return PointMM{float64(p.x), float64(p.y)} }
	g := newSegGrid(len(segs), func(i int) (PointMM, PointMM) { return mm(segs[i][0]), mm(segs[i][1]) })
	cuts := make(map[int32][]gridPoint)
	made := 0
	cut := func(i int32, p gridPoint) {
		if s := segs[i]; p != s[0] && p != s[1] {
			cuts[i] = append(cuts[i], p)
			made++
		}
	}
	pairs := 0
	for c := range g.cols * g.rows {
		in := g.in(c)
		if pairs += len(in) * (len(in) - 1) / 2; pairs > maxPairs {
			return nil, 0, ErrTangled
		}
		for k, i := range in {
			for _, j := range in[k+1:] {
				if made > maxCuts {
					return nil, 0, ErrTangled
				}
				meet(segs[i], segs[j], func(p gridPoint) { cut(i, p) }, func(p gridPoint) { cut(j, p) })
			}
		}
	}
	if len(cuts) == 0 {
		return segs, 0, nil
	}
	var out [][2]gridPoint
	n := 0
	for i, s := range segs {
		at := cuts[int32(i)]
		if len(at) == 0 {
			out = append(out, s)
			continue
		}
		d := s[1].sub(s[0])
		slices.SortFunc(at, func(p, q gridPoint) int {
			return cmp.Or(cmp.Compare(p.sub(s[0]).dot(d), q.sub(s[0]).dot(d)), compareGridPoints(p, q))
		})
		at = slices.Compact(at)
		n += len(at)
		from := s[0]
		for _, p := range append(at, s[1]) {
			if p != from {
				out = append(out, [2]gridPoint{from, p})
				from = p
			}
		}
	}
	return out, n, nil
}

// meet reports where two segments meet, to each.
func meet(s, t [2]gridPoint, cutS, cutT func(gridPoint)) {
	if max(s[0].x, s[1].x) < min(t[0].x, t[1].x) || max(t[0].x, t[1].x) < min(s[0].x, s[1].x) ||
		max(s[0].y, s[1].y) < min(t[0].y, t[1].y) || max(t[0].y, t[1].y) < min(s[0].y, s[1].y) {
		return
	}
	t0, t1 := sideOf(s[0], s[1], t[0]), sideOf(s[0], s[1], t[1])
	s0, s1 := sideOf(t[0], t[1], s[0]), sideOf(t[0], t[1], s[1])
	for k, side := range []int64{t0, t1} {
		if side == 0 && between(s, t[k]) {
			cutS(t[k])
		}
	}
	for k, side := range []int64{s0, s1} {
		if side == 0 && between(t, s[k]) {
			cutT(s[k])
		}
	}
	if (t0 < 0) == (t1 < 0) || (s0 < 0) == (s1 < 0) || t0 == 0 || t1 == 0 || s0 == 0 || s1 == 0 {
		return
	}
	f := float64(s0) / (float64(s0) - float64(s1))
	d := s[1].sub(s[0])
	p := gridPoint{s[0].x + int64(math.Round(f*float64(d.x))), s[0].y + int64(math.Round(f*float64(d.y)))}
	cutS(p)
	cutT(p)
}

// between tells whether p, on the line of s, lies in the box of s.
func between(s [2]gridPoint, p gridPoint) bool {
	return min(s[0].x, s[1].x) <= p.x && p.x <= max(s[0].x, s[1].x) && min(s[0].y, s[1].y) <= p.y && p.y <= max(s[0].y, s[1].y)
}

func (a *arrangement) connect(segs [][2]gridPoint) {
	number := make(map[gridPoint]int32, len(segs))
	id := func(p gridPoint) int32 {
		n, ok := number[p]
		if !ok {
			n = int32(len(a.points))
			number[p] = n
			a.points = append(a.points, p)
		}
		return n
	}
	net := make(map[[2]int32]int, len(segs))
	order := make([][2]int32, 0, len(segs))
	for _, s := range segs {
		p, q := id(s[0]), id(s[1])
		k, d := [2]int32{p, q}, 1
		if p > q {
			k, d = [2]int32{q, p}, -1
		}
		if _, ok := net[k]; !ok {
			order = append(order, k)
		}
		net[k] += d
	}
	a.out = make([][]int32, len(a.points))
	for _, k := range order {
		if n := net[k]; n != 0 {
			h := int32(len(a.halves))
			a.halves = append(a.halves, halfEdge{from: k[0], to: k[1], net: n}, halfEdge{from: k[1], to: k[0], net: -n})
			a.out[k[0]] = append(a.out[k[0]], h)
			a.out[k[1]] = append(a.out[k[1]], h+1)
		}
	}
	for _, hs := range a.out {
		slices.SortFunc(hs, func(g, h int32) int { return compareAngles(a.along(g), a.along(h)) })
	}
}

func (a *arrangement) along(h int32) gridPoint {
	return a.points[a.halves[h].to].sub(a.points[a.halves[h].from])
}

// compareAngles orders directions by angle in (-π, π].
func compareAngles(d, e gridPoint) int {
	lower := func(p gridPoint) int {
		if p.y < 0 {
			return 0
		}
		if p.y == 0 && p.x > 0 {
			return 1
		}
		if p.y > 0 {
			return 2
		}
		return 3
	}
	if c := cmp.Compare(lower(d), lower(e)); c != 0 {
		return c
	}
	return cmp.Compare(0, d.cross(e))
}

// wind gives every half edge the winding number on its left.
func (a *arrangement) wind() {
	part := make([]int, len(a.points)) // connected part of each point, from 1
	var parts [][]int32
	for p := range a.points {
		if part[p] != 0 || len(a.out[p]) == 0 {
			continue
		}
		n := len(parts) + 1
		stack, all := []int32{int32(p)}, []int32(nil)
		part[p] = n
		for len(stack) > 0 {
			v := stack[len(stack)-1]
			stack, all = stack[:len(stack)-1], append(all, v)
			for _, h := range a.out[v] {
				if w := a.halves[h].to; part[w] == 0 {
					part[w] = n
					stack = append(stack, w)
				}
			}
		}
		parts = append(parts, all)
	}
	for k, all := range parts {
		first := slices.MinFunc(all, func(v, w int32) int { return compareGridPoints(a.points[v], a.points[w]) })
		outside := 0
		if len(parts) > 1 {
			for i := 0; i < len(a.halves); i += 2 {
				if h := a.halves[i]; part[h.from] != k+1 {
					outside += h.net * crossing(a.points[h.from], a.points[h.to], a.points[first])
				}
			}
		}
		// No edge of this part leaves its leftmost point to the left, so that the angle π belongs to the outside.
		a.spread(first, len(a.out[first])-1, outside)
	}
}

// crossing is 1 if the edge ab passes the ray from p towards +x upwards, -1 downwards, 0 if it misses.
func crossing(a, b, p gridPoint) int {
	switch {
	case a.y <= p.y && b.y > p.y && sideOf(a, b, p) > 0:
		return 1
	case b.y <= p.y && a.y > p.y && sideOf(a, b, p) < 0:
		return -1
	}
	return 0
}

// spread carries the winding number left of half edge number k at point v to all of v's connected part.
func (a *arrangement) spread(v int32, k, left int) {
	type known struct {
		v       int32
		k, left int
	}
	done := make(map[int32]bool)
	stack := []known{{v, k, left}}
	done[v] = true
	for len(stack) > 0 {
		s := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		hs := a.out[s.v]
		w := s.left
		for n := range hs {
			i := (s.k + n) % len(hs)
			if n > 0 {
				w += a.halves[hs[i]].net
			}
			h := &a.halves[hs[i]]
			h.left = w
			if !done[h.to] {
				done[h.to] = true
				twin := hs[i] ^ 1
				stack = append(stack, known{h.to, slices.Index(a.out[h.to], twin), w - h.net})
			}
		}
	}
}

// simple tells whether the arrangement is a single curve of n sides that nowhere meets itself.
func (a *arrangement) simple(n int) bool {
	if a.inner || len(a.points) != n || len(a.halves) != 2*n {
		return false
	}
	for _, hs := range a.out {
		if len(hs) != 2 {
			return false
		}
	}
	return true
}

// region returns what lies where the winding number is wanted. Its outlines are simple and touch at points at most.
func (a *arrangement) region(wanted func(winding int) bool) Region {
	isBorder := func(h int32) bool { return wanted(a.halves[h].left) && !wanted(a.halves[h^1].left) }
	used := make([]bool, len(a.halves))
	var loops []Outline
	for i := range a.halves {
		if h := int32(i); !used[h] && isBorder(h) {
			loops = append(loops, a.loopsFrom(h, used, isBorder)...)
		}
	}
	return nest(loops)
}

// loopsFrom walks the border with the wanted side on the left, and cuts what it walked at every point it came through
// twice.
func (a *arrangement) loopsFrom(h int32, used []bool, isBorder func(int32) bool) []Outline {
	var loops []Outline
	var path []int32
	at := make(map[int32]int) // where in path a point stands
	for !used[h] {
		used[h] = true
		v := a.halves[h].from
		if n, ok := at[v]; ok {
			loops = append(loops, a.outline(path[n:]))
			for _, w := range path[n:] {
				delete(at, w)
			}
			path = path[:n]
		}
		at[v] = len(path)
		path = append(path, v)
		// The next border edge is the first one clockwise from the way back.
		hs := a.out[a.halves[h].to]
		k := slices.Index(hs, h^1)
		for {
			k = (k + len(hs) - 1) % len(hs)
			if isBorder(hs[k]) {
				h = hs[k]
				break
			}
		}
	}
	return append(loops, a.outline(path))
}

func (a *arrangement) outline(path []int32) Outline {
	o := make(Outline, len(path))
	for i, v := range path {
		o[i] = a.toMM(a.points[v])
	}
	return o
}

// nest puts every clockwise loop into the smallest anticlockwise one round it.
func nest(loops []Outline) Region {
	var r Region
	var holes []Outline
	for _, o := range loops {
		switch area := o.SignedAreaMM2(); {
		case area > 0:
			r = append(r, Polygon{Outer: o})
		case area < 0:
			holes = append(holes, o)
		}
	}
	for _, h := range holes {
		best := -1
		for i := range r {
			if insideOrOn(r[i].Outer, h) && (best < 0 || r[i].Outer.AreaMM2() < r[best].Outer.AreaMM2()) {
				best = i
			}
		}
		if best >= 0 {
			r[best].Holes = append(r[best].Holes, h)
		}
	}
	return r
}

// insideOrOn tells whether the loop h, which may touch o at points, lies in o: the middles of its sides do not lie on o.
func insideOrOn(o, h Outline) bool {
	return o.Contains(h.At(Place{0, 0.5}))
}
