package contour

import (
	"math"

	"portmatch/internal/geom"
	"portmatch/internal/photo"
	"portmatch/internal/scalecard"
)

// surface is one photographed surface: the pixels, and the maps between them and the face frame (mm, on the surface
// heightMM above the strips).
type surface struct {
	cam        *scalecard.Camera
	gray       []uint8
	light      []uint8 // what edges are measured in: gray, or one primary; see dyed
	dyeHue     float64 // light is the primary that layout dye is brightest in, and its hue is so strong there, see hue; 0 else
	w, h       int
	tone       *[256]float32
	heightMM   float64
	photo      *photo.Photo
	whiteBurnt bool // see scalecard.Solution
	// lampShadow is of a flat-bed scan: how far the lamp throws the shadow of an edge onto what lies behind. It is seen as a cut
	// wall is, of the depth of its length.
	lampShadow geom.PointMM
}

// lean is how far, on the face's plane, what lies one mm deeper at p appears displaced.
func (s *surface) lean(p geom.PointMM) geom.PointMM {
	if d := s.lampShadow.Norm(); d > 0 {
		return s.lampShadow.Scale(1 / d)
	}
	return s.face(s.cam.PixelFromPlane(p, s.heightMM-1)).Sub(p)
}

func newSurface(p *photo.Photo, sol *scalecard.Solution, heightMM float64) *surface {
	return &surface{cam: &sol.Camera, gray: p.Gray, light: p.Gray, w: p.Width, h: p.Height, tone: &sol.Tone.Linear, heightMM: heightMM, photo: p, whiteBurnt: sol.WhiteBurnt}
}

func (s *surface) pixel(face geom.PointMM) geom.PointPx {
	return s.cam.PixelFromPlane(face, s.heightMM)
}

func (s *surface) face(px geom.PointPx) geom.PointMM { return s.cam.PlaneFromPixel(px, s.heightMM) }

// inside tells whether a bilinear sample can be taken at q.
func (s *surface) inside(q geom.PointPx) bool {
	return q.U >= 0 && q.V >= 0 && q.U < float64(s.w-1) && q.V < float64(s.h-1)
}

// linear returns the linear light at q by bilinear interpolation of the decoded pixels, NaN outside the photo. Bilinear
// because it adds a known, small blur (variance at most 1/4 px²) and never rings; cubic was measured to be worse.
func (s *surface) linear(q geom.PointPx) float32 {
	if !s.inside(q) {
		return float32(math.NaN())
	}
	x, y := int(q.U), int(q.V)
	fx, fy := float32(q.U-float64(x)), float32(q.V-float64(y))
	i := y*s.w + x
	a, b := s.tone[s.light[i]], s.tone[s.light[i+1]]
	c, d := s.tone[s.light[i+s.w]], s.tone[s.light[i+s.w+1]]
	top := a + fx*(b-a)
	return top + fy*(c+fx*(d-c)-top)
}

// mmPerPx is the size of a pixel on the surface near p, the mean of both directions.
func (s *surface) mmPerPx(p geom.PointMM) float64 {
	const d = 1.0
	o := s.pixel(p)
	x, y := s.pixel(p.Add(geom.PointMM{X: d})).Sub(o), s.pixel(p.Add(geom.PointMM{Y: d})).Sub(o)
	area := math.Abs(x.U*y.V - x.V*y.U)
	return d / math.Sqrt(area)
}

// plan is the photo laid out in the face frame at a coarse, even scale: what the search for openings looks at, so that
// lengths there are mm and circles are round. Pixel (i, j) is at lo + (i, j) stepMM, y up.
type plan struct {
	w, h   int
	lo     geom.PointMM
	stepMM float64
	level  []float32 // gamma-coded grey, 0 to 255; it spaces light and dark evenly, and nothing is measured here
	valid  []bool    // false outside the photo
}

// maxPlanSide bounds the work of the coarse search; at 500 mm across it still gives 12 cells on a 5 mm hole.
const maxPlanSide = 1400

func (s *surface) plan() *plan {
	lo := geom.PointMM{X: math.Inf(1), Y: math.Inf(1)}
	hi := geom.PointMM{X: math.Inf(-1), Y: math.Inf(-1)}
	W, H := float64(s.w-1), float64(s.h-1)
	for _, q := range []geom.PointPx{{U: 0, V: 0}, {U: W, V: 0}, {U: 0, V: H}, {U: W, V: H}, {U: W / 2, V: 0}, {U: W / 2, V: H}, {U: 0, V: H / 2}, {U: W, V: H / 2}} {
		p := s.face(q)
		lo.X, lo.Y = math.Min(lo.X, p.X), math.Min(lo.Y, p.Y)
		hi.X, hi.Y = math.Max(hi.X, p.X), math.Max(hi.Y, p.Y)
	}
	mid := lo.Add(hi).Scale(0.5)
	step := math.Max(math.Max(hi.X-lo.X, hi.Y-lo.Y)/maxPlanSide, 1.5*s.mmPerPx(mid))
	p := &plan{lo: lo, stepMM: step, w: int((hi.X-lo.X)/step) + 1, h: int((hi.Y-lo.Y)/step) + 1}
	p.level = make([]float32, p.w*p.h)
	p.valid = make([]bool, p.w*p.h)

	k := max(1, int(step/s.mmPerPx(mid)))
	small, sw, sh := boxReduce(s.light, s.w, s.h, k)
	off := float64(k-1) / 2
	// The camera is smooth: project every eighth point of a row and go straight in between (error under 0.01 cell).
	const stride = 8
	perPx, right, bottom := 1/float64(k), float64(sw-1), float64(sh-1)
	parallelRows(p.h, func(j int) {
		y := p.lo.Y + float64(j)*step
		q0 := s.pixel(geom.PointMM{X: p.lo.X, Y: y})
		for i0 := 0; i0 < p.w; i0 += stride {
			q1 := s.pixel(geom.PointMM{X: p.lo.X + float64(i0+stride)*step, Y: y})
			du, dv := q1.U-q0.U, q1.V-q0.V
			level, valid := p.level[j*p.w:][:p.w], p.valid[j*p.w:][:p.w]
			for i := i0; i < min(i0+stride, p.w); i++ {
				f := float64(i-i0) / stride
				u, v := (q0.U+f*du-off)*perPx, (q0.V+f*dv-off)*perPx
				if u < 0 || v < 0 || u >= right || v >= bottom {
					continue
				}
				x, yy := int(u), int(v)
				fx, fy := float32(u-float64(x)), float32(v-float64(yy))
				n := yy*sw + x
				up, down := small[n:n+2:n+2], small[n+sw:n+sw+2:n+sw+2]
				a, b, c, d := float32(up[0]), float32(up[1]), float32(down[0]), float32(down[1])
				top := a + fx*(b-a)
				level[i] = top + fy*(c+fx*(d-c)-top)
				valid[i] = true
			}
			q0 = q1
		}
	})
	return p
}

// boxReduce averages k x k blocks of gray. Pixel (i, j) of the result covers the blocks' pixels, so its centre is at
// k i + (k-1)/2.
func boxReduce(gray []uint8, w, h, k int) ([]uint8, int, int) {
	if k == 1 {
		return gray, w, h
	}
	sw, sh := w/k, h/k
	out := make([]uint8, sw*sh)
	if k == 2 {
		parallelRows(sh, func(j int) {
			a, b := gray[2*j*w:][:2*sw], gray[(2*j+1)*w:][:2*sw]
			o := out[j*sw:][:sw]
			for i := range o {
				o[i] = uint8((uint32(a[2*i]) + uint32(a[2*i+1]) + uint32(b[2*i]) + uint32(b[2*i+1]) + 2) / 4)
			}
		})
		return out, sw, sh
	}
	inv := uint32((1<<24)/(k*k) + 1)
	parallelRows(sh, func(j int) {
		acc := make([]uint32, sw)
		for dy := range k {
			row := gray[(j*k+dy)*w:][:sw*k]
			for i := range acc {
				var t uint32
				for _, g := range row[i*k : i*k+k] {
					t += uint32(g)
				}
				acc[i] += t
			}
		}
		for i, t := range acc {
			out[j*sw+i] = uint8((uint64(t)*uint64(inv) + 1<<23) >> 24)
		}
	})
	return out, sw, sh
}

// at returns the level at p (face frame) by bilinear interpolation; ok is false outside the photo.
func (p *plan) at(q geom.PointMM) (v float32, ok bool) {
	x, y := (q.X-p.lo.X)/p.stepMM, (q.Y-p.lo.Y)/p.stepMM
	if x < 0 || y < 0 || x >= float64(p.w-1) || y >= float64(p.h-1) {
		return 0, false
	}
	i, j := int(x), int(y)
	n := j*p.w + i
	if !p.valid[n] || !p.valid[n+1] || !p.valid[n+p.w] || !p.valid[n+p.w+1] {
		return 0, false
	}
	fx, fy := float32(x-float64(i)), float32(y-float64(j))
	a, b, c, d := p.level[n], p.level[n+1], p.level[n+p.w], p.level[n+p.w+1]
	top := a + fx*(b-a)
	return top + fy*(c+fx*(d-c)-top), true
}

// blur smooths the plan with a binomial kernel (1 4 6 4 1)/16 in both directions, a standard deviation of one cell.
func (p *plan) blur() {
	tmp := make([]float32, len(p.level))
	parallelRows(p.h, func(j int) {
		r, o := p.level[j*p.w:(j+1)*p.w], tmp[j*p.w:(j+1)*p.w]
		n := len(r)
		for i := range r {
			a, b, d, e := max(i-2, 0), max(i-1, 0), min(i+1, n-1), min(i+2, n-1)
			o[i] = (r[a] + 4*r[b] + 6*r[i] + 4*r[d] + r[e]) / 16
		}
	})
	parallelRows(p.h, func(j int) {
		a, b, d, e := max(j-2, 0)*p.w, max(j-1, 0)*p.w, min(j+1, p.h-1)*p.w, min(j+2, p.h-1)*p.w
		c := j * p.w
		for i := range p.w {
			p.level[c+i] = (tmp[a+i] + 4*tmp[b+i] + 6*tmp[c+i] + 4*tmp[d+i] + tmp[e+i]) / 16
		}
	})
}

// hue returns chroma over brightness at q, NaN outside the photo. Both are gamma-coded, so that light and shade on one surface
// scale them alike and leave the ratio; hueFloor keeps the noise of dark pixels down.
func (s *surface) hue(q geom.PointPx) (float32, float32) {
	cb, cr, y := s.chroma(q)
	return cb / (y + hueFloor), cr / (y + hueFloor)
}

// chroma returns the two of q, and its grey level; NaN outside the photo.
func (s *surface) chroma(q geom.PointPx) (cb, cr, grey float32) {
	if !s.inside(q) {
		n := float32(math.NaN())
		return n, n, n
	}
	cb, cr = s.photo.ChromaAt(q.U, q.V)
	return cb, cr, float32(s.light[int(q.V+0.5)*s.w+int(q.U+0.5)])
}

const hueFloor = 14 // grey levels
