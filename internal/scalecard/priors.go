package scalecard

import (
	"math"

	"portmatch/internal/photo"
)

// Standard uncertainties, or scales where often holds, of what is known before looking. Those marked "measured" did best
// in probes with synthetic pictures; for the others the reason stands beside.
const (
	// EXIF gives whole millimetres (2 % to the next at 26 mm), and some makers mean the width, 4 % less, which the tails allow.
	sigmaLogFExif = 0.02
	// Phones reach from 13 to 120 mm of full frame; the middle is near 35.
	sigmaLogFUnknown = 0.5
	usualF35         = 35.0
	// A cut picture's lens seems this much longer than the file says, to the same again.
	cutLonger = 0.1
	// Centring of sensor and lens, at 4000 px across (measured).
	sigmaCentrePx = 20.0
	// A cut picture has its lens's axis anywhere near its middle: this share of its longer side.
	sigmaCentreCut = 0.1
	sigmaK1        = 0.05 // (measured)
	sigmaK2        = 0.02 // (measured)
	// Paper laid by hand and weighed down: how far it stands off the plane as a whole, at its ends and in its middle. A
	// lifted end of 0.1 mm is no rarity under these tails.
	sigmaLiftMM = 0.02
	sigmaTiltMM = 0.02
	sigmaBowMM  = 0.02
	// Growth is measured within every tag; this is what a border may grow more than a cell.
	sigmaShrinkMM = 0.01
	// Good printers keep their two directions alike to this; some are off by 0.4 %, which the data must then show.
	sigmaPrintAspect = 0.0003
	// Calipers read to about 0.05 mm on a line of 120 mm.
	sigmaCaliperAspect = 0.0005
	// Toner and paper put a tag's corner this far from its place, whatever the photo.
	sigmaPrintMM = 0.003
	// Interpolation and the camera's own processing leave this much in a corner, whatever the scatter says.
	sigmaFloorPx = 0.01
	// A scanner's two directions differ by its transport, and stand this far from square.
	sigmaScanAspect = 0.002
	sigmaScanShear  = 0.0005
	// The resolution that a scanner states, without a strip to check it: 0.1 mm on 100.
	sigmaScanScale = 0.001

	// sometimes is the same for what one file in twenty gets quite wrong (digital zoom, editors).
	sometimes = 1
	// oftener is the same for what is so with good printers and not at all with bad ones.
	oftener = 2
	// often is the degrees of freedom of a prior for what is nearly always so: few enough that ten times the scale is not
	// unheard of (1 in 500).
	often = 3
)

// fullFrameDiagonalMM is the diagonal of 36 x 24 mm, which FocalLengthIn35mmFilm refers to (CIPA DC-008).
const fullFrameDiagonalMM = 43.26661530556787

// focalPrior returns what the file says of the natural logarithm of the focal length in px.
func focalPrior(p *photo.Photo) prior {
	diagonal := math.Hypot(float64(p.Width), float64(p.Height))
	log := func(f35 float64) float64 { return math.Log(f35 / fullFrameDiagonalMM * diagonal) }
	switch {
	case !(p.Focal35MM > 0):
		return prior{mean: log(usualF35), sigma: sigmaLogFUnknown}
	case p.Cropped || !uncut(p.Width, p.Height):
		// What was cut off makes the lens look longer.
		return prior{log(p.Focal35MM * (1 + cutLonger)), cutLonger, often}
	}
	return prior{log(p.Focal35MM), sigmaLogFExif, sometimes}
}

// phoneLens is what is known of the focal length without a file: phones reach from 13 to 120 mm of full frame.
func phoneLens(p *photo.Photo) prior {
	diagonal := math.Hypot(float64(p.Width), float64(p.Height))
	return prior{mean: math.Log(usualF35 / fullFrameDiagonalMM * diagonal), sigma: sigmaLogFUnknown}
}

// uncut tells whether a picture has the proportions of a whole sensor: 4:3, 3:2, 16:9 or square, to a few rows.
func uncut(width, height int) bool {
	long, short := float64(max(width, height)), float64(min(width, height))
	for _, ratio := range []float64{4. / 3, 3. / 2, 16. / 9, 1} {
		if math.Abs(long/short-ratio) < 0.004*ratio {
			return true
		}
	}
	return false
}

// known returns what is known of every unknown before looking.
func (s *solver) known(m *model) priors {
	p := priors{each: make([]prior, len(m.x))}
	pr := p.each
	free := prior{sigma: math.Inf(1)}
	if m.scan {
		pr[uLogF], pr[uCx], pr[uCy], pr[uRx] = free, free, free, free
		pr[uAspect] = prior{0, sigmaScanAspect, often}
		pr[uRy] = prior{0, sigmaScanShear, often}
	} else {
		pr[uLogF] = focalPrior(s.photo)
		if s.photo.Focal35MM > 0 {
			p.bound = phoneLens(s.photo)
		}
		long := float64(max(m.width, m.height))
		centre := prior{sigma: sigmaCentrePx * long / 4000, nu: often}
		if s.photo.Cropped || !uncut(m.width, m.height) {
			centre = prior{sigma: sigmaCentreCut * long}
		}
		pr[uCx], pr[uCy] = centre, centre
		pr[uCx].mean, pr[uCy].mean = float64(m.width-1)/2, float64(m.height-1)/2
		pr[uK1] = prior{sigma: sigmaK1}
		pr[uK2] = prior{sigma: sigmaK2}
		for i := uRx; i <= uTz; i++ {
			pr[i] = free
		}
	}
	pr[uShrink] = prior{sigma: sigmaShrinkMM}
	pr[uPrintAspect] = prior{0, sigmaPrintAspect, oftener}
	if m.scan {
		// Strips that lie one way can't tell the printer's two directions from the scanner's, which is the likelier to err.
		pr[uPrintAspect].nu = 0
	}
	if s.options.PrintedXMM > 0 && s.options.PrintedYMM > 0 {
		pr[uPrintAspect] = prior{sigma: sigmaCaliperAspect}
	}
	for k := range m.numbers {
		own := pr[m.stripIndex(k):]
		if k > 0 {
			own[uTurn], own[uX], own[uY] = free, free, free
		}
		if !m.scan {
			own[uLift], own[uTilt], own[uBow] = prior{0, sigmaLiftMM, oftener}, prior{0, sigmaTiltMM, oftener}, prior{0, sigmaBowMM, oftener}
		}
	}
	return p
}

// openings returns the priors with one thing at a time let go: focal length, the lens's axis with it, and the strips'
// flatness.
func openings(m *model, p priors) []priors {
	focal := p.clone()
	focal.each[uLogF].sigma, focal.each[uLogF].nu = max(focal.each[uLogF].sigma, 0.5), 0
	axis := focal.clone()
	far := sigmaCentreCut * float64(max(m.width, m.height))
	for _, i := range []int{uCx, uCy} {
		axis.each[i].sigma, axis.each[i].nu = max(axis.each[i].sigma, far), 0
	}
	out := []priors{focal, axis}
	if len(m.numbers) > 1 {
		flat := p.clone()
		for k := range m.numbers {
			own := flat.each[m.stripIndex(k):]
			// Millimetres: a strip that lies on something.
			own[uLift], own[uTilt], own[uBow] = prior{sigma: 2}, prior{sigma: 2}, prior{sigma: 1}
		}
		out = append(out, flat)
	}
	return out
}
