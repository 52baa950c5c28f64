package compare

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"
)

// A largest step is a maximum over readings with errors of their own, and the largest of many noisy readings is too large
// by what chance put on top. Two things are done about it. The steps are smoothed along the edge as far as they agree
// with a smooth curve to within their noise, so that less is left to choose the largest from. And the maximum is
// corrected by the excess that remains: what it gains on average when errors as large as they usually are, are laid once more on the readings,
// from which everything that the stated ones could account for was taken first.

// reading is one independent stretch of an edge.
type reading struct {
	at      *sample // the largest step of the stretch
	meanMM  float64 // the mean step of the stretch
	alongMM float64 // its middle
	noise   float64 // standard deviation of the mean from noise
	effects []float64
	// The step at at, smoothed along the edge; its standard deviation from noise and smoothing; and over how many stretches
	// on either side.
	smooth, smoothNoise float64
	reach               int
	bare                float64 // smooth, less what the modes most likely did to it
}

func (r *reading) variance() float64 {
	v := r.smoothNoise * r.smoothNoise
	for _, e := range r.effects {
		v += e * e
	}
	return v
}

// readingsOf cuts the measured part of an edge into stretches of corrMM, each one reading, and gives each its sources of
// error. effect returns what one standard deviation of mode k does to the step at a sample.
func readingsOf(samples []sample, corrMM, perimeterMM float64, modes int, effect func(k int, s *sample) float64) []reading {
	var rs []reading
	var from, sum, length float64
	open := false
	shut := func() {
		if open {
			r := &rs[len(rs)-1]
			r.meanMM, r.alongMM = sum/length, from+length/2
			open = false
		}
	}
	for i := range samples {
		s := &samples[i]
		if !s.sure {
			shut()
			continue
		}
		if open && s.alongMM-from >= corrMM {
			shut()
		}
		if !open {
			rs = append(rs, reading{at: s})
			from, sum, length, open = s.alongMM, 0, 0, true
		}
		r := &rs[len(rs)-1]
		if s.stepMM > r.at.stepMM {
			r.at = s
		}
		sum, length = sum+s.stepMM*s.lenMM, length+s.lenMM
	}
	shut()
	for i := range rs {
		r := &rs[i]
		r.noise = math.Sqrt(r.at.varMM2)
		r.effects = make([]float64, modes)
		for k := range r.effects {
			r.effects[k] = effect(k, r.at)
		}
	}
	smoothReadings(rs, corrMM, perimeterMM)
	takeErrors(rs)
	return rs
}

const (
	// agreeSD is how many standard deviations apart a wide parabola may pass from a narrow one and still be taken for the
	// same curve. Found on drawn joints, flat ones and ones with a high spot 8 mm wide, for the least error of the largest.
	agreeSD = 2.5
	// A single stretch is compared by its largest step, which chance puts higher than its mean.
	agreeSingleSD = 4
	// The largest step of a stretch that hangs together loosely lies above its mean by about half its standard deviation.
	withinSD = 0.5
)

// smoothReadings fills in the smoothed steps: at each reading the parabola through as many neighbours as agree with the
// narrower parabolas to within their noise (Lepski's rule), less one size, since the widest that still agrees is bent by
// up to its noise. So a flat joint is smoothed over centimetres and a high spot of a few millimetres stays. What bend is left
// is allowed for by stating the noise of the next narrower one again.
func smoothReadings(rs []reading, corrMM, perimeterMM float64) {
	type estimate struct {
		value, sd, allow float64
		reach            int
	}
	for i := range rs {
		r := &rs[i]
		r.smooth, r.smoothNoise = r.at.stepMM, r.noise
		if r.noise == 0 {
			continue
		}
		r.smooth = max(r.smooth-withinSD*r.noise, min(r.smooth, r.meanMM))
		accepted := []estimate{{r.smooth, r.noise, agreeSingleSD, 0}}
	widths:
		for _, reach := range []int{2, 4, 7, 12, 20, 30} {
			v, sd, ok := localParabola(rs, i, reach, corrMM, perimeterMM)
			if !ok {
				break
			}
			for _, a := range accepted {
				if math.Abs(v-a.value) > a.allow*a.sd {
					break widths
				}
			}
			accepted = append(accepted, estimate{v, sd, agreeSD, reach})
		}
		if n := len(accepted); n > 1 {
			e := accepted[n-2]
			r.smooth, r.smoothNoise, r.reach = e.value, accepted[max(0, n-3)].sd, e.reach
		}
	}
}

// localParabola fits a parabola to the means of the reach readings on either side of number i along the closed edge, and
// returns its value at the largest step of number i with its standard deviation. It needs five readings, two more than
// it has unknowns.
func localParabola(rs []reading, i, reach int, corrMM, perimeterMM float64) (value, sd float64, ok bool) {
	if len(rs) < 2*reach+1 {
		return 0, 0, false
	}
	// Readings stand a little more than corrMM apart, and the place within its own by up to a half.
	half := 1.2 * (float64(reach) + 0.5) * corrMM
	var m [5]float64
	var y [3]float64
	n := 0
	each := func(f func(x float64, r *reading)) {
		for d := -reach; d <= reach; d++ {
			r := &rs[(i+d+len(rs))%len(rs)]
			// Beyond a gap that was not measured the next reading in the list may lie far off.
			if x := math.Remainder(r.alongMM-rs[i].at.alongMM, perimeterMM); math.Abs(x) <= half {
				f(x/half, r)
			}
		}
	}
	each(func(x float64, r *reading) {
		n++
		p := 1.0
		for k := range m {
			m[k] += p
			if k < 3 {
				y[k] += p * r.meanMM
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

// peak is a largest step.
type peak struct {
	valueMM, uMM float64 // U with k = 2
	at           *sample
	// certainMM is the largest step that is there beyond doubt, at whatever place; possibleMM the largest that may be there.
	certainMM, possibleMM float64
	// Where that may be, and U there.
	possibleAt  *sample
	possibleUMM float64
}

// largest estimates the largest step over the readings; with none it returns false.
func largest(readings []reading) (peak, bool) {
	if len(readings) == 0 {
		return peak{}, false
	}
	best := 0
	for i := range readings {
		if readings[i].smooth > readings[best].smooth {
			best = i
		}
	}
	r := &readings[best]
	excess := excessOfMaximum(asCertain(readings, r))
	p := peak{valueMM: r.smooth - excess, uMM: 2 * math.Sqrt(r.variance()), at: r.at}
	p.certainMM, p.possibleMM = p.valueMM-p.uMM, p.valueMM+p.uMM
	p.possibleAt, p.possibleUMM = p.at, p.uMM
	for i := range readings {
		s, u := readings[i].smooth-excess, 2*math.Sqrt(readings[i].variance())
		p.certainMM = max(p.certainMM, s-u)
		if s+u > p.possibleMM {
			p.possibleMM, p.possibleAt, p.possibleUMM = s+u, readings[i].at, u
		}
	}
	return p, true
}

// alikeSD is how much less certain a reading may be than the largest and still count for its excess.
const alikeSD = 1.5

// asCertain returns the readings that are about as certain as r. A reading with ten times the uncertainty would come out
// largest in most draws; since it did not, it says nothing of how far chance raised the one that did.
func asCertain(readings []reading, r *reading) []reading {
	var out []reading
	for i := range readings {
		if readings[i].variance() <= alikeSD*alikeSD*r.variance() {
			out = append(out, readings[i])
		}
	}
	return out
}

// excessDraws is how often the errors are drawn anew: their mean is then known to a twentieth of its scatter, far
// below the uncertainty that stands beside it. The draws are the same in every run.
const excessDraws = 400

// What chance put on top of the largest is what errors usually are, not what they may be: an uncertainty states what is left in doubt, by a rim that
// may be there or a wall that hardly shows, and where much is, most edges are right all the same. Of 55 largest steps of ray-traced pairs, with the errors drawn as they are
// stated, the mean came out 0.063 mm too small, where the largest measured places were 0.036 mm too large.
const usualEffect, usualNoise = 0.5, 0.7

// excessOfMaximum returns by how much the largest of the readings is expected to be too large.
func excessOfMaximum(rs []reading) float64 {
	top := math.Inf(-1)
	for i := range rs {
		top = max(top, rs[i].bare)
	}
	n, modes := len(rs), len(rs[0].effects)
	// Readings that can't come near the top in any draw need not be drawn.
	live := make([]int, 0, n)
	bound := math.Inf(-1) // some reading is all but never below this
	spread := make([]float64, n)
	for i := range rs {
		spread[i] = 4 * math.Sqrt(rs[i].variance())
		bound = max(bound, rs[i].bare-spread[i])
	}
	noisy := false
	for i := range rs {
		if rs[i].bare+spread[i] >= bound {
			live = append(live, i)
			noisy = noisy || rs[i].smoothNoise > 0
		}
	}
	rng := rand.New(rand.NewPCG(0x706f7274, 0x6d61746368))
	amount := make([]float64, modes)
	white := make([]float64, 2*n+1) // running sums of white noise, twice round
	var sum float64
	for range excessDraws / 2 {
		for k := range amount {
			amount[k] = rng.NormFloat64()
		}
		if noisy {
			for i := range n {
				white[i+1] = white[i] + rng.NormFloat64()
			}
			for i := range n {
				white[n+i+1] = white[n+i] + white[i+1] - white[i]
			}
		}
		// Each draw and its opposite: what is linear in the errors cancels exactly.
		up, down := math.Inf(-1), math.Inf(-1)
		for _, i := range live {
			r := &rs[i]
			var e float64
			for k, a := range amount {
				e += usualEffect * a * r.effects[k]
			}
			if r.smoothNoise > 0 {
				from := ((i-r.reach)%n + n) % n // the reach may be longer than the list, of which the less certain are left out
				width := min(2*r.reach+1, n)
				e += usualNoise * r.smoothNoise * (white[from+width] - white[from]) / math.Sqrt(float64(width))
			}
			up, down = max(up, r.bare+e), max(down, r.bare-e)
		}
		sum += up + down
	}
	return max(0, sum/excessDraws-top)
}

// takeErrors fills in the bare steps: the steps are taken as a sum of the modes' effects, each with a normal amount of
// variance 1, and of the joint's true steps, whose variance is found from the data themselves (a ridge regression, its
// parameter iterated to agree with its residual). Large true steps leave the amounts near nothing; a joint that matches is
// all errors.
func takeErrors(rs []reading) {
	var total float64
	for i := range rs {
		rs[i].bare = rs[i].smooth
		total += rs[i].smooth * rs[i].smooth
	}
	if total == 0 || len(rs[0].effects) == 0 {
		return
	}
	n, modes := len(rs), len(rs[0].effects)
	ata := mat.NewSymDense(modes, nil)
	atb := mat.NewVecDense(modes, nil)
	for i := range rs {
		for k, e := range rs[i].effects {
			atb.SetVec(k, atb.AtVec(k)+e*rs[i].smooth)
			for l := k; l < modes; l++ {
				ata.SetSym(k, l, ata.At(k, l)+e*rs[i].effects[l])
			}
		}
	}
	// A joint's true steps have about featuresPerPort independent parts round it, however finely they are read.
	share := featuresPerPort / float64(n)
	tau2 := total / float64(n)
	floor := 1e-8 * tau2 // keeps the matrix regular where the modes explain everything
	for range 30 {
		m := mat.NewSymDense(modes, nil)
		m.CopySym(ata)
		m.ScaleSym(share/max(tau2, floor), m)
		for k := range modes {
			m.SetSym(k, k, m.At(k, k)+1)
		}
		var x, b mat.VecDense
		b.ScaleVec(share/max(tau2, floor), atb)
		if err := x.SolveVec(m, &b); err != nil {
			return
		}
		var left float64
		for i := range rs {
			r := &rs[i]
			r.bare = r.smooth
			for k, e := range r.effects {
				r.bare -= e * x.AtVec(k)
			}
			left += r.bare * r.bare
		}
		next := left / float64(n)
		if math.Abs(next-tau2) < 1e-3*tau2 {
			return
		}
		tau2 = next
	}
}
