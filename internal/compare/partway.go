package compare

import (
	"math"
	"slices"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// Where the ports can't tell which way round the parts go, the parts' own outer edges may: a notch, an ear that only one
// corner has. Only shapes that both parts have count, since a gasket seldom follows its part's edge all round.

const (
	// tellingMM is how far two ways must lay one edge apart for the place to have a say. A chamfer, a casting's wall seen
	// beside its face and a shadow move what is taken for the edge by less (common practice, no source: chamfers up to 1 mm);
	// and they do so on the same side in both photos where the light comes from one side.
	tellingMM = 1.0
	// leastScatterMM is taken for the parts' deviation from each other where they agree better: what one edge, cast or
	// punched, says of its shape is no better than this.
	leastScatterMM = 0.2
	// leastPartMeasured is the share of an edge that must have been measured for it to be heard.
	leastPartMeasured = 0.3
	// partStepMM is the spacing of the places that are asked.
	partStepMM = 1.0
)

// partEdges are both parts' own outer edges.
type partEdges struct{ target, work ring }

// newPartEdges returns nil where either part's edge is missing or was hardly measured.
func newPartEdges(target, work *face.Face) *partEdges {
	var p partEdges
	for r, e := range map[*ring]face.Edge{&p.target: target.PartOutline, &p.work: work.PartOutline} {
		if len(e.Outline) < 3 {
			return nil
		}
		var err error
		if *r, err = newRing(e); err != nil || r.fault != "" || r.sureMM < leastPartMeasured*r.perimeterMM() {
			return nil
		}
	}
	return &p
}

// prefers tells whether the edges say clearly that the target lies on the work face as workFromTarget a has it and not as b.
// Without edges (p is nil) they say nothing.
func (p *partEdges) prefers(a, b geom.Rigid) bool {
	return p != nil && p.tells(&p.target, &p.work, a, b) && p.tells(&p.work, &p.target, a.Inverse(), b.Inverse())
}

// tells tests a against b on the places of edge f. If a is right, edge o is f laid by a, so that laid by b f stands off o by
// what it stands off itself: that is known beforehand, and the test asks for just that where it is large.
func (p *partEdges) tells(f, o *ring, oFromFbyA, oFromFbyB geom.Rigid) bool {
	fromA := oFromFbyA.Inverse().After(oFromFbyB)
	n := max(8, int(f.perimeterMM()/partStepMM))
	var offA, offB, expected, all []float64
	for k := range n {
		pl := f.outline.PlaceAlong(f.arcMM, f.perimeterMM()*float64(k)/float64(n))
		if !f.sureAt(pl) {
			continue
		}
		q := f.outline.At(pl)
		da, _, at := o.index.SignedDistMM(oFromFbyA.Apply(q))
		if !o.sureAt(at) {
			continue
		}
		all = append(all, da)
		db, _, at := o.index.SignedDistMM(oFromFbyB.Apply(q))
		self, _, selfAt := f.index.SignedDistMM(fromA.Apply(q))
		if o.sureAt(at) && f.sureAt(selfAt) && math.Abs(self) >= tellingMM {
			offA, offB, expected = append(offA, da), append(offB, db), append(expected, self)
		}
	}
	if len(expected) == 0 {
		return false
	}
	// One part may be a little larger all round.
	larger := slices.Sorted(slices.Values(all))[len(all)/2]
	var scatter2 float64
	for _, d := range all {
		scatter2 += (d - larger) * (d - larger) / float64(len(all))
	}
	scatter2 = max(scatter2, leastScatterMM*leastScatterMM)
	var gap, want float64
	for i, e := range expected {
		gap += (offB[i]-larger)*(offB[i]-larger) - (offA[i]-larger)*(offA[i]-larger)
		want += e * e
	}
	// (e + d)² - d² = e² + 2 e d: the deviations d, which hang together over deviationMM, put this on the sum of e² as its
	// standard deviation. Twice that must not bridge the gap, nor may the gap be half of a feature that only one part has.
	deviation := 2 * math.Sqrt(scatter2*want*deviationMM/partStepMM)
	return gap > want/2 && gap > 2*deviation
}

// settled returns the way that the edges prefer to every other that gives another answer, or nil.
func (p *partEdges) settled(ways []*choice, targetPorts []ring) *choice {
	var winners []*choice
	for _, a := range ways {
		if !slices.ContainsFunc(ways, func(b *choice) bool {
			return waysApartMM(targetPorts, a.workFromTarget, b.workFromTarget) > sameWayMM && !p.prefers(a.workFromTarget, b.workFromTarget)
		}) {
			winners = append(winners, a)
		}
	}
	if len(winners) == 0 {
		return nil
	}
	return p.likeliest(winners)
}

// likeliest returns of ways that come to the same the one that the edges prefer, else the one nearest to how the photos
// were taken.
func (p *partEdges) likeliest(ways []*choice) *choice {
	best := ways[0]
	for _, c := range ways[1:] {
		if p.prefers(c.workFromTarget, best.workFromTarget) || c.plainer(best) && !p.prefers(best.workFromTarget, c.workFromTarget) {
			best = c
		}
	}
	return best
}
