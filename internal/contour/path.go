package contour

import (
	"cmp"
	"math"
	"slices"
	"sort"
)

// closedPath returns, for every row, the column of the cheapest closed path through cost (n rows of m columns), where a step of
// d columns between neighbouring rows costs bend d² and at most maxStep columns are allowed. Dynamic programming over
// two turns round the curve; the second half of the first turn and the first half of the second have forgotten the open ends.
func closedPath(cost []float64, n, m int, bend float64, maxStep int) []int {
	if n == 0 {
		return nil
	}
	total := 2 * n
	from := make([]int16, total*m)
	prev, cur := make([]float64, m), make([]float64, m)
	copy(prev, cost[:m])
	toll := make([]float64, 2*maxStep+1) // of a step of -maxStep to maxStep columns
	for k := range toll {
		d := float64(maxStep - k)
		toll[k] = bend * d * d
	}
	for r := 1; r < total; r++ {
		c := cost[(r%n)*m:][:m]
		back := from[r*m:][:m]
		// best finds the cheapest way to column j from columns lo to hi of the row before.
		best := func(j, lo, hi int) int {
			lo, hi = max(0, lo, j-maxStep), min(m-1, hi, j+maxStep)
			least, at := math.Inf(1), j
			tolls := toll[lo-(j-maxStep):]
			for k, v := range prev[lo : hi+1] {
				if v += tolls[k]; v < least {
					least, at = v, lo+k
				}
			}
			cur[j] = least + c[j]
			back[j] = int16(at)
			return at
		}
		// The toll is convex, so best ways never cross: a column's comes from between those of its neighbours. Every other
		// column bounds the search for the rest.
		lo := 0
		for j := 0; j < m; j += 2 {
			lo = best(j, lo, m-1)
		}
		for j := 1; j < m; j += 2 {
			hi := m - 1
			if j+1 < m {
				hi = int(back[j+1])
			}
			best(j, int(back[j-1]), hi)
		}
		prev, cur = cur, prev
	}
	j := 0
	for k := range m {
		if prev[k] < prev[j] {
			j = k
		}
	}
	path := make([]int, total)
	for r := total - 1; r >= 0; r-- {
		path[r] = j
		j = int(from[r*m+j])
	}
	out := make([]int, n)
	for i := range n {
		if i < n/2 {
			out[i] = path[n+i]
		} else {
			out[i] = path[i]
		}
	}
	return out
}

// How much a path leans at ease against the curve that it is sought along: a coarse curve, then one that regions found, then in profiles.
// Paths that lean more easily go out round dark grain beside an edge.
const coarseLean, fineLean, profileLean = 0.2, 0.1, 0.06

// faceEnd follows, along the whole curve, the place where the face ends: everything outside the path looks like the face
// just outside the curve; then comes the wall, as wide as geometry says, which may look like anything; and what is
// behind it looks like what is further in. A thin line on the face (scribed, a scratch, a milling mark) costs less than
// calling the face beyond it opening; the far wall of a tunnel costs all of the near one.
//
// ringLo to ringHi (mm) is where the face is learned from, behindFrom where the opening begins to be; the path goes no farther than
// far, and leans by lean. It returns the offset of the path at every vertex (mm, along the inward normal).
func (m edgeModel) faceEnd(b *band, ringLo, ringHi, behindFrom float64, far reach, lean float64) []float64 {
	n := len(b.base)
	cost := m.regionCost(b, ringLo, ringHi, behindFrom)
	for j := range b.n {
		if j >= int(b.index(-far.out)) && j <= int(b.index(far.in)) {
			continue
		}
		for i := range n {
			cost[i*b.n+j] = math.Inf(1)
		}
	}
	bend := math.Pow(b.ds/(lean*b.spacing), 2) / 2 * 0.3
	maxStep := max(1, int(1.5*b.spacing/b.ds))
	off := make([]float64, n)
	for i, j := range closedPath(cost, n, b.n, bend, maxStep) {
		off[i] = b.s0 + float64(j)*b.ds
	}
	return off
}

// regionCost returns, for every vertex and every sample, what it costs to let the face end there: minus the log likelihood of
// the whole profile, up to a constant.
func (m edgeModel) regionCost(b *band, ringLo, ringHi, behindFrom float64) []float64 {
	n := len(b.base)
	last := b.s0 + float64(b.n-1)*b.ds
	level, spread := faceLevels(b, ringLo, ringHi)
	behind, _ := faceLevels(b, behindFrom, last)
	// Rust, oil and mottle give a face's hue longer tails than its middle half shows, and the chroma of a JPEG is coarse.
	const mottled, hueGrain = 1.8, 0.008
	machined := m.wallMM == 0
	faceHue, behindHue := hueLevels(b, ringLo, ringHi, mottled, hueGrain, machined), hueLevels(b, behindFrom, last, mottled, hueGrain, machined)
	// By how much of the step machined metal is uneven, and how bright what is behind its edge may be, of its level. In light of its own colour dye is nearly as
	// bright as bare metal, and more uneven.
	uneven, mostBehind := 0.1, 0.8
	if b.dyeHue > 0 && faceHue != nil {
		dye, bare := b.patches(ringLo, ringHi, mottled, hueGrain)
		faceHue.also = []hueCluster{dye, bare}
		uneven, mostBehind = 0.12, 0.7
	}
	// No sample counts for more than this log likelihood ratio, for or against: a line on the face, however bright, is
	// outweighed by as much face behind it.
	const most = 2.5
	// What is behind a bare face's edge is much as bright as it is further in; what is brighter is odd. So much that between a lit wall and the face a
	// dark port's edge lies at 0.73 of the face's light, not at 0.81: a milling mark of 0.75 along an edge led it 0.9 mm away.
	const odd = 2.2
	plain := machined && (faceHue == nil || !faceHue.patchy)
	// What a sample counts that is neither like the face nor like what is behind it.
	const glint = 0.5
	// Averaged profiles overlap: only one in (window / spacing) is news.
	const newsPerMM = 1.0
	// An edge is also a change of brightness right there, worth as much as a mm of unlike samples at most.
	const reward = 2.0
	cost := make([]float64, n*b.n)
	weight := b.ds / b.pxMM * newsPerMM * b.spacing
	parallelRowsWith(n, func(i int, room *costRow) {
		// What is behind the edge has any brightness between a deep shadow's and its own (a bench), or anything darker than the
		// face (a tunnel).
		tight, lo, hi, soft := spread[i], 0.25*behind[i], 1.3*behind[i], 0.2*behind[i]+spread[i]
		if m.wallMM == 0 {
			// Machined metal has bright and dark patches larger than the window the spread was taken from.
			tight = math.Max(tight, uneven*math.Abs(level[i]-behind[i]))
			if behind[i] < level[i] {
				lo, hi = 0, math.Max(behind[i], mostBehind*level[i])
			}
			soft = 0.1*hi + tight
		}
		lost := math.Max(0, math.Log((hi-lo)/(2.5*tight)))
		usual := 2*behind[i] + 0.05*level[i]
		// A cut wall is of the face's stuff, seen at a slant: darker more often than not, half as bright again in low sun.
		wallLo, wallHi := 0.1*level[i], 1.6*level[i]
		if m.shadow {
			wallLo, wallHi = 0, 0.8*behind[i]
		}
		wallLost := math.Max(0, math.Log((wallHi-wallLo)/(2.5*tight)))
		shadedHi := mostShadedWall * level[i]
		shadedLost := math.Max(0, math.Log((shadedHi-wallLo)/(2.5*tight)))
		wall := int(m.regionZone(b, i) / b.ds)
		change := b.changes(room, b.row(i), math.Max(0.4, 3*b.pxMM))
		// Running sums of what it costs to take the samples for face, and for wall, rather than for what is behind. Each costs what it is
		// less likely than the likeliest of the three: a dark wall with the hue of the face is unlike both others, and no reason to prefer
		// one of them.
		sum, asWall, asShaded := room.sum, room.asWall, room.asShaded
		for j, y := range b.row(i) {
			r, w, sw := 0.3, 0.3, 0.3 // outside the photo: no evidence, and no wish to go there
			if y == y {
				v := float64(y)
				rf := (v - level[i]) / tight
				ro := max(0, max(lo-v, v-hi)) / soft
				rw := max(0, max(wallLo-v, v-wallHi)) / (0.2*level[i] + tight)
				hue := faceHue.unlike(b, i, j)
				asFace := (rf*rf + hue) / 2
				asBehind := (ro*ro+behindHue.unlike(b, i, j))/2 + lost
				if plain && v > usual {
					asBehind += odd * min(1, (v-usual)/usual)
				}
				asCutWall := rw*rw/2 + wallLost
				// A scan's shadow has the hue of what is behind, and is told by its darkness alone.
				best := asBehind
				if !m.shadow {
					// A wall is of the face's stuff, and has its hue, but in the dark a hue is half as certain.
					asCutWall += hue / 2 / (2 * 2)
					best = min(asFace, asBehind)
					if wall > 1 {
						best = min(best, asCutWall)
					}
				}
				behindCost := min(asBehind-best, most)
				r = max(-most, min(asFace-best, most)) - behindCost
				if behind[i] < level[i] && v > level[i]+2*tight {
					// Brighter than the face, with something darker behind it: a line, a bead or a rim, and no sign that the face has
					// ended.
					r = min(r, glint)
				}
				w = max(-most, min(asCutWall-best, most)) - behindCost
				if sw = w; m.thin() {
					rs := max(0, max(wallLo-v, v-shadedHi)) / (0.2*level[i] + tight)
					sw = max(-most, min(asCutWall+(rs*rs-rw*rw)/2+shadedLost-wallLost-best, most)) - behindCost
				}
			}
			sum[j+1], asWall[j+1], asShaded[j+1] = sum[j]+r, asWall[j]+w, asShaded[j]+sw
		}
		c := cost[i*b.n : (i+1)*b.n]
		for j := range c {
			jw := min(j+wall, b.n-1)
			sharp := edgeEvidence(change[j] / tight)
			if wall > 1 {
				// The wall's foot is a second edge. Both count, however faint one of them is: that is what tells a wall that looks
				// like the face from one that looks like the bench.
				sharp += edgeEvidence(change[jw] / tight)
			} else {
				sharp *= 1.5
			}
			across := asWall[jw] - asWall[j]
			if m.mayBeShaded(float64(wall)*b.ds, b.pxMM) {
				if _, deep := b.inDeepShadow(i, b.s0+float64(jw)*b.ds, behind[i]); deep {
					across = asShaded[jw] - asShaded[j]
				}
			}
			c[j] = weight*(sum[j]+across) - reward*b.spacing*sharp
		}
	})
	return cost
}

// faceLevels returns the brightness along the curve and its spread (standard deviation of the averaged profile: noise and
// texture), from samples between lo and hi mm, over 8 mm along the curve. Both come from the shortest half of the samples,
// so that a bead, a line or a part's edge in the window does no harm as long as it is the smaller half.
func faceLevels(b *band, lo, hi float64) (level, spread []float64) {
	const alongMM = 4.0
	n := len(b.base)
	j0, j1 := max(0, int(b.index(lo))), min(b.n-1, int(b.index(hi)))
	reach := int(alongMM / b.spacing)
	skip := max(1, reach/8)
	level, spread = sortRows(n, (j1-j0)/2+1, func(i int, v []float32) []float32 {
		row := b.row(i)
		for j := j0; j <= j1; j += 2 {
			if y := row[j]; y == y {
				v = append(v, y)
			}
		}
		return v
	}).shortestHalves(reach, skip)
	for i := range spread {
		spread[i] = math.Max(spread[i], 0.03*level[i]+0.003)
	}
	return medianAlong(level, int(8/b.spacing)), medianAlong(spread, int(8/b.spacing))
}

// hueStat is the hue of what lies along a curve, at every vertex. Where it is patchy, dye over bare metal or rust over iron, the hue goes
// with the brightness: it is stated for the darker and for the brighter half of the samples, and lies between in between.
type hueStat struct {
	dark, bright hueCluster
	patchy       bool
	also         []hueCluster // hues that it has as well, patch by patch
}

// hueCluster is the hue of some samples, at every vertex: its two numbers, their standard deviations, and the brightness of the
// samples.
type hueCluster struct{ a, b, sigmaA, sigmaB, light []float64 }

// hueLevels does for hue what faceLevels does for brightness. wider is how much wider than the middle half of the samples its
// spread is to be taken, least the least spread. Only a machined face is looked at for patches: a gasket has one stuff, and a bench's
// grain would pass for some.
func hueLevels(b *band, lo, hi, wider, least float64, machined bool) *hueStat {
	if b.hue == nil {
		return nil
	}
	all := b.hues(lo, hi, wider, least, nil, false)
	h := &hueStat{dark: all, bright: all}
	const plain = 0.06 // standard deviation of a hue that needs no halves
	if !machined || quantile(slices.Clone(all.sigmaA), 0.75) < plain && quantile(slices.Clone(all.sigmaB), 0.75) < plain {
		return h
	}
	h.patchy = true
	middle := b.medians(lo, hi)
	h.dark, h.bright = b.hues(lo, hi, wider, least, middle, false), b.hues(lo, hi, wider, least, middle, true)
	return h
}

const hueAlongMM = 6.0 // the hue of a place is that of so much of the curve to either side

// hues returns the hue of the samples from lo to hi mm; of those darker or brighter than middle if it is not nil.
func (b *band) hues(lo, hi, wider, least float64, middle []float64, brighter bool) hueCluster {
	n := len(b.base)
	j0, j1 := max(0, int(b.index(lo))), min(b.n-1, int(b.index(hi)))
	reach := int(hueAlongMM / b.spacing)
	skip := max(1, reach/6)
	least = math.Hypot(least, b.codedHue())
	collect := func(value func(i, j int) float32) (centre, sigma []float64) {
		return sortRows(n, (j1-j0)/3+1, func(i int, v []float32) []float32 {
			row := b.row(i)
			for j := j0; j <= j1; j += 3 {
				if middle != nil && (float64(row[j]) >= middle[i]) != brighter {
					continue
				}
				if y := value(i, j); y == y {
					v = append(v, y)
				}
			}
			return v
		}).shortestHalves(reach, skip)
	}
	channel := func(c int) (centre, sigma []float64) {
		centre, sigma = collect(func(i, j int) float32 { return b.hue[2*(i*b.n+j)+c] })
		for i := range sigma {
			sigma[i] = math.Hypot(wider*sigma[i], least)
		}
		return centre, sigma
	}
	var h hueCluster
	h.a, h.sigmaA = channel(0)
	h.b, h.sigmaB = channel(1)
	if middle != nil {
		h.light, _ = collect(func(i, j int) float32 { return b.row(i)[j] })
	}
	return h
}

// medians returns the median brightness of the samples from lo to hi mm, over as much of the curve as hues takes.
func (b *band) medians(lo, hi float64) []float64 {
	n := len(b.base)
	j0, j1 := max(0, int(b.index(lo))), min(b.n-1, int(b.index(hi)))
	each := make([]float64, n)
	parallelRowsWith(n, func(i int, room *[]float64) {
		v := (*room)[:0]
		for j := j0; j <= j1; j += 3 {
			if y := b.row(i)[j]; y == y {
				v = append(v, float64(y))
			}
		}
		each[i] = quantile(v, 0.5)
		*room = v
	})
	return medianAlong(each, int(hueAlongMM/b.spacing))
}

// unlike is the squared distance of sample j of row i from the hue, in standard deviations.
func (h *hueStat) unlike(b *band, i, j int) float64 {
	if h == nil {
		return 0
	}
	at := 2 * (i*b.n + j)
	light := float64(b.row(i)[j])
	noise := b.darkNoise(light)
	d := &h.dark
	meanA, meanB, sigmaA, sigmaB := d.a[i], d.b[i], d.sigmaA[i], d.sigmaB[i]
	if h.patchy {
		if l := &h.bright; l.light[i] > d.light[i] {
			f := min(max((light-d.light[i])/(l.light[i]-d.light[i]), 0), 1)
			meanA, meanB = meanA+f*(l.a[i]-meanA), meanB+f*(l.b[i]-meanB)
			sigmaA, sigmaB = sigmaA+f*(l.sigmaA[i]-sigmaA), sigmaB+f*(l.sigmaB[i]-sigmaB)
		}
	}
	far := func(meanA, meanB, sigmaA, sigmaB float64) float64 {
		x, y := float64(b.hue[at])-meanA, float64(b.hue[at+1])-meanB
		return x*x/(sigmaA*sigmaA+noise*noise) + y*y/(sigmaB*sigmaB+noise*noise)
	}
	least := far(meanA, meanB, sigmaA, sigmaB)
	for k := range h.also {
		if o := &h.also[k]; !math.IsInf(o.sigmaA[i], 1) {
			least = min(least, far(o.a[i], o.b[i], o.sigmaA[i], o.sigmaB[i]))
		}
	}
	return least
}

// medianAlong replaces every value by the median of those within k places round the closed curve.
func medianAlong(v []float64, k int) []float64 {
	n := len(v)
	k = min(k, (n-1)/2)
	out := make([]float64, n)
	skip := max(1, k/10)
	last := -k + 2*k/skip*skip // the farthest place of a window
	at := func(i int) float64 { return v[(i+2*n)%n] }
	w := make([]float64, 0, 2*k+1)
	// A window and the one skip places on differ by a value at either end, which keeps the rest in order.
	for start := range min(skip, n) {
		w = w[:0]
		for a := -k; a <= last; a += skip {
			w = append(w, at(start+a))
		}
		sort.Float64s(w)
		for i := start; i < n; i += skip {
			out[i] = sortedQuantile(w, 0.5)
			if i+skip < n {
				replaceSorted(w, at(i-k), at(i+last+skip))
			}
		}
	}
	return out
}

// replaceSorted takes the value out from w, which is sorted, and puts in another. NaN sorts first.
func replaceSorted(w []float64, out, in float64) {
	i, _ := slices.BinarySearch(w, out)
	for ; i+1 < len(w) && cmp.Less(w[i+1], in); i++ {
		w[i] = w[i+1]
	}
	for ; i > 0 && cmp.Less(in, w[i-1]); i-- {
		w[i] = w[i-1]
	}
	w[i] = in
}

const (
	fullEvidence  = 8
	evidenceSteps = 2048
)

// evidenceTable holds edgeEvidence over 0 to fullEvidence; between its entries straight lines are right to 1e-6, at a third
// of a logarithm's time.
var evidenceTable = func() (t [evidenceSteps + 1]float64) {
	for i := range t {
		t[i] = math.Log1p(float64(i)/evidenceSteps*fullEvidence) / math.Log1p(fullEvidence)
	}
	return t
}()

// edgeEvidence grows with a change of brightness (in standard deviations of the face) from 0 to 1, fast at first.
func edgeEvidence(r float64) float64 {
	const full = fullEvidence
	if !(r < full) {
		return 1
	}
	t := r * (evidenceSteps / full)
	i := int(t)
	return evidenceTable[i] + (t-float64(i))*(evidenceTable[i+1]-evidenceTable[i])
}

// costRow is scratch space for one row of regionCost.
type costRow struct{ sum, asWall, asShaded, change, light []float64 }

// grow makes room for n samples. Sums of the samples before each one have one more, the first of them 0.
func (r *costRow) grow(n int) {
	if len(r.change) != n {
		r.sum, r.asWall, r.asShaded, r.light = make([]float64, n+1), make([]float64, n+1), make([]float64, n+1), make([]float64, n+1)
		r.change = make([]float64, n)
	}
}

// changes tells, for every sample of a row, by how much the mean over reach mm inside differs from that outside.
func (b *band) changes(room *costRow, row []float32, reach float64) []float64 {
	room.grow(b.n)
	k := max(2, int(reach/b.ds))
	sum, out := room.light, room.change
	for j, y := range row {
		if y != y {
			y = 0
		}
		sum[j+1] = sum[j] + float64(y)
	}
	clear(out)
	for j := k; j+k < b.n; j++ {
		out[j] = math.Abs(sum[j+k+1]-sum[j+1]-(sum[j]-sum[j-k])) / float64(k)
	}
	return out
}
