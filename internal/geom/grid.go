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

// in returns the segments of cell c.
func (g *segGrid) in(c int) []int32 { return g.list[g.start[c]:g.start[c+1]] }
