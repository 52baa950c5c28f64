package geom

import (
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"
)

// CircleFit is a fitted circle. Covariance is that of (centre x, centre y, radius) in mm², from the given sigmas, or from
// the scatter of the points where none were given.
type CircleFit struct {
	Centre     PointMM
	RadiusMM   float64
	Covariance [3][3]float64
	RMSMM      float64 // of the points that count
	Used       int     // points whose weight stayed above one half
}

// FitCircle fits a circle to points by least squares of the distances to it, each divided by its standard uncertainty
// sigmaMM (nil: all alike); points that lie far off are weighted down (Huber, at 1.345 of the robust scatter, where
// clean data lose 5 % of efficiency). Start: Kasa's linear fit to the median-trimmed points. Fewer than three points, or
// points on a line, give ErrTooFewPoints.
func FitCircle(points []PointMM, sigmaMM []float64) (CircleFit, error) {
	if len(points) < 3 || sigmaMM != nil && len(sigmaMM) != len(points) {
		return CircleFit{}, fmt.Errorf("%w: a circle needs three, there are %d", ErrTooFewPoints, len(points))
	}
	c, r, ok := kasa(points, nil)
	if !ok {
		return CircleFit{}, fmt.Errorf("%w: the points lie on a line", ErrTooFewPoints)
	}
	// A few gross strays bend the linear fit; one refit without the worse half mends that.
	off := make([]float64, len(points))
	for i, p := range points {
		off[i] = math.Abs(p.Dist(c) - r)
	}
	if half := median(off); len(points) >= 8 {
		if c2, r2, ok := kasa(points, func(i int) bool { return off[i] <= half }); ok {
			c, r = c2, r2
		}
	}
	sigma := func(i int) float64 {
		if sigmaMM == nil {
			return 1
		}
		return sigmaMM[i]
	}
	weight := make([]float64, len(points))
	normal := mat.NewSymDense(3, nil)
	scale := 1.0
	for range 50 {
		for i, p := range points {
			off[i] = math.Abs(p.Dist(c)-r) / sigma(i)
		}
		scale = 1.4826 * median(off) // of a normal distribution
		if sigmaMM != nil {
			scale = math.Max(scale, 1)
		}
		a := mat.NewSymDense(3, nil)
		b := mat.NewVecDense(3, nil)
		for i, p := range points {
			weight[i] = 1
			if k := 1.345 * scale; off[i] > k {
				weight[i] = k / off[i]
			}
			d := p.Sub(c)
			l := d.Norm()
			if l == 0 {
				continue
			}
			// d(distance - r)/d(cx, cy, r)
			j := [3]float64{-d.X / l, -d.Y / l, -1}
			w := weight[i] / (sigma(i) * sigma(i))
			for m := range 3 {
				b.SetVec(m, b.AtVec(m)-w*j[m]*(l-r))
				for n := m; n < 3; n++ {
					a.SetSym(m, n, a.At(m, n)+w*j[m]*j[n])
				}
			}
		}
		var step mat.VecDense
		if err := step.SolveVec(a, b); err != nil {
			return CircleFit{}, fmt.Errorf("%w: the points do not fix a circle", ErrTooFewPoints)
		}
		c = c.Add(PointMM{step.AtVec(0), step.AtVec(1)})
		r += step.AtVec(2)
		normal.CopySym(a)
		if mat.Norm(&step, 2) < 1e-12*(1+r) {
			break
		}
	}
	f := CircleFit{Centre: c, RadiusMM: r}
	var sum, sw float64
	for i, p := range points {
		d := p.Dist(c) - r
		sum += weight[i] * d * d
		sw += weight[i]
		if weight[i] > 0.5 {
			f.Used++
		}
	}
	f.RMSMM = math.Sqrt(sum / sw)
	variance := 1.0
	if sigmaMM == nil {
		variance = sum / math.Max(sw-3, 1)
	}
	var inv mat.Dense
	if err := inv.Inverse(normal); err != nil {
		return CircleFit{}, fmt.Errorf("%w: the points do not fix a circle", ErrTooFewPoints)
	}
	for m := range 3 {
		for n := range 3 {
			f.Covariance[m][n] = variance * inv.At(m, n)
		}
	}
	return f, nil
}

// kasa solves x² + y² = 2 a x + 2 b y + c in the least-squares sense (Kåsa 1976) over the points that use admits.
func kasa(points []PointMM, use func(int) bool) (c PointMM, r float64, ok bool) {
	var mid PointMM
	n := 0.0
	for i, p := range points {
		if use == nil || use(i) {
			mid, n = mid.Add(p), n+1
		}
	}
	mid = mid.Scale(1 / n)
	var sxx, sxy, syy, sxz, syz, sz float64
	for i, p := range points {
		if use == nil || use(i) {
			d := p.Sub(mid)
			z := d.Dot(d)
			sxx, sxy, syy = sxx+d.X*d.X, sxy+d.X*d.Y, syy+d.Y*d.Y
			sxz, syz, sz = sxz+d.X*z, syz+d.Y*z, sz+z
		}
	}
	det := sxx*syy - sxy*sxy
	// Points whose spread across their line is a millionth of that along it lie on a line to all purposes.
	if !(det > 1e-12*(sxx+syy)*(sxx+syy)) {
		return c, 0, false
	}
	a := (sxz*syy - syz*sxy) / (2 * det)
	b := (syz*sxx - sxz*sxy) / (2 * det)
	return mid.Add(PointMM{a, b}), math.Sqrt(sz/n + a*a + b*b), true
}

func median(v []float64) float64 {
	s := append([]float64(nil), v...)
	sort.Float64s(s)
	return s[len(s)/2]
}
