package synth

import (
	"math"

	"portmatch/internal/geom"
	"portmatch/internal/scalecard"
)

// Look turns a camera towards the point aim of the part frame (z = 0: the measured face) from distanceMM away, moved off
// the face's normal by tiltDeg towards the azimuth tiltDirDeg (0 = +x, 90 = +y), then turned about its own axis by
// rollDeg (the picture turns anticlockwise).
func Look(c *scalecard.Camera, aim geom.PointMM, distanceMM, tiltDeg, tiltDirDeg, rollDeg float64) {
	a, b, q := tiltDeg*math.Pi/180, tiltDirDeg*math.Pi/180, rollDeg*math.Pi/180
	n := [3]float64{math.Sin(a) * math.Cos(b), math.Sin(a) * math.Sin(b), math.Cos(a)}
	up := [3]float64{-n[1] * n[0], 1 - n[1]*n[1], -n[1] * n[2]}
	l := math.Sqrt(up[0]*up[0] + up[1]*up[1] + up[2]*up[2])
	for i := range up {
		up[i] /= l
	}
	fwd := [3]float64{-n[0], -n[1], -n[2]}
	right := [3]float64{fwd[1]*up[2] - fwd[2]*up[1], fwd[2]*up[0] - fwd[0]*up[2], fwd[0]*up[1] - fwd[1]*up[0]}
	at := [3]float64{aim.X + distanceMM*n[0], aim.Y + distanceMM*n[1], distanceMM * n[2]}
	for i := range 3 {
		r := math.Cos(q)*right[i] + math.Sin(q)*up[i]
		u := -math.Sin(q)*right[i] + math.Cos(q)*up[i]
		c.R[i], c.R[3+i], c.R[6+i] = r, -u, fwd[i]
	}
	for k := range 3 {
		c.T[k] = -(c.R[3*k]*at[0] + c.R[3*k+1]*at[1] + c.R[3*k+2]*at[2])
	}
}

// point3 is a point of the part frame in space, mm.
type point3 struct{ X, Y, Z float64 }

// Frame places the camera so that pts fill the picture with the given margin (share of the width), centred.
func Frame(c *scalecard.Camera, pts []point3, tiltDeg, tiltDirDeg, rollDeg, margin float64) {
	var aim geom.PointMM
	lo, hi := bounds(pts)
	aim = geom.PointMM{X: (lo.X + hi.X) / 2, Y: (lo.Y + hi.Y) / 2}
	m := margin * float64(c.WidthPx)
	var d float64
	for range 5 {
		near, far := 60.0, 6000.0
		for range 40 {
			d = (near + far) / 2
			Look(c, aim, d, tiltDeg, tiltDirDeg, rollDeg)
			a, b := pixelBounds(c, pts)
			if b.U-a.U <= float64(c.WidthPx)-2*m && b.V-a.V <= float64(c.HeightPx)-2*m {
				far = d
			} else {
				near = d
			}
		}
		d = far
		Look(c, aim, d, tiltDeg, tiltDirDeg, rollDeg)
		a, b := pixelBounds(c, pts)
		du, dv := ((a.U+b.U)/2-float64(c.WidthPx-1)/2)*d/c.FocalPx, ((a.V+b.V)/2-float64(c.HeightPx-1)/2)*d/c.FocalPx
		aim.X += c.R[0]*du + c.R[3]*dv
		aim.Y += c.R[1]*du + c.R[4]*dv
	}
	Look(c, aim, d, tiltDeg, tiltDirDeg, rollDeg)
}

func bounds(pts []point3) (lo, hi geom.PointMM) {
	lo, hi = geom.PointMM{X: math.Inf(1), Y: math.Inf(1)}, geom.PointMM{X: math.Inf(-1), Y: math.Inf(-1)}
	for _, p := range pts {
		lo.X, lo.Y = math.Min(lo.X, p.X), math.Min(lo.Y, p.Y)
		hi.X, hi.Y = math.Max(hi.X, p.X), math.Max(hi.Y, p.Y)
	}
	return lo, hi
}

func pixelBounds(c *scalecard.Camera, pts []point3) (lo, hi geom.PointPx) {
	lo, hi = geom.PointPx{U: math.Inf(1), V: math.Inf(1)}, geom.PointPx{U: math.Inf(-1), V: math.Inf(-1)}
	for _, p := range pts {
		q := c.PixelFromPlane(geom.PointMM{X: p.X, Y: p.Y}, p.Z)
		lo.U, lo.V = math.Min(lo.U, q.U), math.Min(lo.V, q.V)
		hi.U, hi.V = math.Max(hi.U, q.U), math.Max(hi.V, q.V)
	}
	return lo, hi
}

// FocalPxFrom35 is the focal length in pixels of a picture whose 35 mm equivalent is f35, by the diagonal (CIPA DC-008).
func FocalPxFrom35(f35 float64, widthPx, heightPx int) float64 {
	return f35 / math.Hypot(36, 24) * math.Hypot(float64(widthPx), float64(heightPx))
}

// rays turns pixels into rays in the part frame. The undoing of the radial distortion is tabulated over r², 4096 steps
// to the corner; the error of the linear interpolation stays below 1e-8 of the focal length.
type rays struct {
	cam    *scalecard.Camera
	centre [3]float64
	k      []float64
	perR2  float64
	det    float64 // of a scan's affine map
}

func newRays(c *scalecard.Camera) *rays {
	r := &rays{cam: c}
	if s := c.Scan; s != nil {
		r.det = s.A*s.D - s.B*s.C
		return r
	}
	r.centre = c.CentreInPlane()
	far := 0.0
	for _, u := range []float64{-8, float64(c.WidthPx) + 8} {
		for _, v := range []float64{-8, float64(c.HeightPx) + 8} {
			x, y := (u-c.CxPx)/c.FocalPx, (v-c.CyPx)/c.FocalPx
			far = math.Max(far, x*x+y*y)
		}
	}
	const n = 4096
	r.perR2 = n / far
	r.k = make([]float64, n+2)
	r.k[0] = 1
	for i := 1; i < len(r.k); i++ {
		rd := math.Sqrt(float64(i) / r.perR2)
		x := rd
		for range 20 {
			x2 := x * x
			x -= (x*(1+x2*(c.K1+x2*c.K2)) - rd) / (1 + x2*(3*c.K1+5*x2*c.K2))
		}
		r.k[i] = x / rd
	}
	return r
}

// ray is a line of sight: it meets z = 0 at (X, Y) and moves by (MX, MY) for every mm of depth below.
type ray struct{ X, Y, MX, MY float64 }

func (r *rays) through(u, v float64) ray {
	c := r.cam
	if s := c.Scan; s != nil {
		u, v = u-s.Tu, v-s.Tv
		return ray{X: (s.D*u - s.B*v) / r.det, Y: (s.A*v - s.C*u) / r.det}
	}
	x, y := (u-c.CxPx)/c.FocalPx, (v-c.CyPx)/c.FocalPx
	q := (x*x + y*y) * r.perR2
	i := int(q)
	i = min(i, len(r.k)-2)
	t := q - float64(i)
	k := r.k[i]*(1-t) + r.k[i+1]*t
	x *= k
	y *= k
	dx := c.R[0]*x + c.R[3]*y + c.R[6]
	dy := c.R[1]*x + c.R[4]*y + c.R[7]
	dz := c.R[2]*x + c.R[5]*y + c.R[8]
	mx, my := -dx/dz, -dy/dz
	return ray{X: r.centre[0] + mx*r.centre[2], Y: r.centre[1] + my*r.centre[2], MX: mx, MY: my}
}

// below is the point of the line depthMM below the face.
func (r ray) below(depthMM float64) (x, y float64) { return r.X + r.MX*depthMM, r.Y + r.MY*depthMM }
