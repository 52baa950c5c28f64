package synth

import (
	"math"

	"portmatch/internal/geom"
)

// curve is one boundary of a flat piece of material.
type curve struct {
	outline []geom.PointMM // anticlockwise
	outer   bool           // material inside; otherwise the curve bounds an opening
}

// distanceField is the signed distance to a set of curves, positive in the material. Within nearMM of a curve it is
// the exact distance to the polyline; further out it is interpolated on a grid (error below cell²/8 times the
// curvature), which only shadows and ray steps use.
type distanceField struct {
	x0, y0 float64
	cell   float64 // mm
	inv    float64
	nx, ny int
	d      []float32 // at the nodes
	near   []int32   // at the nodes: nearest segment
	lists  [][]int32 // per cell; nil far from every curve
	segs   []segment
}

type segment struct {
	ax, ay, bx, by float64
	dx, dy, inv    float64 // inv = 1 / length²
	sign           float64 // +1: material to the left of a->b
	nax, nay       float64 // pseudo-normals at both ends, pointing to the material
	nbx, nby       float64
	curve          int32
}

// Cells of a world's field, and of one that only helps to draw a part's edge.
const (
	fineMM   = 0.5
	coarseMM = 1.0
	nearMM   = 0.9
)

func newDistanceField(curves []curve, marginMM, cellMM float64) *distanceField {
	lo, hi := geom.PointMM{X: math.Inf(1), Y: math.Inf(1)}, geom.PointMM{X: math.Inf(-1), Y: math.Inf(-1)}
	f := &distanceField{cell: cellMM, inv: 1 / cellMM}
	for k, c := range curves {
		n := outwardNormals(c.outline)
		sign := -1.0
		if c.outer {
			sign = 1
		}
		for i, a := range c.outline {
			j := (i + 1) % len(c.outline)
			b := c.outline[j]
			s := segment{ax: a.X, ay: a.Y, bx: b.X, by: b.Y, dx: b.X - a.X, dy: b.Y - a.Y, sign: sign, curve: int32(k),
				nax: -sign * n[i].X, nay: -sign * n[i].Y, nbx: -sign * n[j].X, nby: -sign * n[j].Y}
			s.inv = 1 / (s.dx*s.dx + s.dy*s.dy)
			f.segs = append(f.segs, s)
			lo.X, lo.Y = math.Min(lo.X, a.X), math.Min(lo.Y, a.Y)
			hi.X, hi.Y = math.Max(hi.X, a.X), math.Max(hi.Y, a.Y)
		}
	}
	f.x0, f.y0 = lo.X-marginMM, lo.Y-marginMM
	f.nx, f.ny = int((hi.X-lo.X+2*marginMM)/cellMM)+2, int((hi.Y-lo.Y+2*marginMM)/cellMM)+2
	f.near = make([]int32, f.nx*f.ny)
	dist := make([]float32, f.nx*f.ny)
	for i := range dist {
		dist[i] = math.MaxFloat32
		f.near[i] = -1
	}
	try := func(ix, iy int, s int32) {
		if s < 0 {
			return
		}
		k := iy*f.nx + ix
		d := float32(f.segs[s].distance2(f.x0+float64(ix)*cellMM, f.y0+float64(iy)*cellMM))
		if d < dist[k] {
			dist[k], f.near[k] = d, s
		}
	}
	for s := range f.segs {
		g := &f.segs[s]
		cx, cy := int(math.Round((g.ax-f.x0)/cellMM)), int(math.Round((g.ay-f.y0)/cellMM))
		for iy := max(0, cy-3); iy <= min(f.ny-1, cy+3); iy++ {
			for ix := max(0, cx-3); ix <= min(f.nx-1, cx+3); ix++ {
				try(ix, iy, int32(s))
			}
		}
	}
	// The nearest segment spreads outwards from neighbour to neighbour, two sweeps each way.
	for range 2 {
		for iy := range f.ny {
			for ix := range f.nx {
				k := iy*f.nx + ix
				if iy > 0 {
					try(ix, iy, f.near[k-f.nx])
					if ix > 0 {
						try(ix, iy, f.near[k-f.nx-1])
					}
					if ix < f.nx-1 {
						try(ix, iy, f.near[k-f.nx+1])
					}
				}
				if ix > 0 {
					try(ix, iy, f.near[k-1])
				}
			}
			for ix := f.nx - 2; ix >= 0; ix-- {
				try(ix, iy, f.near[iy*f.nx+ix+1])
			}
		}
		for iy := f.ny - 1; iy >= 0; iy-- {
			for ix := f.nx - 1; ix >= 0; ix-- {
				k := iy*f.nx + ix
				if iy < f.ny-1 {
					try(ix, iy, f.near[k+f.nx])
					if ix > 0 {
						try(ix, iy, f.near[k+f.nx-1])
					}
					if ix < f.nx-1 {
						try(ix, iy, f.near[k+f.nx+1])
					}
				}
				if ix < f.nx-1 {
					try(ix, iy, f.near[k+1])
				}
			}
			for ix := 1; ix < f.nx; ix++ {
				try(ix, iy, f.near[iy*f.nx+ix-1])
			}
		}
	}
	f.d = dist
	for iy := range f.ny {
		for ix := range f.nx {
			k := iy*f.nx + ix
			d, _ := f.segs[f.near[k]].signed(f.x0+float64(ix)*cellMM, f.y0+float64(iy)*cellMM)
			f.d[k] = float32(d)
		}
	}
	f.list()
	return f
}

// list gives every cell near a curve the segments that can be nearest to a point in it: those whose distance to the
// cell's centre is within a cell's diagonal of the smallest.
func (f *distanceField) list() {
	half := f.cell * math.Sqrt2 / 2
	reach := int(math.Ceil((nearMM+2*half)/f.cell)) + 1
	f.lists = make([][]int32, f.nx*f.ny)
	best := make([]float64, f.nx*f.ny)
	for i := range best {
		best[i] = math.Inf(1)
	}
	each := func(do func(cell int, s int32, d float64)) {
		for s := range f.segs {
			g := &f.segs[s]
			cx, cy := int((g.ax-f.x0)*f.inv), int((g.ay-f.y0)*f.inv)
			for iy := max(0, cy-reach); iy <= min(f.ny-2, cy+reach); iy++ {
				for ix := max(0, cx-reach); ix <= min(f.nx-2, cx+reach); ix++ {
					d := math.Sqrt(g.distance2(f.x0+(float64(ix)+0.5)*f.cell, f.y0+(float64(iy)+0.5)*f.cell))
					do(iy*f.nx+ix, int32(s), d)
				}
			}
		}
	}
	each(func(c int, _ int32, d float64) { best[c] = math.Min(best[c], d) })
	each(func(c int, s int32, d float64) {
		if best[c] < nearMM+half && d <= best[c]+2*half {
			f.lists[c] = append(f.lists[c], s)
		}
	})
}

func (s *segment) distance2(x, y float64) float64 {
	px, py := x-s.ax, y-s.ay
	t := (px*s.dx + py*s.dy) * s.inv
	if t < 0 {
		t = 0
	} else if t > 1 {
		t = 1
	}
	px -= t * s.dx
	py -= t * s.dy
	return px*px + py*py
}

// signed returns the distance, positive in the material, and the share of the segment where the foot lies.
func (s *segment) signed(x, y float64) (d, t float64) {
	px, py := x-s.ax, y-s.ay
	t = (px*s.dx + py*s.dy) * s.inv
	var side float64
	switch {
	case t <= 0:
		t = 0
		side = px*s.nax + py*s.nay
	case t >= 1:
		t = 1
		px, py = x-s.bx, y-s.by
		side = px*s.nbx + py*s.nby
	default:
		side = (s.dx*py - s.dy*px) * s.sign
		px -= t * s.dx
		py -= t * s.dy
	}
	d = math.Sqrt(px*px + py*py)
	if side < 0 {
		d = -d
	}
	return d, t
}

// at returns the signed distance at (x, y) and the nearest curve.
func (f *distanceField) at(x, y float64) (float64, int32) {
	fx, fy := (x-f.x0)*f.inv, (y-f.y0)*f.inv
	out := 0.0
	if fx < 0 || fy < 0 || fx >= float64(f.nx-1) || fy >= float64(f.ny-1) {
		cx, cy := max(0, min(fx, float64(f.nx-1)-1e-6)), max(0, min(fy, float64(f.ny-1)-1e-6))
		out = f.cell * math.Hypot(fx-cx, fy-cy)
		fx, fy = cx, cy
	}
	ix, iy := int(fx), int(fy)
	k := iy*f.nx + ix
	if l := f.lists[k]; l != nil && out == 0 {
		best, bi := math.MaxFloat64, l[0]
		for _, s := range l {
			if d := f.segs[s].distance2(x, y); d < best {
				best, bi = d, s
			}
		}
		d, _ := f.segs[bi].signed(x, y)
		return d, f.segs[bi].curve
	}
	return f.grid(fx, fy) - out, f.segs[f.near[k]].curve
}

func (f *distanceField) grid(fx, fy float64) float64 {
	ix, iy := int(fx), int(fy)
	tx, ty := fx-float64(ix), fy-float64(iy)
	k := iy*f.nx + ix
	a := float64(f.d[k])*(1-tx) + float64(f.d[k+1])*tx
	b := float64(f.d[k+f.nx])*(1-tx) + float64(f.d[k+f.nx+1])*tx
	return a*(1-ty) + b*ty
}

// soft returns the interpolated distance, good to a few hundredths of a mm: for shadows.
func (f *distanceField) soft(x, y float64) float64 {
	fx, fy := (x-f.x0)*f.inv, (y-f.y0)*f.inv
	if fx >= 0 && fy >= 0 && fx < float64(f.nx-1) && fy < float64(f.ny-1) {
		return f.grid(fx, fy)
	}
	cx, cy := max(0, min(fx, float64(f.nx-1)-1e-6)), max(0, min(fy, float64(f.ny-1)-1e-6))
	return f.grid(cx, cy) - f.cell*math.Hypot(fx-cx, fy-cy)
}

// toMaterial is the unit gradient of the distance: from the void towards the material.
func (f *distanceField) toMaterial(x, y float64) (gx, gy float64) {
	const h = 0.4
	gx = f.soft(x+h, y) - f.soft(x-h, y)
	gy = f.soft(x, y+h) - f.soft(x, y-h)
	l := math.Sqrt(gx*gx + gy*gy)
	if l < 1e-9 {
		return 1, 0
	}
	return gx / l, gy / l
}
