package compare

import (
	"math"
)

// A largest step is a maximum over readings with errors of their own, and the largest of many noisy readings is too large
// by what chance put on top. It is corrected by that excess: what the maximum gains on average when the same errors are
// laid once more on the smoothed readings.

// reading is one independent stretch of an edge: its largest step and what may be wrong with it.
type reading struct {
	at      *sample
	smooth  float64   // the step there, smoothed
	effects []float64 // by mode, what one standard deviation does to the step
	noise   float64   // standard deviation of the rest
}

func (r *reading) variance() float64 {
	v := r.noise * r.noise
	for _, e := range r.effects {
		v += e * e
	}
	return v
}

// peak is a largest step.
type peak struct {
	valueMM, uMM float64 // U with k = 2
	at           *sample
	// certainMM is the largest step that is there beyond doubt, at whatever place; possibleMM the largest that may be there.
	certainMM, possibleMM float64
}

// largest estimates the largest step over the readings; with none it returns false.
func largest(readings []reading) (peak, bool) {
	if len(readings) == 0 {
		return peak{}, false
	}
	best := 0
	top := math.Inf(-1)
	for i := range readings {
		if readings[i].at.stepMM > readings[best].at.stepMM {
			best = i
		}
		top = max(top, readings[i].smooth)
	}
	r := &readings[best]
	noiseMean, noiseVar := noisyMaximum(readings)
	excess := max(0, noiseMean-top)
	// Sources that move whole stretches: the mean of a function of a normal variable by the three-point rule with nodes at 0
	// and ±√3 standard deviations, which is exact for cubics.
	root3 := math.Sqrt(3)
	for k := range r.effects {
		up, down := math.Inf(-1), math.Inf(-1)
		for i := range readings {
			e := root3 * readings[i].effects[k]
			up, down = max(up, readings[i].smooth+e), max(down, readings[i].smooth-e)
		}
		excess += max(0, (up+down-2*top)/6)
	}
	u2 := noiseVar
	for _, e := range r.effects {
		u2 += e * e
	}
	p := peak{valueMM: r.at.stepMM - excess, uMM: 2 * math.Sqrt(u2), at: r.at}
	p.certainMM, p.possibleMM = p.valueMM-p.uMM, p.valueMM+p.uMM
	for i := range readings {
		s, u := readings[i].at.stepMM-excess, 2*math.Sqrt(readings[i].variance())
		p.certainMM, p.possibleMM = max(p.certainMM, s-u), max(p.possibleMM, s+u)
	}
	return p, true
}

// noisyMaximum returns mean and variance of the largest of the smoothed readings, each with its own independent normal
// noise: the distribution function is the product of theirs, integrated by the trapezoid rule.
func noisyMaximum(readings []reading) (mean, variance float64) {
	top, widest := math.Inf(-1), 0.0
	for i := range readings {
		top, widest = max(top, readings[i].smooth), max(widest, readings[i].noise)
	}
	if widest == 0 {
		return top, 0
	}
	// With up to thousands of readings the maximum stays within 6 of the widest above the top, and it can't fall under the
	// lowest place where some reading stands all but surely.
	const span, cells = 6.0, 240
	lo, hi := top-span*widest, top+span*widest
	h := (hi - lo) / cells
	above := func(x float64) float64 { // the chance that the maximum lies above x
		p := 1.0
		for i := range readings {
			r := &readings[i]
			switch {
			case r.noise == 0:
				if r.smooth > x {
					return 1
				}
			case r.smooth < x-span*r.noise:
			default:
				p *= 0.5 * math.Erfc((r.smooth-x)/(r.noise*math.Sqrt2))
			}
		}
		return 1 - p
	}
	// E[M] = lo + ∫ P(M > x) dx, E[(M - lo)²] = 2 ∫ (x - lo) P(M > x) dx.
	var m1, m2 float64
	for k := range cells + 1 {
		w := h
		if k == 0 || k == cells {
			w = h / 2
		}
		x := float64(k) * h
		p := above(lo + x)
		m1 += w * p
		m2 += 2 * w * x * p
	}
	return lo + m1, max(0, m2-m1*m1)
}

// readingsOf cuts the measured part of an edge into stretches of corrMM, each one reading, and gives each its sources of
// error. effect returns what a mode does to the step at a sample.
func readingsOf(samples []sample, corrMM, perimeterMM float64, modes int, effect func(k int, s *sample) float64) []reading {
	var rs []reading
	var from float64
	open := false
	for i := range samples {
		s := &samples[i]
		if !s.sure {
			open = false
			continue
		}
		if !open || s.alongMM-from >= corrMM {
			rs = append(rs, reading{at: s})
			from, open = s.alongMM, true
			continue
		}
		if last := &rs[len(rs)-1]; s.stepMM > last.at.stepMM {
			last.at = s
		}
	}
	for i := range rs {
		r := &rs[i]
		r.noise = math.Sqrt(r.at.varMM2)
		r.effects = make([]float64, modes)
		for k := range r.effects {
			r.effects[k] = effect(k, r.at)
		}
	}
	smoothReadings(rs, corrMM, perimeterMM)
	return rs
}

// smoothReadings fills in the smoothed steps: at each reading the parabola through as many neighbours as agree with the
// narrower parabolas to within their noise (Lepski's rule), so that a flat joint is smoothed over centimetres and a high
// spot of a few millimetres stays.
func smoothReadings(rs []reading, corrMM, perimeterMM float64) {
	halfWidths := []float64{2, 4, 7, 12, 20} // readings on either side
	for i := range rs {
		r := &rs[i]
		r.smooth = r.at.stepMM
		if r.noise == 0 {
			continue
		}
		accepted := []struct{ value, sd float64 }{{r.smooth, r.noise}}
	widths:
		for _, h := range halfWidths {
			v, sd, ok := localParabola(rs, i, h*corrMM, perimeterMM)
			if !ok {
				break
			}
			for _, a := range accepted {
				// Two standard deviations: what agrees that far is noise more likely than shape.
				if math.Abs(v-a.value) > 2*a.sd {
					break widths
				}
			}
			r.smooth = v
			accepted = append(accepted, struct{ value, sd float64 }{v, sd})
		}
	}
}

// localParabola fits a parabola to the readings within halfMM of number i along the closed edge, and returns its value
// there with its standard deviation. It needs five readings, two more than it has unknowns.
func localParabola(rs []reading, i int, halfMM, perimeterMM float64) (value, sd float64, ok bool) {
	var m [5]float64
	var y [3]float64
	n := 0
	each := func(f func(x float64, r *reading)) {
		for k := range rs {
			x := math.Remainder(rs[k].at.alongMM-rs[i].at.alongMM, perimeterMM)
			if math.Abs(x) <= halfMM*(1+1e-9) {
				f(x/halfMM, &rs[k])
			}
		}
	}
	each(func(x float64, r *reading) {
		n++
		p := 1.0
		for k := range m {
			m[k] += p
			if k < 3 {
				y[k] += p * r.at.stepMM
			}
			p *= x
		}
	})
	// The first row of the inverse of [m0 m1 m2; m1 m2 m3; m2 m3 m4].
	c0, c1, c2 := m[2]*m[4]-m[3]*m[3], m[2]*m[3]-m[1]*m[4], m[1]*m[3]-m[2]*m[2]
	det := m[0]*c0 + m[1]*c1 + m[2]*c2
	if n < 5 || !(math.Abs(det) > 1e-9) {
		return 0, 0, false
	}
	var v2 float64
	each(func(x float64, r *reading) {
		w := (c0 + c1*x + c2*x*x) / det
		v2 += w * w * r.noise * r.noise
	})
	return (c0*y[0] + c1*y[1] + c2*y[2]) / det, math.Sqrt(v2), true
}
