package synth

import (
	"math"
	"math/rand/v2"

	"portmatch/internal/geom"
)

// Outlines are closed polylines: anticlockwise, first point not repeated, mm.

// outlineStepMM is the spacing of outline vertices. The polyline is the truth (renderer and figures use the same one), so
// the step only has to keep facets out of sight: at the smallest radius drawn, 2 mm, the sagitta is 0.0025 mm.
const outlineStepMM = 0.2

func polar(r, phi float64) geom.PointMM {
	return geom.PointMM{X: r * math.Cos(phi), Y: r * math.Sin(phi)}
}

// signedAreaMM2 is positive for an anticlockwise outline.
func signedAreaMM2(p []geom.PointMM) float64 {
	a := 0.0
	for i := range p {
		a += p[i].Cross(p[(i+1)%len(p)])
	}
	return a / 2
}

func centroidOf(p []geom.PointMM) geom.PointMM {
	var c geom.PointMM
	a := 0.0
	for i := range p {
		q := p[(i+1)%len(p)]
		w := p[i].Cross(q)
		a += w
		c.X += (p[i].X + q.X) * w
		c.Y += (p[i].Y + q.Y) * w
	}
	return c.Scale(1 / (3 * a))
}

func lengthMM(p []geom.PointMM) float64 {
	l := 0.0
	for i := range p {
		l += p[i].Dist(p[(i+1)%len(p)])
	}
	return l
}

// resample returns evenly spaced points, anticlockwise.
func resample(p []geom.PointMM, stepMM float64) []geom.PointMM {
	if signedAreaMM2(p) < 0 {
		p = reversed(p)
	}
	total := lengthMM(p)
	n := max(24, int(math.Ceil(total/stepMM)))
	out := make([]geom.PointMM, 0, n)
	step := total / float64(n)
	at := 0.0
	for i := range p {
		a, b := p[i], p[(i+1)%len(p)]
		l := a.Dist(b)
		for l > 0 && len(out) < n && float64(len(out))*step <= at+l {
			t := (float64(len(out))*step - at) / l
			out = append(out, geom.PointMM{X: a.X + t*(b.X-a.X), Y: a.Y + t*(b.Y-a.Y)})
		}
		at += l
	}
	return out
}

func reversed(p []geom.PointMM) []geom.PointMM {
	q := make([]geom.PointMM, len(p))
	for i := range p {
		q[len(p)-1-i] = p[i]
	}
	return q
}

// outwardNormals of an anticlockwise outline, unit length.
func outwardNormals(p []geom.PointMM) []geom.PointMM {
	n := make([]geom.PointMM, len(p))
	for i := range p {
		d := p[(i+1)%len(p)].Sub(p[(i+len(p)-1)%len(p)])
		l := d.Norm()
		n[i] = geom.PointMM{X: d.Y / l, Y: -d.X / l}
	}
	return n
}

// offset moves every vertex outwards by d(i) mm.
func offset(p []geom.PointMM, d func(i int) float64) []geom.PointMM {
	n := outwardNormals(p)
	q := make([]geom.PointMM, len(p))
	for i := range p {
		q[i] = p[i].Add(n[i].Scale(d(i)))
	}
	return q
}

func mapped(p []geom.PointMM, m geom.Rigid) []geom.PointMM {
	q := make([]geom.PointMM, len(p))
	for i := range p {
		q[i] = m.Apply(p[i])
	}
	if m.Mirrored() {
		q = reversed(q)
	}
	return q
}

// arc appends the arc round c from angle a to b (radians, anticlockwise if b > a).
func arc(p []geom.PointMM, c geom.PointMM, r, a, b float64) []geom.PointMM {
	n := max(2, int(math.Ceil(math.Abs(b-a)*r/0.02)))
	n = min(n, 4000)
	for i := 0; i <= n; i++ {
		p = append(p, c.Add(polar(r, a+(b-a)*float64(i)/float64(n))))
	}
	return p
}

// Circle returns a circle.
func Circle(c geom.PointMM, diameterMM float64) []geom.PointMM {
	n := max(64, int(math.Pi*diameterMM/outlineStepMM))
	p := make([]geom.PointMM, n)
	for i := range p {
		p[i] = c.Add(polar(diameterMM/2, 2*math.Pi*float64(i)/float64(n)))
	}
	return p
}

// RoundedRect is centred on the origin.
func RoundedRect(w, h, r float64) []geom.PointMM {
	r = math.Min(r, math.Min(w, h)/2)
	x, y := w/2-r, h/2-r
	var p []geom.PointMM
	for k, c := range []geom.PointMM{{X: x, Y: y}, {X: -x, Y: y}, {X: -x, Y: -y}, {X: x, Y: -y}} {
		p = arc(p, c, r, float64(k)*math.Pi/2, float64(k+1)*math.Pi/2)
	}
	return resample(p, outlineStepMM)
}

// DShape has its flat side at -x, a half round of radius h/2 at +x, and corners of radius r.
func DShape(w, h, r float64) []geom.PointMM {
	R := h / 2
	cx := w/2 - R
	var p []geom.PointMM
	p = arc(p, geom.PointMM{X: cx}, R, -math.Pi/2, math.Pi/2)
	p = arc(p, geom.PointMM{X: -w/2 + r, Y: R - r}, r, math.Pi/2, math.Pi)
	p = arc(p, geom.PointMM{X: -w/2 + r, Y: -R + r}, r, math.Pi, 1.5*math.Pi)
	return resample(p, outlineStepMM)
}

// Irregular is an ellipse whose radius wanders by up to the share amp, harmonics 2 to 5.
func Irregular(w, h, amp float64, rng *rand.Rand) []geom.PointMM {
	var c, f [6]float64
	sum := 0.0
	for k := 2; k <= 5; k++ {
		c[k] = rng.NormFloat64() / float64(k*k)
		f[k] = rng.Float64() * 2 * math.Pi
		sum += math.Abs(c[k])
	}
	p := make([]geom.PointMM, 1440)
	for i := range p {
		t := 2 * math.Pi * float64(i) / float64(len(p))
		r := 1.0
		for k := 2; k <= 5; k++ {
			r += amp * c[k] / sum * math.Cos(float64(k)*t+f[k])
		}
		p[i] = geom.PointMM{X: w / 2 * r * math.Cos(t), Y: h / 2 * r * math.Sin(t)}
	}
	return resample(p, outlineStepMM)
}

// wobble is a smooth random displacement along the outline, peak ampMM.
func wobble(n int, ampMM float64, lo, hi int, rng *rand.Rand) []float64 {
	d := make([]float64, n)
	for k := lo; k <= hi; k++ {
		a, f := rng.NormFloat64()/float64(k), rng.Float64()
		for i := range d {
			d[i] += a * math.Cos(2*math.Pi*(float64(k)*float64(i)/float64(n)+f))
		}
	}
	peak := 0.0
	for _, v := range d {
		peak = math.Max(peak, math.Abs(v))
	}
	for i := range d {
		d[i] *= ampMM / peak
	}
	return d
}

// bump adds to d a raised cosine of height ampMM (outward positive) and full width widthMM, centred at the share at of
// the outline's length.
func bump(d []float64, p []geom.PointMM, at, widthMM, ampMM float64) {
	step := lengthMM(p) / float64(len(p))
	n := len(p)
	i0 := int(at * float64(n))
	half := widthMM / 2 / step
	for j := -int(half); j <= int(half); j++ {
		d[((i0+j)%n+n)%n] += ampMM * 0.5 * (1 + math.Cos(math.Pi*float64(j)/half))
	}
}
