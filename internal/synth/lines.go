package synth

import (
	"math"

	"portmatch/internal/geom"
)

// lineField finds the drawn lines near a point.
type lineField struct {
	lines  []Line
	x0, y0 float64
	nx, ny int
	cells  [][]lineSeg
}

type lineSeg struct {
	a, b geom.PointMM
	line int32
}

const lineReachMM = 1.2

func newLineField(lines []Line) *lineField {
	f := &lineField{lines: lines}
	lo, hi := geom.PointMM{X: math.Inf(1), Y: math.Inf(1)}, geom.PointMM{X: math.Inf(-1), Y: math.Inf(-1)}
	for _, l := range lines {
		for _, p := range l.Points {
			lo.X, lo.Y = min(lo.X, p.X), min(lo.Y, p.Y)
			hi.X, hi.Y = max(hi.X, p.X), max(hi.Y, p.Y)
		}
	}
	f.x0, f.y0 = lo.X-2, lo.Y-2
	f.nx, f.ny = int(hi.X-lo.X)+5, int(hi.Y-lo.Y)+5
	f.cells = make([][]lineSeg, f.nx*f.ny)
	for k, l := range lines {
		n := len(l.Points)
		last := n - 1
		if l.Closed {
			last = n
		}
		for i := range last {
			s := lineSeg{l.Points[i], l.Points[(i+1)%n], int32(k)}
			r := lineReachMM + l.WidthMM
			ix0, ix1 := int(min(s.a.X, s.b.X)-r-f.x0), int(max(s.a.X, s.b.X)+r-f.x0)
			iy0, iy1 := int(min(s.a.Y, s.b.Y)-r-f.y0), int(max(s.a.Y, s.b.Y)+r-f.y0)
			for iy := max(0, iy0); iy <= min(f.ny-1, iy1); iy++ {
				for ix := max(0, ix0); ix <= min(f.nx-1, ix1); ix++ {
					c := geom.PointMM{X: f.x0 + float64(ix) + 0.5, Y: f.y0 + float64(iy) + 0.5}
					if distToSegment(c, s.a, s.b) < r+0.8 {
						f.cells[iy*f.nx+ix] = append(f.cells[iy*f.nx+ix], s)
					}
				}
			}
		}
	}
	return f
}

func distToSegment(p, a, b geom.PointMM) float64 {
	d := b.Sub(a)
	l := d.Dot(d)
	if l == 0 {
		return p.Dist(a)
	}
	t := clamp01(p.Sub(a).Dot(d) / l)
	return p.Dist(a.Add(d.Scale(t)))
}

// over lays the lines at (x, y) over the albedo a; pxMM softens their edges by a pixel.
func (f *lineField) over(x, y, pxMM float64, a RGB, gloss float64) (RGB, float64) {
	ix, iy := int(x-f.x0), int(y-f.y0)
	if x < f.x0 || y < f.y0 || ix >= f.nx || iy >= f.ny {
		return a, gloss
	}
	p := geom.PointMM{X: x, Y: y}
	cell := f.cells[iy*f.nx+ix]
	for i := 0; i < len(cell); {
		k := cell[i].line
		d := math.Inf(1)
		for ; i < len(cell) && cell[i].line == k; i++ {
			d = min(d, distToSegment(p, cell[i].a, cell[i].b))
		}
		l := &f.lines[k]
		t := l.Opacity * clamp01((l.WidthMM/2-d)/pxMM+0.5)
		a = a.mix(l.Albedo, t)
		gloss *= 1 - 0.7*t
	}
	return a, gloss
}
