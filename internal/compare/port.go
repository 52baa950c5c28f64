package compare

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"portmatch/internal/geom"
	"portmatch/internal/prose"
)

const (
	// profileMM is the spacing of the step's profile round a port; every point of it is the largest of its stretch.
	profileMM = 0.5
	// A port of which less than this share was measured is not judged at all.
	leastSureShare = 0.5
	// Nor is one of which less than this share was measured, if its largest steps are known no better than roughMM (U) or its areas no better
	// than a share of them: so it was where edges had been followed along a bead or a shadow.
	leastRoughShare, roughMM, roughArea = 0.7, 0.5, 0.3
	// A ledge can hide in an arc that was not seen. A high spot shorter than this between two measured ends that agree is
	// not something a cutter or a core leaves behind.
	hidingArcMM = 3
	// All unseen arcs together.
	hidingShare = 0.05
	// A shorter stretch than this between two that were not measured is as doubtful as they are; a longer one, up to largestIslandMM,
	// if it is shorter than both.
	islandMM, largestIslandMM = 6, 12
)

// comparePort compares one port. What can't be measured is said, and leaves the figures that rest on it at zero; the
// comparison itself is nil then.
func (l *laid) comparePort(number int, j joint, opts Options) (PortResult, *portComparison) {
	r := PortResult{Port: number, UnsureArcs: [][2]float64{}, TargetOutline: [][2]float64{}, WorkOutline: [][2]float64{}}
	if j.target != nil && j.target.fault == "" {
		r.TargetOutline = pairsOf(j.target.outline)
	}
	if j.work != nil && j.work.fault == "" {
		r.WorkOutline = pairsOf(j.work.outline)
	}
	if why := unusable(j); why != "" {
		r.Verdict, r.Why = NotMeasured, why
		return r, nil
	}
	c := &portComparison{laid: l, target: j.target, work: j.work, tolMM: opts.ToleranceMM, pastIsFine: opts.PastIsFine}
	if err := c.measure(); err != nil {
		r.Verdict, r.Why = NotMeasured, err.Error()
		return r, nil
	}
	blank := r
	c.fill(&r)
	rough := max(r.RemoveStep.Uncertainty, r.PastStep.Uncertainty) > roughMM ||
		c.roughMM2 > roughArea*r.TargetArea.Value
	if share := c.sureShare(); share < leastRoughShare && rough {
		blank.Verdict, blank.Why = NotMeasured, fmt.Sprintf("only %.0f %% of its edge could be measured, and that too roughly to go by", 100*share)
		return blank, nil
	}
	if opts.Blend != (Blend{}) {
		r.Blend = c.blend(opts.Blend)
	}
	if opts.Flow != FlowUnknown {
		f := FlowThrough(r.TargetArea.Value, r.WorkArea.Value, opts.Flow)
		r.Flow = &f
	}
	return r, c
}

// sureShare is the share of the joint that figures rest on.
func (c *portComparison) sureShare() float64 { return 1 - c.unsureMM/c.target.perimeterMM() }

func unusable(j joint) string {
	for _, s := range []struct {
		name string
		r    *ring
	}{{"target", j.target}, {"work", j.work}} {
		switch {
		case s.r == nil && s.name == "target":
			return "the target has no opening here"
		case s.r == nil:
			return "no opening was found here on the work"
		case s.r.fault != "":
			return fmt.Sprintf("on the %s %s", s.name, s.r.fault)
		case s.r.cut:
			return fmt.Sprintf("the %s's photo cuts this port off", s.name)
		}
	}
	return ""
}

func pairsOf(o geom.Outline) [][2]float64 {
	out := make([][2]float64, len(o))
	for i, p := range o {
		out[i] = [2]float64{p.X, p.Y}
	}
	return out
}

// portComparison holds what is computed for one port.
type portComparison struct {
	*laid
	target, work *ring
	tolMM        float64
	pastIsFine   bool

	edgeModes              []edgeMode
	onTarget, onWork       []sample // steps from either edge to the other
	removeMM2, pastMM2     float64
	unsureMM               float64 // length of the joint that no figure rests on
	roughMM2               float64 // expanded uncertainty of the openings' areas, but for what unmeasured stretches may hide
	arcs                   [][2]float64
	remove, past           peak
	hasRemove, hasPast     bool
	removeReads, pastReads []reading
}

// edgeMode is a source that moves a part of one edge outward together: how far, by the edge's points, for one standard
// deviation.
type edgeMode struct {
	onTarget bool
	amountMM []float64
}

const (
	// What no averaging takes out is one error all round the port up to this much over its usual size: the tone curve, the
	// kind of edge. What goes beyond is a doubt about one arc, and independent of the doubts about others.
	usualBias = 1.5
	// Arcs of doubt beyond this many are taken together.
	maxArcs = 30
)

// biasModes splits the bias of an edge into one error all round it and one for each arc where it is larger than usual.
func biasModes(r *ring, onTarget bool) []edgeMode {
	n := len(r.bias)
	sorted := slices.Clone(r.bias)
	slices.Sort(sorted)
	limit := usualBias * sorted[n/2]
	base, rest := make([]float64, n), make([]float64, n)
	any := false
	start := 0 // a place without doubt, where no arc runs through
	for i, b := range r.bias {
		base[i] = min(b, limit)
		rest[i] = math.Sqrt(b*b - base[i]*base[i])
		any = any || base[i] > 0
		if rest[i] == 0 {
			start = i
		}
	}
	var ms []edgeMode
	if any {
		ms = append(ms, edgeMode{onTarget, base})
	}
	for gapMM := r.corrMM; ; gapMM *= 2 {
		arcs := arcsOf(r, rest, start, gapMM)
		if len(arcs) > maxArcs {
			continue
		}
		for _, a := range arcs {
			m := edgeMode{onTarget, make([]float64, n)}
			for k := a[0]; k < a[1]; k++ {
				m.amountMM[(start+k)%n] = rest[(start+k)%n]
			}
			ms = append(ms, m)
		}
		return ms
	}
}

// arcsOf returns the stretches of points, counted from start, where v is above 0; stretches closer than gapMM are one.
func arcsOf(r *ring, v []float64, start int, gapMM float64) (arcs [][2]int) {
	n := len(v)
	along := func(k int) float64 {
		return r.arcMM[(start+k)%n] + float64((start+k)/n)*r.perimeterMM()
	}
	for k := range n {
		if v[(start+k)%n] == 0 {
			continue
		}
		if m := len(arcs); m > 0 && along(k)-along(arcs[m-1][1]-1) <= gapMM {
			arcs[m-1][1] = k + 1
		} else {
			arcs = append(arcs, [2]int{k, k + 1})
		}
	}
	return arcs
}

func (c *portComparison) modeCount() int { return len(c.modes) + len(c.edgeModes) }

// at is how far m moves its edge r outward at one place.
func (m *edgeMode) at(r *ring, pl geom.Place) float64 { return r.between(m.amountMM, pl) }

// targetEffect is what mode k does to the step at a sample of the target's edge, in mm.
func (c *portComparison) targetEffect(k int, s *sample) float64 {
	if k >= len(c.modes) {
		if m := &c.edgeModes[k-len(c.modes)]; m.onTarget {
			return m.at(c.target, s.own)
		} else {
			return -m.at(c.work, s.other)
		}
	}
	m := &c.modes[k]
	return s.n.Dot(m.target(s.p).Sub(m.work(s.q)))
}

// workEffect is the same at a sample of the work's edge.
func (c *portComparison) workEffect(k int, s *sample) float64 {
	if k >= len(c.modes) {
		if m := &c.edgeModes[k-len(c.modes)]; m.onTarget {
			return -m.at(c.target, s.other)
		} else {
			return m.at(c.work, s.own)
		}
	}
	m := &c.modes[k]
	return s.n.Dot(m.work(s.p).Sub(m.target(s.q)))
}

// corrMM is the correlation length of the difference of two edges: that of either, weighted by their variances.
func (c *portComparison) corrMM() float64 {
	mean2 := func(v []float64) (m float64) {
		for _, x := range v {
			m += x * x / float64(len(v))
		}
		return m
	}
	vt, vw := mean2(c.target.sigma), mean2(c.work.sigma)
	if vt+vw == 0 {
		return max(c.target.corrMM, c.work.corrMM)
	}
	return (vt + vw) / (vt/c.target.corrMM + vw/c.work.corrMM)
}

func (c *portComparison) measure() error {
	c.onTarget = samplesOn(c.target, c.work, sampleMM)
	c.onWork = samplesOn(c.work, c.target, sampleMM)
	markAbrupt(c.onTarget)
	markAbrupt(c.onWork)
	c.edgeModes = append(biasModes(c.target, true), biasModes(c.work, false)...)
	c.findUnsure()
	// What is unsure on one edge may have its outrun on the other, and that again on the first.
	const turns = 4
	for range turns {
		onTarget, onWork := markOutruns(c.onTarget), markOutruns(c.onWork)
		if !onTarget && !onWork {
			break
		}
		c.arcs, c.unsureMM = nil, 0
		c.findUnsure()
	}
	if share := c.sureShare(); share < leastSureShare {
		return fmt.Errorf("only %.0f %% of its edge could be measured", 100*share)
	}
	in, err := geom.Intersection(geom.RegionOf(c.target.outline), geom.RegionOf(c.work.outline))
	if err != nil {
		return err
	}
	common := in.AreaMM2()
	c.removeMM2 = max(0, c.target.areaMM2-common)
	c.pastMM2 = max(0, c.work.areaMM2-common)
	n := c.modeCount()
	c.removeReads = readingsOf(c.onTarget, c.corrMM(), c.target.perimeterMM(), n, c.targetEffect)
	c.pastReads = readingsOf(c.onWork, c.corrMM(), c.work.perimeterMM(), n, c.workEffect)
	c.remove, c.hasRemove = largest(c.removeReads)
	c.past, c.hasPast = largest(c.pastReads)
	return nil
}

// bridgeMM is how far an edge may lie off the bridge over a stretch that was not measured, where the edges on both sides of
// the joint do not say more: a ledge that is missed in the middle of a port that matches.
const bridgeMM = 0.1

// bridged is the standard uncertainty of areas from the stretches that were not measured: an area counts them as they are
// drawn, and takes all of that for doubtful.
func bridged(samples []sample) (mm2 float64) {
	for i := range samples {
		if s := &samples[i]; !s.sure {
			mm2 += max(math.Abs(s.stepMM), bridgeMM) * s.lenMM
		}
	}
	return mm2
}

// hidden is the standard uncertainty of an opening's area from what a rag with a straight edge would hide of a round one of that area, along every
// stretch that was not measured: the edges on both sides of the joint may be drawn along one.
func hidden(samples []sample, areaMM2 float64) (mm2 float64) {
	radiusMM := math.Sqrt(areaMM2 / math.Pi)
	start := max(0, slices.IndexFunc(samples, func(s sample) bool { return s.sure }))
	var longMM float64
	end := func() {
		turn := 2 * math.Asin(min(1, longMM/2/radiusMM)) // drawn along the rag it is a chord
		turn = min(turn+max(0, longMM/radiusMM-2), 2*math.Pi)
		mm2 += (turn - math.Sin(turn)) / 2 * radiusMM * radiusMM / 2 // half of a segment
		longMM = 0
	}
	for k := range samples {
		if s := &samples[(start+k)%len(samples)]; s.sure {
			end()
		} else {
			longMM += s.lenMM
		}
	}
	end()
	return mm2
}

// findUnsure marks the stretches of the target's edge on which no figure rests: its own unmeasured ones, those opposite to
// unmeasured ones of the work, and what lies between two of them closer than islandBetween says.
func (c *portComparison) findUnsure() {
	total := c.target.perimeterMM()
	n := len(c.onTarget)
	bad := make([]bool, n)
	any := false
	for i := range c.onTarget {
		bad[i] = !c.onTarget[i].sure
		any = any || bad[i]
	}
	at := 0
	for i := range c.onWork {
		if s := &c.onWork[i]; !s.sure {
			along := c.target.alongMM(s.other)
			for at+1 < n && c.onTarget[at+1].alongMM <= along {
				at++
			}
			for at > 0 && c.onTarget[at].alongMM > along {
				at--
			}
			bad[at], any = true, true
		}
	}
	if !any {
		return
	}
	for i := 0; i < n; {
		if !bad[i] {
			i++
			continue
		}
		j := i
		for j < n && bad[j] {
			j++
		}
		to := total
		if j < n {
			to = c.onTarget[j].alongMM
		}
		from := c.onTarget[i].alongMM
		if k := len(c.arcs); k > 0 && from-c.arcs[k-1][1] < max(c.target.corrMM, islandBetween(c.arcs[k-1][1]-c.arcs[k-1][0], to-from)) {
			c.arcs[k-1][1] = to
		} else {
			c.arcs = append(c.arcs, [2]float64{from, to})
		}
		i = j
	}
	within := func(alongMM float64) bool {
		return slices.ContainsFunc(c.arcs, func(a [2]float64) bool { return alongMM >= a[0] && alongMM < a[1] })
	}
	for i := range c.onTarget {
		if s := &c.onTarget[i]; within(s.alongMM) {
			s.sure = false
		}
	}
	for i := range c.onWork {
		if s := &c.onWork[i]; within(c.target.alongMM(s.other)) {
			s.sure = false
		}
	}
	for _, a := range c.arcs {
		c.unsureMM += a[1] - a[0]
	}
}

// islandBetween is how long a measured stretch between two unmeasured ones must be, mm, to count for anything.
func islandBetween(beforeMM, afterMM float64) float64 {
	return max(islandMM, min(largestIslandMM, beforeMM, afterMM))
}

func (c *portComparison) fill(r *PortResult) {
	n := c.modeCount()
	// Areas answer to a displacement by its integral along the edge, the remove and past areas along the part of it that
	// bounds them.
	var target, work, remove, past, mismatch linear
	for k := range n {
		var t, w, rm, ps float64
		for i := range c.onTarget {
			s := &c.onTarget[i]
			t += c.outwardAt(k, c.target, s) * s.lenMM
			if s.sure && s.stepMM > 0 {
				rm += c.targetEffect(k, s) * s.lenMM
			}
		}
		for i := range c.onWork {
			s := &c.onWork[i]
			w += c.outwardAt(k, c.work, s) * s.lenMM
			if s.sure && s.stepMM > 0 {
				ps += c.workEffect(k, s) * s.lenMM
			}
		}
		target.add(t)
		work.add(w)
		remove.add(rm)
		past.add(ps)
		mismatch.add(rm + ps)
	}
	var onT, onW, rmNoise, psNoise, rmFloor, psFloor float64
	corr := c.corrMM()
	for i := range c.onTarget {
		s := &c.onTarget[i]
		sg := c.target.between(c.target.sigma, s.own)
		onT += sg * sg * s.lenMM * c.target.corrMM
		if s.sure && s.stepMM > 0 {
			rmNoise += s.varMM2 * s.lenMM * corr
		}
	}
	for i := range c.onWork {
		s := &c.onWork[i]
		sg := c.work.between(c.work.sigma, s.own)
		onW += sg * sg * s.lenMM * c.work.corrMM
		if s.sure && s.stepMM > 0 {
			psNoise += s.varMM2 * s.lenMM * corr
		}
	}
	for i := range c.removeReads {
		rmFloor += noiseArea(&c.removeReads[i]) * corr
	}
	for i := range c.pastReads {
		psFloor += noiseArea(&c.pastReads[i]) * corr
	}
	onTargetBridge, onWorkBridge := bridged(c.onTarget), bridged(c.onWork)
	for _, l := range []*linear{&target, &remove} {
		l.add(onTargetBridge)
	}
	for _, l := range []*linear{&work, &past} {
		l.add(onWorkBridge)
	}
	mismatch.add(max(onTargetBridge, onWorkBridge))
	target.sum2 += onT
	work.sum2 += onW
	remove.sum2 += rmNoise + rmFloor*rmFloor
	past.sum2 += psNoise + psFloor*psFloor
	mismatch.sum2 += rmNoise + psNoise + (rmFloor+psFloor)*(rmFloor+psFloor)

	c.roughMM2 = max(target.expanded(), work.expanded())
	onTargetHidden, onWorkHidden := hidden(c.onTarget, c.target.areaMM2), hidden(c.onWork, c.work.areaMM2)
	for _, l := range []*linear{&target, &remove} {
		l.add(onTargetHidden)
	}
	for _, l := range []*linear{&work, &past} {
		l.add(onWorkHidden)
	}
	mismatch.add(max(onTargetHidden, onWorkHidden))

	r.TargetArea = Quantity{c.target.areaMM2, target.expanded()}
	r.WorkArea = Quantity{c.work.areaMM2, work.expanded()}
	r.RemoveArea = Quantity{c.removeMM2, remove.expanded()}
	r.PastArea = Quantity{c.pastMM2, past.expanded()}
	r.MismatchArea = Quantity{c.removeMM2 + c.pastMM2, mismatch.expanded()}
	d := c.work.centroid.Sub(c.target.centroid)
	r.OffsetMM = [2]float64{d.X, d.Y}
	r.AreaRatio = c.work.areaMM2 / c.target.areaMM2
	if c.hasRemove {
		r.RemoveStep = c.step(c.remove)
	}
	if c.hasPast {
		r.PastStep = c.step(c.past)
	}
	var within, sure float64
	for i := range c.onTarget {
		if s := &c.onTarget[i]; s.sure {
			sure += s.lenMM
			if math.Abs(s.stepMM) <= c.tolMM {
				within += s.lenMM
			}
		}
	}
	if sure > 0 {
		r.WithinTolerance = within / sure
	}
	if c.arcs != nil {
		r.UnsureArcs = c.arcs
		const rest = "no step rests on that stretch, and areas count it as drawn"
		unsure := prose.MM(c.unsureMM, 1)
		if s := c.largestUnsure(); s != nil && c.hasRemove && s.stepMM > c.remove.valueMM+c.remove.uMM {
			r.because(prose.Sprintf("%s of its edge could not be measured, and more may have to go there (%s as drawn, at %s); "+rest,
				unsure, prose.MM(s.stepMM, 1), clock(s.p.Sub(c.target.centroid))))
		} else {
			r.because(prose.Sprintf("%s of its edge could not be measured; "+rest, unsure))
		}
	}
	r.Profile = c.profile()
	c.judge(r)
}

// largestUnsure is the largest step to remove, as drawn, where it could not be measured; nil where all of it was.
func (c *portComparison) largestUnsure() (largest *sample) {
	for i := range c.onTarget {
		if s := &c.onTarget[i]; !s.sure && (largest == nil || s.stepMM > largest.stepMM) {
			largest = s
		}
	}
	return largest
}

// outwardAt is how far mode k moves r's own edge outward at a sample of it.
func (c *portComparison) outwardAt(k int, r *ring, s *sample) float64 {
	if k >= len(c.modes) {
		if m := &c.edgeModes[k-len(c.modes)]; m.onTarget == (r == c.target) {
			return m.at(r, s.own)
		}
		return 0
	}
	m := &c.modes[k]
	if r == c.target {
		return r.outward(s.own).Dot(m.target(s.p))
	}
	return r.outward(s.own).Dot(m.work(s.p))
}

// noiseArea is the mean of max(0, step) per mm of edge that the errors add to what it is without them: where the edges lie
// within their errors of each other, the errors themselves have an area, which is always positive.
func noiseArea(r *reading) float64 {
	sd2 := r.noise * r.noise
	for _, e := range r.effects {
		sd2 += e * e
	}
	if sd2 == 0 {
		return 0
	}
	sd := math.Sqrt(sd2)
	z := r.bare / sd
	n := distuv.UnitNormal
	return r.bare*n.CDF(z) + sd*n.Prob(z) - max(0, r.bare)
}

// step turns a peak into what is reported. A largest step can't be less than none: where the estimate falls below, what is
// left of its uncertainty is how far above none the step may still be.
func (c *portComparison) step(p peak) Step {
	s := Step{Quantity: Quantity{p.valueMM, p.uMM}, At: [2]float64{p.at.p.X, p.at.p.Y}, Clock: clock(p.at.p.Sub(c.target.centroid))}
	if s.Value < 0 {
		s.Uncertainty = max(0, s.Uncertainty+s.Value)
		s.Value = 0
	}
	return s
}

func (c *portComparison) profile() []ProfilePoint {
	var out []ProfilePoint
	for i := 0; i < len(c.onTarget); {
		best := &c.onTarget[i]
		from := best.alongMM
		for ; i < len(c.onTarget) && c.onTarget[i].alongMM < from+profileMM; i++ {
			s := &c.onTarget[i]
			if s.sure != best.sure {
				break
			}
			if math.Abs(s.stepMM) > math.Abs(best.stepMM) {
				best = s
			}
		}
		u := linear{best.varMM2}
		for k := range c.modeCount() {
			u.add(c.targetEffect(k, best))
		}
		out = append(out, ProfilePoint{AlongMM: best.alongMM, At: [2]float64{best.p.X, best.p.Y}, StepMM: best.stepMM,
			UMM: u.expanded(), Sure: best.sure})
	}
	return out
}

// judge gives the verdict, with the expanded uncertainty as a guard band on both sides of the tolerance (ILAC-G8:09/2019,
// ISO 14253-1): a step is within only if it is by U, and beyond only if it is by U.
func (c *portComparison) judge(r *PortResult) {
	pastWithin := 1.0
	if !c.pastIsFine {
		pastWithin = withinProbability(c.tolMM, r.PastStep.Value, r.PastStep.Uncertainty/2)
	}
	r.Conformance = max(0, withinProbability(c.tolMM, r.RemoveStep.Value, r.RemoveStep.Uncertainty/2)+pastWithin-1)
	grind := c.hasRemove && c.remove.certainMM > c.tolMM
	past := c.hasPast && c.past.certainMM > c.tolMM && !c.pastIsFine
	within := c.hasRemove && c.hasPast && c.remove.possibleMM <= c.tolMM && (c.past.possibleMM <= c.tolMM || c.pastIsFine)
	switch {
	case grind && past:
		r.Verdict = GrindPast
	case grind:
		r.Verdict = Grind
	case past:
		r.Verdict = PastLine
	case within && c.canHide():
		r.Verdict = TooClose
		r.because(prose.Sprintf("what was measured is within the tolerance, but %s of its edge could not be measured and may hide a step", prose.MM(c.unsureMM, 1)))
	case within:
		r.Verdict = Matched
	default:
		r.Verdict = TooClose
		c.sayWhatIsInDoubt(r)
	}
}

// sayWhatIsInDoubt names the place that keeps a port from being called, where that is not the largest step itself: one whose edge is
// hardly seen.
func (c *portComparison) sayWhatIsInDoubt(r *PortResult) {
	var worst *peak
	words := ""
	look := func(p *peak, says string) {
		if p.possibleMM > c.tolMM && p.valueMM+p.uMM <= c.tolMM && (worst == nil || p.possibleMM > worst.possibleMM) {
			worst, words = p, says
		}
	}
	if c.hasRemove {
		look(&c.remove, "a step of up to %s may be left there")
	}
	if c.hasPast && !c.pastIsFine {
		look(&c.past, "it may be up to %s past the line there")
	}
	if worst == nil {
		return
	}
	why := prose.Sprintf("its edge is hard to see at %s, ± %s: "+words, clock(worst.possibleAt.p.Sub(c.target.centroid)), prose.MM(worst.possibleUMM, 2), prose.MM(worst.possibleMM, 2))
	if c.arcs != nil {
		why = prose.Sprintf("%s; %s of its edge could not be measured", why, prose.MM(c.unsureMM, 1))
	}
	r.because(why)
}

// canHide tells whether the arcs that were not measured are long enough to hide a step.
func (c *portComparison) canHide() bool {
	var longest float64
	for _, a := range c.arcs {
		longest = max(longest, a[1]-a[0])
	}
	if n := len(c.arcs); n > 1 && c.arcs[0][0] == 0 && c.arcs[n-1][1] == c.target.perimeterMM() {
		longest = max(longest, c.arcs[0][1]+c.arcs[n-1][1]-c.arcs[n-1][0])
	}
	return longest > hidingArcMM || c.unsureMM > hidingShare*c.target.perimeterMM()
}

// withinProbability is the probability that a step measured as valueMM with standard uncertainty uMM is within limitMM
// (JCGM 106:2012).
func withinProbability(limitMM, valueMM, uMM float64) float64 {
	if uMM == 0 {
		if valueMM <= limitMM {
			return 1
		}
		return 0
	}
	return distuv.UnitNormal.CDF((limitMM - valueMM) / uMM)
}
