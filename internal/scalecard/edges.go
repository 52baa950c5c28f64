package scalecard

import (
	"math"

	"portmatch/internal/geom"
	"portmatch/internal/scalecard/strip"
)

// A tag has straight edges at known places: its border, and every boundary between a black cell and a white one. unit is
// one such boundary, a cell long, in the tag's frame (mm, origin at the tag's centre).
type unit struct {
	mid        geom.PointMM
	vertical   bool    // the edge runs along y
	white      float64 // the white side lies towards +x (+y): 1, or -1
	blackMM    float64 // how far black reaches behind the edge, and white before it, before the colour changes again
	whiteMM    float64
	openLo     bool // the edge goes on past its lower (left) end; otherwise a corner stands there
	openHi     bool
	border     bool
	halfLength float64 // mm
}

// unitsOf lists the edges of the tag id.
func unitsOf(id int) []unit {
	const n = strip.Cells
	black := func(vertical bool, across, along int) bool {
		if vertical {
			return strip.Black(id, across, along)
		}
		return strip.Black(id, along, across)
	}
	// The paper between two tags is 4 mm wide, as is the paper above; nothing else stands nearer.
	const quietMM = strip.TagPitchMM - strip.TagMM
	run := func(vertical bool, across, along, step int) float64 {
		want := black(vertical, across, along)
		cells := 0
		for c := across; c >= 0 && c < n && black(vertical, c, along) == want; c += step {
			cells++
		}
		length := float64(cells) * strip.CellMM
		if end := across + cells*step; !want && (end < 0 || end >= n) {
			length += quietMM
		}
		return length
	}
	var units []unit
	for _, vertical := range []bool{true, false} {
		for line := 0; line <= n; line++ {
			sign := func(along int) float64 {
				if along < 0 || along >= n {
					return 0
				}
				lo, hi := black(vertical, line-1, along), black(vertical, line, along)
				switch {
				case lo && !hi:
					return 1
				case hi && !lo:
					return -1
				}
				return 0
			}
			for along := range n {
				s := sign(along)
				if s == 0 {
					continue
				}
				at := float64(line)*strip.CellMM - strip.TagMM/2
				mid := (float64(along)+0.5)*strip.CellMM - strip.TagMM/2
				e := unit{vertical: vertical, white: s, openLo: sign(along-1) == s, openHi: sign(along+1) == s,
					border: line == 0 || line == n, halfLength: strip.CellMM / 2}
				e.mid = geom.PointMM{X: at, Y: mid}
				if !vertical {
					e.mid = geom.PointMM{X: mid, Y: at}
				}
				if s > 0 {
					e.blackMM, e.whiteMM = run(vertical, line-1, along, -1), run(vertical, line, along, 1)
				} else {
					e.blackMM, e.whiteMM = run(vertical, line, along, 1), run(vertical, line-1, along, -1)
				}
				units = append(units, e)
			}
		}
	}
	return units
}

// erfTable holds the normal distribution function and density, fine enough that straight interpolation between its
// entries is right to 2e-6: the second derivative is under 0.25 and the step 1/64, so the error is under 0.25/64²/8.
type erfTable struct {
	cdf, pdf [2*erfReach*erfSteps + 2]float64
}

const (
	erfReach = 5 // standard deviations either side
	erfSteps = 64
)

func newErfTable() *erfTable {
	var t erfTable
	for i := range t.cdf {
		z := float64(i)/erfSteps - erfReach
		t.cdf[i] = 0.5 * math.Erfc(-z/math.Sqrt2)
		t.pdf[i] = math.Exp(-z*z/2) / math.Sqrt(2*math.Pi)
	}
	return &t
}

func (t *erfTable) at(z float64) (cdf, pdf float64) {
	z = (z + erfReach) * erfSteps
	if z <= 0 {
		return 0, 0
	}
	if z >= 2*erfReach*erfSteps {
		return 1, 0
	}
	i := int(z)
	f := z - float64(i)
	return t.cdf[i] + f*(t.cdf[i+1]-t.cdf[i]), t.pdf[i] + f*(t.pdf[i+1]-t.pdf[i])
}

// reading is one unit as measured in the photo.
type reading struct {
	unit  *unit
	at    geom.PointPx // a point on the edge
	normU float64      // unit normal, from black to white
	normV float64
	// dark and light are the levels either side, in linear light.
	dark, light float64
	blurPx      float64
	pixels      int
	rms         float64 // residual of the fit in linear light
	leftPx      float64 // how far it stands from the tag as fitted, towards white
}

// patch is a piece of the photo in linear light.
type patch struct {
	id           int // the tag that it was cut for
	u0, v0, w, h int
	px           []float32
}

// edgeFitter fits blurred steps to edges; it owns scratch space and is not safe for two goroutines at once.
type edgeFitter struct {
	erf  *erfTable
	t    []float64 // px from the expected edge, towards white
	grey []float64
	// darkNoise is the variance of a pixel in the black over that in the white: pixels count by what they can tell.
	darkNoise float64
}

func newEdgeFitter() *edgeFitter { return &edgeFitter{erf: newErfTable(), darkNoise: 1} }

// maxPixels bounds the work on one edge: more pixels are thinned out.
const maxPixels = 600

// expected is where a unit should stand in the photo, good to a pixel or two.
type expected struct {
	mid         geom.PointPx
	dirU, dirV  float64 // along the edge
	normU       float64 // across it, from black to white
	normV       float64
	length      float64 // px
	black       float64 // px that black reaches behind the edge, and white before it
	white       float64
	lo, hi      float64 // px along the edge from mid that are free of corners
	back, front float64 // px across that tell of this edge alone
}

// window sets how much of the surroundings is looked at for an edge of the given blur.
func (x *expected) window(u *unit, blur float64) {
	// Corners round off the edge within about two blurs; a short edge keeps its middle third at least.
	trim := min(2*blur, x.length/3)
	x.lo, x.hi = -x.length/2, x.length/2
	if !u.openLo {
		x.lo += trim
	}
	if !u.openHi {
		x.hi -= trim
	}
	// Past the middle of the neighbouring cell nothing more is learnt of this edge; a window much longer on one side
	// would let a misfit of the flat parts pull on the edge.
	half := 3*blur + 2
	x.back, x.front = min(half, 0.75*x.black), min(half, 0.75*x.white)
	x.back = min(x.back, 1.5*x.front)
	x.front = min(x.front, 1.5*x.back)
}

// fit measures a unit. With shape nil the edge is a Gaussian's whose blur, about the given one, is fitted too; otherwise
// it has the given shape.
func (f *edgeFitter) fit(im *patch, u *unit, x expected, blur float64, shape *profile) (reading, bool) {
	if x.length < 1.5 {
		return reading{}, false
	}
	x.window(u, blur)
	// Once the window stands within half a pixel of the edge it is symmetric enough: the fit's own shift does the rest.
	for range 4 {
		f.gather(im, &x)
		r, d, ok := f.fitGathered(&x, blur, shape)
		if !ok {
			return r, false
		}
		if math.Abs(d) < 0.5 {
			r.unit, r.normU, r.normV = u, x.normU, x.normV
			r.at = geom.PointPx{U: x.mid.U + d*x.normU, V: x.mid.V + d*x.normV}
			return r, true
		}
		x.mid.U += d * x.normU
		x.mid.V += d * x.normV
	}
	return reading{}, false
}

// fitGathered fits dark + (light - dark) E(t - d) to the gathered pixels by Gauss-Newton steps.
func (f *edgeFitter) fitGathered(x *expected, blur float64, shape *profile) (reading, float64, bool) {
	n := len(f.t)
	if n < 8 {
		return reading{}, 0, false
	}
	dark, light := f.levels()
	A, B, d, s := dark, light-dark, 0.0, blur
	if B <= 0 {
		return reading{}, 0, false
	}
	params := 3
	if shape == nil {
		params = 4
	}
	half := max(x.back, x.front)
	var rss float64
	for range 8 {
		var N [4][4]float64
		var g [4]float64
		rss = 0
		inv := 1 / s
		tailW, tailB := x.white < x.front+3*s, x.black < x.back+3*s
		for i, t := range f.t {
			var c, p, ds float64 // of the edge: level, slope, change with blur
			if shape != nil {
				c, p = shape.at(t - d)
				if tailW {
					c2, _ := shape.at(t - x.white)
					c -= c2
				}
				if tailB {
					c2, _ := shape.at(-(t + x.black))
					c += c2
				}
			} else {
				z := (t - d) * inv
				c, p = f.erf.at(z)
				ds = -z * p
				if tailW {
					z2 := (t - x.white) * inv
					c2, p2 := f.erf.at(z2)
					c, ds = c-c2, ds+z2*p2
				}
				if tailB {
					z2 := -(t + x.black) * inv
					c2, p2 := f.erf.at(z2)
					c, ds = c+c2, ds-z2*p2
				}
				p *= inv
				ds *= inv
			}
			r := f.grey[i] - A - B*c
			rss += r * r
			w := 1 / (f.darkNoise + (1-f.darkNoise)*min(max(c, 0), 1))
			jd, js := -B*p, B*ds
			N[0][0] += w
			N[0][1] += w * c
			N[0][2] += w * jd
			N[1][1] += w * c * c
			N[1][2] += w * c * jd
			N[2][2] += w * jd * jd
			g[0] += w * r
			g[1] += w * r * c
			g[2] += w * r * jd
			if shape == nil {
				N[0][3] += w * js
				N[1][3] += w * c * js
				N[2][3] += w * jd * js
				N[3][3] += w * js * js
				g[3] += w * r * js
			}
		}
		if !solve4(&N, &g, params) {
			return reading{}, 0, false
		}
		A += g[0]
		B += g[1]
		d += max(-1, min(1, g[2]))
		if shape == nil {
			s = max(0.3, min(1.5*s, s+g[3]))
		}
		if B <= 0 || math.Abs(d) > half {
			return reading{}, 0, false
		}
		if math.Abs(g[2]) < 2e-3 && math.Abs(g[3]) < 5e-3 {
			break
		}
	}
	return reading{dark: A, light: A + B, blurPx: s, pixels: n, rms: math.Sqrt(rss / float64(n-params))}, d, true
}

// gather lists the pixels within the window.
func (f *edgeFitter) gather(im *patch, x *expected) {
	f.t, f.grey = f.t[:0], f.grey[:0]
	mid, half := (x.front-x.back)/2, (x.front+x.back)/2
	midS, halfS := (x.lo+x.hi)/2, (x.hi-x.lo)/2
	cu, cv := x.mid.U+mid*x.normU+midS*x.dirU, x.mid.V+mid*x.normV+midS*x.dirV
	ru := math.Abs(x.normU)*half + math.Abs(x.dirU)*halfS
	rv := math.Abs(x.normV)*half + math.Abs(x.dirV)*halfS
	u0, u1 := max(im.u0, int(math.Ceil(cu-ru))), min(im.u0+im.w-1, int(math.Floor(cu+ru)))
	v0, v1 := max(im.v0, int(math.Ceil(cv-rv))), min(im.v0+im.h-1, int(math.Floor(cv+rv)))
	stride := 1
	for 4*half*halfS > maxPixels*float64(stride) {
		stride++
	}
	for v := v0; v <= v1; v++ {
		row := im.px[(v-im.v0)*im.w : (v-im.v0+1)*im.w]
		dv := float64(v) - x.mid.V
		// A different phase in every row keeps the thinned pixels spread over all distances.
		for u := u0 + (v*7+u0)%stride; u <= u1; u += stride {
			du := float64(u) - x.mid.U
			if s := du*x.dirU + dv*x.dirV; s < x.lo || s > x.hi {
				continue
			}
			if t := du*x.normU + dv*x.normV; t >= -x.back && t <= x.front {
				f.t = append(f.t, t)
				f.grey = append(f.grey, float64(row[u-im.u0]))
			}
		}
	}
}

// levels returns the mean grey of the outer halves of either side.
func (f *edgeFitter) levels() (dark, light float64) {
	lo, hi := 0.0, 0.0
	for _, t := range f.t {
		lo, hi = min(lo, t), max(hi, t)
	}
	var nd, nl float64
	for i, t := range f.t {
		switch {
		case t < lo/2:
			dark += f.grey[i]
			nd++
		case t > hi/2:
			light += f.grey[i]
			nl++
		}
	}
	return dark / max(nd, 1), light / max(nl, 1)
}

// solve4 solves the symmetric system N x = g in place for the first n unknowns; the upper triangle of N is given.
func solve4(N *[4][4]float64, g *[4]float64, n int) bool {
	for k := range n {
		if N[k][k] <= 1e-300 {
			return false
		}
		for i := k + 1; i < n; i++ {
			m := N[k][i] / N[k][k]
			for j := i; j < n; j++ {
				N[i][j] -= m * N[k][j]
			}
			g[i] -= m * g[k]
		}
	}
	for k := n - 1; k >= 0; k-- {
		for j := k + 1; j < n; j++ {
			g[k] -= N[k][j] * g[j]
		}
		g[k] /= N[k][k]
	}
	return true
}
