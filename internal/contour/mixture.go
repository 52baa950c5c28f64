package contour

import (
	"math"
	"slices"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// A bench may be as bright as the part that lies on it, and a bead as bright as the bench: then no curve of brightness closes round an
// opening, though anybody sees it by its colour. Where curves of hue show openings that those of brightness don't, the openings are those
// that a mixture of hue and brightness shows. Their edges are then sought as all others are.

const (
	hueStep   = 2    // steps of the plan of brightness to one of hue: a photo stores colour at half its size
	hueFaint  = 40.0 // grey levels; keeps the noise of dark places down
	hueSpread = 170  // levels for chroma as strong as brightness

	// In a mixture what lies outside openings and what lies inside them are so many levels apart, about a middle.
	mixedStep, mixedMiddle = 80.0, 128.0
)

// hues are how warm a colour is and how purple, in levels, for so much chroma over so much brightness, which a shadow changes little.
// Wood, rust, card and metal differ in the first, paints in both.
func hues(grey, cb, cr float32) (warm, purple float32) {
	scale := hueSpread / (grey + hueFaint)
	return min(max(128+scale*(cr-cb), 0), 255), min(max(128+scale*(cr+cb), 0), 255)
}

// huePlans returns plans whose levels are hues. p is the plan of brightness.
func (s *surface) huePlans(p *plan) [2]*plan {
	w, h := (p.w+hueStep-1)/hueStep, (p.h+hueStep-1)/hueStep
	var out [2]*plan
	for c := range out {
		out[c] = &plan{w: w, h: h, lo: p.lo, stepMM: hueStep * p.stepMM, level: make([]float32, w*h), valid: make([]bool, w*h)}
	}
	const stride = 8 // see surface.plan
	step := out[0].stepMM
	parallelRows(h, func(j int) {
		at := func(i int) geom.PointPx {
			return s.pixel(p.lo.Add(geom.PointMM{X: float64(i) * step, Y: float64(j) * step}))
		}
		q0 := at(0)
		for i0 := 0; i0 < w; i0 += stride {
			q1 := at(i0 + stride)
			for i := i0; i < min(i0+stride, w); i++ {
				k := hueStep * (j*p.w + i)
				if !p.valid[k] {
					continue
				}
				f, n := float64(i-i0)/stride, j*w+i
				cb, cr := s.photo.ChromaAt(q0.U+f*(q1.U-q0.U), q0.V+f*(q1.V-q0.V))
				out[0].level[n], out[1].level[n] = hues(p.level[k], cb, cr)
				out[0].valid[n], out[1].valid[n] = true, true
			}
			q0 = q1
		}
	})
	for _, t := range out {
		t.blur()
	}
	return out
}

// stretch spreads the levels about their middle, up to where their noise is as much as level curves stand: a light gasket may be but a
// shade warmer than its bench, and yet clearly so. It tells whether that made a difference.
func (p *plan) stretch() bool {
	const (
		noise = 0.7 // levels
		most  = 5.0
		room  = 120 // levels to either side
		rare  = 0.005
		worth = 1.3
		every = 5 // cells
		apart = 2 // cells; closer ones share their blur
	)
	var levels, noises []float64
	for k := apart; k+apart < len(p.level); k += every {
		if p.valid[k-apart] && p.valid[k] && p.valid[k+apart] {
			levels = append(levels, float64(p.level[k]))
			// The second difference of independent noise is the square root of six times as much.
			noises = append(noises, math.Abs(float64(p.level[k-apart]+p.level[k+apart]-2*p.level[k]))/math.Sqrt(6))
		}
	}
	if len(levels) == 0 {
		return false
	}
	usual, middle := quantile(noises, 0.5)/0.6745, quantile(levels, 0.5)
	// What is cut off at either end has its edges elsewhere.
	far := max(sortedQuantile(levels, 1-rare)-middle, middle-sortedQuantile(levels, rare))
	gain := min(noise/max(usual, 1e-3), most, room/max(far, 1e-3))
	if gain < worth {
		return false
	}
	for k, v := range p.level {
		p.level[k] = min(max(mixedMiddle+float32(gain)*(v-float32(middle)), 0), 255)
	}
	return true
}

// mixture is a sum of levels: of the two hues, and of brightness. Openings are bright in it.
type mixture struct {
	weight [3]float64
	offset float64
	// apart is how far what lies round the openings is from what shows in them, in standard deviations of either.
	apart float64
}

// discriminant returns the mixture that tells best what lies outside the curves from what lies inside them: Fisher's linear discriminant
// (Annals of Eugenics 7, 1936). plans are of the two hues and of brightness. It returns nil where too little is known.
func discriminant(curves []*loop, plans [3]*plan) *mixture {
	const (
		fewest = 40
		grain  = 2.0 // levels squared; what an 8-bit photo can tell at best
	)
	clear := [2][]float64{{-1.3, -1.9}, {1.3, 1.9, 2.5}} // mm inward: past the wall and the shadow of most gaskets
	var seen [2][][3]float64
	for _, l := range curves {
		ring := resampleClosed(l.pts, 1)
		for i, in := range inwardNormals(ring) {
			for side := range clear {
				for _, mm := range clear[side] {
					if x, ok := levelsAt(plans, ring[i].Add(in.Scale(mm))); ok {
						seen[side] = append(seen[side], x)
					}
				}
			}
		}
	}
	if len(seen[0]) < fewest || len(seen[1]) < fewest {
		return nil
	}
	var mean [2][3]float64
	for side := range seen {
		for _, x := range seen[side] {
			for c, v := range x {
				mean[side][c] += v / float64(len(seen[side]))
			}
		}
	}
	var within [3][3]float64
	for side := range seen {
		for _, x := range seen[side] {
			for a := range x {
				for b := range x {
					within[a][b] += (x[a] - mean[side][a]) * (x[b] - mean[side][b]) / float64(len(seen[0])+len(seen[1]))
				}
			}
		}
	}
	for c := range within {
		within[c][c] += grain
	}
	inv, ok := invert3(within)
	if !ok {
		return nil
	}
	m := &mixture{}
	var d2 float64
	for i := range inv {
		for j := range inv {
			m.weight[i] += inv[i][j] * (mean[1][j] - mean[0][j])
		}
		d2 += m.weight[i] * (mean[1][i] - mean[0][i])
	}
	m.apart, m.offset = math.Sqrt(d2), mixedMiddle
	for i := range m.weight {
		m.weight[i] *= mixedStep / d2
		m.offset -= m.weight[i] * (mean[0][i] + mean[1][i]) / 2
	}
	return m
}

func levelsAt(plans [3]*plan, p geom.PointMM) (x [3]float64, ok bool) {
	for c, pl := range plans {
		v, valid := pl.at(p)
		if !valid {
			return x, false
		}
		x[c] = float64(v)
	}
	return x, true
}

// mixed returns the plan of the mixture, as fine as that of brightness.
func (m *mixture) mixed(plans [3]*plan) *plan {
	grey := plans[2]
	o := *grey
	o.level, o.valid = make([]float32, len(grey.level)), make([]bool, len(grey.level))
	parallelRows(o.h, func(j int) {
		for i := range o.w {
			x, ok := levelsAt(plans, o.lo.Add(geom.PointMM{X: float64(i), Y: float64(j)}.Scale(o.stepMM)))
			v := m.offset
			for c := range x {
				v += m.weight[c] * x[c]
			}
			o.level[j*o.w+i], o.valid[j*o.w+i] = float32(min(max(v, 0), 255)), ok
		}
	})
	return &o
}

// byColour takes the openings that a mixture of hue and brightness shows, where hue shows some of a thin part that brightness does not.
func (v *Survey) byColour() {
	if !v.thin || !v.s.photo.HasColour() {
		return
	}
	const clear = 25.0 // grey levels all the way round; such openings need no faint hue
	hue := v.s.huePlans(v.plan)
	if v.byHue(hue) {
		return
	}
	if len(v.open.ports) > 0 && !slices.ContainsFunc(v.open.ports, func(l *loop) bool { return l.contrast < clear }) {
		return
	}
	if warm, purple := hue[0].stretch(), hue[1].stretch(); warm || purple {
		v.byHue(hue)
	}
}

// byHue does what byColour does with these plans of hue, and tells whether there was anything to take.
func (v *Survey) byHue(hue [2]*plan) bool {
	// Openings were told from what lies round them by 6 and more in mixtures that were right, and by 2 to 5 where hue saw what is none.
	const leastApart = 6
	plans := [3]*plan{hue[0], hue[1], v.plan}
	seen := sortOut(v.curvesOn(plans[:2])).ports
	if !v.showsMore(seen) {
		return false
	}
	m := discriminant(seen, plans)
	if m == nil || m.apart < leastApart {
		return false
	}
	curves := slices.DeleteFunc(v.curvesOn([]*plan{m.mixed(plans)}), func(l *loop) bool { return !likeOpening(l) })
	both := v.withoutPart(sortOut(curves).ports)
	if !v.showsMore(both) {
		return false
	}
	v.open.ports = both
	v.dropHolesInPorts()
	v.colourHoles(roundOnes(curves))
	return true
}

// withoutPart drops what holds two holes or more that have the same face round them: the part's own edge.
func (v *Survey) withoutPart(ports []*loop) []*loop {
	look := v.plan.faceLook(v.holes)
	if look == nil {
		return ports
	}
	return slices.DeleteFunc(ports, func(l *loop) bool {
		held := 0
		for _, h := range look.at {
			if contains(l.pts, h.hole.Centre) {
				held++
			}
		}
		return held >= 2
	})
}

// colourHoles adds the holes among round curves of a mixture that have not been measured in brightness. Where their edges can't be, or are
// found elsewhere than the curve is, a hole is where its curve is.
func (v *Survey) colourHoles(round []*loop) {
	const (
		apart  = 3.0 // standard uncertainties
		asSure = 0.5 // a fit so much surer is not overruled by one that its curve does not bear out
	)
	shape := v.holeShape
	if shape == nil {
		shape = v.firstShape()
	}
	for _, l := range round {
		c := centroid(l.pts)
		if slices.ContainsFunc(v.open.ports, func(p *loop) bool { return contains(p.pts, c) }) {
			continue
		}
		curve := v.holeOfColour(l)
		if curve == nil {
			continue
		}
		seen := curve
		// Once to come near, and again from there.
		for range 3 {
			if h := v.holeByLooks(*seen); h != nil {
				seen = h
			}
		}
		k := slices.IndexFunc(v.holes, func(h face.Hole) bool { return h.Centre.Dist(seen.Centre) < seen.DiameterMM/2 })
		if k < 0 {
			k, v.holes = len(v.holes), append(v.holes, *seen)
			if s := v.startRound(l, shape); s != nil {
				if h := v.accept(v.fitHole(s, shape)); h != nil {
					v.holes[k] = *h
				}
			}
		}
		h := v.holes[k]
		elsewhere := func(o *face.Hole) bool {
			return h.Centre.Dist(o.Centre) > apart*math.Hypot(h.SigmaCentreMM, o.SigmaCentreMM)
		}
		if elsewhere(seen) && (elsewhere(curve) || h.SigmaCentreMM > asSure*seen.SigmaCentreMM) {
			v.holes[k] = *seen
		}
	}
}

// holeOfColour returns the hole that a curve of hue goes round. The cut wall has the part's hue, so the curve is a lens between the hole's
// edge and the wall's foot; nil where it is none.
func (v *Survey) holeOfColour(l *loop) *face.Hole {
	const (
		centreMM, centrePx = 0.05, 0.4 // standard uncertainty of a centre; a photo stores colour for every other pixel
		leanShare          = 0.2       // and of what the wall hides
		diameterMM         = 0.2       // hue runs over edges all the way round
		mostLean           = 0.5       // of the radius
	)
	c := centroid(l.pts)
	foot := v.s.lean(c).Scale(v.wallDepth())
	hidden := foot.Norm()
	// The lens of two circles of radius r, so far apart, has an area of πr² - 2r hidden, nearly.
	r := (hidden + math.Sqrt(hidden*hidden+math.Pi*l.areaMM2)) / math.Pi
	if 2*r < minHoleMM || hidden > mostLean*r {
		return nil
	}
	sigma := math.Hypot(math.Hypot(centreMM, centrePx*v.s.mmPerPx(c)), leanShare*hidden)
	return &face.Hole{Centre: c.Sub(foot.Scale(0.5)), DiameterMM: 2 * r, SigmaCentreMM: sigma, SigmaDiameterMM: math.Hypot(diameterMM, 2*sigma)}
}

// likeOpening tells whether a curve of a mixture has outside it and inside it what openings have.
func likeOpening(l *loop) bool {
	const near = 0.35 // of the step between the two
	return math.Abs(l.outside-(mixedMiddle-mixedStep/2)) < near*mixedStep && math.Abs(l.inside-(mixedMiddle+mixedStep/2)) < 2*near*mixedStep
}

// curvesOn returns the candidates that the plans show.
func (v *Survey) curvesOn(plans []*plan) []*loop {
	var cands []*loop
	for _, p := range plans {
		for _, l := range v.withoutStripShadows(p.candidates(v.s.onStrip(v.sol.StripQuadsPx))) {
			l.cut = l.cut || p.atFrame(l)
			cands = append(cands, l)
		}
	}
	v.markStrips(cands)
	return cands
}

// atFrame tells whether the curve runs along the edge of the photo, where a blurred plan fades.
func (p *plan) atFrame(l *loop) bool {
	near := 4 * p.stepMM
	return slices.ContainsFunc(l.pts, func(q geom.PointMM) bool {
		for _, d := range []geom.PointMM{{X: near}, {X: -near}, {Y: near}, {Y: -near}} {
			if _, ok := p.at(q.Add(d)); !ok {
				return true
			}
		}
		return false
	})
}

// showsMore tells whether some of the openings that hue shows were not seen in brightness, or not as they are, and all that were seen are
// among those that hue shows. What is far smaller than those was none.
func (v *Survey) showsMore(hued []*loop) bool {
	const (
		alikeMM = 2.0 // usual distance between two curves of one edge: the one may be that of its wall or shadow
		small   = 0.3
	)
	more, least := false, math.Inf(1)
	known := map[*loop]bool{}
	for _, h := range hued {
		least = math.Min(least, h.areaMM2)
		found := false
		for _, l := range v.open.ports {
			if contains(h.pts, centroid(l.pts)) || contains(l.pts, centroid(h.pts)) {
				known[l] = true
				found = found || math.Abs(h.areaMM2-l.areaMM2) < alikeMM*l.perimeter
			}
		}
		more = more || !found
	}
	for _, l := range v.open.ports {
		if !known[l] && l.areaMM2 > small*least {
			return false
		}
	}
	return more
}

// markStrips marks the curves that go round a printed strip.
func (v *Survey) markStrips(cands []*loop) {
	for _, l := range cands {
		for _, q := range v.sol.StripQuadsPx {
			l.holdsStrip = l.holdsStrip || contains(l.pts, mid(v.s.face(q[0]), v.s.face(q[2])))
		}
	}
}
