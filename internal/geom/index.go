package geom

import "math"

// Index answers, for a polyline, which of its points is nearest and whether a point lies inside it, in a time that hardly
// grows with the number of its points. It is a tree of boxes, each round a run of consecutive sides: sides that follow each
// other lie near each other, so that the runs need not be sorted.
type Index struct {
	points []PointMM
	sides  int // len(points), one less if open
	nodes  []indexNode
}

// indexNode is a box round the sides from up to but not with to. Its first half follows it in the list, the second half
// stands at second; a leaf has none.
type indexNode struct {
	lo, hi   PointMM
	from, to int32
	second   int32
}

// leafSides is how many sides are looked at one by one.
const leafSides = 4

// NewIndex prepares the closed outline o, which must have at least one point.
func NewIndex(o Outline) *Index { return newIndex(o, len(o)) }

// NewOpenIndex prepares a polyline that is not closed, of at least two points.
func NewOpenIndex(points []PointMM) *Index { return newIndex(points, len(points)-1) }

func newIndex(points []PointMM, sides int) *Index {
	ix := &Index{points: points, sides: sides, nodes: make([]indexNode, 0, sides)}
	ix.build(0, int32(sides))
	return ix
}

func (ix *Index) build(from, to int32) int32 {
	n := int32(len(ix.nodes))
	ix.nodes = append(ix.nodes, indexNode{from: from, to: to})
	var lo, hi PointMM
	if to-from <= leafSides {
		lo, hi = ix.points[from], ix.points[from]
		for i := from; i < to; i++ {
			_, b := ix.side(int(i))
			lo = PointMM{min(lo.X, b.X), min(lo.Y, b.Y)}
			hi = PointMM{max(hi.X, b.X), max(hi.Y, b.Y)}
		}
	} else {
		mid := from + (to-from)/2
		f := ix.build(from, mid)
		s := ix.build(mid, to)
		ix.nodes[n].second = s
		a, b := &ix.nodes[f], &ix.nodes[s]
		lo = PointMM{min(a.lo.X, b.lo.X), min(a.lo.Y, b.lo.Y)}
		hi = PointMM{max(a.hi.X, b.hi.X), max(a.hi.Y, b.hi.Y)}
	}
	ix.nodes[n].lo, ix.nodes[n].hi = lo, hi
	return n
}

func (ix *Index) side(i int) (a, b PointMM) {
	j := i + 1
	if j == len(ix.points) {
		j = 0
	}
	return ix.points[i], ix.points[j]
}

// dist2 is the squared distance from p to the box.
func (n *indexNode) dist2(p PointMM) float64 {
	dx := max(n.lo.X-p.X, p.X-n.hi.X, 0)
	dy := max(n.lo.Y-p.Y, p.Y-n.hi.Y, 0)
	return dx*dx + dy*dy
}

// depth is enough for a tree over 2^31 sides.
const depth = 32

// Nearest returns the point of the polyline nearest to p, its place and its distance in mm.
func (ix *Index) Nearest(p PointMM) (q PointMM, at Place, distMM float64) {
	q, at, distMM, _ = ix.NearestWithin(p, math.Inf(1))
	return q, at, distMM
}

// NearestWithin is Nearest where only what is nearer than limitMM matters; found is false if nothing is. Most of a polyline
// that lies farther away is not looked at.
func (ix *Index) NearestWithin(p PointMM, limitMM float64) (q PointMM, at Place, distMM float64, found bool) {
	best := limitMM * limitMM
	var stack [depth]struct {
		node  int32
		dist2 float64
	}
	stack[0].node = 0
	for top := 1; top > 0; {
		top--
		if stack[top].dist2 >= best {
			continue
		}
		node := stack[top].node
		for {
			n := &ix.nodes[node]
			if n.second == 0 {
				for i := n.from; i < n.to; i++ {
					a, b := ix.side(int(i))
					c, f := nearestOnSegment(p, a, b)
					if d := c.Sub(p); d.Dot(d) < best {
						best, q, at, found = d.Dot(d), c, Place{int(i), f}, true
					}
				}
				break
			}
			near, far := node+1, n.second
			dn, df := ix.nodes[near].dist2(p), ix.nodes[far].dist2(p)
			if df < dn {
				near, far, dn, df = far, near, df, dn
			}
			if df < best {
				stack[top].node, stack[top].dist2 = far, df
				top++
			}
			if dn >= best {
				break
			}
			node = near
		}
	}
	return q, at, p.Dist(q), found
}

// Contains tells whether p lies inside the closed outline (even-odd rule).
func (ix *Index) Contains(p PointMM) bool {
	in := false
	var stack [depth]int32
	for top := 1; top > 0; {
		top--
		node := stack[top]
		n := &ix.nodes[node]
		switch {
		case n.hi.X <= p.X || n.hi.Y <= p.Y || n.lo.Y > p.Y:
		case n.lo.X > p.X:
			// The ray passes the whole run or none of it: whether oddly often is told by the run's ends.
			a, _ := ix.side(int(n.from))
			_, b := ix.side(int(n.to) - 1)
			if (a.Y > p.Y) != (b.Y > p.Y) {
				in = !in
			}
		case n.second == 0:
			for i := n.from; i < n.to; i++ {
				if a, b := ix.side(int(i)); crossesRightOf(a, b, p) {
					in = !in
				}
			}
		default:
			stack[top], stack[top+1] = n.second, node+1
			top += 2
		}
	}
	return in
}

// SignedDistMM returns the distance from p to the outline, positive outside it, and the nearest place.
func (ix *Index) SignedDistMM(p PointMM) (distMM float64, q PointMM, at Place) {
	q, at, distMM = ix.Nearest(p)
	if ix.Contains(p) {
		distMM = -distMM
	}
	return distMM, q, at
}
