package geom

import (
	"math"
	"sort"
)

// Outline is a closed curve in mm: the first point is not repeated. Anticlockwise outlines have positive area.
type Outline []PointMM

// SignedAreaMM2 returns the enclosed area, positive if o runs anticlockwise. Coordinates are taken relative to the first
// point, so that an outline far from the origin loses no digits.
func (o Outline) SignedAreaMM2() float64 {
	if len(o) < 3 {
		return 0
	}
	var a float64
	for i := 1; i+1 < len(o); i++ {
		a += o[i].Sub(o[0]).Cross(o[i+1].Sub(o[0]))
	}
	return a / 2
}

// AreaMM2 returns the enclosed area, never negative.
func (o Outline) AreaMM2() float64 { return math.Abs(o.SignedAreaMM2()) }

// PerimeterMM returns the length of o, the closing side included.
func (o Outline) PerimeterMM() float64 {
	var s float64
	for i := range o {
		s += o[i].Dist(o[o.next(i)])
	}
	return s
}

// CentroidMM returns the centroid of the enclosed area; that of the points where the area is zero.
func (o Outline) CentroidMM() PointMM {
	var c PointMM
	if len(o) == 0 {
		return c
	}
	var a float64
	for i := 1; i+1 < len(o); i++ {
		p, q := o[i].Sub(o[0]), o[i+1].Sub(o[0])
		w := p.Cross(q)
		a += w
		c = c.Add(p.Add(q).Scale(w / 3))
	}
	if a == 0 {
		for _, p := range o {
			c = c.Add(p.Scale(1 / float64(len(o))))
		}
		return c
	}
	return o[0].Add(c.Scale(1 / a))
}

// Contains tells whether p lies inside o (even-odd rule). Points on the curve itself may go either way.
func (o Outline) Contains(p PointMM) bool {
	in := false
	for i := range o {
		if crossesRightOf(o[i], o[o.next(i)], p) {
			in = !in
		}
	}
	return in
}

// Bounds returns the lower left and upper right corner of the box around o.
func (o Outline) Bounds() (lo, hi PointMM) {
	lo = PointMM{math.Inf(1), math.Inf(1)}
	hi = PointMM{math.Inf(-1), math.Inf(-1)}
	for _, p := range o {
		lo = PointMM{math.Min(lo.X, p.X), math.Min(lo.Y, p.Y)}
		hi = PointMM{math.Max(hi.X, p.X), math.Max(hi.Y, p.Y)}
	}
	return lo, hi
}

// Reversed returns o run the other way, from the same first point.
func (o Outline) Reversed() Outline {
	r := make(Outline, len(o))
	for i := range o {
		r[(len(o)-i)%len(o)] = o[i]
	}
	return r
}

// Anticlockwise returns o, reversed if it runs clockwise.
func (o Outline) Anticlockwise() Outline {
	if o.SignedAreaMM2() < 0 {
		return o.Reversed()
	}
	return o
}

// StartingAt returns o with point i first.
func (o Outline) StartingAt(i int) Outline {
	return append(append(make(Outline, 0, len(o)), o[i:]...), o[:i]...)
}

// Rightmost returns the index of the point with the largest x, the lowest of several: where every length along an
// outline starts.
func (o Outline) Rightmost() int {
	best := 0
	for i, p := range o {
		if b := o[best]; p.X > b.X || p.X == b.X && p.Y < b.Y {
			best = i
		}
	}
	return best
}

// Mapped returns the image of o. A map that changes hand turns the sense of the curve round; the result is reversed then,
// so that an anticlockwise outline stays anticlockwise. Point i of o is point i of the result, or len(o) - i (mod len(o))
// after a change of hand.
func (o Outline) Mapped(r Rigid) Outline {
	m := make(Outline, len(o))
	for i, p := range o {
		m[i] = r.Apply(p)
	}
	if r.Mirrored() {
		return m.Reversed()
	}
	return m
}

// ArcLengthsMM returns the length along o from its first point to every point, and last the whole perimeter: len(o) + 1
// values.
func (o Outline) ArcLengthsMM() []float64 {
	s := make([]float64, len(o)+1)
	for i := range o {
		s[i+1] = s[i] + o[i].Dist(o[o.next(i)])
	}
	return s
}

// Place is a point on an outline: on the side from point Side to the next one, at Fraction of its length.
type Place struct {
	Side     int
	Fraction float64
}

// At returns the point at pl.
func (o Outline) At(pl Place) PointMM {
	p, q := o[pl.Side], o[o.next(pl.Side)]
	return p.Add(q.Sub(p).Scale(pl.Fraction))
}

// PlaceAlong returns the place at length sMM along o, arcLengthsMM being o.ArcLengthsMM(). Lengths beyond the perimeter
// go round again.
func (o Outline) PlaceAlong(arcLengthsMM []float64, sMM float64) Place {
	total := arcLengthsMM[len(o)]
	if total == 0 {
		return Place{}
	}
	sMM = math.Mod(sMM, total)
	if sMM < 0 {
		sMM += total
	}
	i := sort.Search(len(o), func(i int) bool { return arcLengthsMM[i+1] > sMM })
	if i == len(o) {
		i = len(o) - 1
	}
	l := arcLengthsMM[i+1] - arcLengthsMM[i]
	if l == 0 {
		return Place{Side: i}
	}
	return Place{i, (sMM - arcLengthsMM[i]) / l}
}

// Resampled returns points on o evenly spaced along it, starting at its first point; the spacing is the largest that
// divides the perimeter and does not exceed spacingMM.
func (o Outline) Resampled(spacingMM float64) Outline {
	s := o.ArcLengthsMM()
	total := s[len(o)]
	n := max(3, int(math.Ceil(total/spacingMM)))
	r := make(Outline, 0, n)
	i := 0
	for k := range n {
		at := total * float64(k) / float64(n)
		for i+1 < len(o) && s[i+1] <= at {
			i++
		}
		f := 0.0
		if l := s[i+1] - s[i]; l > 0 {
			f = (at - s[i]) / l
		}
		r = append(r, o.At(Place{i, f}))
	}
	return r
}

// Simplified returns o with as few of its own points as keep every dropped one within toleranceMM of the result (Douglas
// and Peucker 1973). The first point always stays.
func (o Outline) Simplified(toleranceMM float64) Outline {
	n := len(o)
	if n < 4 {
		return o
	}
	far := 0
	for i := range o {
		if o[i].Dist(o[0]) > o[far].Dist(o[0]) {
			far = i
		}
	}
	keep := make([]bool, n+1)
	keep[0], keep[far], keep[n] = true, true, true
	stack := [][2]int{{0, far}, {far, n}}
	for len(stack) > 0 {
		a, b := stack[len(stack)-1][0], stack[len(stack)-1][1]
		stack = stack[:len(stack)-1]
		worst, at := toleranceMM, -1
		for i := a + 1; i < b; i++ {
			if d := distToSegment(o[i], o[a], o[b%n]); d > worst {
				worst, at = d, i
			}
		}
		if at >= 0 {
			keep[at] = true
			stack = append(stack, [2]int{a, at}, [2]int{at, b})
		}
	}
	r := make(Outline, 0, n)
	for i := range o {
		if keep[i] {
			r = append(r, o[i])
		}
	}
	return r
}

func (o Outline) next(i int) int {
	if i+1 == len(o) {
		return 0
	}
	return i + 1
}

// crossesRightOf tells whether the segment ab crosses the ray from p towards +x; its lower end counts, its upper does not,
// so that a ray through a vertex is counted once.
func crossesRightOf(a, b, p PointMM) bool {
	return (a.Y > p.Y) != (b.Y > p.Y) && p.X < a.X+(p.Y-a.Y)/(b.Y-a.Y)*(b.X-a.X)
}

func nearestOnSegment(p, a, b PointMM) (q PointMM, fraction float64) {
	d := b.Sub(a)
	l2 := d.Dot(d)
	if l2 == 0 {
		return a, 0
	}
	f := math.Min(1, math.Max(0, p.Sub(a).Dot(d)/l2))
	return a.Add(d.Scale(f)), f
}

func distToSegment(p, a, b PointMM) float64 {
	q, _ := nearestOnSegment(p, a, b)
	return p.Dist(q)
}
