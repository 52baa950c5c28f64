package compare

import (
	"math"
	"slices"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// pair is a hole that both faces have: its index in either.
type pair struct{ t, w int }

// Bolt holes of a punched gasket may stand off by the standard's own tolerance between neighbours (ASME B16.21: 1.0 mm)
// and the half of a per cent that a printed card may lie about over 100 mm.
const holeReachMM = 1.5

// fit is one way to lay the target on the work face by their holes.
type fit struct {
	workFromTarget geom.Rigid
	pairs          []pair
	rmsMM          float64
}

// holeFits returns every way in which at least two holes of the target fall on holes of the work face, in either hand,
// best first: most pairs, then smallest residual.
func holeFits(target, work []face.Hole, reachMM float64) []fit {
	var fits []fit
	seen := map[string]bool{}
	for _, b := range baselines(target, 4*reachMM) {
		dt := target[b[0]].Centre.Dist(target[b[1]].Centre)
		for k := range work {
			for l := range work {
				if k == l || math.Abs(work[k].Centre.Dist(work[l].Centre)-dt) > reachMM || !alike(target[b[0]], work[k]) || !alike(target[b[1]], work[l]) {
					continue
				}
				for _, hand := range []geom.Hand{geom.SameHand, geom.OtherHand} {
					if f, ok := grow(target, work, []pair{{b[0], k}, {b[1], l}}, hand, reachMM); ok {
						if key := pairsKey(f.pairs, hand); !seen[key] {
							seen[key] = true
							fits = append(fits, f)
						}
					}
				}
			}
		}
	}
	slices.SortStableFunc(fits, func(a, b fit) int {
		if c := len(b.pairs) - len(a.pairs); c != 0 {
			return c
		}
		if a.rmsMM < b.rmsMM {
			return -1
		}
		return 1
	})
	return fits
}

// maxBaselines is all pairs of thirteen holes. Of more holes only the pairs farthest apart are tried: they place the rest
// best, and of eighty not all can hold a hole that was missed.
const maxBaselines = 80

// baselines returns the pairs of holes at least leastMM apart, which give a direction; the farthest first.
func baselines(holes []face.Hole, leastMM float64) [][2]int {
	var out [][2]int
	for i := range holes {
		for j := range i {
			if holes[i].Centre.Dist(holes[j].Centre) >= leastMM {
				out = append(out, [2]int{j, i})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b [2]int) int {
		return compareFloats(holes[b[0]].Centre.Dist(holes[b[1]].Centre), holes[a[0]].Centre.Dist(holes[a[1]].Centre))
	})
	return out[:min(len(out), maxBaselines)]
}

func pairsKey(ps []pair, hand geom.Hand) string {
	b := []byte{byte(hand)}
	for _, p := range ps {
		b = append(b, byte(p.t), byte(p.t>>8), byte(p.w), byte(p.w>>8))
	}
	return string(b)
}

// alike tells whether two holes may be one: a thread and the clearance hole over it differ by a quarter, a chamfer adds
// a millimetre or two, but no hole is twice as large as its partner.
func alike(a, b face.Hole) bool {
	return a.DiameterMM < 2*b.DiameterMM && b.DiameterMM < 2*a.DiameterMM
}

// grow adds to the pairs all that fall together once these do. Two holes' own errors turn what they hold, so that the first
// look around reaches twice as far.
func grow(target, work []face.Hole, pairs []pair, hand geom.Hand, reachMM float64) (fit, bool) {
	reach := 2 * reachMM
	for {
		m, err := fitPairs(target, work, pairs, nil, hand)
		if err != nil {
			return fit{}, false
		}
		next := pairsWithin(target, work, m.ToFromFrom, reach)
		if len(next) < 2 {
			return fit{}, false
		}
		if reach == reachMM && slices.Equal(next, pairs) {
			return fit{m.ToFromFrom, pairs, m.RMSMM}, true
		}
		if len(next) < len(pairs) && reach == reachMM {
			// Shrinking further could go back and forth.
			m, err = fitPairs(target, work, next, nil, hand)
			return fit{m.ToFromFrom, next, m.RMSMM}, err == nil
		}
		pairs, reach = next, reachMM
	}
}

func fitPairs(target, work []face.Hole, pairs []pair, weight []float64, hand geom.Hand) (geom.RigidFit, error) {
	from, to := make([]geom.PointMM, len(pairs)), make([]geom.PointMM, len(pairs))
	for i, p := range pairs {
		from[i], to[i] = target[p.t].Centre, work[p.w].Centre
	}
	return geom.FitRigid(from, to, weight, hand)
}

// pairsWithin returns the holes that are each other's nearest and within reach, by target index.
func pairsWithin(target, work []face.Hole, m geom.Rigid, reachMM float64) []pair {
	laid := make([]geom.PointMM, len(target))
	for i, h := range target {
		laid[i] = m.Apply(h.Centre)
	}
	var out []pair
	for i, p := range laid {
		best := nearestHole(work, p)
		if best < 0 || work[best].Centre.Dist(p) > reachMM || !alike(target[i], work[best]) {
			continue
		}
		mutual := true
		for j, q := range laid {
			if j != i && work[best].Centre.Dist(q) < work[best].Centre.Dist(p) {
				mutual = false
			}
		}
		if mutual {
			out = append(out, pair{i, best})
		}
	}
	return out
}

func nearestHole(holes []face.Hole, p geom.PointMM) int {
	best := -1
	for i, h := range holes {
		if best < 0 || h.Centre.Dist(p) < holes[best].Centre.Dist(p) {
			best = i
		}
	}
	return best
}

const (
	// A size apart: a drill's step for the bolts of one engine is 1 mm (ISO 273: 8.4, 9.0, 10.0), and a hole's diameter is
	// read to 0.05 mm.
	sizeApartMM = 0.4
	// A dowel fits both parts alike; a gasket gives it a few tenths of air.
	dowelAirMM = 0.35
)

// dowels returns the two of pairs that are dowel holes, or nil if there is no telling. Dowel holes are two, far apart, of
// a size of their own in both parts; and either they are the smallest of all in both, or they fit both parts alike while
// the bolts have air in one of them.
func dowels(target, work []face.Hole, pairs []pair) []pair {
	if len(pairs) < 3 {
		return nil
	}
	var span float64
	for i, p := range pairs {
		for _, q := range pairs[:i] {
			span = math.Max(span, work[p.w].Centre.Dist(work[q.w].Centre))
		}
	}
	var best []pair
	var bestApart float64
	for i, p := range pairs {
		for _, q := range pairs[:i] {
			dt := [2]float64{target[p.t].DiameterMM, target[q.t].DiameterMM}
			dw := [2]float64{work[p.w].DiameterMM, work[q.w].DiameterMM}
			if math.Abs(dt[0]-dt[1]) > sizeApartMM/2 || math.Abs(dw[0]-dw[1]) > sizeApartMM/2 {
				continue
			}
			if work[p.w].Centre.Dist(work[q.w].Centre) < span/2 {
				continue
			}
			apart, smallest := math.Inf(1), true
			leastAir := math.Inf(1)
			for _, r := range pairs {
				if r == p || r == q {
					continue
				}
				t, w := target[r.t].DiameterMM, work[r.w].DiameterMM
				for k := range 2 {
					apart = math.Min(apart, math.Min(math.Abs(t-dt[k]), math.Abs(w-dw[k])))
					smallest = smallest && t > dt[k] && w > dw[k]
				}
				leastAir = math.Min(leastAir, math.Abs(t-w))
			}
			air := math.Max(math.Abs(dt[0]-dw[0]), math.Abs(dt[1]-dw[1]))
			if apart < sizeApartMM || !smallest && (air > dowelAirMM || leastAir < air+sizeApartMM/2) {
				continue
			}
			if apart > bestApart {
				best, bestApart = []pair{q, p}, apart
			}
		}
	}
	return best
}

// maxScaleOff is how far two photos' scales may differ and still be recognised as one pattern: a card fitted to the wrong
// paper is 6 % off (A4 on Letter prints at 0.94).
const maxScaleOff = 0.08

// otherScale returns the factor by which the target's pattern must be enlarged for at least need of its holes to fall on
// the work's, or 0 if there is none.
func otherScale(target, work []face.Hole, need int) float64 {
	best, ratio := need-1, 0.0
	scaled := make([]face.Hole, len(target))
	far := baselines(target, span(target)/2)
	for _, b := range far[:min(len(far), 20)] { // a wrong scale must be seen by far pairs or by none
		d := target[b[0]].Centre.Dist(target[b[1]].Centre)
		for k := range work {
			for l := range work {
				r := work[k].Centre.Dist(work[l].Centre) / d
				if k == l || math.Abs(r-1) > maxScaleOff {
					continue
				}
				for n, h := range target {
					scaled[n] = h
					scaled[n].Centre = h.Centre.Scale(r)
				}
				for _, hand := range []geom.Hand{geom.SameHand, geom.OtherHand} {
					if f, ok := grow(scaled, work, []pair{{b[0], k}, {b[1], l}}, hand, holeReachMM); ok && len(f.pairs) > best {
						best, ratio = len(f.pairs), r
					}
				}
			}
		}
	}
	return ratio
}
