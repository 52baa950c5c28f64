package contour

import (
	"math"

	"portmatch/internal/geom"
)

// band is the strip of photo along a closed curve, unrolled: row i is the profile across the curve at vertex i, in linear
// light. Sample j of a row lies at s = s0 + j ds mm along the normal, positive towards the opening.
type band struct {
	base    []geom.PointMM // face frame, anticlockwise, evenly spaced
	inward  []geom.PointMM // unit normals, towards the opening
	spacing float64        // mm between vertices
	s0, ds  float64        // mm
	n       int            // samples a row
	rows    []float32      // len(base) * n; NaN outside the photo
	// hue holds two numbers a sample, chroma over brightness, which a shadow does not change; nil for a grey photo.
	hue         []float32
	chromaNoise float64 // of a sample's chroma, standard deviation in grey levels
	quantum     float64 // of the photo's chroma, grey levels; see photo.Photo
	dyeHue      float64 // see surface
	// lean[i] is how far, in mm along the normal on the face's plane, a point one mm deeper appears displaced: positive
	// where the camera sees the wall below the edge.
	lean   []float64
	pxMM   float64   // mm per pixel, the mean along the curve
	pixels []float64 // mm per pixel along the normal at each vertex
}

// unroll samples the photo along base from s0 to s1 (mm), every vertex averaged over avgMM along the curve.
func (s *surface) unroll(base []geom.PointMM, s0, s1, ds, avgMM float64, colour bool) *band {
	n := len(base)
	b := &band{base: base, spacing: pathLength(base) / float64(n), s0: s0, ds: ds, n: int((s1-s0)/ds) + 1}
	b.inward = inwardNormals(base)
	b.lean = make([]float64, n)
	b.pixels = make([]float64, n)
	raw := make([]float32, n*b.n)
	// Chroma and brightness are averaged each for itself: the mean of noisy ratios is led by the darkest pixels.
	var chroma, grey []float32
	if colour && s.photo.HasColour() {
		chroma, grey = make([]float32, 2*n*b.n), make([]float32, n*b.n)
	}
	parallelRows(n, func(i int) {
		p, d := base[i], b.inward[i]
		row := raw[i*b.n : (i+1)*b.n]
		// Project every fourth sample, go straight in between: over 4 samples (2 px) the camera bends less than 1e-4 px.
		const stride = 4
		q0 := s.pixel(p.Add(d.Scale(s0)))
		for j0 := 0; j0 < b.n; j0 += stride {
			q1 := s.pixel(p.Add(d.Scale(s0 + float64(j0+stride)*ds)))
			for j := j0; j < min(j0+stride, b.n); j++ {
				f := float64(j-j0) / stride
				q := geom.PointPx{U: q0.U + f*(q1.U-q0.U), V: q0.V + f*(q1.V-q0.V)}
				row[j] = s.linear(q)
				if k := i*b.n + j; chroma != nil {
					chroma[2*k], chroma[2*k+1], grey[k] = s.chroma(q)
				}
			}
			q0 = q1
		}
		b.lean[i] = s.lean(p).Dot(d)
		b.pixels[i] = 0.5 / s.pixel(p.Add(d.Scale(0.25))).Dist(s.pixel(p.Sub(d.Scale(0.25))))
	})
	for _, v := range b.pixels {
		b.pxMM += v / float64(n)
	}
	b.rows = smoothAlong(raw, n, b.n, avgMM/2/b.spacing)
	if chroma != nil {
		b.hue, grey = smoothAlong(chroma, n, 2*b.n, avgMM/2/b.spacing), smoothAlong(grey, n, b.n, avgMM/2/b.spacing)
		for k := range b.hue {
			b.hue[k] /= grey[k/2] + hueFloor
		}
		b.chromaNoise, b.quantum = b.measureChromaNoise(), s.photo.ChromaQuantum
		b.dyeHue = s.dyeHue
	}
	return b
}

// measureChromaNoise is the robust scatter of the chroma of samples a little apart, over the square root of two. A photo stores chroma at
// half its size.
func (b *band) measureChromaNoise() float64 {
	const apart, rows, skip = 6, 64, 5
	var d []float64
	for i := 0; i < len(b.base); i += max(1, len(b.base)/rows) {
		hue, row := b.hue[2*i*b.n:], b.row(i)
		for j := 0; j+apart < b.n; j += skip {
			at, to := greyLevel(float64(row[j]))+hueFloor, greyLevel(float64(row[j+apart]))+hueFloor
			for c := range 2 {
				if v := math.Abs(float64(hue[2*j+c])*at - float64(hue[2*(j+apart)+c])*to); v == v {
					d = append(d, v)
				}
			}
		}
	}
	return 1.4826 * quantile(d, 0.5) / math.Sqrt2
}

// darkNoise is the standard uncertainty of the hue of a sample of so much light, linear from 0 to 1, beyond that of a sample of darkLevel.
// The spread of a hue, learned from samples, holds what is usual where there is light; where there is little, it holds nothing: even black
// has no hue at all, and dim noise any.
func (b *band) darkNoise(light float64) float64 {
	const darkLevel = 60 // grey levels
	at := func(level float64) float64 { return b.chromaNoise / (level + hueFloor) }
	n, usual := at(greyLevel(light)), at(darkLevel)
	return math.Sqrt(max(0, n*n-usual*usual))
}

// codedHue is the standard uncertainty of the hue near a change of it in a coarsely coded JPEG, beyond that of a usual one: blocks of 16 pixels hold
// little more than their mean hue.
func (b *band) codedHue() float64 {
	const (
		usual = 25.0  // grey levels, a camera's own files
		light = 130.0 // grey levels, about a gasket's and a bench's
		share = 0.1   // enough for a black gasket on wood, coded at qualities 30 and 37, to be found by brightness alone
	)
	return share * max(0, b.quantum-usual) / light
}

// greyLevel is roughly what a photo stores for linear light from 0 to 1.
func greyLevel(linear float64) float64 { return 255 * math.Sqrt(max(linear, 0)) }

// smoothAlong averages every column over a triangular window of the given half width in rows, round the closed curve.
func smoothAlong(raw []float32, n, m int, half float64) []float32 {
	k := int(math.Ceil(half))
	if k < 1 || n < 2*k+1 {
		return raw
	}
	w := make([]float32, 2*k+1)
	var sum float32
	for a := -k; a <= k; a++ {
		w[a+k] = float32(math.Max(0, 1-math.Abs(float64(a))/(half+1e-9)))
		sum += w[a+k]
	}
	for a := range w {
		w[a] /= sum
	}
	out := make([]float32, len(raw))
	parallelRows(n, func(i int) {
		o := out[i*m : (i+1)*m]
		for a := -k; a <= k; a++ {
			f := w[a+k]
			if f == 0 {
				continue
			}
			r := raw[((i+a+n)%n)*m:][:m]
			for j, v := range r {
				o[j] += f * v
			}
		}
	})
	return out
}

// inwardNormals returns the unit normals of an anticlockwise closed curve, towards its inside.
func inwardNormals(p []geom.PointMM) []geom.PointMM {
	n := len(p)
	out := make([]geom.PointMM, n)
	for i := range p {
		t := p[(i+1)%n].Sub(p[(i+n-1)%n])
		d := t.Norm()
		if d == 0 {
			d = 1
		}
		out[i] = geom.PointMM{X: -t.Y / d, Y: t.X / d}
	}
	return out
}

func (b *band) row(i int) []float32 { return b.rows[i*b.n : (i+1)*b.n] }

// index returns the fractional sample index of s (mm).
func (b *band) index(s float64) float64 { return (s - b.s0) / b.ds }

// moved returns the base curve with every vertex moved by off[i] mm along its normal.
func (b *band) moved(off []float64) []geom.PointMM {
	out := make([]geom.PointMM, len(b.base))
	for i, p := range b.base {
		out[i] = p.Add(b.inward[i].Scale(off[i]))
	}
	return out
}

// smoothClosed applies a Gaussian of standard deviation sigmaMM along an evenly spaced closed curve.
func smoothClosed(pts []geom.PointMM, spacingMM, sigmaMM float64) []geom.PointMM {
	n := len(pts)
	k := int(math.Ceil(3 * sigmaMM / spacingMM))
	if k < 1 || n < 2*k+1 {
		return pts
	}
	w := make([]float64, 2*k+1)
	var sum float64
	for a := -k; a <= k; a++ {
		x := float64(a) * spacingMM / sigmaMM
		w[a+k] = math.Exp(-x * x / 2)
		sum += w[a+k]
	}
	out := make([]geom.PointMM, n)
	for i := range pts {
		var p geom.PointMM
		for a := -k; a <= k; a++ {
			p = p.Add(pts[(i+a+n)%n].Scale(w[a+k] / sum))
		}
		out[i] = p
	}
	return out
}
