package contour

import (
	"math"
	"portmatch/internal/face"
	"slices"

	"portmatch/internal/geom"
)

// holeFit is a candidate for a hole, fitted at every depth that its second circle may have.
type holeFit struct {
	h  *holeBand
	at []twinFit // one or a few for every depth
	p  []float64 // of these, sums to 1
}

// measureHoles fits circles to the edges of the round candidates; what does not turn out round is none.
func (v *Survey) measureHoles(round []*loop) {
	shape := v.firstShape()
	starts := make([]*holeStart, len(round))
	parallelItems(len(starts), func(i int) { starts[i] = v.startRound(round[i], shape) })
	v.fitHoles(append(starts, v.startRings(starts, shape)...))
}

// firstShape is the shape of edges until the photo's own have been seen.
func (v *Survey) firstShape() *edgeShape { return newEdgeShape(1.2*v.sampledBlur(), 0.5) }

// startRound starts at a round opening of the first look.
func (v *Survey) startRound(l *loop, shape *edgeShape) *holeStart {
	how := coarseSearch
	if v.through() {
		how = throughSearch
	}
	if !v.through() && l.inside > brightInside*l.outside {
		return nil
	}
	c, d, _ := roundness(l)
	return v.startHole(c, d/2, how, shape)
}

// brightInside is how bright, of what lies round it, a round opening of the first look may be for a bore, in gamma-coded levels: in
// linear light that is brightBore. Of 590 bores in ray-traced and drawn photos one in twenty has 0.43 and more, the brightest 0.79;
// grain of a casting has 0.8 to 0.9.
const brightInside = 0.8

// fitHoles fits what has started; the nils among starts have not.
func (v *Survey) fitHoles(starts []*holeStart) {
	v.holes = nil
	starts = slices.DeleteFunc(starts, func(s *holeStart) bool { return s == nil })
	sure := slices.DeleteFunc(slices.Clone(starts), func(s *holeStart) bool { return !s.h.isHole(s.h.judge(s.best.twin)) })
	if len(sure) == 0 {
		sure = starts
	}
	v.holeShape = v.bestShape(sure)
	if v.sol.Camera.Scan != nil {
		v.s.lampShadow = v.lampShadowOf(sure)
	}
	v.cast = nil
	if v.thin {
		v.cast = v.castShadowOf(sure)
	}
	if v.cast != nil {
		for _, s := range starts {
			s.h.cast = v.cast
		}
	}
	fits := make([]*holeFit, len(starts))
	parallelItems(len(starts), func(i int) { fits[i] = v.fitHole(starts[i], v.holeShape) })
	v.fits = fits
	vote(v.fits)
	for _, f := range v.fits {
		if h := v.accept(f); h != nil && !v.measured(h.Centre) {
			v.holes = append(v.holes, *h)
		}
	}
}

// measured tells whether a hole at c is among those found.
func (v *Survey) measured(c geom.PointMM) bool {
	return slices.ContainsFunc(v.holes, func(h face.Hole) bool { return h.Centre.Dist(c) < h.DiameterMM/2 })
}

// startRings starts where there is a ring but no hole yet.
func (v *Survey) startRings(known []*holeStart, shape *edgeShape) []*holeStart {
	var rings []ring
	for _, r := range v.rings {
		there := slices.ContainsFunc(known, func(s *holeStart) bool {
			return s != nil && s.h.mid.Dist(r.centre) < s.h.radius && s.h.isHole(s.h.judge(s.best.twin))
		})
		if !there {
			rings = append(rings, r)
		}
	}
	out := make([]*holeStart, min(len(rings), mostRings))
	parallelItems(len(out), func(i int) { out[i] = v.startHole(rings[i].centre, rings[i].radius, ringSearch, shape) })
	return out
}

// sampledBlur is the blur of edges in bilinear samples, px: interpolation adds a variance of 1/6 px² on average, in both
// directions together.
func (v *Survey) sampledBlur() float64 { return math.Hypot(v.sol.BlurPx, 0.4) }

// holeStart is where the fit of a candidate begins.
type holeStart struct {
	h    *holeBand
	near []twin // good places at several depths
	best twinFit
}

// wallDepth is how far the foot of a gasket's cut wall lies below its face: paper and card under the strips are thin, but
// the bench lies that much below their print.
func (v *Survey) wallDepth() float64 { return v.opt.HeightMM + benchDropMM }

// holeSearch says how far from a rough circle the hole's own is sought, mm.
type holeSearch struct {
	far            float64 // its centre
	smaller, wider float64 // its radius
}

// coarseSearch is for level curves of the plan: they may run along the bore or along the face's edge, or along one here and the other
// there.
var coarseSearch = holeSearch{0.7, 0.5, 0.9}

// throughSearch is for what is seen of the bench through a gasket's holes, which may be much less than the hole.
var throughSearch = holeSearch{1, 0.5, 1.3}

// ringSearch is for rings, whose centres are good to a cell or two of the votes.
var ringSearch = holeSearch{0.9, 0.5, 0.7}

// mostRings bounds the work where a bench is full of stains; a gasket has some ten holes.
const mostRings = 16

// startHole looks for the circles of a hole near a rough one. It returns nil outside the photo.
func (v *Survey) startHole(centre geom.PointMM, radius float64, how holeSearch, shape *edgeShape) *holeStart {
	out, in := 2.6, 1.2
	depths := []float64{0, 0.15, 0.3, 0.5, 0.7, 0.9}
	if v.through() {
		depths = []float64{v.wallDepth()}
	}
	// Once to find it, once more with the rays from the bore's middle.
	h := v.s.holeBand(centre, radius, in+0.5, out+0.5, v.through(), shape)
	if h == nil {
		return nil
	}
	if h.wall && h.mostChange() < h.leastStep {
		return nil
	}
	from := []twin{h.second(geom.PointMM{}, radius, 0)}
	if v.through() {
		// What closes at some grey level may be the whole opening, or as much of the bench as is seen through it.
		d := v.wallDepth()
		from = []twin{h.second(geom.PointMM{}, radius, d), h.second(h.lean.Scale(-d/2), radius, d)}
	}
	got := h.search(from, how, depths)
	h, t := h.again(v.s, got)
	if h == nil {
		return nil
	}
	tried := 2
	if v.through() {
		tried = 6
	}
	best := twinFit{cost: math.Inf(1)}
	for _, g := range h.likeliest(t, tried) {
		if f := h.settle(g, 4); f.cost < best.cost {
			best = f
		}
	}
	if j := h.judge(best.twin); j.agree < 0.3 || !v.through() && j.dark > brightBore {
		return nil
	}
	return &holeStart{h, t, best}
}

// again unrolls the photo anew round the first of the circles, and returns the circles as seen from there.
func (h *holeBand) again(s *surface, t []twin) (*holeBand, []twin) {
	mid := h.mid.Add(t[0].b)
	b := s.holeBand(mid, t[0].r, 1.2, 2.6, h.wall, h.shape)
	if b == nil {
		return nil, nil
	}
	out := make([]twin, len(t))
	for i, x := range t {
		x.b = x.b.Sub(t[0].b)
		out[i] = x
	}
	return b, out
}

// bestShape chooses the shape of edges in the photo, one for all holes, near what the strips' edges say.
func (v *Survey) bestShape(starts []*holeStart) *edgeShape {
	var shapes []*edgeShape
	for _, wider := range []float64{0.9, 1.1, 1.35, 1.65} {
		for _, halo := range []float64{0, 0.4, 0.8, 1.2} {
			shapes = append(shapes, newEdgeShape(wider*v.sampledBlur(), halo))
		}
	}
	cost := make([]float64, len(shapes))
	parallelItems(len(shapes), func(i int) {
		for _, s := range starts {
			h := *s.h
			h.shape = shapes[i]
			cost[i] += h.total(s.best.twin)
		}
	})
	best := 0
	for i, c := range cost {
		if c < cost[best] {
			best = i
		}
	}
	return shapes[best]
}

// fitHole fits a candidate at every depth.
func (v *Survey) fitHole(s *holeStart, shape *edgeShape) *holeFit {
	h := s.h
	h.shape = shape
	f := &holeFit{h: h}
	if v.through() {
		depth := v.wallDepth()
		if d := v.s.lampShadow.Norm(); d > 0 {
			h.lean, depth = v.s.lampShadow.Scale(1/d), d
		}
		at := func(from twin, k int) twinFit {
			e, r := h.first(from)
			return h.settle(h.second(e, r, depth+float64(k-2)*benchSigmaMM), 6)
		}
		start := h.unshadowed(s.best.twin)
		best := 0
		for k := range 5 {
			f.at = append(f.at, at(start, k))
			if f.at[k].cost < f.at[best].cost {
				best = k
			}
		}
		// All depths deserve the best of the places that one of them led to.
		for k := range f.at {
			if g := at(f.at[best].twin, k); g.cost < f.at[k].cost {
				f.at[k] = g
			}
		}
	} else {
		f.at = h.depths(s.near)
	}
	return f
}

// through tells whether the ground shows in the holes, as in gaskets; else they are bores into the dark. In a flat-bed scan no
// depth shifts anything, and the lid is bright.
func (v *Survey) through() bool { return v.thin || v.sol.Camera.Scan != nil }

// lampShadowOf looks for how far a flat-bed scanner's lamp, which shines at a slant along the way it moves, throws the shadow of
// the edges onto the lid or the sheet behind: the shadow is seen as a wall is that leans so much. It is 0 where there is none. What
// fits nearly as well the other way is no shadow, but light that changes across the holes.
func (v *Survey) lampShadowOf(starts []*holeStart) geom.PointMM {
	const longest, step, gain, oneWay = 1.2, 0.15, 5.0, 0.5
	var shadows []geom.PointMM
	ways := []geom.PointPx{{U: 1}, {U: -1}, {V: 1}, {V: -1}}
	for _, to := range ways {
		d := v.s.face(to).Sub(v.s.face(geom.PointPx{}))
		for l := step; l <= longest; l += step {
			shadows = append(shadows, d.Scale(l/d.Norm()))
		}
	}
	starts = starts[:min(len(starts), 6)]
	none := make([]twinFit, len(starts))
	parallelItems(len(starts), func(i int) {
		h := *starts[i].h
		h.shape = v.holeShape
		none[i] = h.settle(starts[i].best.twin, 3)
	})
	cost := make([]float64, len(shadows)) // against none
	parallelItems(len(shadows), func(i int) {
		d := shadows[i].Norm()
		for k, s := range starts {
			h := *s.h
			h.shape, h.lean = v.holeShape, shadows[i].Scale(1/d)
			cost[i] += h.settle(h.second(none[k].b, none[k].r, d), 2).cost - none[k].cost
		}
	})
	least := make([]float64, len(ways))
	for i, c := range cost {
		way := i * len(ways) / len(cost)
		least[way] = min(least[way], c)
	}
	slices.Sort(least)
	if least[0] >= -gain*float64(len(starts)) || least[1] < oneWay*least[0] {
		return geom.PointMM{}
	}
	return shadows[slices.Index(cost, least[0])]
}

// benchSigmaMM is how well it is known how deep the bench lies: a sheet of paper or card is 0.1 to 0.3 mm thick, a gasket's
// thickness is measured to 0.05 mm (common practice, no source).
const benchSigmaMM = 0.08

// depthStep is the step of the depths that are tried; half of it, at 15° of lean, is 0.015 mm.
const depthStep = 0.1
