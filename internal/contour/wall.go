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

// learnFromHoles fills in light and scatter from walls seen in holes, as learnLight does, where openings have not told or tell something else: a
// hole's edge is known by its circle, so that walls that look like the face are known as well as dark ones, and what lies behind the foot of
// such a wall is not taken for a dark one. But a hole's far side takes light away: its walls had 0.6 to 1 times the light of the openings' in
// ray-traced photos, and what that is in this photo is told by those that both show.
func (l *wallLooks) learnFromHoles(angle, change []float64) {
	const (
		usualGain, gainScatter           = 1.2, 0.15 // of the openings' light over the holes'
		leastGain, mostGain, fewestShown = 0.9, 1.7, 6
		toldScatter                      = 0.1
		unlike, mostScatter              = 0.25, 0.25 // of the face's light
	)
	holes := new(wallLooks)
	var gains []float64
	for k := range wallAngles {
		holes.light[k], holes.scatter[k] = lineAt(2*math.Pi*float64(k)/wallAngles, angle, change)
		if l.scatter[k] > 0 && holes.scatter[k] > 0 {
			if gain := (1 + l.light[k]) / (1 + holes.light[k]); gain > leastGain && gain < mostGain {
				gains = append(gains, gain)
			}
		}
	}
	gain, scatter := usualGain, gainScatter
	if len(gains) >= fewestShown {
		gain, scatter = quantile(gains, 0.5), toldScatter
	}
	for k := range wallAngles {
		light := gain * (1 + holes.light[k])
		spread := math.Hypot(gain*holes.scatter[k], scatter*light)
		if holes.scatter[k] > 0 && spread < mostScatter && (l.scatter[k] == 0 || math.Abs(light-1-l.light[k]) > unlike) {
			l.light[k], l.scatter[k] = light-1, spread
		}
	}
}

// lineAt is the value at the angle (rad) on a straight line laid through the values at angles near it, and their scatter about it,
// standard deviation; 0 where there are too few, or they scatter too much.
func lineAt(at float64, angle, value []float64) (middle, scatter float64) {
	const (
		widthRad    = 0.25
		nearRad     = 0.2 // one at least must be as near as this
		fewest      = 3.0 // by weight
		mostScatter = 0.2
	)
	var x, y, weight, rest []float64
	nearest := math.Inf(1)
	for i, t := range angle {
		if d := math.Remainder(t-at, 2*math.Pi); math.Abs(d) < 2*widthRad {
			x, y, weight = append(x, d), append(y, value[i]), append(weight, math.Exp(-d*d/(2*widthRad*widthRad)))
			nearest = min(nearest, math.Abs(d))
		}
	}
	if nearest > nearRad || floats.Sum(weight) < fewest {
		return 0, 0
	}
	middle, slope := stat.LinearRegression(x, y, weight, false)
	for i := range x {
		rest = append(rest, math.Abs(y[i]-middle-slope*x[i]))
	}
	if scatter = 0.01 + 1.4826*weightedMedian(rest, weight); scatter > mostScatter {
		return 0, 0
	}
	return middle, scatter
}

// holeWalls returns how bright the walls in the holes are, less the face and over it, with the angles of their edges' inward normals, rad.
func (v *Survey) holeWalls() (angle, change []float64) {
	const leastPx, mostSigmaPx = 1.5, 0.5
	if v.holeShape == nil {
		return nil, nil
	}
	for _, hole := range v.holes {
		r := hole.DiameterMM / 2
		h := v.s.holeBand(hole.Centre, r, 1.7, 2.6, true, v.holeShape)
		if h == nil || math.Hypot(hole.SigmaCentreMM, hole.SigmaDiameterMM/2) > mostSigmaPx*h.pxMM {
			continue
		}
		h.cast = v.cast
		at := h.newCrossings()
		h.cross(h.second(geom.PointMM{}, r, v.wallDepth()), at)
		for k := range h.sectors {
			i := k*h.rays + h.rays/2
			if at.bare[k] || at.second[i]-at.edge[i] < leastPx*h.pxMM {
				continue
			}
			seen := h.fitSector(k, at, 0, free)
			in := h.u[i].Scale(-1)
			angle, change = append(angle, math.Atan2(in.Y, in.X)), append(change, seen.x[1]/seen.x[0])
		}
	}
	return angle, change
}

// A bench in deep shadow right behind a wall's foot is in that of the part itself, from a lamp behind the wall. Such a wall is turned away from the lamp: of the
// light that falls on the face it gets shadedWall times what that bench gets of its own, give or take shadedScatter, and no more than mostShadedWall.
const shadedWall, shadedScatter, mostShadedWall = 0.8, 0.25, 0.6

// mayBeShaded tells whether a wall that looks widthMM wide is one that inDeepShadow can tell of: of narrow ones blur leaves no light of their own, and little is lost
// either way; and beside a bead, or where a ring lines the opening, what lies further in may be anything.
func (m edgeModel) mayBeShaded(widthMM, pxMM float64) bool {
	const leastPx = 3.0
	return m.thin() && m.landMM == 0 && !m.beaded && widthMM > leastPx*pxMM
}

// inDeepShadow tells what share of its light, bench, linear, the bench gets right behind a wall's foot at footMM of row i, and whether that is a deep shadow.
func (b *band) inDeepShadow(i int, footMM, bench float64) (lit float64, deep bool) {
	const (
		fromPx, toPx = 1.0, 3.0
		mostLit      = 0.45
		leastBench   = 0.005 // of full scale: a black bench shows no shadow
	)
	if bench < leastBench {
		return 0, false
	}
	mean, ok := b.meanBetween(i, footMM+fromPx*b.pxMM, footMM+toPx*b.pxMM)
	return mean / bench, ok && mean < mostLit*bench
}

// meanBetween is the mean brightness of row i between two distances from the band's middle, mm; ok is false where there is nothing.
func (b *band) meanBetween(i int, from, to float64) (mean float64, ok bool) {
	var sum, n float64
	for j := max(0, int(b.index(from))); j <= min(b.n-1, int(b.index(to))); j++ {
		if y := float64(b.row(i)[j]); y == y {
			sum, n = sum+y, n+1
		}
	}
	return sum / max(n, 1), n > 0
}

// weightedMedian is the value below which half of the weight lies.
func weightedMedian(v, weight []float64) float64 {
	v, weight = slices.Clone(v), slices.Clone(weight)
	stat.SortWeighted(v, weight)
	return stat.Quantile(0.5, stat.Empirical, v, weight)
}

// walls learns what the walls look like behind the edges near bases, where regions have them; nil where too little is seen of them. lands are
// the ports' widths of face (see edgeModel.landMM).
func (v *Survey) walls(bases [][]geom.PointMM, lands []float64, m edgeModel) *wallLooks {
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
		b, level, spread := v.s.profiles(bases[i], m, halfMM)
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
	l := &wallLooks{footSigmaMM: math.Inf(1)}
	if n := len(t.foot); n >= fewest {
		slices.Sort(t.foot)
		cut := int(trim * float64(n))
		mean, deviation := stat.MeanStdDev(t.foot[cut:n-cut], nil)
		l.footMM, l.footSigmaMM = mean, 0.02+1.5*deviation
		l.learnLight(t.angle, t.change)
	}
	l.learnFromHoles(v.holeWalls())
	if floats.Max(l.scatter[:]) == 0 && math.IsInf(l.footSigmaMM, 1) {
		return nil
	}
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
	seen, ok := b.meanBetween(i, edgeMM+blurPx*b.pxMM, edgeMM+w-blurPx*b.pxMM)
	change := seen/faceLevel - 1
	return ok && change > -likeFace && change > light+unlike*sigma
}
