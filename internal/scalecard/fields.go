package scalecard

import (
	"fmt"

	"gonum.org/v1/gonum/mat"

	"portmatch/internal/geom"
)

const (
	// The region is sampled this finely each way; a cubic has ten coefficients, so that leaves it well overdetermined.
	fieldSamples = 9
	// Directions of the covariance that together move no point by more than this are left out.
	negligibleMM = 0.0005
)

// FaceFields returns the independent errors of the mapping from pixels to the surface heightMM above the strips, as
// displacement fields over the region (face frame, mm) spanned by lo and hi; the height itself, known to sigmaHeightMM
// (standard uncertainty), is one of them. Each field displaces the face by one standard deviation. What moves the whole
// face as one is left out: it changes neither form nor size.
func (s *Solution) FaceFields(heightMM, sigmaHeightMM float64, lo, hi geom.PointMM) []geom.Field {
	g := newFieldGrid(lo, hi)
	px := make([]geom.PointPx, len(g.at))
	for i, p := range g.at {
		px[i] = s.Camera.PixelFromPlane(p, heightMM)
	}
	var fields []geom.Field
	if s.fit != nil {
		fields = s.cameraFields(g, px, heightMM)
	}
	if s.Camera.Scan == nil && sigmaHeightMM > 0 {
		h := make([]geom.PointMM, len(px))
		for i, q := range px {
			up, down := s.Camera.PlaneFromPixel(q, heightMM+sigmaHeightMM), s.Camera.PlaneFromPixel(q, heightMM-sigmaHeightMM)
			h[i] = up.Sub(down).Scale(0.5)
		}
		g.dropRigid(h)
		fields = append(fields, g.field("height", h))
	}
	return fields
}

func (s *Solution) cameraFields(g *fieldGrid, px []geom.PointPx, heightMM float64) []geom.Field {
	f := s.fit
	// The unknowns that the way from pixel to plane depends on, with their joint covariance.
	var which []int
	for a, i := range f.active {
		if i <= uTz && i != uAspect || i == uAspect && f.model.scan {
			which = append(which, a)
		}
	}
	n, all := len(which), len(f.active)
	rows := 2 * len(px)
	J := mat.NewDense(rows, n, nil)
	for c, a := range which {
		i := f.active[a]
		step := stepOf(i)
		lo, hi := f.model.clone(), f.model.clone()
		lo.move(i, -step)
		hi.move(i, step)
		cl, ch := lo.view().camera, hi.view().camera
		d := make([]geom.PointMM, len(px))
		for k, q := range px {
			d[k] = ch.PlaneFromPixel(q, heightMM).Sub(cl.PlaneFromPixel(q, heightMM)).Scale(1 / (2 * step))
		}
		g.dropRigid(d)
		for k := range d {
			J.Set(2*k, c, d[k].X)
			J.Set(2*k+1, c, d[k].Y)
		}
	}
	C := newSPD(n)
	for i, a := range which {
		for j, b := range which {
			if j >= i {
				C.a[i*n+j] = f.cov[a*all+b]
			}
		}
	}
	if !C.chol() {
		return nil
	}
	// J Uᵀ holds one displacement a column; turned by the eigenvectors of its Gram matrix they become independent and
	// ordered by size.
	U := mat.NewDense(n, n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			U.Set(i, j, C.a[i*n+j])
		}
	}
	var F mat.Dense
	F.Mul(J, U.T())
	var gram mat.SymDense
	gram.SymOuterK(1, F.T())
	var e mat.EigenSym
	if !e.Factorize(&gram, true) {
		return nil
	}
	var V, M mat.Dense
	e.VectorsTo(&V)
	M.Mul(&F, &V)
	var fields []geom.Field
	var dropped float64
	for c := range n {
		largest := 0.0
		d := make([]geom.PointMM, len(px))
		for k := range d {
			d[k] = geom.PointMM{X: M.At(2*k, c), Y: M.At(2*k+1, c)}
			largest = max(largest, d[k].Norm())
		}
		// Eigenvalues ascend, so the small ones come first.
		if dropped+largest*largest <= negligibleMM*negligibleMM {
			dropped += largest * largest
			continue
		}
		fields = append(fields, g.field(fmt.Sprintf("camera %d", n-c), d))
	}
	return fields
}

// fieldGrid is where displacements over a face are sampled.
type fieldGrid struct {
	at     []geom.PointMM
	centre geom.PointMM
	scale  float64
	basis  mat.QR // of the cubic at the samples
}

// newFieldGrid spans the region from lo to hi, made wide enough in its narrow direction to tell a cubic's terms apart.
func newFieldGrid(lo, hi geom.PointMM) *fieldGrid {
	g := &fieldGrid{centre: lo.Add(hi).Scale(0.5), scale: max(1, max(hi.X-lo.X, hi.Y-lo.Y)/2)}
	half := geom.PointMM{X: max((hi.X-lo.X)/2, g.scale/4), Y: max((hi.Y-lo.Y)/2, g.scale/4)}
	for i := range fieldSamples {
		for j := range fieldSamples {
			x, y := 2*float64(i)/(fieldSamples-1)-1, 2*float64(j)/(fieldSamples-1)-1
			g.at = append(g.at, geom.PointMM{X: g.centre.X + x*half.X, Y: g.centre.Y + y*half.Y})
		}
	}
	f := geom.Field{CentreMM: g.centre, ScaleMM: g.scale}
	A := mat.NewDense(len(g.at), 10, nil)
	for i, p := range g.at {
		b := f.FieldBasis(p)
		A.SetRow(i, b[:])
	}
	g.basis.Factorize(A)
	return g
}

// dropRigid takes the rigid part, shift and turn about the centre, out of the displacements d of the samples.
func (g *fieldGrid) dropRigid(d []geom.PointMM) {
	shift, _ := middleMM(d)
	var turn, len2 float64
	for i, p := range g.at {
		r := p.Sub(g.centre)
		turn += r.Cross(d[i].Sub(shift))
		len2 += r.Dot(r)
	}
	turn /= len2
	for i, p := range g.at {
		r := p.Sub(g.centre)
		d[i] = d[i].Sub(shift).Sub(geom.PointMM{X: -turn * r.Y, Y: turn * r.X})
	}
}

// field fits the cubic to displacements at the samples.
func (g *fieldGrid) field(name string, d []geom.PointMM) geom.Field {
	B := mat.NewDense(len(d), 2, nil)
	for i, v := range d {
		B.SetRow(i, []float64{v.X, v.Y})
	}
	f := geom.Field{Name: name, CentreMM: g.centre, ScaleMM: g.scale}
	var x mat.Dense
	if err := g.basis.SolveTo(&x, false, B); err != nil {
		// The grid is never narrower than a quarter of its length: gonum warns of a condition number, it does not fail.
		_ = err
	}
	for i := range f.X {
		f.X[i], f.Y[i] = x.At(i, 0), x.At(i, 1)
	}
	return f
}
