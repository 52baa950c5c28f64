package scalecard

import (
	"math"

	"portmatch/internal/geom"
	"portmatch/internal/scalecard/strip"
)

// Unknowns of the joint solve. Those of a strip follow the shared ones, stripUnknowns for each strip.
const (
	uLogF = iota // natural log of the focal length in px (scan: of px per mm)
	uCx          // px (scan: u and v of the plane's origin)
	uCy
	uK1
	uK2
	uAspect // log of vertical over horizontal scale of the picture; a camera's is 0
	uRx     // rotation, as a small turn after the one held in model.r (scan: uRx is the turn, uRy the shear)
	uRy
	uRz
	uTx // mm
	uTy
	uTz
	uShrink      // mm that a tag's black border is larger than nominal on each side
	uPrintAspect // log of the printer's scale across the strip over that along it
	sharedUnknowns
)

const (
	uTurn  = iota // rad; the strip's pose in the plane
	uX            // mm
	uY            // mm
	uLift         // mm; the paper's height over the plane is lift + tilt ξ + bow (ξ² - 1/3), ξ = -1 .. 1 along the strip
	uTilt         // mm
	uBow          // mm
	uScale        // log of this strip's print scale over the first one's
	stripUnknowns
)

// model is a camera with everything else that decides where a tag's corner is seen.
type model struct {
	width, height int
	x             []float64  // the unknowns
	r             [9]float64 // plane to camera, before the small turn
	numbers       []int      // strip numbers, ascending; the first one's frame is the plane's
	scaleX        float64    // true over nominal length, along and across the strips, from calipers
	scaleY        float64
	scan          bool
}

func (m *model) clone() *model {
	c := *m
	c.x = append([]float64(nil), m.x...)
	return &c
}

// stripIndex returns the index of the strip's first unknown.
func (m *model) stripIndex(k int) int { return sharedUnknowns + k*stripUnknowns }

// move changes one unknown. A change of focal length takes the camera back with it, and the lens's bend, so that the
// picture hardly changes: in these directions the fit is nearly straight.
func (m *model) move(i int, step float64) {
	m.x[i] += step
	if i == uLogF && !m.scan {
		m.x[uTz] *= math.Exp(step)
		m.x[uK1] *= math.Exp(2 * step)
		m.x[uK2] *= math.Exp(4 * step)
	}
}

// rotation returns exp(ω) r for the small turn ω held in x.
func (m *model) rotation() [9]float64 {
	return mul3(rodrigues(m.x[uRx], m.x[uRy], m.x[uRz]), m.r)
}

// settle folds the small turn into r.
func (m *model) settle() {
	if m.scan {
		return
	}
	m.r = m.rotation()
	m.x[uRx], m.x[uRy], m.x[uRz] = 0, 0, 0
}

// view is a model made ready for projecting.
type view struct {
	camera Camera
	fy     float64
	grow   float64 // printed over nominal size of a tag's border
	strips []stripView
}

// stripView takes points of one strip to the plane.
type stripView struct {
	scaleX, scaleY  float64
	sin, cos, x, y  float64
	lift, tilt, bow float64
}

func (m *model) view() view {
	x := m.x
	v := view{grow: 1 + x[uShrink]/(strip.TagMM/2), strips: make([]stripView, len(m.numbers))}
	across := math.Exp(x[uPrintAspect])
	for k := range v.strips {
		s := x[m.stripIndex(k):]
		scale := math.Exp(s[uScale])
		sin, cos := math.Sincos(s[uTurn])
		v.strips[k] = stripView{m.scaleX * scale, m.scaleY * scale * across, sin, cos, s[uX], s[uY], s[uLift], s[uTilt], s[uBow]}
	}
	v.camera = Camera{WidthPx: m.width, HeightPx: m.height}
	if m.scan {
		s := math.Exp(x[uLogF])
		sx, sy := s*math.Exp(-x[uAspect]/2), s*math.Exp(x[uAspect]/2)
		sin, cos := math.Sincos(x[uRx])
		sh := x[uRy]
		v.camera.Scan = &Affine{
			A: sx * (cos + sh*sin), B: sx * (-sin + sh*cos), Tu: x[uCx],
			C: -sy * sin, D: -sy * cos, Tv: x[uCy],
		}
		return v
	}
	f := math.Exp(x[uLogF])
	v.camera.FocalPx = f
	v.fy = f * math.Exp(x[uAspect])
	v.camera.CxPx, v.camera.CyPx, v.camera.K1, v.camera.K2 = x[uCx], x[uCy], x[uK1], x[uK2]
	v.camera.R = m.rotation()
	v.camera.T = [3]float64{x[uTx], x[uTy], x[uTz]}
	return v
}

// onPlane takes a nominal point of the strip to the plane frame and its height over the plane.
func (s *stripView) onPlane(p geom.PointMM) (q geom.PointMM, zMM float64) {
	p.X *= s.scaleX
	p.Y *= s.scaleY
	xi := (p.X - strip.LengthMM/2) / (strip.LengthMM / 2)
	zMM = s.lift + xi*s.tilt + (xi*xi-1./3)*s.bow
	return geom.PointMM{X: s.cos*p.X - s.sin*p.Y + s.x, Y: s.sin*p.X + s.cos*p.Y + s.y}, zMM
}

func (v *view) project(k int, p geom.PointMM) geom.PointPx {
	q, z := v.strips[k].onPlane(p)
	px := v.camera.PixelFromPlane(q, z)
	if v.camera.Scan == nil && v.fy != v.camera.FocalPx {
		px.V = v.camera.CyPx + (px.V-v.camera.CyPx)*v.fy/v.camera.FocalPx
	}
	return px
}

// tagTo returns the map from the frame of a tag to the photo.
func (v *view) tagTo(k, tag int) tagToPx {
	c := strip.TagCentre(tag)
	return func(p geom.PointMM) geom.PointPx { return v.project(k, c.Add(p)) }
}

// corners projects a tag's black border, grown by the model's shrink.
func (v *view) corners(k, tag int) [4]geom.PointPx {
	c := strip.TagCentre(tag)
	var out [4]geom.PointPx
	for i, p := range tagCorners() {
		out[i] = v.project(k, c.Add(p.Scale(v.grow)))
	}
	return out
}

func mul3(a, b [9]float64) (c [9]float64) {
	for i := range 3 {
		for j := range 3 {
			c[3*i+j] = a[3*i]*b[j] + a[3*i+1]*b[3+j] + a[3*i+2]*b[6+j]
		}
	}
	return c
}

// rodrigues returns the rotation by |ω| about ω.
func rodrigues(x, y, z float64) [9]float64 {
	t := math.Sqrt(x*x + y*y + z*z)
	if t == 0 {
		return [9]float64{1, 0, 0, 0, 1, 0, 0, 0, 1}
	}
	x, y, z = x/t, y/t, z/t
	s, c := math.Sincos(t)
	d := 1 - c
	return [9]float64{
		c + x*x*d, x*y*d - z*s, x*z*d + y*s,
		y*x*d + z*s, c + y*y*d, y*z*d - x*s,
		z*x*d - y*s, z*y*d + x*s, c + z*z*d,
	}
}
