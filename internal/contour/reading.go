package contour

import (
	"math"
	"slices"

	"portmatch/internal/geom"
	"portmatch/internal/scalecard"
)

// edgeReading is the measured edge at every vertex of a curve.
type edgeReading struct {
	outline    []geom.PointMM // face frame, anticlockwise
	raw        []float64      // offsets from the band's base as fitted, before smoothing along the curve, mm
	sigmaMM    []float64      // standard uncertainty normal to the edge, noise and texture
	sure       []bool
	slackMM    []float64 // half the width of the places that fit nearly as well
	step       []float64 // brightness behind the edge less that of the face, in spreads of the face
	onFace     []float64 // linear light (0 to 1) on the face
	behind     []float64 // and behind the edge
	wallMM     []float64 // width of the cut wall seen behind the edge
	faint      []bool    // the wall is hardly darker than the face, or hardly differs from what is behind it
	wallKnown  []bool    // what a wall looks like there is known; see edgeModel.wall
	hueTells   []bool    // see edgeScan
	hueOnly    []bool    // the brightness tells next to nothing of the edge, and the hue does
	bridged    []bool    // drawn where regions see the edge; nil for none
	hueApartMM []float64 // see edgeScan.hueApart; nil if no hue was looked at
	apartMM    []float64 // how far a second opinion lies off, beyond what is usual
	rimmedMM   []float64 // how far the edge would lie off with the rim that may be there; nil for none
	pxMM       float64
	shadeMM    []float64 // see edgeModel.shades; nil where there are none
	bareMM     []float64 // see bare; nil for a face without dye or rust
	lines      []float64 // see scribed; nil for a face without dye
	quantum    float64   // of the photo's coding, grey levels; see photo.Photo
	turn       []float64 // see turns; nil where it was not looked at
	// toneSigmaPx is what is left in doubt of the phone's curve and sharpening where the edge was moved for them; nil where it was not.
	toneSigmaPx []float64
}

// path is the closed path of least misfit through the scan: the place at every vertex.
func (e *edgeScan) path(m edgeModel, b *band, half, tau2 float64) []int {
	// Samples half a pixel apart share half their noise; profiles overlap over their averaging length.
	news := 0.5 * math.Min(1, b.spacing/profileAverageMM)
	cost := make([]float64, len(e.fits)*e.k)
	for i := range e.fits {
		own := tau2
		if m.thin() {
			// Where no place fits well, in a bench's grain, none is much better than another.
			own = e.noiseAt(i, tau2)
		}
		usual := 0.4 * half // how far from the base the edge is
		if m.wall != nil || m.cast != nil {
			// Where the walls' looks are known they say more than the regions, whose errors are one over some mm of edge.
			usual = regionsMM
			if m.looksKnown(b, i) {
				usual *= 3
			}
		}
		if m.thin() && m.landMM == 0 && e.hueTells != nil && e.hueTells[i] {
			usual = max(usual, 3*regionsMM)
		}
		for q, v := range e.fits[i].sse {
			away := (e.lo + float64(q)*e.step) / usual
			cost[i*e.k+q] = math.Min(v/(2*own), 1e6)*news + away*away/2
		}
	}
	bend := math.Pow(e.step/(profileLean*b.spacing), 2) / 2
	return closedPath(cost, len(e.fits), e.k, bend, max(2, int(b.spacing/e.step)))
}

// regionsMM is how far from where regions have it an edge is, standard deviation.
const regionsMM = 0.2

// read picks the closed path of least misfit through the scan, refines it between grid points, and smooths it along the curve.
func (e *edgeScan) read(m edgeModel, b *band, half float64, level, spread []float64) edgeReading {
	n := len(e.fits)
	tau2 := e.noise()
	if m.bareRimMM > 0 {
		m.addDye(b, e, tau2)
	} else {
		m.addHue(b, e, tau2, spread)
	}
	path := e.path(m, b, half, tau2)

	r := edgeReading{pxMM: b.pxMM, hueTells: e.hueTells, raw: make([]float64, n), sigmaMM: make([]float64, n), sure: make([]bool, n), step: make([]float64, n), slackMM: make([]float64, n),
		onFace: level, behind: make([]float64, n), wallMM: make([]float64, n), faint: make([]bool, n), wallKnown: make([]bool, n), hueOnly: make([]bool, n)}
	noWall := make([]bool, n)
	for i, q := range path {
		x, inside := e.minimum(i, q)
		r.raw[i] = e.lo + x*e.step
		if m.doubt {
			r.raw[i] += 0.5 * m.width(b.lean[i])
		}
		r.slackMM[i] = e.slack(i, q, tau2)
		f := &e.fits[i]
		k := min(max(int(x+0.5), 0), e.k-1)
		change := f.first[k]
		if both := f.first[k] + f.second[k]; math.Abs(both) > math.Abs(change) {
			change = both
		}
		r.step[i], r.behind[i] = math.Abs(change)/spread[i], level[i]+change
		if m.wallMM > 0 {
			r.wallMM[i], _, _ = m.zone(b, i)
			r.wallKnown[i] = m.looksKnown(b, i)
			r.faint[i] = f.first[k] > -4*math.Sqrt(tau2) || math.Abs(f.second[k]) < 4*math.Sqrt(tau2)
		}
		noWall[i] = m.noWall(b, i, r.raw[i], level[i])
		seen, room := r.step[i] > m.leastChange(), mostSlackMM
		if !seen && e.hueTells != nil && e.hueTells[i] {
			r.hueOnly[i], seen, room = true, true, mostHueSlackMM
		}
		r.sure[i] = inside && seen && r.slackMM[i] < room && level[i] < burntOut
	}
	if e.hueMM != nil {
		// What the two differ by stays in doubt: the edge goes only part of the way.
		r.hueApartMM = e.hueApart(m, b, r.raw)
		e.outward(m, b, &r)
	}
	smooth, scatter := robustAlong(r.raw, r.sure, b.spacing, m.smoothing(b.pxMM))
	for i := range r.raw {
		r.sigmaMM[i] = math.Max(scatter[i], 0.02*b.pxMM)
		// Where readings scatter, or all lie to one side of the smooth edge, there is none to be smoothed.
		if apart := 0.12 + 0.5*b.pxMM; scatter[i] > apart || math.Abs(r.raw[i]-smooth[i]) > apart {
			r.sure[i] = false
		}
	}
	const noWallMM = 3.0 // a patch of light or dirt on a wall is shorter
	for i, no := range bridgeShort(noWall, int(noWallMM/b.spacing)+1) {
		r.sure[i] = r.sure[i] && !no
	}
	// A wall's foot can't be taken for the edge over a shorter stretch than the readings are smoothed over.
	const footMM = 1.5
	r.faint = bridgeShort(r.faint, int(footMM/b.spacing)+1)
	r.sure = bridgeShort(r.sure, int(1.0/b.spacing)+1)
	r.outline = b.moved(smooth)
	return r
}

const (
	leastStep   = 3    // see leastChange; for holes and thin parts
	mostSlackMM = 0.35 // an edge that leaves more room than this for its place is not measured
	// The same where only hue tells, and the standard uncertainty there: 0.02 to 0.07 mm RMS off in ray-traced photos.
	mostHueSlackMM, hueOnlyMM = 0.25, 0.06
	burntOut                  = 0.97 // of full scale, linear light: above it a pixel says nothing but "bright"
)

// leastChange is by how many spreads of the face an edge must change the brightness to be believed. A face under patchy dye
// has a spread of a third of its level, but the hole in it is dark; what shows through a gasket is not always.
func (m edgeModel) leastChange() float64 {
	if m.wallMM > 0 {
		return leastStep
	}
	return 1.5
}

// noise returns the variance of one averaged sample about its model, the median over the curve.
func (e *edgeScan) noise() float64 {
	var best []float64
	for i := range e.fits {
		f := &e.fits[i]
		m := math.Inf(1)
		for _, v := range f.sse {
			m = math.Min(m, v)
		}
		if f.samples > 8 && !math.IsInf(m, 1) {
			best = append(best, m/float64(f.samples-5))
		}
	}
	return math.Max(quantile(best, 0.5), 1e-8)
}

// noiseAt is the variance of a sample about the model at vertex i, where no place fits well, and tau2 at least.
func (e *edgeScan) noiseAt(i int, tau2 float64) float64 {
	return max(tau2, slices.Min(e.fits[i].sse)/float64(max(1, e.fits[i].samples-5)))
}

// minimum slides from grid place q to the least misfit next to it (at most four places) and interpolates by a parabola. It
// returns the place in grid steps, and whether there is a minimum at all.
func (e *edgeScan) minimum(i, q int) (x float64, ok bool) {
	f := e.fits[i].sse
	const slide = 4
	start := q
	for q > 0 && f[q-1] < f[q] && start-q < slide {
		q--
	}
	for q < e.k-1 && f[q+1] < f[q] && q-start < slide {
		q++
	}
	if q == 0 || q == e.k-1 {
		return float64(q), false
	}
	a, m, c := f[q-1], f[q], f[q+1]
	curv := a - 2*m + c
	if !(curv > 0) {
		return float64(q), false
	}
	return float64(q) + math.Max(-0.5, math.Min(0.5, 0.5*(a-c)/curv)), true
}

// leastEdgePx is the standard uncertainty of an edge that nothing else puts in doubt, in pixels.
const leastEdgePx = 0.15

// codingPx is the standard uncertainty at vertex i, in pixels, that a coarsely coded JPEG brings: an edge moves by what its
// coefficients are rounded by, over how steep it is. The share of the mean step that counts was found on ray-traced photos
// coded at quality 55 to 80.
func (r *edgeReading) codingPx(i int) float64 {
	const share, most, leastStep, gamma = 0.2, 1.0, 5.0, 2.2
	level := func(linear float64) float64 { return 255 * math.Pow(math.Max(linear, 0), 1/gamma) }
	step := math.Max(leastStep, math.Abs(level(r.behind[i])-level(r.onFace[i])))
	return math.Min(most, share*r.quantum/step)
}

// Behind a thin part's edge lie its cut wall and its contact shadow, often a few tenths of a mm wide. Pixels larger than resolvedMM
// blend them, and unresolvedShare of what they are larger by is in doubt.
const resolvedMM, unresolvedShare = 0.15, 0.5

// fitMM is the standard uncertainty at vertex i of the fit itself, mm: leastEdgePx for what is left of tone curve, sharpening
// and blur, or more where the strips leave tone curve and sharpening in doubt, and the photo's coding; or six tenths of the slack, which is what
// the slack was found worth on ray-traced photos of faces and gaskets.
func (r *edgeReading) fitMM(i int, sol *scalecard.Solution) float64 {
	tone := sol.EdgeSigmaPx(r.behind[i], r.onFace[i])
	if r.toneSigmaPx != nil {
		tone = r.toneSigmaPx[i]
	}
	px := math.Hypot(math.Max(leastEdgePx, tone), r.codingPx(i))
	return math.Max(px*r.pxMM, 0.6*r.slackMM[i])
}

// Of the fit's uncertainty a part is one error all along an edge, and the rest goes its own way every few mm (their squares add up to
// one). In ray-traced photos outlines stray by 0.02 to 0.03 mm about a mean that is off by 0.008, and strayings 4 mm apart hang
// together by a fifth; but the largest step is then corrected by more than it needs, so less is taken to stray.
const inCommon, alone = 0.75, 0.65

// uncertainty returns, at vertex i, the standard uncertainty that is independent a few mm along the edge, and that which no
// averaging along it removes, mm. The latter also has that of a rim, whose shape the light shows or hides; what a second opinion
// lies apart; what pixels too large for a thin part's wall and shadow blend; and where a wall hardly differs from the face, or from
// what is behind it, a share of its width: the edge may be the wall's foot.
func (r *edgeReading) uncertainty(i int, m edgeModel, sol *scalecard.Solution) (sigmaMM, biasMM float64) {
	fit := r.fitMM(i, sol)
	v := math.Hypot(inCommon*fit, m.rimSigmaMM)
	v = math.Hypot(v, r.apartMM[i])
	if m.wallMM > 0 {
		v = math.Hypot(v, unresolvedShare*math.Max(0, r.pxMM-resolvedMM))
	}
	if r.bridged != nil && r.bridged[i] {
		v = math.Max(v, bridgedMM)
	}
	if r.hueOnly[i] {
		v = math.Max(v, hueOnlyMM)
	}
	if r.hueApartMM != nil {
		v = math.Hypot(v, hueApartShare*r.hueApartMM[i])
	}
	if m.doubt {
		v = math.Hypot(v, 0.3*m.rimMM)
	}
	if r.rimmedMM != nil {
		v = math.Hypot(v, maybeRimShare*r.rimmedMM[i])
	}
	v = math.Hypot(v, softShare*m.softMM)
	if r.shadeMM != nil {
		v = math.Hypot(v, shadeShare*r.shadeMM[i])
	}
	if r.bareMM != nil {
		v = math.Hypot(v, bareShare*r.bareMM[i])
	}
	if m.beaded {
		v = math.Hypot(v, beadedMM)
	}
	if m.dyed {
		v = math.Hypot(v, dyedPx*r.pxMM)
		if r.lines != nil {
			v = math.Hypot(v, linePx*r.pxMM*r.lines[i])
		}
	}
	if m.lined {
		v = math.Hypot(v, linedMM)
	}
	if r.turn != nil {
		v = math.Hypot(v, cornerMM(r.turn[i]))
	}
	if r.faint[i] {
		v = math.Hypot(v, faintShare(r.wallKnown[i], r.hueTells != nil && r.hueTells[i])*r.wallMM[i])
	}
	return math.Hypot(r.sigmaMM[i], alone*fit), v
}

// hueApartShare is how much is in doubt of what hue and brightness differ by.
const hueApartShare = 0.6

// turns returns by how much a closed curve, anticlockwise, turns over 2 mm at every vertex, rad; less than 0 where it turns outward.
func turns(outline []geom.PointMM) []float64 {
	const halfMM = 1.0
	n := len(outline)
	spacing := geom.Outline(outline).PerimeterMM() / float64(n)
	k := min(max(1, int(halfMM/spacing+0.5)), n/2)
	inward := inwardNormals(outline)
	out := make([]float64, n)
	for i := range out {
		a, b := inward[(i-k+n)%n], inward[(i+k)%n]
		out[i] = math.Atan2(a.X*b.Y-a.Y*b.X, a.Dot(b))
	}
	return out
}

// cornerMM is the standard uncertainty of an edge where it turns so much over 2 mm, rad, mm. Profiles are averaged along the edge and their places
// smoothed, which cuts corners, and openings are round: where one turns outward it has often gone astray. In ray-traced photos edges that
// turned by 0.9 or more were 0.03 mm too far in, and 0.07 mm RMS off; those that turned outward by 0.1 or more, 0.1 mm.
func cornerMM(turn float64) float64 {
	if turn < 0 {
		return 0.5 * max(0, -turn-0.05)
	}
	return 0.14 * max(0, turn-0.6)
}

// faintShare is the standard uncertainty of an edge behind which the wall hardly shows, of the wall's width. In ray-traced photos such edges
// were 0.04 mm RMS off, of walls 0.3 to 1 mm wide, where the walls' looks are known or the hue tells face from bench, as a cut wall has the
// face's; and up to half a width else.
func faintShare(wallKnown, hueTells bool) float64 {
	switch {
	case wallKnown && hueTells:
		return 0.08
	case wallKnown, hueTells:
		return 0.15
	}
	return 0.5
}

// An edge that is blurred by more than the photo is, is a break too narrow to see: the face ends softer times that outside the place that
// one step fits, give or take softShare of it. A slope has 1.7 times, the steps at both sides of a chamfer's band half as bright as the face
// once, of a brighter one more.
const softer, softShare = 1.2, 0.7

// unrender moves the edge back by what the phone's curve and sharpening have moved it in the photo. That is known of a step between two levels;
// a thin part has its cut wall and a shadow at the edge.
func (r *edgeReading) unrender(m edgeModel, sol *scalecard.Solution) {
	if m.wallMM > 0 {
		return
	}
	r.toneSigmaPx = make([]float64, len(r.outline))
	move := make([]float64, len(r.outline))
	for i := range move {
		shift, sigma := sol.EdgeShiftPx(r.behind[i], r.onFace[i])
		if r.behind[i] > r.onFace[i] {
			shift = -shift
		}
		move[i], r.toneSigmaPx[i] = shift*r.pxMM, sigma
	}
	for i, d := range inwardNormals(r.outline) {
		r.outline[i] = r.outline[i].Add(d.Scale(move[i]))
	}
}

// soften moves the edge out by what its blur tells of its break.
func (r *edgeReading) soften(softMM float64) {
	if softMM == 0 {
		return
	}
	for i, d := range inwardNormals(r.outline) {
		r.outline[i] = r.outline[i].Sub(d.Scale(softer * softMM))
	}
}

// maybeRimShare is how much is in doubt of what a rim that may be there would move the edge by.
const maybeRimShare = 0.7

// rimmed tells how far every place lies from the edge that other has, of a model with a rim.
func (r *edgeReading) rimmed(other *edgeReading) {
	const (
		alongMM = 2.0
		leastMM = 0.12 // a narrower rim is wider than it looks, or not seen at all
	)
	ix := geom.NewIndex(geom.Outline(other.outline))
	r.rimmedMM = make([]float64, len(r.outline))
	for i, p := range r.outline {
		_, _, d := ix.Nearest(p)
		r.rimmedMM[i] = max(d, leastMM)
	}
	r.rimmedMM = medianAlong(r.rimmedMM, int(alongMM*float64(len(r.outline))/pathLength(r.outline)))
}

// beadedMM is the standard uncertainty of an edge beside which the face shows only in a slit before a bead begins.
const beadedMM = 0.05

// shadeShare is how much is in doubt of a shadow that was taken for the part, as it seems.
const shadeShare = 0.6

// shade says, at every vertex, how much of a shadow that looks like the part lies outside the edge, mm. One lies behind every edge that faces
// its way, past the wall, as wide as the holes show it: what of it is not seen between the edge at hand and the bench was taken for the part.
func (r *edgeReading) shade(b *band, m edgeModel) {
	const (
		usualMM = 0.15 // how far the widths of one shadow differ
		alongMM = 4.0
	)
	r.shadeMM = make([]float64, len(b.base))
	for i, d := range b.inward {
		width := m.shades.at(d)
		if width == 0 {
			continue
		}
		row := b.row(i)
		mean := func(from, to float64) float64 {
			var sum, n float64
			for j := max(0, int(b.index(from))); j <= min(b.n-1, int(b.index(to))); j++ {
				if y := float64(row[j]); y == y {
					sum, n = sum+greyLevel(y), n+1
				}
			}
			return sum / max(n, 1)
		}
		behind := r.raw[i] + m.width(b.lean[i]) + width // where the bench begins to be lit
		face, bench := greyLevel(r.onFace[i]), mean(behind+0.3, behind+1)
		seen := 0.0
		for j := max(0, int(b.index(r.raw[i]+b.pxMM))); j < b.n && b.s0+float64(j)*b.ds < behind; j++ {
			if f := (greyLevel(float64(row[j])) - face) / (bench - face); f > 0.5 {
				break
			}
			seen = b.s0 + float64(j)*b.ds - r.raw[i]
		}
		r.shadeMM[i] = max(0, behind-r.raw[i]-seen-usualMM)
	}
	r.shadeMM = medianAlong(r.shadeMM, int(alongMM/2/b.spacing))
}

// bareShare is how much of a bare band's width beside a dyed or rusty face's edge is in doubt.
const bareShare = 0.5

// bare finds where the dye or the rust of a face ends before the edge does, mm at every vertex. A band along the edge may be metal without
// either, and then is face; or the opening's wall, lit.
func (r *edgeReading) bare(b *band) {
	const (
		less    = 0.5 // of the dye's colour further out
		mostMM  = 1.0
		alongMM = 3.0
	)
	if b.hue == nil {
		return
	}
	r.bareMM = make([]float64, len(b.base))
	chroma := func(i int, from, to float64) float64 {
		var sum, n float64
		for j := max(0, int(b.index(from))); j <= min(b.n-1, int(b.index(to))); j++ {
			at := 2 * (i*b.n + j)
			if c := math.Hypot(float64(b.hue[at]), float64(b.hue[at+1])); c == c {
				sum, n = sum+c, n+1
			}
		}
		return sum / max(n, 1)
	}
	px := b.pxMM
	for i := range r.bareMM {
		edge := r.raw[i]
		far := chroma(i, edge-1.6, edge-max(0.7, 5*px))
		if far < coloured || chroma(i, edge-2.2*px, edge-0.8*px) > less*far {
			continue
		}
		mm := 2 * px
		for mm < mostMM && chroma(i, edge-mm-px, edge-mm) < less*far {
			mm += px
		}
		r.bareMM[i] = mm
	}
	r.bareMM = medianAlong(r.bareMM, int(alongMM/2/b.spacing))
}

// unlessRusty marks where a wide band without rust lies along a rusty face's edge: rust ends anywhere, but a lit wall, which has none, begins where the
// face ends. On drawn rusty faces there was no such band; on a ray-traced one it was the wall each time.
func (r *edgeReading) unlessRusty() {
	const wideMM, marginMM = 0.3, 1.0
	n := len(r.sure)
	margin := int(marginMM * float64(n) / pathLength(r.outline))
	for i, mm := range r.bareMM {
		if mm > wideMM {
			for k := i - margin; k <= i+margin; k++ {
				r.sure[(k+n)%n] = false
			}
		}
	}
}

// linePx is by how much a line that is scribed into the dye right beside the edge may move the edge, in pixels.
const linePx = 0.8

// scribed tells at every vertex how much brighter than the face a line or a glint right beside the edge is, 0 for nothing of the kind, 1 for half as
// bright again or more.
func (r *edgeReading) scribed(b *band) {
	const nearPx, clearPx, some, much = 3.5, 0.3, 0.12, 0.5
	r.lines = make([]float64, len(b.base))
	for i := range r.lines {
		row := b.row(i)
		var most float64
		for j := max(0, int(b.index(r.raw[i]-nearPx*b.pxMM))); j <= min(b.n-1, int(b.index(r.raw[i]-clearPx*b.pxMM))); j++ {
			most = math.Max(most, float64(row[j]))
		}
		if over := most/r.onFace[i] - 1; over > some {
			r.lines[i] = math.Min(over/much, 1)
		}
	}
}

// linedMM is the standard uncertainty of the edge of a ring that is much like what is behind it.
const linedMM = 0.09

// compare holds the reading against a second one of the same edge. usualMM is how far the two may lie apart for reasons of
// their own, insideMM how much further inside the second may lie, as a rim that is known to be there passes for the face, and bleedPx how far
// the second one may lie inside the opening wherever it is dark there, in pixels: colour is stored for every other pixel, and that of a dyed
// face runs over into the dark. Into a lit wall it does not.
func (r *edgeReading) compare(other *geom.Index, usualMM, insideMM, bleedPx float64) {
	const (
		notTrustedMM = 0.2
		dark         = 0.25 // of the face's light
	)
	n := len(r.outline)
	r.apartMM = make([]float64, n)
	isDark := func(i int) bool { return r.behind[i] < dark*r.onFace[i] }
	var inDark []float64
	for i, p := range r.outline {
		r.apartMM[i], _, _ = other.SignedDistMM(p)
		if isDark(i) {
			inDark = append(inDark, r.apartMM[i])
		}
	}
	usual := min(max(quantile(inDark, 0.5), 0), bleedPx*r.pxMM)
	for i, d := range r.apartMM {
		shift := usual
		if !isDark(i) {
			shift = 0
		}
		r.apartMM[i] = max(0, d-shift-insideMM-usualMM, -d-usualMM)
		if r.apartMM[i] > notTrustedMM+0.5*r.pxMM-0.5*shift {
			r.sure[i] = false
		}
	}
}

// bridge draws the edge along the second opinion, where the fit has none of its own: as far from it as the fit lies where
// both are sure, for regions put an edge a little to the dark side. Where the hue tells face from bench, that is a reading
// too, if a coarse one; elsewhere what is bridged stays unsure.
func (r *edgeReading) bridge(other *geom.Index) {
	var usual []float64
	for i, p := range r.outline {
		if r.sure[i] {
			d, _, _ := other.SignedDistMM(p)
			usual = append(usual, d)
		}
	}
	if 2*len(usual) < len(r.outline) {
		return
	}
	shift := quantile(usual, 0.5)
	normals := inwardNormals(r.outline)
	const probe = 0.05 // mm, to see which way along the normal the distance grows
	move := make([]float64, len(r.outline))
	for i, p := range r.outline {
		if r.sure[i] {
			continue
		}
		d, _, _ := other.SignedDistMM(p)
		e, _, _ := other.SignedDistMM(p.Add(normals[i].Scale(probe)))
		if slope := (e - d) / probe; math.Abs(slope) > 0.5 {
			move[i] = (shift - d) / slope
		}
	}
	r.bridged = make([]bool, len(r.outline))
	// Single places that would go their own way do not.
	for i, v := range medianAlong(move, 5) {
		r.outline[i] = r.outline[i].Add(normals[i].Scale(v))
		if !r.sure[i] && r.hueTells != nil && r.hueTells[i] {
			r.sure[i], r.bridged[i] = true, true
		}
	}
}

// stray marks what lies farther from the coarse curve than an edge can: outward, a wall's width and a contact shadow in a
// thin part, a lit tunnel wall in a thick one; inward, a bead that the coarse curve has taken for the edge.
func (r *edgeReading) stray(coarse *geom.Index, m edgeModel) {
	const beadMM, shadowMM, greyShadowMM, tunnelMM = 3.5, 3.0, 1.5, 2.5
	for i, p := range r.outline {
		d, _, _ := coarse.SignedDistMM(p)
		inside := coarse.Contains(p)
		out := tunnelMM
		if m.wallMM > 0 {
			out = r.wallMM[i] + greyShadowMM
			if r.hueTells != nil && r.hueTells[i] {
				out = r.wallMM[i] + shadowMM
			}
		}
		if d = math.Abs(d); inside && d > beadMM || !inside && d > out {
			r.sure[i] = false
		}
	}
}

// leftBead marks what is not as far from the bead round the opening, or from the outer side of the ring that lines it, as the rest of the edge,
// which is along: beads and rings follow their openings (common practice, no source), give or take how they are laid on. It took a shadow for the edge, or what looks like the face for the face.
func (r *edgeReading) leftBead(along *geom.Index) {
	const (
		laidOnMM = 0.4
		flankMM  = 1.5 // on the way there
	)
	n := len(r.outline)
	flank := int(flankMM / vertexSpacing(r.pxMM))
	left := make([]bool, n)
	for i, p := range r.outline {
		d, _, _ := along.SignedDistMM(p)
		left[i] = math.Abs(d) > laidOnMM
	}
	for i := range left {
		if left[i] {
			for k := -flank; k <= flank; k++ {
				r.sure[(i+k+n)%n] = false
			}
		}
	}
}

// bridgedMM is the standard uncertainty of an edge that only regions of hue show: 0.07 to 0.15 mm RMS off in ray-traced photos.
const bridgedMM = 0.12

// marks marks where an edge of a dark port goes out along something on the face, a milling mark, grain or a shadow's rim: what is behind the
// edge there is nearly as bright as the face, though it is dark behind the rest, and the edge turns outward on its way there. A lit wall is
// as bright, but the edge keeps its course, and openings are round: they turn inward.
func (r *edgeReading) marks() {
	const (
		dark     = 0.4  // of the face's light, behind most of the edge
		bright   = 0.6  // and where it may be no opening
		outward  = 0.15 // radians; what an edge turns outward
		acrossMM = 2.5  // over so much before and behind
		besideMM = 2.0  // of either end of the stretch
		gapMM    = 1.0  // between two stretches of one
		marginMM = 1.5  // marked on either side
	)
	n := len(r.outline)
	share := make([]float64, n)
	for i := range share {
		share[i] = r.behind[i] / r.onFace[i]
	}
	if quantile(slices.Clone(share), 0.5) > dark {
		return
	}
	spacing := pathLength(r.outline) / float64(n)
	count := func(mm float64) int { return max(1, int(mm/spacing)) }
	across, beside, gap, margin := count(acrossMM), count(besideMM), count(gapMM), count(marginMM)
	start := indexOfLeast(share) // runs begin and end in the dark
	at := func(k int) int { return (start + k + 4*n) % n }
	turnsOutward := func(k int) bool {
		p := r.outline[at(k)]
		from, to := p.Sub(r.outline[at(k-across)]), r.outline[at(k+across)].Sub(p)
		return math.Atan2(from.Cross(to), from.Dot(to)) < -outward
	}
	for k := 0; k < n; k++ {
		if share[at(k)] <= bright {
			continue
		}
		from, last := k, k
		for ; k < n && k <= last+gap; k++ {
			if share[at(k)] > bright {
				last = k
			}
		}
		astray := false
		for _, end := range []int{from, last} {
			for a := end - beside; a <= end+beside; a++ {
				astray = astray || turnsOutward(a)
			}
		}
		if astray {
			for a := from - margin; a <= last+margin; a++ {
				r.sure[at(a)] = false
			}
		}
	}
}

// cliffs marks stretches that stand out from the rest of the curve between steep flanks. A port has corners and high spots, but
// its edge never turns across itself; a search that has gone astray along a stain or a shadow's rim does.
func (r *edgeReading) cliffs() {
	const (
		smoothMM = 4.0  // standard deviation of the curve to compare with
		steep    = 1.0  // mm away from it a mm along it; a sharp corner reaches 0.7
		reachMM  = 25.0 // how far apart the two flanks of one stretch may be
		marginMM = 2.0  // marked on either side
	)
	n := len(r.outline)
	spacing := pathLength(r.outline) / float64(n)
	base := smoothClosed(r.outline, spacing, smoothMM)
	normals := inwardNormals(base)
	off := make([]float64, n)
	for i, p := range r.outline {
		off[i] = p.Sub(base[i]).Dot(normals[i])
	}
	flank := make([]int, n) // +1 where the edge goes in, -1 where it goes out
	for i := range off {
		if d := (off[(i+1)%n] - off[(i+n-1)%n]) / (2 * spacing); math.Abs(d) > steep {
			flank[i] = int(math.Copysign(1, d))
		}
	}
	reach, margin := int(reachMM/spacing), int(marginMM/spacing)
	mark := func(from, to int) {
		for a := from - margin; a <= to+margin; a++ {
			r.sure[(a+2*n)%n] = false
		}
	}
	for i, f := range flank {
		if f == 0 {
			continue
		}
		mark(i, i)
		for a := 1; a <= min(reach, n/3); a++ {
			if flank[(i+a)%n] == -f {
				mark(i, i+a)
				break
			}
		}
	}
}

// slack returns half the width, in mm, of the places round grid place q that fit nearly as well as the best there: no
// model is exact, so a misfit a fifth above the least, and four noise variances, is no reason to prefer one place to another.
func (e *edgeScan) slack(i, q int, tau2 float64) float64 {
	f := e.fits[i].sse
	for q > 0 && f[q-1] < f[q] {
		q--
	}
	for q < e.k-1 && f[q+1] < f[q] {
		q++
	}
	limit := 1.2*f[q] + 4*tau2
	a, b := q, q
	for a > 0 && f[a-1] < limit {
		a--
	}
	for b < e.k-1 && f[b+1] < limit {
		b++
	}
	// Between grid places the misfit is nearly a parabola; half a step at either end.
	return 0.5 * (float64(b-a) + 1) * e.step
}

// smoothing is the standard deviation of the window, mm, in which the readings along an edge are smoothed: smoothMM or thinSmoothMM, or
// more where pixels are large, for the grain of what lies behind an edge and the blocks of a JPEG are as many pixels long as ever.
func (m edgeModel) smoothing(pxMM float64) float64 {
	const px = 4
	if m.thin() {
		return max(thinSmoothMM, px*pxMM)
	}
	return max(smoothMM, px*pxMM)
}

// thin tells whether the edge is that of a thin part with the bench right behind its cut wall.
func (m edgeModel) thin() bool { return m.wallMM > 0 && !m.shadow }

// thinSmoothMM is smoothMM for a thin part: its edge is punched or cut in one go, and grain and shadows lie right behind it. With 0.7 the
// worst place of an edge was 0.11 mm off in the median of 170 drawn gaskets' openings and 0.15 of 89 ray-traced ones, with 1.1 0.09 and
// 0.12; 1.6 rounds off corners. Half a mm of height comes through whole if it is 12 mm wide and with 0.475 mm if 8; what is 4 mm wide does
// not, and is marked as unsure where the readings lie off the smooth edge.
const thinSmoothMM = 1.1

// smoothMM is the standard deviation of the window in which the readings along an edge are smoothed by a local
// parabola; a parabola follows a bump 8 mm wide and 0.5 mm high to 0.01 mm at this width.
const smoothMM = 0.7

// corrMM is the length along the edge over which smoothed readings hang together: the averaging of the profiles and
// the smoothing together.
const corrMM = 3.0

// robustAlong smooths readings along the closed curve by local parabolas with Tukey weights, and returns with them the
// standard uncertainty of the smoothed value, from the scatter of the readings about it.
//
// Where readings scatter by more than plainScatterMM, in a contact shadow say, the window widens with the scatter, up to widest
// times: a bump that is narrower does not show there anyway.
func robustAlong(raw []float64, sure []bool, spacing, smoothMM float64) (smooth, uncertainty []float64) {
	const plainScatterMM, widest = 0.02, 7.0
	n := len(raw)
	k := max(3, int(math.Ceil(2.5*smoothMM/spacing)))
	smooth = medianAlong(raw, k/2)
	uncertainty = make([]float64, n)
	resid := make([]float64, n)
	for range 3 {
		for i := range raw {
			resid[i] = math.Abs(raw[i] - smooth[i])
		}
		scale := medianAlong(resid, int(8/spacing))
		next := make([]float64, n)
		for i := range raw {
			var s0, s1, s2, s3, s4, t0, t1, t2 float64
			cut := 4.685*1.4826*scale[i] + 1e-4
			width := smoothMM * math.Max(1, math.Min(1.4826*scale[i]/plainScatterMM, widest))
			k := min(max(3, int(math.Ceil(2.5*width/spacing))), (n-1)/2)
			for a := -k; a <= k; a++ {
				j := (i + a + n) % n
				u := resid[j] / cut
				if u >= 1 {
					continue
				}
				x := float64(a) * spacing / width
				w := math.Exp(-x*x/2) * (1 - u*u) * (1 - u*u)
				if !sure[j] {
					w *= 0.05
				}
				s0 += w
				s1 += w * x
				s2 += w * x * x
				s3 += w * x * x * x
				s4 += w * x * x * x * x
				t0 += w * raw[j]
				t1 += w * x * raw[j]
				t2 += w * x * x * raw[j]
			}
			v, ok := parabolaAtZero(s0, s1, s2, s3, s4, t0, t1, t2)
			if !ok {
				v = smooth[i]
			}
			next[i] = v
			// The local parabola leaves about a third of the scatter's variance: its effective number of readings, less what
			// overlapping profiles share.
			uncertainty[i] = 0.6 * 1.4826 * scale[i]
		}
		smooth = next
	}
	return smooth, uncertainty
}

// parabolaAtZero solves the weighted normal equations of a parabola and returns its value at 0.
func parabolaAtZero(s0, s1, s2, s3, s4, t0, t1, t2 float64) (float64, bool) {
	det := s0*(s2*s4-s3*s3) - s1*(s1*s4-s2*s3) + s2*(s1*s3-s2*s2)
	if !(math.Abs(det) > 1e-9*s0*s0*s0) {
		return 0, false
	}
	return (t0*(s2*s4-s3*s3) - s1*(t1*s4-t2*s3) + s2*(t1*s3-t2*s2)) / det, true
}

// bridgeShort makes runs of sure or unsure readings shorter than k the same as what lies round them.
func bridgeShort(sure []bool, k int) []bool {
	n := len(sure)
	out := make([]bool, n)
	for i := range sure {
		c := 0
		for a := -k; a <= k; a++ {
			if sure[(i+a+n)%n] {
				c++
			}
		}
		out[i] = 2*c > 2*k+1
	}
	return out
}

// untangle takes out the loops of an edge that crosses itself, in noise or where a reading went astray: the way between the two crossing
// stretches is drawn straight and marked. A loop of more than mostShare of the edge is no slip and stays, for whoever compares to refuse.
func (r *edgeReading) untangle() {
	const mostShare, marginMM = 0.2, 1.0
	n := len(r.outline)
	if n < 8 {
		return
	}
	most := int(mostShare * float64(n))
	margin := int(marginMM/(pathLength(r.outline)/float64(n))) + 1
	at := func(i int) geom.PointMM { return r.outline[i%n] }
	for i := 0; i < n; i++ {
		for k := most; k >= 2; k-- { // the widest loop first: it may hold others
			if !segmentsCross(at(i), at(i+1), at(i+k), at(i+k+1)) {
				continue
			}
			from, to := at(i), at(i+k+1)
			for j := 1; j <= k; j++ {
				r.outline[(i+j)%n] = from.Add(to.Sub(from).Scale(float64(j) / float64(k+1)))
			}
			for j := -margin; j <= k+1+margin; j++ {
				r.sure[(i+j+2*n)%n] = false
			}
			break
		}
	}
}

// segmentsCross tells whether the segments ab and cd cross between their ends.
func segmentsCross(a, b, c, d geom.PointMM) bool {
	side := func(p, q, x geom.PointMM) float64 { return q.Sub(p).Cross(x.Sub(p)) }
	return side(a, b, c)*side(a, b, d) < 0 && side(c, d, a)*side(c, d, b) < 0
}
