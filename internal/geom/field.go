package geom

import "gonum.org/v1/gonum/mat"

// Field is a smooth displacement over a face, in mm: how far every point of the face would move if one independent
// source of error (one direction of the camera's covariance, the height, ...) were off by one standard deviation. It is
// a cubic polynomial in (x - Centre) / ScaleMM; a camera's error over a face is smooth enough that the cubic
// stands within a hundredth of the displacement itself.
type Field struct {
	Name     string      `json:"name"`      // source, in words: "camera 3", "height"
	CentreMM PointMM     `json:"centre_mm"` // face frame
	ScaleMM  float64     `json:"scale_mm"`
	X        [10]float64 `json:"x"` // mm; coefficients of fieldBasis
	Y        [10]float64 `json:"y"`
}

// FieldBasis returns the ten monomials 1, x, y, x², xy, y², x³, x²y, xy², y³ of the reduced coordinates at p.
func (f *Field) FieldBasis(p PointMM) [10]float64 {
	x, y := (p.X-f.CentreMM.X)/f.ScaleMM, (p.Y-f.CentreMM.Y)/f.ScaleMM
	return [10]float64{1, x, y, x * x, x * y, y * y, x * x * x, x * x * y, x * y * y, y * y * y}
}

// At returns the displacement in mm at p, both in the face frame.
func (f *Field) At(p PointMM) PointMM {
	b := f.FieldBasis(p)
	var d PointMM
	for i, v := range b {
		d.X += f.X[i] * v
		d.Y += f.Y[i] * v
	}
	return d
}

// Mapped returns the same displacements in another frame. A cubic stays a cubic under a rigid map; its coefficients are found
// from its values at ten places that fix them.
func (f *Field) Mapped(r Rigid) Field {
	g := Field{Name: f.Name, CentreMM: r.Apply(f.CentreMM), ScaleMM: f.ScaleMM}
	back := r.Inverse()
	a := mat.NewDense(10, 10, nil)
	b := mat.NewDense(10, 2, nil)
	row := 0
	for i := range 4 { // a triangle of ten places
		for j := range 4 - i {
			p := g.CentreMM.Add(PointMM{float64(i) - 1, float64(j) - 1}.Scale(g.ScaleMM))
			basis := g.FieldBasis(p)
			a.SetRow(row, basis[:])
			d := r.Turn(f.At(back.Apply(p)))
			b.SetRow(row, []float64{d.X, d.Y})
			row++
		}
	}
	var x mat.Dense
	if err := x.Solve(a, b); err != nil {
		panic(err) // the triangle's matrix is the same for every field, and regular
	}
	for k := range 10 {
		g.X[k], g.Y[k] = x.At(k, 0), x.At(k, 1)
	}
	return g
}
