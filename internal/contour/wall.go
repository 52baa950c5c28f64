package contour

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"

	"portmatch/internal/geom"
)

// wallLooks is what the cut walls of a thin part look like all round its openings. Walls that face one way are lit alike, and their feet lie
// equally deep: what the many show tells a dark wall from a patch of the face that is lighter or darker than the rest, and the wall's foot
// from grain and shadows behind it, where a single profile can't.
type wallLooks struct {
	// light is how bright a wall is by the angle of the edge's inward normal, less the face and over it, at so many angles evenly round from 0;
	// scatter is how far single ones are from that, standard deviation; 0 where nothing is known.
	light, scatter [wallAngles]float64
	// footMM is how much lower the walls' feet lie than the height says, mm, and footSigmaMM how far single ones depart from that, standard
	// deviation.
	footMM, footSigmaMM float64
}

const wallAngles = 72

// leastWallScatter is how far a wall's brightness, over the face's, may be from that of others that face its way, at least.
const leastWallScatter = 0.08

// at returns how bright the wall behind an edge with the inward normal is, less the face and over it, and how far it may be from that,
// standard deviation. ok is false where nothing is known of it. l may be nil.
func (l *wallLooks) at(inward geom.PointMM) (light, sigma float64, ok bool) {
	if l == nil {
		return 0, 0, false
	}
	k := (int(math.Round(math.Atan2(inward.Y, inward.X)/(2*math.Pi)*wallAngles)) + wallAngles) % wallAngles
	return l.light[k], max(l.scatter[k], leastWallScatter), l.scatter[k] > 0
}

// learnLight fills in light and scatter from walls seen behind edges whose inward normals have the angles (rad). change is their
// brightness less the face's and over it.
//
// What looks like the face may be the face, and the edge lies further in: walls are learned from dark ones alone, where enough of what
// faces one way is dark. Angle by angle, for a curve through all of them tells of walls that nobody saw.
func (l *wallLooks) learnLight(angle, change []float64) {
	const widthRad, fewest, leastDark, leastShare, mostScatter = 0.25, 15, 0.2, 0.4, 0.2
	var near, weight, rest []float64
	for k := range wallAngles {
		near, weight, rest = near[:0], weight[:0], rest[:0]
		var all float64
		for i, t := range angle {
			d := math.Remainder(t-2*math.Pi*float64(k)/wallAngles, 2*math.Pi) / widthRad
			if math.Abs(d) > 2 {
				continue
			}
			w := math.Exp(-d * d / 2)
			all += w
			if change[i] < -leastDark {
				near, weight = append(near, change[i]), append(weight, w)
			}
		}
		if sum := floats.Sum(weight); sum < fewest || sum < leastShare*all {
			continue
		}
		middle := weightedMedian(near, weight)
		for _, v := range near {
			rest = append(rest, math.Abs(v-middle))
		}
		if scatter := 0.01 + 1.4826*weightedMedian(rest, weight); scatter < mostScatter {
			l.light[k], l.scatter[k] = middle, scatter
		}
	}
}

// weightedMedian is the value below which half of the weight lies.
func weightedMedian(v, weight []float64) float64 {
	v, weight = slices.Clone(v), slices.Clone(weight)
	stat.SortWeighted(v, weight)
	return stat.Quantile(0.5, stat.Empirical, v, weight)
}

// walls learns what the walls look like behind the edges near bases, where regions have them; nil where too little is seen of them. lands are
// the ports' widths of face (see edgeModel.landMM).
func (s *surface) walls(bases [][]geom.PointMM, lands []float64, m edgeModel) *wallLooks {
	const (
		halfMM  = 0.5
		leastPx = 2    // narrower walls have no brightness of their own
		trim    = 0.1  // of the feet, at either end
		doubtMM = 0.15 // an edge with more room for its place, and half a pixel, says nothing
		fewest  = 60
	)
	type seen struct{ angle, change, foot []float64 }
	all := make([]seen, len(bases))
	parallelItems(len(bases), func(i int) {
		m := m.on(lands[i])
		b, level, spread := s.profiles(bases[i], m, halfMM)
		b, level, spread = b.every(2), everyOf(level, 2), everyOf(spread, 2)
		e := m.scan(b, halfMM, 0.25*b.pxMM, level, spread)
		tau2 := e.noise()
		for k, q := range e.path(m, b, halfMM, tau2) {
			x, ok := e.minimum(k, q)
			if !ok || m.width(b.lean[k]) < leastPx*b.pxMM || e.slack(k, q, tau2) > doubtMM+0.5*b.pxMM {
				continue
			}
			f, at, n := &e.fits[k], int(x+0.5), b.inward[k]
			all[i].angle = append(all[i].angle, math.Atan2(n.Y, n.X))
			all[i].change = append(all[i].change, f.first[at]/level[k])
			all[i].foot = append(all[i].foot, f.footMM[at]/b.lean[k])
		}
	})
	var t seen
	for _, a := range all {
		t.angle, t.change, t.foot = append(t.angle, a.angle...), append(t.change, a.change...), append(t.foot, a.foot...)
	}
	n := len(t.foot)
	if n < fewest {
		return nil
	}
	slices.Sort(t.foot)
	cut := int(trim * float64(n))
	mean, deviation := stat.MeanStdDev(t.foot[cut:n-cut], nil)
	l := &wallLooks{footMM: mean, footSigmaMM: 0.02 + 1.5*deviation}
	l.learnLight(t.angle, t.change)
	return l
}

// noWall tells whether what lies behind an edge at edgeMM of row i looks like the face, where walls that face that way do not: the edge lies
// further in then.
func (m edgeModel) noWall(b *band, i int, edgeMM, faceLevel float64) bool {
	const leastPx, blurPx, likeFace, unlike = 3.5, 1.0, 0.15, 3.0
	light, sigma, ok := m.wall.at(b.inward[i])
	w := m.width(b.lean[i])
	if !ok || w < leastPx*b.pxMM {
		return false
	}
	var sum, n float64
	for j := max(0, int(b.index(edgeMM+blurPx*b.pxMM))); j <= min(b.n-1, int(b.index(edgeMM+w-blurPx*b.pxMM))); j++ {
		if y := float64(b.row(i)[j]); y == y {
			sum, n = sum+y, n+1
		}
	}
	change := sum/max(n, 1)/faceLevel - 1
	return n > 0 && change > -likeFace && change > light+unlike*sigma
}
