package compare

import (
	"math"

	"portmatch/internal/geom"
	"portmatch/internal/prose"
)

// FloatResult says what the play of the fasteners in their holes can do to the joint.
type FloatResult struct {
	// Fixed is set where the parts can't move against each other, with the reason in Why; Why alone says why nothing can be
	// told.
	Fixed      bool           `json:"fixed"`
	Why        string         `json:"why,omitempty"`         // in mm
	WhyLengths []prose.Length `json:"why_lengths,omitempty"` // the lengths in it
	// PlayMM is how far the work can be pushed each way from the middle of its play, in x and y; TurnDeg how far it can be
	// turned each way.
	PlayMM  [2]float64 `json:"play_mm"`
	TurnDeg float64    `json:"turn_deg"`
	// Push and PushTurnDeg lead from how the parts were laid to the position that leaves least to grind: the work is moved so
	// far in x and y (job frame) and turned so far anticlockwise, about the middle of its holes.
	Push           [2]float64  `json:"push_mm"`
	PushTurnDeg    float64     `json:"push_turn_deg"`
	RemoveArea     float64     `json:"remove_area"`      // of all ports, as laid
	RemoveAreaBest float64     `json:"remove_area_best"` // in the best position
	Ports          []FloatPort `json:"ports"`
}

// WhyText is the reason with its lengths.
func (f *FloatResult) WhyText() prose.Text { return prose.Text{Words: f.Why, Lengths: f.WhyLengths} }

// FloatPort is one port under the play.
type FloatPort struct {
	Port        int      `json:"port"`
	WorstRemove Quantity `json:"worst_remove_step"` // the largest over all positions
	WorstPast   Quantity `json:"worst_past_step"`
	BestRemove  Quantity `json:"best_remove_step"` // the largest in the best position
	BestPast    Quantity `json:"best_past_step"`
	BestArea    float64  `json:"best_remove_area"`
}

// Fasteners are what goes through the holes; 0 is not said.
type Fasteners struct {
	StudMM  float64 // diameter of bolts or studs
	DowelMM float64 // diameter of the dowels; not said, they fit without play
}

const (
	// floatMM is the spacing of the samples by which positions are compared; the best of them is measured on all samples.
	floatMM = 0.5
	// How many places round a port a search for the worst position starts from.
	floatStarts = 24
)

// playOf returns the play that the fasteners leave. A hole's air is what its diameter has over the fastener's, half of it each
// way, on either part: a thread has none.
//
// Without play it says why, and whether it is because the parts are fixed against each other.
func (l *laid) playOf(f Fasteners) (pl *play, why prose.Text, fixed bool) {
	pl = &play{}
	dowel := map[pair]bool{}
	if l.on == "dowels" {
		for _, p := range l.locating {
			dowel[p] = true
		}
	}
	if len(dowel) > 0 && f.DowelMM == 0 {
		return nil, prose.Sprintf("two dowels fix the parts"), true
	}
	knownMM := 0.0 // to how much the air in a hole is known, k = 2
	for _, p := range l.pairs {
		t, w := l.target.Holes[p.t], l.work.Holes[p.w]
		d, name := f.StudMM, "stud"
		if dowel[p] {
			d, name = f.DowelMM, "dowel"
		}
		if d == 0 {
			continue
		}
		at := l.jobFromWork.Apply(w.Centre)
		// A thread's hole is smaller than what goes in by its pitch, an eighth of the diameter and more; two such holes take
		// nothing.
		if max(t.DiameterMM, w.DiameterMM) < d-0.1 {
			return nil, prose.Sprintf("a %s of %s does not go into %s, which is %s wide at most", name, prose.MM(d, 1), l.holeWords(at), prose.MM(max(t.DiameterMM, w.DiameterMM), 2)), false
		}
		pl.arm = append(pl.arm, at)
		pl.off = append(pl.off, l.jobFromTarget.Apply(t.Centre).Sub(at))
		pl.airMM = append(pl.airMM, max(0, t.DiameterMM-d)/2+max(0, w.DiameterMM-d)/2)
		pl.centre = pl.centre.Add(at)
		knownMM = max(knownMM, 2*math.Hypot(math.Hypot(t.SigmaCentreMM, w.SigmaCentreMM), math.Hypot(t.SigmaDiameterMM, w.SigmaDiameterMM)/2))
	}
	n := len(pl.arm)
	if n < 2 {
		return nil, prose.Sprintf("fewer than two holes with their fasteners are known; give --stud, and photograph all holes"), false
	}
	pl.centre = pl.centre.Scale(1 / float64(n))
	for i := range pl.arm {
		pl.arm[i] = pl.arm[i].Sub(pl.centre)
	}
	if lack := pl.limits(); lack > knownMM {
		return nil, prose.Sprintf("the fasteners do not pass through all holes at once: they lack %s of air", prose.MM(lack, 2)), false
	} else if lack > 0 {
		return nil, prose.Sprintf("the fasteners fit their holes as closely as can be measured and fix the parts"), true
	}
	return pl, prose.Text{}, false
}

// floatOf computes the result for joints that were compared into res.
func (l *laid) floatOf(f Fasteners, cs []*portComparison, res *Result) *FloatResult {
	pl, why, fixed := l.playOf(f)
	if pl == nil {
		return &FloatResult{Fixed: fixed, Why: why.Words, WhyLengths: why.Lengths, Ports: []FloatPort{}}
	}
	r := &FloatResult{Ports: []FloatPort{}}
	for k, g := range []geom.PointMM{{X: 1}, {Y: 1}} {
		r.PlayMM[k] = (g.Dot(pl.extreme(g, 0).shift) + g.Scale(-1).Dot(pl.extreme(g.Scale(-1), 0).shift)) / 2
	}
	r.TurnDeg = (pl.most - pl.least) / 2 * 180 / math.Pi
	best := leastToGrind(pl, cs)
	r.Push = [2]float64{best.shift.X, best.shift.Y}
	r.PushTurnDeg = best.turn * 180 / math.Pi
	for i, c := range cs {
		if c == nil {
			continue
		}
		p := FloatPort{Port: res.Ports[i].Port}
		laidRemove := c.largestAt(pl, position{}, c.onTarget, true)
		laidPast := c.largestAt(pl, position{}, c.onWork, false)
		worst := c.worst(pl, true)
		p.WorstRemove = res.Ports[i].changed(res.Ports[i].RemoveStep, worst-laidRemove)
		worst = c.worst(pl, false)
		p.WorstPast = res.Ports[i].changed(res.Ports[i].PastStep, worst-laidPast)
		p.BestRemove = res.Ports[i].changed(res.Ports[i].RemoveStep, c.largestAt(pl, best, c.onTarget, true)-laidRemove)
		p.BestPast = res.Ports[i].changed(res.Ports[i].PastStep, c.largestAt(pl, best, c.onWork, false)-laidPast)
		p.BestArea = c.removeAt(pl, best)
		r.RemoveArea += res.Ports[i].RemoveArea.Value
		r.RemoveAreaBest += p.BestArea
		r.Ports = append(r.Ports, p)
	}
	return r
}

// changed is a step that another position changes by d: its uncertainty stays what it was, its value is never below nothing. Of
// a step that is not there as the parts were laid it is the largest round the port.
func (p *PortResult) changed(s Step, d float64) Quantity {
	q := Quantity{max(0, s.Value+d), s.Uncertainty}
	if s.Value == 0 && q.Value > 0 {
		for _, at := range p.Profile {
			if at.Sure {
				q.Uncertainty = max(q.Uncertainty, at.UMM)
			}
		}
	}
	return q
}

// largestAt returns the largest step over the measured samples with the work in position x, not below 0. The samples are the
// target's, measured against the work, or the work's against the target.
func (c *portComparison) largestAt(pl *play, x position, samples []sample, onTarget bool) (mm float64) {
	for i := range samples {
		if s := &samples[i]; s.sure {
			d, _ := c.stepAt(pl, x, s, onTarget)
			mm = max(mm, d)
		}
	}
	return mm
}

// removeAt returns the area to grind with the work in position x.
func (c *portComparison) removeAt(pl *play, x position) float64 {
	work := make(geom.Outline, len(c.work.outline))
	for i, p := range c.work.outline {
		work[i] = pl.at(x, p)
	}
	in, err := geom.Intersection(geom.RegionOf(c.target.outline), geom.RegionOf(work))
	if err != nil {
		return c.removeMM2
	}
	return max(0, c.target.areaMM2-in.AreaMM2())
}

// stepAt returns the step at one sample with the work in position x, and the direction, in terms of the work's movement, in
// which it grows.
func (c *portComparison) stepAt(pl *play, x position, s *sample, onTarget bool) (stepMM float64, grows geom.PointMM) {
	if onTarget {
		p := pl.back(x, s.p)
		d, q, at := c.work.index.SignedDistMM(p)
		n := p.Sub(q)
		if math.Abs(d) < 1e-6 {
			return d, c.work.outward(at).Scale(-1)
		}
		return d, n.Scale(-1 / d)
	}
	p := pl.at(x, s.p)
	d, q, at := c.target.index.SignedDistMM(p)
	if math.Abs(d) < 1e-6 {
		return d, c.target.outward(at)
	}
	return d, p.Sub(q).Scale(1 / d)
}

// coarse returns about every floatMM-th of the measured samples.
func coarse(samples []sample) []sample {
	var out []sample
	last := math.Inf(-1)
	for i := range samples {
		if s := samples[i]; s.sure && s.alongMM-last >= floatMM {
			last = s.alongMM
			out = append(out, s)
		}
	}
	return out
}

// worst returns the largest step over all positions that pl allows. A single place's step grows in one direction, and is
// largest at the position farthest that way; from there the place with the largest step leads on, until nothing grows. The
// search starts from places all round.
func (c *portComparison) worst(pl *play, onTarget bool) float64 {
	all := c.onTarget
	if !onTarget {
		all = c.onWork
	}
	few := coarse(all)
	var worst float64
	var at position
	for start := range floatStarts {
		if len(few) == 0 {
			break
		}
		s := &few[start*len(few)/floatStarts]
		x, last := position{}, math.Inf(-1)
		for range 8 {
			_, g := c.stepAt(pl, x, s, onTarget)
			arm := s.p.Sub(pl.centre)
			x = pl.extreme(g, arm.Cross(g))
			top := math.Inf(-1)
			for i := range few {
				if d, _ := c.stepAt(pl, x, &few[i], onTarget); d > top {
					top, s = d, &few[i]
				}
			}
			if top <= last+1e-6 {
				break
			}
			last = top
			if top > worst {
				worst, at = top, x
			}
		}
	}
	return max(worst, c.largestAt(pl, at, all, onTarget))
}

// leastToGrind returns the position with the least area to grind, over all ports together. The steps are taken as linear in
// the position, which makes their area convex; the least of that is found by going from extreme to extreme (Frank and Wolfe
// 1956), and the steps are measured anew from there.
func leastToGrind(pl *play, cs []*portComparison) position {
	type place struct {
		step, len, gx, gy, gt float64
	}
	var samples []struct {
		c *portComparison
		s sample
	}
	for _, c := range cs {
		if c != nil {
			for _, s := range coarse(c.onTarget) {
				samples = append(samples, struct {
					c *portComparison
					s sample
				}{c, s})
			}
		}
	}
	var best position
	if pl.beyond(best) > 0 {
		best = pl.extreme(geom.PointMM{}, 0)
	}
	bestArea := math.Inf(1)
	x := best
	for range 5 {
		places := make([]place, len(samples))
		var area float64
		for i := range samples {
			d, g := samples[i].c.stepAt(pl, x, &samples[i].s, true)
			places[i] = place{d, samples[i].s.lenMM, g.X, g.Y, samples[i].s.p.Sub(pl.centre).Cross(g)}
			area += max(0, d) * samples[i].s.lenMM
		}
		if area >= bestArea-1e-6 {
			break
		}
		best, bestArea = x, area
		from := x
		value := func(y position) (sum float64) {
			dx, dy, dt := y.shift.X-from.shift.X, y.shift.Y-from.shift.Y, y.turn-from.turn
			for i := range places {
				p := &places[i]
				if s := p.step + p.gx*dx + p.gy*dy + p.gt*dt; s > 0 {
					sum += s * p.len
				}
			}
			return sum
		}
		for range 200 {
			var g geom.PointMM
			var gt float64
			dx, dy, dt := x.shift.X-from.shift.X, x.shift.Y-from.shift.Y, x.turn-from.turn
			for i := range places {
				p := &places[i]
				if p.step+p.gx*dx+p.gy*dy+p.gt*dt > 0 {
					g.X, g.Y, gt = g.X-p.gx*p.len, g.Y-p.gy*p.len, gt-p.gt*p.len
				}
			}
			to := pl.extreme(g, gt)
			between := func(f float64) position {
				return position{x.shift.Add(to.shift.Sub(x.shift).Scale(f)), x.turn + f*(to.turn-x.turn)}
			}
			lo, hi := 0.0, 1.0
			for range 40 {
				a, b := lo+(hi-lo)/3, hi-(hi-lo)/3
				if value(between(a)) < value(between(b)) {
					hi = b
				} else {
					lo = a
				}
			}
			next := between((lo + hi) / 2)
			if value(next) > value(x)-1e-6 {
				break
			}
			x = next
		}
	}
	return best
}
