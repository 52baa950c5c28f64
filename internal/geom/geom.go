// Package geom holds points, outlines, rigid maps and fits. It knows nothing of photos.
//
// A point on paper or metal is a PointMM, a point in a photo is a PointPx; they are different types so that a function
// that is handed the wrong one does not compile. Which mm frame a PointMM lives in (strip, plane, face, job) is said by
// the name of the variable or field that holds it.
package geom

import "math"

// PointMM is a point, or a displacement, in millimetres; x right, y up, seen from the camera.
type PointMM struct{ X, Y float64 }

// PointPx is a point in pixels of a photo after EXIF orientation: u right, v down, (0, 0) at the centre of the top-left
// pixel.
type PointPx struct{ U, V float64 }

// Add returns p + q.
func (p PointMM) Add(q PointMM) PointMM { return PointMM{p.X + q.X, p.Y + q.Y} }

// Sub returns p - q.
func (p PointMM) Sub(q PointMM) PointMM { return PointMM{p.X - q.X, p.Y - q.Y} }

// Scale returns s p.
func (p PointMM) Scale(s float64) PointMM { return PointMM{s * p.X, s * p.Y} }

// Dot returns the scalar product.
func (p PointMM) Dot(q PointMM) float64 { return p.X*q.X + p.Y*q.Y }

// Cross returns the z component of the vector product: positive if q lies anticlockwise of p.
func (p PointMM) Cross(q PointMM) float64 { return p.X*q.Y - p.Y*q.X }

// Norm returns the length in mm.
func (p PointMM) Norm() float64 { return math.Hypot(p.X, p.Y) }

// Dist returns the distance to q in mm.
func (p PointMM) Dist(q PointMM) float64 { return math.Hypot(p.X-q.X, p.Y-q.Y) }

// Sub returns p - q in pixels.
func (p PointPx) Sub(q PointPx) PointPx { return PointPx{p.U - q.U, p.V - q.V} }

// Dist returns the distance to q in pixels.
func (p PointPx) Dist(q PointPx) float64 { return math.Hypot(p.U-q.U, p.V-q.V) }
