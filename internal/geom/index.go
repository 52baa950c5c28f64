package geom

import "math"

// segGrid sorts line segments into the square cells of a grid, so that what lies near a point or a segment is found
// without looking at the rest. Each cell lists the segments that may pass through it.
type segGrid struct {
	lo         PointMM
	cell       float64
	cols, rows int
	start      []int32 // of each cell's stretch in list; cols*rows + 1 of them
	list       []int32
}

// cellsPerSegment is a compromise: an outline passes through few of the cells of its box, so that with one cell a segment
// the cells it does pass would hold dozens; more cells cost memory and make far searches longer.
const cellsPerSegment = 8

func newSegGrid(n int, seg func(int) (a, b PointMM)) *segGrid {
	lo := PointMM{math.Inf(1), math.Inf(1)}
	hi := PointMM{math.Inf(-1), math.Inf(-1)}
	for i := range n {
		a, b := seg(i)
		lo = PointMM{min(lo.X, a.X, b.X), min(lo.Y, a.Y, b.Y)}
		hi = PointMM{max(hi.X, a.X, b.X), max(hi.Y, a.Y, b.Y)}
	}
	w, h := hi.X-lo.X, hi.Y-lo.Y
	g := &segGrid{lo: lo}
	g.cell = max(math.Sqrt(w*h/float64(cellsPerSegment*n)), max(w, h)/float64(cellsPerSegment*n))
	if g.cell == 0 {
		g.cell = 1 // all points are one
	}
	g.cols, g.rows = int(w/g.cell)+1, int(h/g.cell)+1
	g.start = make([]int32, g.cols*g.rows+1)
	for i := range n {
		a, b := seg(i)
		g.cells(a, b, func(c int) { g.start[c+1]++ })
	}
	for c := range g.cols * g.rows {
		g.start[c+1] += g.start[c]
	}
	g.list = make([]int32, g.start[len(g.start)-1])
	fill := append([]int32(nil), g.start...)
	for i := range n {
		a, b := seg(i)
		g.cells(a, b, func(c int) {
			g.list[fill[c]] = int32(i)
			fill[c]++
		})
	}
	return g
}

func (g *segGrid) col(x float64) int { return min(max(int((x-g.lo.X)/g.cell), 0), g.cols-1) }
func (g *segGrid) row(y float64) int { return min(max(int((y-g.lo.Y)/g.cell), 0), g.rows-1) }

// cells calls f for the cells that ab passes through, row by row, with a cell to spare where rounding could lose one.
func (g *segGrid) cells(a, b PointMM, f func(int)) {
	if a.Y > b.Y {
		a, b = b, a
	}
	r0, r1 := g.row(a.Y), g.row(b.Y)
	for r := r0; r <= r1; r++ {
		x0, x1 := a.X, b.X
		if r1 > r0 {
			t0 := max(0, (g.lo.Y+float64(r)*g.cell-a.Y)/(b.Y-a.Y))
			t1 := min(1, (g.lo.Y+float64(r+1)*g.cell-a.Y)/(b.Y-a.Y))
			x0, x1 = a.X+t0*(b.X-a.X), a.X+t1*(b.X-a.X)
		}
		if x0 > x1 {
			x0, x1 = x1, x0
		}
		slack := 1e-9 * g.cell
		for c := g.col(x0 - slack); c <= g.col(x1+slack); c++ {
			f(r*g.cols + c)
		}
	}
}

func (g *segGrid) at(col, row int) []int32 {
	c := row*g.cols + col
	return g.list[g.start[c]:g.start[c+1]]
}

// Index answers, for a polyline, which of its points is nearest and whether a point lies inside it, in a time that hardly
// depends on how many points it has.
type Index struct {
	points []PointMM
	sides  int // len(points), one less if open
	grid   *segGrid
}

// NewIndex prepares the closed outline o, which must have at least one point.
func NewIndex(o Outline) *Index { return newIndex(o, len(o)) }

// NewOpenIndex prepares a polyline that is not closed, of at least two points.
func NewOpenIndex(points []PointMM) *Index { return newIndex(points, len(points)-1) }

func newIndex(points []PointMM, sides int) *Index {
	ix := &Index{points: points, sides: sides}
	ix.grid = newSegGrid(sides, ix.side)
	return ix
}

func (ix *Index) side(i int) (a, b PointMM) {
	j := i + 1
	if j == len(ix.points) {
		j = 0
	}
	return ix.points[i], ix.points[j]
}

// Nearest returns the point of the polyline nearest to p, its place and its distance in mm.
func (ix *Index) Nearest(p PointMM) (q PointMM, at Place, distMM float64) {
	g := ix.grid
	c, r := g.col(p.X), g.row(p.Y)
	distMM = math.Inf(1)
	look := func(col, row int) {
		for _, i := range g.at(col, row) {
			a, b := ix.side(int(i))
			n, f := nearestOnSegment(p, a, b)
			if d := p.Dist(n); d < distMM {
				q, at, distMM = n, Place{int(i), f}, d
			}
		}
	}
	// Rings of cells round p's own: everything beyond ring k is at least as far from p as the ring's nearest outer side.
	x, y := p.X-g.lo.X, p.Y-g.lo.Y
	for k := 0; k <= max(g.cols, g.rows); k++ {
		for row := max(0, r-k); row <= min(g.rows-1, r+k); row++ {
			if row == r-k || row == r+k {
				for col := max(0, c-k); col <= min(g.cols-1, c+k); col++ {
					look(col, row)
				}
				continue
			}
			if c-k >= 0 {
				look(c-k, row)
			}
			if k > 0 && c+k < g.cols {
				look(c+k, row)
			}
		}
		reach := math.Inf(1)
		if c-k > 0 {
			reach = min(reach, x-float64(c-k)*g.cell)
		}
		if c+k < g.cols-1 {
			reach = min(reach, float64(c+k+1)*g.cell-x)
		}
		if r-k > 0 {
			reach = min(reach, y-float64(r-k)*g.cell)
		}
		if r+k < g.rows-1 {
			reach = min(reach, float64(r+k+1)*g.cell-y)
		}
		if distMM <= reach {
			break
		}
	}
	return q, at, distMM
}

// Contains tells whether p lies inside the closed outline (even-odd rule), looking only at the row of cells to p's right.
func (ix *Index) Contains(p PointMM) bool {
	g := ix.grid
	if p.Y < g.lo.Y || p.Y > g.lo.Y+float64(g.rows)*g.cell {
		return false
	}
	in := false
	row := g.row(p.Y)
	for col := g.col(p.X); col < g.cols; col++ {
		for _, i := range g.at(col, row) {
			a, b := ix.side(int(i))
			if !crossesRightOf(a, b, p) {
				continue
			}
			// A side that passes through several cells of the row counts in the cell where it meets the ray.
			x := a.X + (p.Y-a.Y)/(b.Y-a.Y)*(b.X-a.X)
			if g.col(x) == col {
				in = !in
			}
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
