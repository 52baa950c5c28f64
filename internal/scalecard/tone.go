package scalecard

import (
	"math"

	"portmatch/internal/geom"
	"portmatch/internal/photo"
)

// What is looked for in a tone curve. Stored values v (0 to 1) are first bent by v + v (1 - v) (power + s (1 - 2v)) and then
// taken for what they are said to be: power is much like another gamma, s makes the curve S-shaped.
type toneBend struct{ power, s float64 }

const (
	// How far phones bend their curves off the standard, as the scale of a Student distribution: a gamma 10 % off, an S
	// that moves the quarter tones by 0.02.
	sigmaTonePower = 0.10
	sigmaToneS     = 0.20
	// No phone bends further; what seems to is something else.
	maxTonePower = 0.5
	maxToneS     = 0.8
	// An edge drawn by lens and sensor is symmetric about its half level to this share of the step: what is left of
	// demosaicing, coding and the grain of the paper.
	sigmaSymmetry = 0.006
	// Sharpening done on stored values is not symmetric in light: half of the halo it leaves counts as doubt.
	haloDoubt = 0.5
	// Tags whose edges are looked at: more tell nothing new.
	toneTags = 12

	toneReach = 6 // px either side of an edge
	toneSteps = 8 // bins a px
	toneBins  = 2 * toneReach * toneSteps
)

// bent returns a tone curve for a photo whose stored values are bent.
func (b toneBend) bent(base *photo.Tone) photo.Tone {
	var t photo.Tone
	for i := range t.Linear {
		v := float64(i) / 255
		w := 255 * max(0, min(1, v+v*(1-v)*(b.power+b.s*(1-2*v))))
		k := min(int(w), 254)
		f := float32(w - float64(k))
		t.Linear[i] = base.Linear[k] + f*(base.Linear[k+1]-base.Linear[k])
	}
	return t
}

// rising tells a bend that keeps brighter brighter.
func (b toneBend) rising() bool {
	return 1+b.power+b.s > 0.05 && 1-b.power+b.s > 0.05 && 1-b.s/2 > 0.05
}

// toneEdges are stored values by their distance from an edge, one table a tag.
type toneEdges struct {
	count  [][toneBins][256]uint16
	blurPx float64
	reach  float64 // px from the edge to which symmetry is looked at
	flat   float64 // px from the edge where black and white are flat
}

// edgesOf gathers the edges of a few tags that are spread over the photo.
func (s *solver) edgesOf() *toneEdges {
	var stored photo.Tone
	for i := range stored.Linear {
		stored.Linear[i] = float32(i)
	}
	m := newMeasurer(s.photo, &stored)
	v := s.fit.model.view()
	var blur []float64
	for i := range s.tags {
		blur = append(blur, (s.tags[i].blurPx[0]+s.tags[i].blurPx[1])/2)
	}
	e := &toneEdges{blurPx: median(blur)}
	e.reach, e.flat = min(4, 2.5*e.blurPx+1), min(4.5, 3*e.blurPx+1.5)
	step := max(1, len(s.tags)/toneTags)
	for i := 0; i < len(s.tags); i += step {
		t := &s.tags[i]
		if !m.cut(t.corners) {
			continue
		}
		to := v.tagTo(s.fit.model.indexOf(t.strip), t.tag)
		var table [toneBins][256]uint16
		for j := range t.edges {
			r := &t.edges[j]
			if math.Abs(r.leftPx) > 3*t.scatterPx {
				continue
			}
			x := expect(r.unit, to)
			x.mid = geom.PointPx{U: r.at.U - r.leftPx*r.normU, V: r.at.V - r.leftPx*r.normV}
			x.window(r.unit, e.blurPx)
			x.back, x.front = min(toneReach, 0.6*x.black), min(toneReach, 0.6*x.white)
			m.fitter.gather(&m.patch, &x)
			for k, d := range m.fitter.t {
				if b := int((d + toneReach) * toneSteps); b >= 0 && b < toneBins {
					table[b][uint8(m.fitter.grey[k])]++
				}
			}
		}
		e.count = append(e.count, table)
	}
	return e
}

// step is a mean edge in some reading of the stored values: 0 is black, 1 is white.
type step [toneBins]float64

// through returns the mean edge as read through a table; ok is false if black or white is hardly seen.
func (e *toneEdges) through(table *[256]float32) (out step, ok bool) {
	var n step
	for i := range e.count {
		var sum, count step
		var black, blackN, white, whiteN float64
		for b := range toneBins {
			for c, k := range &e.count[i][b] {
				if k > 0 {
					sum[b] += float64(k) * float64(table[c])
					count[b] += float64(k)
				}
			}
			switch t := binAt(b); {
			case t < -e.flat:
				black, blackN = black+sum[b], blackN+count[b]
			case t > e.flat:
				white, whiteN = white+sum[b], whiteN+count[b]
			}
		}
		if blackN < 50 || whiteN < 50 {
			continue
		}
		black, white = black/blackN, white/whiteN
		for b := range toneBins {
			out[b] += (sum[b] - black*count[b]) / (white - black)
			n[b] += count[b]
		}
	}
	for b := range toneBins {
		if math.Abs(binAt(b)) < e.flat && n[b] == 0 {
			return out, false
		}
		out[b] /= max(n[b], 1)
	}
	return out, true
}

func binAt(b int) float64 { return (float64(b)+0.5)/toneSteps - toneReach }

func (s *step) at(t float64) float64 {
	z := (t+toneReach)*toneSteps - 0.5
	i := max(0, min(toneBins-2, int(z)))
	return s[i] + (z-float64(i))*(s[i+1]-s[i])
}

// asymmetry is the mean square of E(c + x) + E(c - x) - 1 over x, at the centre c that makes it least.
func (s *step) asymmetry(reach float64) float64 {
	about := func(c float64) float64 {
		var sum, n float64
		for x := 0.5 / toneSteps; x < reach; x += 1. / toneSteps {
			d := s.at(c+x) + s.at(c-x) - 1
			sum += d * d
			n++
		}
		return sum / n
	}
	// The half level may be shifted by as much as a bend does, well under a pixel. Golden section would do; a scan can't
	// fall into a ripple of the data.
	best := math.Inf(1)
	for c := -1.0; c <= 1; c += 1. / 32 {
		best = min(best, about(c))
	}
	return best
}

// halo is how far the edge runs past black and white.
func (s *step) halo() float64 {
	var h float64
	for _, v := range s {
		h = max(h, max(-v, v-1))
	}
	return h
}

// toneEstimate is a bend with its covariance.
type toneEstimate struct {
	bend       toneBend
	pp, ps, ss float64 // variance of power, covariance, variance of s
}

// estimateTone finds the bend that makes edges symmetric in light, as lens and sensor draw them: an edge blurred by
// anything symmetric is, and a wrong curve makes one side creep. Where edges are so sharp that sharpening rules their
// shape, or a bend earns too little or does not make them symmetric, the estimate is no bend, with what is known of phones
// as its uncertainty.
func (e *toneEdges) estimateTone(base *photo.Tone) toneEstimate {
	var stored [256]float32
	for i := range stored {
		stored[i] = float32(i)
	}
	known := toneEstimate{pp: sigmaTonePower * sigmaTonePower, ss: sigmaToneS * sigmaToneS}
	raw, ok := e.through(&stored)
	if !ok || e.blurPx <= 0 {
		return known
	}
	doubt := math.Hypot(sigmaSymmetry, haloDoubt*raw.halo())
	// Neighbouring distances tell the same: an edge has about one independent reading a blur.
	readings := max(1, e.reach/max(e.blurPx, 0.5))
	usual := func(b toneBend) float64 {
		p, q := b.power/sigmaTonePower, b.s/sigmaToneS
		return (often + 2) * math.Log1p((p*p+q*q)/often)
	}
	cost := func(b toneBend) float64 {
		if !b.rising() {
			return math.Inf(1)
		}
		t := b.bent(base)
		edge, ok := e.through(&t.Linear)
		if !ok {
			return math.Inf(1)
		}
		return readings*edge.asymmetry(e.reach)/(doubt*doubt) + usual(b)
	}
	out := known
	mid := cost(toneBend{})
	if mid > decisiveTone {
		if b, c := lowest(cost, mid); mid-c > decisiveTone && c-usual(b) < readings {
			out.bend, mid = b, c
		}
	}
	// The curvature of the cost, over a stretch that the priors find ordinary.
	const h = 0.05
	c := func(p, s float64) float64 { return cost(toneBend{out.bend.power + p, out.bend.s + s}) }
	hpp, hss := (c(h, 0)+c(-h, 0)-2*mid)/(2*h*h), (c(0, h)+c(0, -h)-2*mid)/(2*h*h)
	hps := (c(h, h) + c(-h, -h) - c(h, -h) - c(-h, h)) / (8 * h * h)
	// A picture tells nothing where its curvature is less than what was known before.
	if det := hpp*hss - hps*hps; hpp > 0 && det > 0 && !math.IsInf(det, 0) && hss/det <= known.pp && hpp/det <= known.ss {
		out.pp, out.ss, out.ps = hss/det, hpp/det, -hps/det
	}
	return out
}

// lowest searches for the least cost by steps that halve: the cost is smooth at the width of the priors, and finer than a
// tenth of them does not matter.
func lowest(cost func(toneBend) float64, start float64) (at toneBend, best float64) {
	best = start
	for size := 0.2; size > 0.01; size /= 2 {
		for moved := true; moved; {
			moved = false
			for _, d := range []toneBend{{size, 0}, {-size, 0}, {0, size}, {0, -size}, {size, size}, {-size, -size}, {size, -size}, {-size, size}} {
				b := toneBend{at.power + d.power, at.s + d.s}
				if math.Abs(b.power) > maxTonePower || math.Abs(b.s) > maxToneS {
					continue
				}
				if c := cost(b); c < best {
					best, at, moved = c, b, true
				}
			}
		}
	}
	return at, best
}

// decisiveTone is how much likelier a bend must be before the standard is left: 3 standard deviations of two unknowns.
const decisiveTone = 11.8

// EdgeSigmaPx returns the standard uncertainty, in px across the edge, of where an edge between two levels of linear light
// (0 to 1) stands, that comes from what is not known of the photo's tone curve: the same for all edges of such levels, so
// no averaging along an edge reduces it. It is in proportion to the blur.
func (s *Solution) EdgeSigmaPx(dark, light float64) float64 {
	if light < dark {
		dark, light = light, dark
	}
	if !(light-dark > 1e-6) {
		return 0
	}
	t := &s.toneSigma
	// Two independent directions of the bend's covariance.
	a := math.Sqrt(t.pp)
	if a == 0 {
		return 0
	}
	b := t.ps / a
	c := math.Sqrt(max(0, t.ss-b*b))
	blur := s.BlurPx
	if blur <= 0 {
		blur = 0.5 // a pixel's own
	}
	shift := func(d toneBend) float64 {
		other := d.bent(&s.Tone)
		return blur * halfLevelShift(&s.Tone, &other, dark, light)
	}
	return math.Hypot(shift(toneBend{a, b}), shift(toneBend{0, c}))
}

// halfLevelShift tells, in blurs, by how much an edge from dark to light moves if the tone curve is other and not tone.
func halfLevelShift(tone, other *photo.Tone, dark, light float64) float64 {
	code := func(t *photo.Tone, level float64) float64 {
		lo, hi := 0, 255
		for hi-lo > 1 {
			if m := (lo + hi) / 2; float64(t.Linear[m]) <= level {
				lo = m
			} else {
				hi = m
			}
		}
		d := float64(t.Linear[hi] - t.Linear[lo])
		if d <= 0 {
			return float64(lo)
		}
		return float64(lo) + max(0, min(1, (level-float64(t.Linear[lo]))/d))
	}
	read := func(t *photo.Tone, c float64) float64 {
		k := max(0, min(254, int(c)))
		return float64(t.Linear[k]) + (c-float64(k))*float64(t.Linear[k+1]-t.Linear[k])
	}
	half := (read(other, code(tone, dark)) + read(other, code(tone, light))) / 2
	share := (read(tone, code(other, half)) - dark) / (light - dark)
	share = max(0.01, min(0.99, share))
	return math.Sqrt2 * math.Erfinv(2*share-1)
}
