package geom

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
