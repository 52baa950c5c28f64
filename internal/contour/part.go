package contour

import (
	"math"
	"slices"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// The part's own edge is found in three steps: which cells of a coarse grid are the part (partRegion), where along normals of
// that region's edge the face ends (locate), and the edge model that the openings are measured with (refine). The curve
// runs clockwise meanwhile, so that its left side, which for an opening is the opening, is what lies round the part.

const (
	// partPlaces is about how many places of the part's edge are measured. It bears on land and on which way round the parts
	// go, not on steps, and is not worth more time.
	partPlaces = 700
	// partReachMM is how far from the region's edge the face's may lie: two cells and a casting's wall.
	partReachMM = 3.5
	// leastSurePart is the share of the edge below which there is no telling whether it is the part's at all.
	leastSurePart = 0.3
)

// roughPart returns the part's edge to about a mm; the zero Edge where it was not found. v.part is set afterwards.
func (v *Survey) roughPart() face.Edge {
	if v.part == nil {
		var ports [][]geom.PointMM
		for _, l := range v.open.ports {
			ports = append(ports, l.pts)
		}
		v.part = v.findPart(ports)
	}
	if v.part == nil || v.part.curve == nil {
		return face.Edge{}
	}
	curve := resampleClosed(v.part.curve, 2)
	slices.Reverse(curve)
	in, out := v.part.standsOut(v.s, curve, edgeModel{})
	if !toldApart(in, out) {
		return face.Edge{}
	}
	e := face.Edge{Outline: curve, CorrMM: 2, Sure: make([]bool, len(curve))}
	for i := range curve {
		e.Sure[i] = in[i] > leastInside && out[i] < mostOutside
	}
	anticlockwise(&e)
	return e
}

// findPart looks for the part round its ports and the holes; nil where there is nothing to look round.
func (v *Survey) findPart(ports [][]geom.PointMM) *partRegion {
	if len(ports) == 0 {
		return nil
	}
	var openings [][]geom.PointMM
	for _, p := range ports {
		openings = append(openings, resampleClosed(p, 2))
	}
	for _, h := range v.holes {
		openings = append(openings, circle(h.Centre, h.DiameterMM/2))
	}
	g := v.s.newPartGrid(v.plan, openings, v.s.stripCurves(v.sol.StripQuadsPx))
	if g == nil {
		return nil
	}
	return g.partRegion(openings, len(ports))
}

func circle(centre geom.PointMM, radiusMM float64) []geom.PointMM {
	out := make([]geom.PointMM, 32)
	for i := range out {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(len(out)))
		out[i] = centre.Add(geom.PointMM{X: radiusMM * cos, Y: radiusMM * sin})
	}
	return out
}

// partEdge measures the part's own edge round the ports at bases; the zero Edge where it was not found. m is what the ports'
// edges are like.
func (v *Survey) partEdge(starts []start, bases [][]geom.PointMM, g *Guide, m edgeModel) face.Edge {
	m.doubt, m.rimMM, m.maybeRimMM, m.bareRimMM, m.rimLight, m.softMM, m.shades = false, 0, 0, 0, nil, 0, nil // of the ports
	r := v.part
	if r == nil || len(starts) != len(v.open.ports) || slices.ContainsFunc(starts, func(s start) bool { return s.guided }) {
		// The first look had not found all ports.
		r = v.findPart(bases)
		v.part = r
	}
	if r == nil {
		return face.Edge{}
	}
	if r.curve != nil {
		if e := v.partEdgeFrom(r.curve, r, m); len(e.Outline) > 0 {
			return e
		}
	}
	if g != nil && len(g.Part) > 0 {
		return v.partEdgeFrom(g.Part, r, m)
	}
	return face.Edge{}
}

// partEdgeFrom measures the part's own edge near curve.
func (v *Survey) partEdgeFrom(curve []geom.PointMM, r *partRegion, m edgeModel) face.Edge {
	spacing := math.Max(0.7, math.Min(pathLength(curve)/partPlaces, 1.5))
	base := resampleClosed(curve, spacing)
	slices.Reverse(base)
	base = v.s.locatePart(base, spacing, r, m)
	reading := v.s.refinePart(base, m)
	rim := 0.0
	if m.wallMM == 0 {
		rim = v.s.partRim(reading.outline)
	}
	reading.compare(geom.NewIndex(geom.Outline(base)), 0.15+0.3*rim, 0, 0)
	e := reading.edge(m, v.sol)
	if !v.doubtPart(&e, r, m, rim) {
		return face.Edge{}
	}
	anticlockwise(&e)
	sure := 0
	for _, ok := range e.Sure {
		if ok {
			sure++
		}
	}
	if float64(sure) < leastSurePart*float64(len(e.Sure)) {
		return face.Edge{}
	}
	return e
}

// cutSides returns the sides of the picture that the part runs off.
func (v *Survey) cutSides() []string {
	// The coarse grid stops within two of its cells of the rim; a part that comes so near on so short a way may end there.
	const shortMM = 15
	if v.part == nil || v.part.curve == nil {
		return nil
	}
	curve := resampleClosed(v.part.curve, 1)
	cell := v.part.grid.cellMM
	right, bottom := float64(v.s.photo.Width-1), float64(v.s.photo.Height-1)
	along := map[string]float64{}
	for _, p := range curve {
		q := v.s.pixel(p)
		near := 2 * cell / v.s.mmPerPx(p)
		for _, side := range []struct {
			name string
			px   float64
		}{{"left", q.U}, {"right", right - q.U}, {"top", q.V}, {"bottom", bottom - q.V}} {
			if side.px < near {
				along[side.name]++
			}
		}
	}
	var out []string
	for side, mm := range along {
		if mm > shortMM {
			out = append(out, side)
		}
	}
	slices.Sort(out)
	return out
}

// anticlockwise turns a clockwise edge round.
func anticlockwise(e *face.Edge) {
	slices.Reverse(e.Outline)
	slices.Reverse(e.SigmaMM)
	slices.Reverse(e.BiasMM)
	slices.Reverse(e.Sure)
}

// locatePart moves the region's edge to where the face ends by what face and surroundings look like, to a few tenths of a mm.
func (s *surface) locatePart(base []geom.PointMM, spacingMM float64, r *partRegion, m edgeModel) []geom.PointMM {
	base = smoothClosed(base, spacingMM, 1)
	b := s.unroll(base, -partReachMM, partReachMM, math.Max(0.15, s.mmPerPx(base[0])), 1.2, true)
	off := r.end(b, m)
	return resampleClosed(b.moved(smoothOffsets(off, b.spacing, 0.7)), spacingMM)
}

// partRim returns the size of the chamfer round the part, 0 for none that shows. Where both its edges show, the brightness
// changes twice, a chamfer's width apart, wherever exactly the curve runs: so the changes across the edge are multiplied
// by those further out, and summed over the whole edge.
func (s *surface) partRim(base []geom.PointMM) float64 {
	const (
		widest, step = 1.3, 0.05 // mm; common practice, no source: edges are broken by 0.2 to 1 mm
		reach        = 1.2       // where the first change is looked for, to either side
		alongMM      = 8.0       // a chamfer goes on, milling marks do not
	)
	b := s.unroll(base, -reach, reach+2*widest, step, alongMM, false).every(3)
	lags := int(math.Round(widest/step)) + 1
	n := len(b.base)
	products := make([]float64, n*lags)
	parallelRows(n, func(i int) {
		row := b.row(i)
		change := make([]float64, b.n)
		k := max(1, int(0.5*b.pxMM/step))
		for j := k; j+k < b.n; j++ {
			// In proportion to the light there; the glare of a hole's rim has no more to say than a plain edge.
			if d := math.Abs(float64(row[j+k]-row[j-k])) / (float64(row[j]) + 0.05); d == d {
				change[j] = math.Min(d, 0.5)
			}
		}
		usual := quantile(slices.Clone(change[k:b.n-k]), 0.6)
		for j := range change {
			change[j] = math.Max(0, change[j]-usual)
		}
		for q := range lags {
			lag := float64(q) * math.Max(0, 1+b.lean[i])
			l := int(lag)
			f := lag - float64(l)
			for j := 0; float64(j)*step < 2*reach && j+l+1 < b.n; j++ {
				products[i*lags+q] += change[j] * ((1-f)*change[j+l] + f*change[j+l+1])
			}
		}
	})
	sum := make([]float64, lags)
	for i, v := range products {
		sum[i%lags] += v
	}
	// The width stands out if the sum rises towards it again, and falls behind it; a narrow chamfer's hides in the edge's own.
	const rise, fall, behindMM, share = 1.03, 1.15, 0.25, 0.08
	best, valley := 0, sum[0]
	for q := 1; q < lags; q++ {
		valley = math.Min(valley, sum[q])
		if sum[q] > rise*valley && sum[q] > share*sum[0] && (best == 0 || sum[q] > sum[best]) {
			best = q
		}
	}
	if q := best + int(math.Round(behindMM/step)); best == 0 || q >= lags || sum[best] < fall*sum[q] {
		return 0
	}
	return float64(best) * step
}

// refinePart fits the edge model along base.
func (s *surface) refinePart(base []geom.PointMM, m edgeModel) edgeReading {
	var r edgeReading
	passes := []struct{ half, stepPx float64 }{{0.5, 0.5}, {0.3, 0.25}}
	if m.wallMM == 0 {
		// A chamfer's outer side is often the stronger edge, and half a mm away.
		passes = passes[1:]
		passes[0].half = 0.22
	}
	for _, pass := range passes {
		b, level, spread := s.profiles(base, m, pass.half)
		r = m.scan(b, pass.half, pass.stepPx*b.pxMM, level, spread).read(m, b, pass.half, level, spread)
		base = r.outline
	}
	return r
}

// innerChange tells for every vertex of an edge how much the brightness changes within 3 mm inside of it, in terms of what it
// does further in: a wall or chamfer that was taken for the face shows there.
func (s *surface) innerChange(edge []geom.PointMM) []float64 {
	const step, alongMM = 0.05, 8.0
	b := s.unroll(edge, -5, 0, step, alongMM, false)
	out := make([]float64, len(edge))
	parallelRows(len(edge), func(i int) {
		row := b.row(i)
		change := make([]float64, b.n)
		k := max(1, int(0.5*b.pxMM/step))
		for j := k; j+k < b.n; j++ {
			if d := math.Abs(float64(row[j+k] - row[j-k])); d == d {
				change[j] = d
			}
		}
		further, next := int(b.index(-2.8)), int(b.index(-math.Min(math.Max(0.25, 2*b.pxMM), 2)))
		usual := quantile(slices.Clone(change[k:further]), 0.9) + 0.005*math.Abs(float64(row[k]))
		out[i] = slices.Max(change[further:next]) / usual
	})
	return medianAlong(out, int(6/b.spacing))
}

const (
	// The mean log likelihood ratio of a sample to be the face (bounded to ±2.5), within 4 mm inside the edge and outside it:
	// true edges in ray-traced photos have more and less than this nearly everywhere, false ones seldom both.
	leastInside, mostOutside = 0.5, -0.8
	// Where the whole edge has less inside and more outside in the median, part and surroundings look too much alike.
	leastInsideMedian, mostOutsideMedian = 0.8, mostOutside
)

// standsOut returns for every vertex of a clockwise curve round the part how much what lies inside looks like the face, and
// what lies outside.
func (r *partRegion) standsOut(s *surface, curve []geom.PointMM, m edgeModel) (in, out []float64) {
	const nearMM, farMM, wallMM = 0.8, 4.0, 2.0
	b := s.unroll(curve, -farMM, farMM, 0.25, 2, true)
	score := r.bandScore(b)
	n := len(curve)
	in, out = make([]float64, n), make([]float64, n)
	mean := func(i int, from, to float64) float64 {
		j0, j1 := max(0, int(math.Ceil(b.index(from)))), min(b.n-1, int(b.index(to)))
		var sum float64
		for _, x := range score[i*b.n+j0 : i*b.n+j1+1] {
			sum += float64(x)
		}
		return sum / float64(j1-j0+1)
	}
	for i := range n {
		in[i] = mean(i, -farMM, -nearMM)
		out[i] = mean(i, nearMM+math.Min(m.width(b.lean[i]), wallMM), farMM)
	}
	k := int(2 / b.spacing)
	return medianAlong(in, k), medianAlong(out, k)
}

// toldApart tells whether part and surroundings can be told apart as a whole.
func toldApart(in, out []float64) bool {
	return quantile(slices.Clone(in), 0.5) > leastInsideMedian && quantile(slices.Clone(out), 0.5) < mostOutsideMedian
}

// doubtPart marks what does not look like the part's edge: too little like the face inside, too much like it outside; a
// change just inside; a strip's edge. It adds to the bias of a thick part what a chamfer or a wall that looks like the face
// would hide. It tells whether part and surroundings can be told apart at all. e runs clockwise.
func (v *Survey) doubtPart(e *face.Edge, r *partRegion, m edgeModel, rimMM float64) bool {
	const (
		mostChange = 2.0
		stripMM    = 2.0  // paper is cut by hand
		brokenMM   = 0.5  // a usual chamfer: common practice, no source
		sideMM     = 15.0 // depth of a casting's wall; where more than a mm of it shows, it is told from the face
	)
	in, out := r.standsOut(v.s, e.Outline, m)
	if !toldApart(in, out) {
		return false
	}
	var change []float64
	if m.wallMM == 0 {
		change = v.s.innerChange(e.Outline)
	}
	var strips []*geom.Index
	for _, q := range v.s.stripCurves(v.sol.StripQuadsPx) {
		strips = append(strips, geom.NewIndex(q))
	}
	lean := v.s.unroll(e.Outline, 0, 0, 1, 0, false).lean
	for i, p := range e.Outline {
		doubt := in[i] < leastInside || out[i] > mostOutside || change != nil && change[i] > mostChange
		for _, q := range strips {
			if _, _, d := q.Nearest(p); d < stripMM {
				doubt = true
			}
		}
		if doubt {
			e.Sure[i] = false
		}
		if m.wallMM == 0 {
			// Half of a chamfer, as either side may have been taken; a third of a wall, which most often is told from the face.
			seen := math.Min(1, sideMM*math.Max(0, lean[i]))
			e.BiasMM[i] = math.Hypot(e.BiasMM[i], math.Hypot(0.5*math.Max(rimMM, brokenMM), 0.3*seen))
		}
	}
	return true
}
