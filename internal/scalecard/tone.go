package scalecard

import (
	"math"

	"portmatch/internal/photo"
)

// The tone curve. Where an edge stands in light depends on how stored values are taken back to light, the more so the
// softer and the stronger the edge is. The camera solve does not mind: what a wrong curve does to black and white edges is
// part of the growth that every tag tells apart from its size. Other edges do.
//
// The file's standard stays what edges are decoded by. What can be told of the phone's own curve and of its sharpening is told in rendering.go,
// as what it moves an edge by; where the card's edges don't tell, and for what they don't tell, the doubt is carried as an uncertainty, and the
// card's black and white say when it must be larger.

// toneBend is a departure from a tone curve: stored values v (0 to 1) are first bent by v + v (1 - v) (power + s (1 - 2v)).
// power is much like another gamma, s makes the curve S-shaped.
type toneBend struct{ power, s float64 }

const (
	// How far phones bend their curves off the standard: a gamma 10 % off, an S that moves the quarter tones by 0.02.
	sigmaTonePower = 0.10
	sigmaToneS     = 0.20
	// Paper is burnt out beyond this, linear light: in 27 photos that are not it has 0.48 to 0.77.
	burntWhite = 0.95
	// Sharpening hides how soft an edge was when the curve met it: a lens and a pixel together make at least this.
	minOpticalBlurPx = 0.6
	// Printed black reflects about this share of what paper does (densities of 1.2 to 1.5, common practice, no source), to
	// a factor of e^blackSpread with the light that lens and gloss add.
	usualBlack  = 0.045
	blackSpread = 0.7
)

// toneDoubt is how far the tone curve may be bent, as standard uncertainties of independent bends.
type toneDoubt struct{ power, s float64 }

// doubt takes the doubt from the levels of black and white: a contrast that ink on paper does not have comes of a curve
// that is not the standard one. A power bends by 1.2 times what its exponent departs from 1.
func (l levels) doubt() toneDoubt {
	d := toneDoubt{sigmaTonePower, sigmaToneS}
	if !(l.white > l.black && l.white > 0) {
		return d
	}
	const darkest = 1e-3 // a quarter of the first stored step: nothing darker can be told
	off := math.Abs(math.Log(max(l.black, darkest)/l.white/usualBlack)) - blackSpread
	d.power = math.Hypot(d.power, 1.2*max(0, off)/-math.Log(usualBlack))
	return d
}

// bent returns a tone curve for a photo whose stored values are bent.
func (b toneBend) bent(base *photo.Tone) photo.Tone {
	var t photo.Tone
	for i := range t.Linear {
		v := float64(i) / 255
		w := 255 * min(1, max(0, v+v*(1-v)*(b.power+b.s*(1-2*v))))
		k := min(int(w), 254)
		f := float32(w - float64(k))
		t.Linear[i] = base.Linear[k] + f*(base.Linear[k+1]-base.Linear[k])
	}
	return t
}

// EdgeSigmaPx returns the standard uncertainty, in px across the edge, of where an edge between two levels of linear light
// (0 to 1) stands, that comes from what is not known of the photo's tone curve: the same for all edges of such levels, so
// no averaging along an edge reduces it. It is in proportion to the blur.
func (s *Solution) EdgeSigmaPx(dark, light float64) float64 {
	return s.curveSigmaPx(min(dark, light), max(dark, light), s.bent)
}

// curveSigmaPx is EdgeSigmaPx for some of the curves that the photo's may as well be.
func (s *Solution) curveSigmaPx(dark, light float64, bent []photo.Tone) float64 {
	if !(light-dark > 1e-6) {
		return 0
	}
	shift := 0.0
	for i := range bent {
		shift = math.Hypot(shift, halfLevelShift(&s.Tone, &bent[i], dark, light))
	}
	return max(s.BlurPx, minOpticalBlurPx) * shift
}

// setToneDoubt keeps the curves that the photo's may as well be: EdgeSigmaPx is asked for every place of every edge.
func (s *Solution) setToneDoubt(d toneDoubt) {
	s.bent = []photo.Tone{toneBend{power: d.power}.bent(&s.Tone), toneBend{s: d.s}.bent(&s.Tone)}
}

// halfLevelShift tells, in blurs towards light, by how much an edge from dark to light seems to move if its photo, coded
// by tone, is decoded by other.
func halfLevelShift(tone, other *photo.Tone, dark, light float64) float64 {
	half := (read(other, code(tone, dark)) + read(other, code(tone, light))) / 2
	share := (read(tone, code(other, half)) - dark) / (light - dark)
	return math.Sqrt2 * math.Erfinv(2*min(0.99, max(0.01, share))-1)
}

// read returns the light of a stored value between 0 and 255.
func read(t *photo.Tone, stored float64) float64 {
	k := max(0, min(254, int(stored)))
	return float64(t.Linear[k]) + (stored-float64(k))*float64(t.Linear[k+1]-t.Linear[k])
}

// code returns the stored value that stands for a level of light.
func code(t *photo.Tone, level float64) float64 {
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
	return float64(lo) + min(1, max(0, (level-float64(t.Linear[lo]))/d))
}
