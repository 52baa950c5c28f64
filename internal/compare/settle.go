package compare

import (
	"math"
	"slices"

	"portmatch/internal/geom"
	"portmatch/internal/prose"
)

// choice is one way to lay the parts together, with what the ports say to it.
type choice struct {
	alignment
	// portsMM is the root mean square distance between the ports' edges, laid this way, about the mean by which all of them
	// are too small or too large; ports that find no partner count as far off as they are large.
	portsMM float64
	paired  int
}

// flipped tells whether the target was turned over against the work photo.
func (c *choice) flipped() bool { return c.workFromTarget.Mirrored() }

// turnRad is how far the target's photo is turned against the work's, after the turning over (side to side, like a page)
// if there is one; from 0 to π.
func (c *choice) turnRad() float64 { return math.Abs(c.workFromTarget.AngleRad()) }

const (
	// Ways that lay the target's ports this near to each other give the same answer to within what is measured.
	sameWayMM = 0.05
	// An irregular opening has about this many features that a cast port can get wrong independently: where its four sides
	// stand.
	featuresPerPort = 4
)

// settle picks the way that the ports agree with; where they can't tell, the one with more holes, or the one that the parts'
// own edges agree with (parts may be nil). Where that doesn't settle it between ways that give different answers, it returns
// an *AmbiguousError naming the flag that can.
func settle(choices []choice, targetPorts []ring, parts *partEdges, flipped *bool, turned *int) (choice, error) {
	allowed := slices.DeleteFunc(slices.Clone(choices), func(c choice) bool {
		return flipped != nil && c.flipped() != *flipped
	})
	if turned != nil {
		// The nearest to 0 or 180 that there is: a square pattern fits at every quarter turn.
		want := float64(*turned) * math.Pi / 180
		nearest := map[bool]float64{false: math.Pi / 2, true: math.Pi / 2}
		for i := range allowed {
			c := &allowed[i]
			nearest[c.flipped()] = math.Min(nearest[c.flipped()], math.Abs(c.turnRad()-want))
		}
		allowed = slices.DeleteFunc(allowed, func(c choice) bool {
			return math.Abs(c.turnRad()-want) > nearest[c.flipped()]+sameTurnRad
		})
	}
	if len(allowed) == 0 {
		return choice{}, &MismatchError{What: prose.Sprintf("they fit together only %s", choices[0].words()),
			Try: "leave out the flags --flipped and --turned, or check them"}
	}
	best := &allowed[0]
	for i := range allowed {
		if allowed[i].portsMM < best.portsMM {
			best = &allowed[i]
		}
	}
	same := []*choice{best}
	within := max(sameWayMM, 2*edgeUncertaintyMM(targetPorts))
	var doubtful []*choice
	for i := range allowed {
		c := &allowed[i]
		if c == best {
			continue
		}
		apart := waysApartMM(targetPorts, best.workFromTarget, c.workFromTarget)
		if apart <= within {
			same = append(same, c)
			continue
		}
		// The squares of the distances differ by the square of how far the two ways lie apart, give or take what the ports'
		// own deviations project on it; two standard deviations of that must not bridge the gap.
		gap := c.portsMM*c.portsMM - best.portsMM*best.portsMM
		deviation := 2 * best.portsMM * apart / math.Sqrt(featuresPerPort*float64(max(best.paired, 1)))
		if !(gap > 2*deviation) { // both are infinite where no port is known
			doubtful = append(doubtful, c)
		}
	}
	most := 0
	for _, c := range same {
		most = max(most, len(c.pairs))
	}
	open := []*choice{best}
	for _, c := range doubtful {
		if len(c.pairs) > most {
			return settle(slices.DeleteFunc(allowed, func(d choice) bool { return len(d.pairs) <= most }), targetPorts, parts, nil, nil)
		}
		if len(c.pairs) == most {
			open = append(open, c)
		}
	}
	if len(open) > 1 {
		if c := parts.settled(append(open, same[1:]...), targetPorts); c != nil {
			return *c, nil
		}
		return choice{}, ambiguous(best, open[1])
	}
	same = slices.DeleteFunc(same, func(c *choice) bool { return len(c.pairs) < most })
	return *parts.likeliest(same), nil
}

// edgeUncertaintyMM is the root mean square standard uncertainty of the ports' edges. Two readings of a symmetric edge, laid on
// each other another way round, differ by about its square root of two.
func edgeUncertaintyMM(ports []ring) float64 {
	var sum, n float64
	for i := range ports {
		for k := range ports[i].outline {
			sum += ports[i].sigma[k]*ports[i].sigma[k] + ports[i].bias[k]*ports[i].bias[k]
			n++
		}
	}
	if n == 0 {
		return 0
	}
	return math.Sqrt(sum / n)
}

// sameTurnRad tells quarter turns apart with room for photos that were turned by hand.
const sameTurnRad = 0.5

// plainer tells whether c is nearer than d to how the photos show the parts.
func (c *choice) plainer(d *choice) bool {
	if c.flipped() != d.flipped() {
		return !c.flipped()
	}
	return c.turnRad() < d.turnRad()
}

func (c *choice) words() string {
	w := "the way the photos show them"
	if c.flipped() {
		w = "with the target turned over"
	}
	if c.turnRad() > math.Pi/2 {
		w += ", half a turn round"
	}
	return w
}

func ambiguous(a, b *choice) error {
	e := &AmbiguousError{What: prose.Sprintf("the parts fit together in more than one way: %s, or %s; their ports fit either way to %s and %s",
		a.words(), b.words(), prose.MM(a.portsMM, 2), prose.MM(b.portsMM, 2))}
	switch {
	case a.flipped() != b.flipped() && (a.turnRad() > math.Pi/2) == (b.turnRad() > math.Pi/2):
		e.Flag = "--flipped yes|no"
	case a.flipped() == b.flipped():
		e.Flag = "--turned 0|180"
	default:
		e.Flag = "--flipped yes|no or --turned 0|180"
	}
	return e
}

// waysApartMM is the root mean square distance between the target's ports laid in two ways.
func waysApartMM(ports []ring, a, b geom.Rigid) float64 {
	d, _ := portsApartMM(ports, ports, a.Inverse().After(b))
	return d
}

// pointsPerPort is how many points of each outline the ways are judged by.
const pointsPerPort = 90

// portsApartMM is the root mean square distance between the edges of as, mapped by bFromA, and of bs, about its mean: raw
// castings are too small all over, whichever way they are laid. And how many ports pair up; those without a partner on the
// side that has fewer count as far off as their radius.
func portsApartMM(as, bs []ring, bFromA geom.Rigid) (rmsMM float64, paired int) {
	pairs := pairPorts(as, bs, bFromA)
	back := bFromA.Inverse()
	var d scatter
	for _, p := range pairs {
		d.addSteps(&as[p.t], &bs[p.w], bFromA, 1)
		d.addSteps(&bs[p.w], &as[p.t], back, -1)
	}
	usable := func(rs []ring) (k int) {
		for i := range rs {
			if rs[i].fault == "" && !rs[i].cut {
				k++
			}
		}
		return k
	}
	missing := min(usable(as), usable(bs)) - len(pairs)
	for i := range as {
		if missing <= 0 {
			break
		}
		if as[i].fault == "" && !slices.ContainsFunc(pairs, func(p pair) bool { return p.t == i }) {
			d.lost += 2 * pointsPerPort * as[i].areaMM2 / math.Pi
			d.n += 2 * pointsPerPort
			missing--
		}
	}
	if d.n == 0 {
		return math.Inf(1), 0
	}
	return d.rms(), len(pairs)
}

// scatter sums steps, signed, and the squares that have no sign.
type scatter struct{ n, sum, sum2, lost float64 }

func (d *scatter) addSteps(a, b *ring, bFromA geom.Rigid, sign float64) {
	step := max(1, len(a.outline)/pointsPerPort)
	for i := 0; i < len(a.outline); i += step {
		if !a.sure[i] {
			continue
		}
		if s, _, pl := b.index.SignedDistMM(bFromA.Apply(a.outline[i])); b.sureAt(pl) {
			d.n, d.sum, d.sum2 = d.n+1, d.sum+sign*s, d.sum2+s*s
		}
	}
}

func (d *scatter) rms() float64 { return math.Sqrt(max(0, d.sum2-d.sum*d.sum/d.n)/d.n + d.lost/d.n) }

// pairPorts pairs the openings that lie on each other: each one's centroid lies inside the other, and no other pair lies
// nearer. Openings cut by the frame have no centroid to speak of; they pair if they overlap at all.
func pairPorts(as, bs []ring, bFromA geom.Rigid) []pair {
	type near struct {
		pair
		d float64
	}
	var all []near
	back := bFromA.Inverse()
	for i := range as {
		for j := range bs {
			a, b := &as[i], &bs[j]
			if a.fault != "" || b.fault != "" {
				continue
			}
			ca := bFromA.Apply(a.centroid)
			if !b.index.Contains(ca) && !a.index.Contains(back.Apply(b.centroid)) {
				continue
			}
			d := ca.Dist(b.centroid)
			// Half a radius aside, or twice as large: not the same port.
			small, large := math.Min(a.areaMM2, b.areaMM2), math.Max(a.areaMM2, b.areaMM2)
			if !a.cut && !b.cut && (d > math.Sqrt(large/math.Pi) || large > 3*small) {
				continue
			}
			all = append(all, near{pair{i, j}, d})
		}
	}
	slices.SortStableFunc(all, func(x, y near) int {
		if x.d < y.d {
			return -1
		}
		return 1
	})
	usedA, usedB := make([]bool, len(as)), make([]bool, len(bs))
	var out []pair
	for _, n := range all {
		if !usedA[n.t] && !usedB[n.w] {
			usedA[n.t], usedB[n.w] = true, true
			out = append(out, n.pair)
		}
	}
	return out
}
