package contour

import (
	"math"

	"portmatch/internal/geom"
)

// A lamp throws a thin part's shadow onto the bench, the same way and as far behind every edge. Where that shadow is as bright as the part, its
// rim looks like the edge, and nothing along the edge tells. The holes do: a circle cut off on one side by a shadow's rim is no circle, and
// all of them are cut off alike. So the holes are fitted together with the shadow, and where it is known how far it reaches, an edge and
// the shadow's rim behind it are sought together, as an edge and the foot of its wall are.

// castShadow is how far, on the face's plane, the lamp throws the shadow of an edge onto the bench, past the foot of the cut wall, mm; and how
// bright the shadow is, less the face and over it, and how far it may be from that, standard deviation. sigma is 0 where the light is
// not known.
type castShadow struct {
	offset       geom.PointMM // at middle; a lamp near by throws shadows apart, by perMM for every mm from there
	middle       geom.PointMM // face frame
	perMM        float64
	blurMM       float64 // of its rim, standard deviation
	light, sigma float64
}

// at is how far the shadow is thrown at p.
func (c *castShadow) at(p geom.PointMM) geom.PointMM {
	return c.offset.Add(p.Sub(c.middle).Scale(c.perMM))
}

// castWallPx is how wide a cut wall must be seen to be told from the shadow behind it, pixels.
const castWallPx = 0.5

// zone is how wide what lies between the edge at vertex i and the bench, or whatever follows, is seen, mm: a rim, a cut wall, or where hardly any
// of the wall is seen, the shadow behind it; bare tells that it is that. past is how far the shadow is seen beyond a wall, mm.
func (m edgeModel) zone(b *band, i int) (widthMM, pastMM float64, bare bool) {
	w := m.width(b.lean[i])
	if m.cast == nil || m.rimMM > 0 {
		return w, 0, false
	}
	past := m.wallMM*b.lean[i] + m.cast.at(b.base[i]).Dot(b.inward[i]) - w
	switch {
	case past < seenPx*b.pxMM:
		return w, 0, false
	case w > castWallPx*b.pxMM:
		return w, past, false
	}
	return w + past, 0, true
}

// looksKnown tells whether it is known how bright what lies right behind the edge at vertex i is: the wall, or the shadow.
func (m edgeModel) looksKnown(b *band, i int) bool {
	if _, _, bare := m.zone(b, i); bare {
		return true
	}
	_, _, ok := m.wall.at(b.inward[i])
	return ok
}

// castSearch is what castShadowOf looks for.
type castSearch struct {
	v      *Survey
	starts []*holeStart
	none   []twinFit // the holes fitted with no shadow
	from   []twin    // the circles as the best shadow so far leaves them
	best   castShadow
	cost   float64 // of the best, against none; minus log likelihood
}

// try takes the best of some shadows, if by so many holes, from the first on, it is better than what there is.
func (s *castSearch) try(shadows []castShadow, holes int) {
	fits := make([]twinFit, len(shadows)*holes)
	parallelItems(len(fits), func(i int) {
		k := i % holes
		h := *s.starts[k].h
		h.shape, h.cast = s.v.holeShape, &shadows[i/holes]
		fits[i] = h.settle(s.from[k], 2)
	})
	chosen := -1
	for i := range shadows {
		cost := 0.0
		for k := range holes {
			cost += fits[i*holes+k].cost - s.none[k].cost
		}
		if cost < s.cost {
			chosen, s.best, s.cost = i, shadows[i], cost
		}
	}
	if chosen >= 0 {
		for k := range holes {
			s.from[k] = fits[chosen*holes+k].twin
		}
	}
}

// castShadowOf fits the shadow that the lamp throws to some holes together. It is nil where they show none.
func (v *Survey) castShadowOf(starts []*holeStart) *castShadow {
	const (
		mostHoles, firstHoles = 8, 5
		ways                  = 12
		gain, leastGain       = 10.0, 30.0 // log likelihood, a hole and altogether
		softMM                = 0.1
		leastMM, mostMM       = 0.12, 1.0 // what is longer is mostly beyond what is seen of the holes
	)
	starts = starts[:min(len(starts), mostHoles)]
	s := &castSearch{v: v, starts: starts, none: make([]twinFit, len(starts)), from: make([]twin, len(starts))}
	parallelItems(len(starts), func(i int) {
		h := *starts[i].h
		h.shape = v.holeShape
		s.none[i] = h.settle(starts[i].best.twin, 3)
		s.from[i] = s.none[i].twin
	})
	var middle geom.PointMM
	for _, st := range starts {
		middle = middle.Add(st.h.mid.Scale(1 / float64(len(starts))))
	}
	var first []castShadow
	for a := range ways {
		sin, cos := math.Sincos(2 * math.Pi * float64(a) / ways)
		for _, l := range []float64{0.15, 0.35, 0.75} {
			first = append(first, castShadow{offset: geom.PointMM{X: l * cos, Y: l * sin}, middle: middle, blurMM: softMM})
		}
	}
	s.try(first, min(len(starts), firstHoles))
	if s.cost == 0 {
		return nil
	}
	s.cost = 0
	for _, step := range []float64{0.16, 0.08, 0.04, 0.02} {
		s.try(s.best.moved(step), len(starts))
		if s.cost >= -max(leastGain, gain*float64(len(starts))) {
			return nil
		}
		s.try(s.best.changed(v.wallDepth()), len(starts))
	}
	if d := s.best.offset.Norm(); d < leastMM || d > mostMM {
		return nil
	}
	return &s.best
}

// moved are c and its like, thrown a step further one way or another.
func (c castShadow) moved(stepMM float64) (all []castShadow) {
	at := c.offset
	for x := -1.0; x <= 1; x++ {
		for y := -1.0; y <= 1; y++ {
			c.offset = at.Add(geom.PointMM{X: x * stepMM, Y: y * stepMM})
			all = append(all, c)
		}
	}
	return all
}

// changed are shadows with softer and harder rims, and of lamps nearer and further off. depthMM is how high the edge lies above the bench.
func (c castShadow) changed(depthMM float64) (all []castShadow) {
	for _, f := range []float64{0.4, 0.63, 1.6, 2.5} {
		o := c
		o.blurMM *= f
		all = append(all, o)
	}
	for _, lampMM := range []float64{350, 500, 800, 1300, 2500, math.Inf(1)} {
		o := c
		o.perMM = depthMM / lampMM
		all = append(all, o)
	}
	return all
}

// castLight fills in how bright the shadow is that the holes show, where enough of it is seen.
func (v *Survey) castLight(c *castShadow) {
	const (
		leastPx, mostSigmaPx = 1.5, 0.5
		fewest               = 5
		leastSigma           = 0.15
	)
	var change []float64
	for _, hole := range v.holes {
		r := hole.DiameterMM / 2
		h := v.s.holeBand(hole.Centre, r, 1.7, 2.6, true, v.holeShape)
		if h == nil || math.Hypot(hole.SigmaCentreMM, hole.SigmaDiameterMM/2) > mostSigmaPx*h.pxMM {
			continue
		}
		h.cast = c
		at := h.newCrossings()
		h.cross(h.second(geom.PointMM{}, r, v.wallDepth()), at)
		for k := range h.sectors {
			i := k*h.rays + h.rays/2
			seen := h.fitSector(k, at, 0, free)
			if at.rim[i]-at.second[i] < leastPx*h.pxMM+c.blurMM {
				continue
			}
			change = append(change, seen.x[1]/seen.x[0])
			if !at.bare[k] {
				change[len(change)-1] += seen.x[2] / seen.x[0]
			}
		}
	}
	if len(change) < fewest {
		return
	}
	c.light = quantile(change, 0.5)
	for i, x := range change {
		change[i] = math.Abs(x - c.light)
	}
	c.sigma = max(leastSigma, 1.4826*quantile(change, 0.5))
}

// unshadowed returns the circles to start from once the shadow is known, of a hole that was sought without: it may have been cut off, and then it
// was put too far the way that the shadow falls, and too small.
func (h *holeBand) unshadowed(t twin) twin {
	if h.cast == nil {
		return t
	}
	back := h.cast.at(h.mid)
	d := back.Norm()
	best := h.settle(t, 3)
	for _, share := range []float64{0.25, 0.5, 0.75} {
		from := t
		from.b = t.b.Sub(back.Scale(share))
		from.r += 0.3 * share * d
		if f := h.settle(from, 4); f.cost < best.cost {
			best = f
		}
	}
	return best.twin
}

// misleads tells whether the shadow may be taken for the part, and is known well enough to be told from it. Behind a much darker one the edge is plain to
// see; and a wide one with a soft rim is darkest at the edge, and of no one brightness.
func (c *castShadow) misleads() bool {
	const darkest, brightest, softestMM = -0.35, 0.28, 0.2
	return c.sigma > 0 && c.light > darkest && c.light < brightest && c.blurMM < softestMM
}

// regionZone is zone for regions, with the shadow where that is narrow. Wide ones they would rather see where there are none: grain of a bench will do.
func (m edgeModel) regionZone(b *band, i int) float64 {
	const narrowMM = 0.5
	if m.cast == nil || m.cast.offset.Norm() > narrowMM {
		return m.width(b.lean[i])
	}
	w, past, _ := m.zone(b, i)
	return w + past
}
