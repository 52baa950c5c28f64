package scalecard

import (
	"math"

	"portmatch/internal/geom"
)

// Camera maps between the plane frame (mm, z = 0 on the strips' printed surface, z towards the camera) and the pixels
// of one photo (after EXIF orientation).
//
// A phone is a pinhole with radial distortion, x_d = x (1 + k1 r² + k2 r⁴) on normalised coordinates (Brown 1966; Zhang
// 2000). A flat-bed scan is orthographic: Scan is then set and the rest is unused.
type Camera struct {
	WidthPx, HeightPx int
	FocalPx           float64
	CxPx, CyPx        float64
	K1, K2            float64
	// R and T take plane coordinates to camera coordinates (x right, y down, z forward): X_cam = R X_plane + T. Row-major.
	R [9]float64
	T [3]float64 // mm

	Scan *Affine
}

// Affine is [u, v] = [A, B; C, D] [x, y] + [Tu, Tv], pixels from plane mm.
type Affine struct{ A, B, Tu, C, D, Tv float64 }

// PixelFromPlane projects the point at p, zMM above the printed surface.
func (c *Camera) PixelFromPlane(p geom.PointMM, zMM float64) geom.PointPx {
	if s := c.Scan; s != nil {
		return geom.PointPx{U: s.A*p.X + s.B*p.Y + s.Tu, V: s.C*p.X + s.D*p.Y + s.Tv}
	}
	X := c.R[0]*p.X + c.R[1]*p.Y + c.R[2]*zMM + c.T[0]
	Y := c.R[3]*p.X + c.R[4]*p.Y + c.R[5]*zMM + c.T[1]
	Z := c.R[6]*p.X + c.R[7]*p.Y + c.R[8]*zMM + c.T[2]
	x, y := X/Z, Y/Z
	r2 := x*x + y*y
	d := 1 + r2*(c.K1+r2*c.K2)
	return geom.PointPx{U: c.CxPx + c.FocalPx*x*d, V: c.CyPx + c.FocalPx*y*d}
}

// PlaneFromPixel intersects the ray through q with the plane zMM above the printed surface. The distortion is undone by
// Newton's method on the radius, to better than 1e-12 of the focal length inside the picture.
func (c *Camera) PlaneFromPixel(q geom.PointPx, zMM float64) geom.PointMM {
	if s := c.Scan; s != nil {
		det := s.A*s.D - s.B*s.C
		u, v := q.U-s.Tu, q.V-s.Tv
		return geom.PointMM{X: (s.D*u - s.B*v) / det, Y: (s.A*v - s.C*u) / det}
	}
	xd, yd := (q.U-c.CxPx)/c.FocalPx, (q.V-c.CyPx)/c.FocalPx
	rd := math.Hypot(xd, yd)
	k := 1.0
	if rd > 0 {
		r := rd
		for range 12 {
			r2 := r * r
			f := r*(1+r2*(c.K1+r2*c.K2)) - rd
			df := 1 + r2*(3*c.K1+5*r2*c.K2)
			step := f / df
			r -= step
			if math.Abs(step) < 1e-14 {
				break
			}
		}
		k = r / rd
	}
	x, y := xd*k, yd*k
	// The plane point solves R [X, Y, z] + T = Z [x, y, 1]: two equations in X and Y after Z is eliminated.
	a11, a12 := c.R[0]-x*c.R[6], c.R[1]-x*c.R[7]
	a21, a22 := c.R[3]-y*c.R[6], c.R[4]-y*c.R[7]
	b1 := -(c.T[0] - x*c.T[2]) - zMM*(c.R[2]-x*c.R[8])
	b2 := -(c.T[1] - y*c.T[2]) - zMM*(c.R[5]-y*c.R[8])
	det := a11*a22 - a12*a21
	return geom.PointMM{X: (a22*b1 - a12*b2) / det, Y: (a11*b2 - a21*b1) / det}
}

// CentreInPlane returns the camera's centre in the plane frame; its third component is the camera's height in mm.
func (c *Camera) CentreInPlane() [3]float64 {
	var o [3]float64
	for i := range 3 {
		for j := range 3 {
			o[i] -= c.R[3*j+i] * c.T[j]
		}
	}
	return o
}
