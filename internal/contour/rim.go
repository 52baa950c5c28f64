package contour

import (
	"cmp"
	"math"
	"slices"
	"sync"

	"portmatch/internal/geom"
)

// arcMM is the length of edge that is averaged to one profile when rims are sought: grain and milling marks cancel out, light and
// lean hardly change.
const arcMM = 8.0

// arcs are profiles across all openings of a face, each the mean over arcMM of edge with its rows laid edge on edge. A single
// profile's grain hides a rim of the face's own brightness; its mean over an arc shows it.
type arcs struct {
	band          []*band // one an opening
	level, spread [][]float64
	stepPx        float64 // between the places of an edge that are tried
}

// newArcs averages the profiles across the openings at bases, whose edges are found with the sharp model m.
func (s *surface) newArcs(bases [][]geom.PointMM, m edgeModel) *arcs {
	a := &arcs{make([]*band, len(bases)), make([][]float64, len(bases)), make([][]float64, len(bases)), 0.125}
	parallelItems(len(bases), func(i int) {
		b, level, spread := s.profiles(bases[i], edgeModel{rimMM: 1}, rimReachMM)
		// Neighbours share most of their pixels.
		b, level, spread = b.every(2), everyOf(level, 2), everyOf(spread, 2)
		e := m.scan(b, rimReachMM, 0.25*b.pxMM, level, spread)
		edge := make([]float64, len(b.base))
		for k := range e.fits {
			edge[k] = e.lo + e.step*float64(indexOfLeast(e.fits[k].sse))
		}
		edge = smoothOffsets(medianAlong(edge, 5), b.spacing, 1)
		a.band[i], a.level[i], a.spread[i] = b.averaged(edge, level, spread)
	})
	return a
}

// rimReachMM is how far from where regions have the edge it is sought.
const rimReachMM = 0.5

// averaged returns the mean rows over arcs of about arcMM, with the edge of every row, which is at edge mm, moved to 0.
func (b *band) averaged(edge, level, spread []float64) (mean *band, meanLevel, meanSpread []float64) {
	o := *b
	o.base, o.inward, o.lean, o.pixels, o.rows, o.hue = nil, nil, nil, nil, nil, nil
	n := len(b.base)
	count := max(4, int(float64(n)*b.spacing/arcMM))
	sum, seen := make([]float64, b.n), make([]float64, b.n)
	for a := range count {
		from, to := a*n/count, (a+1)*n/count
		clear(sum)
		clear(seen)
		var lean, l, s float64
		for i := from; i < to; i++ {
			row, shift := b.row(i), edge[i]/b.ds
			for j := range sum {
				x := float64(j) + shift
				k := int(math.Floor(x))
				if k < 0 || k+1 >= b.n {
					continue
				}
				f := x - float64(k)
				if y := (1-f)*float64(row[k]) + f*float64(row[k+1]); y == y {
					sum[j] += y
					seen[j]++
				}
			}
			lean, l, s = lean+b.lean[i], l+level[i], s+spread[i]
		}
		rows := float64(to - from)
		for j := range sum {
			v := math.NaN()
			if seen[j] > rows/2 {
				v = sum[j] / seen[j]
			}
			o.rows = append(o.rows, float32(v))
		}
		middle := (from + to) / 2
		o.base, o.inward, o.pixels = append(o.base, b.base[middle]), append(o.inward, b.inward[middle]), append(o.pixels, b.pixels[middle])
		o.lean, meanLevel, meanSpread = append(o.lean, lean/rows), append(meanLevel, l/rows), append(meanSpread, s/rows)
	}
	o.spacing = float64(n) * b.spacing / float64(count)
	return &o, meanLevel, meanSpread
}

// each calls f with the best fit of m to every arc: its profile's number in its opening, and the place in its scan.
func (a *arcs) each(m edgeModel, f func(opening, arc int, fit *profileFit, at int)) {
	// A sharp edge is found at a rim's inner side in some arcs and at its outer side in others.
	const withinMM = 0.75
	for i, b := range a.band {
		e := m.scan(b, withinMM, a.stepPx*b.pxMM, a.level[i], a.spread[i])
		for k := range e.fits {
			f(i, k, &e.fits[k], indexOfLeast(e.fits[k].sse))
		}
	}
}

// misfits are the sums of squares that m leaves in every arc, in units of the face's spread, so that every opening has its say.
func (a *arcs) misfits(m edgeModel) (v []float64) {
	a.each(m, func(i, k int, fit *profileFit, at int) {
		v = append(v, fit.sse[at]/(a.spread[i][k]*a.spread[i][k])/float64(len(a.level[i])))
	})
	return v
}

// misfit is the sum of what m leaves in all arcs that can be fitted.
func (a *arcs) misfit(m edgeModel) float64 { return finiteSum(a.misfits(m)) }

// finiteSum is the sum of what is not infinite.
func finiteSum(values []float64) (sum float64) {
	for _, v := range values {
		if !math.IsInf(v, 1) {
			sum += v
		}
	}
	return sum
}

// looks returns the share of the arcs where the rim is brighter than the face by more than glints on it are, and the wave that its
// brightness, less the face's and over it, makes round the openings by the angle of the inward normal, as it faces the light and turns
// away; nil for too few arcs that say anything. Arcs where nearly all of the change is at the first transition look as sharp edges do, and
// say nothing.
func (a *arcs) looks(m edgeModel) (bright float64, light *wave) {
	const brighter, most, fewest = 0.15, 0.75, 8
	var angle, change []float64
	var all float64
	a.each(m, func(i, k int, fit *profileFit, at int) {
		c := fit.first[at] / a.level[i][k]
		all++
		if c > brighter {
			bright++
		}
		if !(fit.first[at]/(fit.first[at]+fit.second[at]) <= most) { // nor where there is no change at all
			return
		}
		n := a.band[i].inward[k]
		angle, change = append(angle, math.Atan2(n.Y, n.X)), append(change, c)
	})
	if len(change) >= fewest {
		light = fitWave(angle, change)
	}
	return bright / all, light
}

// light returns the wave that the brightness of the rim of m, less the face's and over it, makes round the openings; nil where too few arcs
// show it clearly. A rim that is all but as dark as what lies behind it, or looks like the face, moves the edge by its width: arcs in which the one
// doesn't fit far better than the other say nothing, but for what is usual.
func (a *arcs) light(m edgeModel) *wave {
	const apart, better, fewest, agreeing = 0.35, 3.0, 8, 0.25
	var angle, change, all []float64
	a.each(m, func(i, k int, fit *profileFit, at int) {
		all = append(all, fit.first[at]/a.level[i][k])
		share := func(q int) float64 { return fit.first[q] / (fit.first[q] + fit.second[q]) }
		for q, v := range fit.sse {
			if v < better*fit.sse[at] && !(math.Abs(share(q)-share(at)) <= apart) {
				return
			}
		}
		n := a.band[i].inward[k]
		angle, change = append(angle, math.Atan2(n.Y, n.X)), append(change, fit.first[at]/a.level[i][k])
	})
	if len(change) >= fewest {
		return fitWave(angle, change)
	}
	// Most of the others may agree all the same, and tell what is usual.
	usual := quantile(slices.Clone(all), 0.5)
	for k := range all {
		all[k] = math.Abs(all[k] - usual)
	}
	if scatter := 1.4826 * quantile(all, 0.5); scatter < agreeing {
		return &wave{terms: [5]float64{usual}, scatter: scatter}
	}
	return nil
}

// rim is the rounding or chamfer that a face's openings have.
type rim struct {
	mm, sigmaMM float64 // its size and the standard uncertainty of that; 0 for a sharp edge
	chamfer     bool    // it is as wide as it looks
	// maybeMM is the size of one that the profiles neither show nor rule out; 0 where mm is not, or where there is no such doubt.
	maybeMM float64
	light   *wave // see arcs.light and arcs.looks
}

// rim finds what rounding or chamfer the openings' edges have. m is the sharp edge with the photo's blur.
//
// A chamfer is one bright or dark band, and as wide as it looks. The outermost part of a rounding hardly leans and may look like the
// face: drawn ones were 0.8 to 2 times as wide as they looked. But in ray-traced photos of shining ones the edge was nearest where the
// looks have it. A slope in the first transition's place fits chamfers wider than 2 pixels more than twice as badly, roundings
// up to 1.7 times as badly.
func (a *arcs) rim(m edgeModel) rim {
	const (
		// How many times as badly as two steps a slope fits: a chamfer, and what is one if the steps are so far apart that they can't pass for a slope.
		chamfered, notSloping = 1.9, 1.2
		leastApartPx          = 2.5
		// A rim looks as many times as wide at most where more of what lies behind it is looked at: 1.2 times is the most of 28, 2.1 was a tunnel's wall.
		mostWider = 1.5
	)
	m.sigmaMM = least(geometricSteps(0.5*m.sigmaMM, 1.7*m.sigmaMM, 1.15), func(x float64) float64 { t := m; t.sigmaMM = x; return a.misfit(t) })
	slope := m
	slope.rounded = true
	slopeMisfit := sync.OnceValue(func() float64 { _, misfit := a.rimmed(slope, 0); return misfit })
	even, isEven := a.evenRim(m)
	if isEven && slopeMisfit() > chamfered*a.misfit(even) {
		return a.chamfer(even)
	}
	step, stepMisfit := a.rimmed(m, 0)
	bright, light := a.looks(step)
	if a.believed(m, step, bright, light) {
		fit := a.asWideAsItLooks(m, step)
		switch {
		case fit.rimMM > mostWider*step.rimMM:
		case slopeMisfit() > chamfered*stepMisfit:
			return rim{mm: fit.rimMM, sigmaMM: 0.12 * fit.rimMM, chamfer: true, light: light}
		default:
			return rim{mm: fit.rimMM, sigmaMM: 0.3 * fit.rimMM, light: light}
		}
	}
	if isEven && even.rimMM > leastApartPx*a.band[0].pxMM && slopeMisfit() > notSloping*a.misfit(even) {
		return a.chamfer(even)
	}
	if a.doubted(m, step, stepMisfit, light) {
		return rim{maybeMM: step.rimMM, light: light}
	}
	return rim{}
}

// chamfer is the one that even describes. Drawn and ray-traced ones were 3 % wider than they looked on average, and 6 % at most. Where nothing is known of
// the light, as on a rusty one, an edge here and there may be a width off.
func (a *arcs) chamfer(even edgeModel) rim {
	const sure, unlit = 0.06, 0.2
	r := rim{mm: even.rimMM, sigmaMM: sure * even.rimMM, chamfer: true, light: a.light(even)}
	if r.light == nil {
		r.sigmaMM = unlit * even.rimMM
	}
	return r
}

// believed tells whether the rim of step is one, by the share of arcs that are bright and the light that they show.
//
// A second transition always fits a little better than one step, as it splits the one in two, and better than a sharpened one where a
// tunnel's wall shows. But a rim is brighter than the face where it faces the light and darker where it turns away. The gain times
// the share of bright rim stood under 0.4 on sharp edges without dye, ray-traced and drawn, and over 0.7 on rims that shine; the
// gain's square times the wave stood under 2 on 205 drawn sharp edges and over 7 on 7 of 12 drawn rims of 0.1 to 0.5 mm. A strong wave is one of 13 that
// a sharp edge had, too, but with a gain of 0.07.
func (a *arcs) believed(sharp, step edgeModel, bright float64, light *wave) bool {
	const believedBright, believedWave, strongWave = 0.6, 5, 4.5
	const leastRimMM = 0.09 // narrower ones can't be told from a misjudged blur
	waves, with := light.height(), a.misfits(step)
	gains := func(without []float64) bool {
		gain := mostArcsGain(without, with)
		return step.rimMM > leastRimMM && gain > leastRimGain && (waves > strongWave || gain*max(bright/believedBright, gain*waves/believedWave) > 1)
	}
	least := a.misfits(sharp)
	if !gains(least) {
		return false
	}
	for _, t := range sharp.sharpened() {
		if v := a.misfits(t); finiteSum(v) < finiteSum(least) {
			least = v
		}
	}
	return gains(least)
}

// leastRimGain is what a rim gains at least; see mostArcsGain. Waves that go round sharp edges with a mark or two beside them gain less.
const leastRimGain = 0.25

// mostArcsGain is by how much less with leaves than without, over what it leaves, in all arcs but the tenth that gain most: a milling mark along an edge makes
// that of a few arcs seem far off, and the sum over all of them with it.
func mostArcsGain(without, with []float64) float64 {
	var order []int
	for k, v := range without {
		if !math.IsInf(v, 1) && !math.IsInf(with[k], 1) {
			order = append(order, k)
		}
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(without[a]-with[a], without[b]-with[b]) })
	var sharp, rimmed float64
	for _, k := range order[:len(order)-len(order)/10] {
		sharp, rimmed = sharp+without[k], rimmed+with[k]
	}
	return sharp/rimmed - 1
}

// asWideAsItLooks fits the width of step anew, with the blur of the photo at least: what sharpening makes steep passes for sharper than the photo
// is, and the rim then for wider than it looks. All widths see the same samples.
func (a *arcs) asWideAsItLooks(m, step edgeModel) edgeModel {
	const asBlurred, leastLookMM = 0.95, 0.35
	m.lookMM = max(leastLookMM, 1.5*step.rimMM)
	fit, _ := a.rimmed(m, asBlurred*m.blurMM)
	return fit
}

// doubted tells whether a rim that is not believed in may be there all the same. One that looks like the face here and not there, or is not as wide
// everywhere, leaves a high wave, or a low one and arcs of which each has a second transition somewhere: so it is on five of 121 faces with
// sharp edges, ray-traced and drawn, and on five of nine with rims that are not believed in. Without any wave the second transitions
// alone say nothing: four in ten drawn faces with sharp edges have them.
func (a *arcs) doubted(sharp, step edgeModel, stepMisfit float64, light *wave) bool {
	const doubtfulWave, leastWave, leastGain, doubtfulGain = 2.5, 0.8, 1.0, 2.0
	waves := light.height()
	return waves > doubtfulWave || waves > leastWave && a.misfit(sharp)/stepMisfit-1 > leastGain && a.ownGain(sharp, step) > doubtfulGain
}

// evenRim looks for a rim as wide in one arc as in all others: a lit wall's or a shadow's second transition is at any distance from the edge. The
// share of what is gained that one width gains was 0.81 at least for 16 chamfers of 0.18 to 0.48 mm, ray-traced and drawn, 0.74 at most on 180 faces
// with sharp edges, and 0.66 to 0.81 for roundings.
func (a *arcs) evenRim(sharp edgeModel) (even edgeModel, ok bool) {
	const leastMM, mostMM, ratio, coarse = 0.1, 0.75, 1.15, 1.35
	const leastShare, leastGain, hardly = 0.78, 0.5, 0.74
	if c := a.every(2).oneWidth(sharp, geometricSteps(leastMM, mostMM, coarse)); c.share < hardly {
		return even, false
	}
	widths := geometricSteps(leastMM, mostMM, ratio)
	c := a.oneWidth(sharp, widths)
	if c.share < leastShare || c.gain < leastGain || c.at == 0 || c.at == len(widths)-1 {
		return even, false
	}
	even = sharp
	even.sigmaMM, even.lookMM = c.sigmaMM, widths[c.at]
	even.rimMM = least(geometricSteps(widths[c.at]/ratio, widths[c.at]*ratio*ratio, 1.05), func(x float64) float64 { t := even; t.rimMM = x; return a.misfit(t) })
	even.lookMM = 0
	return even, a.faceOutside(even)
}

// oneWidth is the width of a rim that gains most over all arcs.
type oneWidth struct {
	at      int     // its place among those that were tried
	sigmaMM float64 // the blur with it
	gain    float64 // by how much better it fits than a sharp edge, the logarithm, on average over the arcs
	share   float64 // of the same with the best width in each arc
}

// oneWidth tries rims of the given widths. For every width the model with a rim and that without see the same samples, as otherwise what lies
// deeper counts against the rim only.
func (a *arcs) oneWidth(sharp edgeModel, widths []float64) oneWidth {
	const worst, best = 0.5, 20.0 // of a single arc's gains; better ones say no more
	gains, blur := make([][]float64, len(widths)), make([]float64, len(widths))
	parallelItems(len(widths), func(i int) {
		fit := func(t edgeModel, blurs ...float64) (v []float64, sigmaMM float64) {
			lowest := math.Inf(1)
			for _, x := range blurs {
				t.sigmaMM = x * sharp.sigmaMM
				misfits := a.misfits(t)
				if sum := finiteSum(misfits); v == nil || sum < lowest {
					v, lowest, sigmaMM = misfits, sum, t.sigmaMM
				}
			}
			return v, sigmaMM
		}
		t := sharp
		t.lookMM = widths[i]
		without, _ := fit(t, 0.7, 0.85, 1, 1.2)
		t.rimMM = widths[i]
		with, sigmaMM := fit(t, 0.5, 0.65, 0.8, 1)
		blur[i], gains[i] = sigmaMM, make([]float64, len(without))
		for k, v := range without {
			if g := v / with[k]; g == g {
				gains[i][k] = math.Log(min(max(g, worst), best))
			}
		}
	})
	var one oneWidth
	var own float64
	for k := range gains[0] {
		most := 0.0
		for i := range gains {
			most = max(most, gains[i][k])
		}
		own += most / float64(len(gains[0]))
	}
	for i, g := range gains {
		var mean float64
		for _, v := range g {
			mean += v / float64(len(g))
		}
		if mean > one.gain {
			one = oneWidth{at: i, sigmaMM: blur[i], gain: mean, share: mean / own}
		}
	}
	return one
}

// faceOutside tells whether in most arcs what lies outside the rim of m looks more like the face than the rim does. Beside a line scribed round
// the opening it is the other way round.
func (a *arcs) faceOutside(m edgeModel) bool {
	const leastChange = 0.1 // of the face's level, at the rim's outer side
	outside, inside := 0, 0
	a.each(m, func(i, k int, fit *profileFit, at int) {
		face, level, first := a.level[i][k], fit.level[at], fit.first[at]
		switch {
		case math.Abs(first) < leastChange*face:
		case math.Abs(level-face) < math.Abs(level+first-face):
			outside++
		default:
			inside++
		}
	})
	return outside > inside
}

// every returns every k-th arc, with half as many places tried.
func (a *arcs) every(k int) *arcs {
	o := &arcs{stepPx: 2 * a.stepPx}
	for i, b := range a.band {
		o.band, o.level, o.spread = append(o.band, b.every(k)), append(o.level, everyOf(a.level[i], k)), append(o.spread, everyOf(a.spread[i], k))
	}
	return o
}

// ownGain is by how much a rim like that of step, but as wide in every arc as fits best there, leaves less than the sharp edge does.
func (a *arcs) ownGain(sharp, step edgeModel) float64 {
	own := a.misfits(step)
	for _, step.rimMM = range geometricSteps(leastWidthMM, mostWidthMM, 1.25) {
		for k, v := range a.misfits(step) {
			own[k] = min(own[k], v)
		}
	}
	var with, without float64
	for k, v := range a.misfits(sharp) {
		if !math.IsInf(v, 1) && !math.IsInf(own[k], 1) {
			with, without = with+own[k], without+v
		}
	}
	return without/with - 1
}

// Rims are sought that look as wide as this.
const leastWidthMM, mostWidthMM = 0.08, 0.7

// rimmed gives m the rim and the blur, of leastMM at least, that fit best, and returns what they leave.
func (a *arcs) rimmed(m edgeModel, leastMM float64) (best edgeModel, misfit float64) {
	sharper := []float64{0.5, 0.65, 0.8, 1}
	fits, left := make([]edgeModel, len(sharper)), make([]float64, len(sharper))
	parallelItems(len(sharper), func(i int) {
		t := m
		t.sigmaMM = max(t.sigmaMM*sharper[i], leastMM)
		t.rimMM = least(geometricSteps(leastWidthMM, mostWidthMM, 1.25), func(x float64) float64 { t := t; t.rimMM = x; return a.misfit(t) })
		fits[i], left[i] = t, a.misfit(t)
	})
	k := indexOfLeast(left)
	return fits[k], left[k]
}

func indexOfLeast(v []float64) int { return slices.Index(v, slices.Min(v)) }
