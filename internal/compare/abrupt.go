package compare

import (
	"math"
	"sort"
)

const (
	abruptOverMM  = 0.6 // half the length that a slope is taken over
	flankMarginMM = 1.0 // marked on either side of a flank
	// Where the two edges lean this much against each other over this share of their length they are of different shapes (a round
	// target on a square port), and flanks are no sign of a fault.
	leaning, differentShapes = 0.35, 0.4
	// Where more than mostAstray of an edge stands out from the rest there is no telling which of the two has gone astray, unless the face's own
	// reading has marked all of it but mostUnmarked of the edge.
	mostAstray, mostUnmarked = 0.35, 0.05
)

// markAbrupt takes what stands out from the rest of a joint between steep flanks for a fault of the reading. Cast, cut and
// ground edges run along each other: a ledge swells and fades, and where the two differ in a corner's radius they part at
// less than 35°. An edge that was lost to a far wall, a stain or a cut wall's foot jumps away from the other, and back again.
// Which of the two readings jumps does not matter: no figure may rest on the stretch between.
//
// samples go once round an edge. A high spot 8 mm wide and 0.5 mm high, whose flanks rise 0.2 mm a mm, is left alone.
func markAbrupt(samples []sample) {
	w := newWalk(samples)
	if w == nil || w.ofDifferentShapes() {
		return
	}
	astray := make([]bool, len(samples))
	w.plateaus(astray)
	w.spikes(astray)
	w.outruns(astray)
	all := w.share(func(i int) bool { return astray[i] }) > mostAstray && w.share(func(i int) bool { return astray[i] && w.sure[i] }) > mostUnmarked
	for i, yes := range astray {
		if yes || all {
			samples[i].sure = false
		}
	}
}

// markOutruns marks what leads down from stretches that are not sure, on either edge, and tells whether there is any.
func markOutruns(samples []sample) bool {
	w := newWalk(samples)
	if w == nil || w.ofDifferentShapes() {
		return false
	}
	astray := make([]bool, len(samples))
	w.outruns(astray)
	found := false
	for i, yes := range astray {
		if yes && samples[i].sure {
			samples[i].sure, found = false, true
		}
	}
	return found
}

func (w *walk) ofDifferentShapes() bool {
	return w.share(func(i int) bool { return math.Abs(w.slope[i]) > leaning }) > differentShapes
}

// walk is a joint's steps, once round an edge at even spacing.
type walk struct {
	stepMM, slope []float64 // slope: mm of step a mm along the edge
	sure          []bool
	perMM         float64 // samples
	median        float64 // of the steps
}

// newWalk returns nil for an edge too short to have flanks.
func newWalk(samples []sample) *walk {
	n := len(samples)
	w := &walk{stepMM: make([]float64, n), slope: make([]float64, n), sure: make([]bool, n)}
	var total float64
	for i := range samples {
		w.stepMM[i], w.sure[i] = samples[i].stepMM, samples[i].sure
		total += samples[i].lenMM
	}
	w.perMM = float64(n) / total
	k := w.count(abruptOverMM)
	if n < 8*w.count(flankMarginMM) {
		return nil
	}
	for i := range samples {
		a, b := &samples[(i+n-k)%n], &samples[(i+k)%n]
		if along := math.Mod(b.alongMM-a.alongMM+total, total); along > 0 {
			w.slope[i] = (b.stepMM - a.stepMM) / along
		}
	}
	w.median = median(w.stepMM)
	return w
}

func (w *walk) count(mm float64) int { return max(1, int(mm*w.perMM)) }

// share of the samples of which is says so.
func (w *walk) share(is func(i int) bool) float64 {
	n := 0
	for i := range w.slope {
		if is(i) {
			n++
		}
	}
	return float64(n) / float64(len(w.slope))
}

// stretch are the steps from sample i up to j, which may go beyond the end and begin again.
func (w *walk) stretch(i, j int) []float64 {
	n := len(w.stepMM)
	v := make([]float64, 0, max(j-i, 0))
	for ; i < j; i++ {
		v = append(v, w.stepMM[(i+n)%n])
	}
	return v
}

// plateaus marks very steep flanks, and of the stretches between them those that stand out from the joint as a whole.
func (w *walk) plateaus(astray []bool) {
	const steep, standsOutMM = 0.7, 0.5
	n, margin := len(w.slope), w.count(flankMarginMM)
	flank := make([]bool, n)
	first := -1
	for i, s := range w.slope {
		if math.Abs(s) > steep {
			first = i
			for j := i - margin; j <= i+margin; j++ {
				flank[(j+n)%n] = true
			}
		}
	}
	if first < 0 {
		return
	}
	for i, j := first, first; i < first+n; i = j {
		for j < first+n && flank[j%n] == flank[i%n] {
			j++
		}
		if flank[i%n] || math.Abs(median(w.stretch(i, j))-w.median) > standsOutMM {
			for m := i; m < j; m++ {
				astray[m%n] = true
			}
		}
	}
}

// spikes marks what goes up and down again, or down and up, within a short way, and stands out from what lies on both sides.
func (w *walk) spikes(astray []bool) {
	const steep, standsOutMM, widestMM, besideMM = 0.3, 0.3, 12.0, 2.0
	n, margin, beside := len(w.slope), w.count(flankMarginMM), w.count(besideMM)
	reach := min(w.count(widestMM), n/3)
	for i, s := range w.slope {
		if math.Abs(s) <= steep {
			continue
		}
		for j := i + 1; j < i+reach; j++ {
			if t := w.slope[j%n]; t*s > 0 || math.Abs(t) <= steep {
				continue
			}
			rest := append(w.stretch(i-margin-beside, i-margin), w.stretch(j+margin, j+margin+beside)...)
			if math.Abs(median(w.stretch(i, j))-median(rest)) > standsOutMM {
				for m := i - margin; m <= j+margin; m++ {
					astray[(m+n)%n] = true
				}
			}
			break
		}
	}
}

// outruns marks what leads down from what is marked, or was not measured: an edge gone astray comes back more gently than it left, and may be
// farthest off just beside it.
func (w *walk) outruns(astray []bool) {
	const gentle, fallMM, longestMM, topMM = 0.1, 0.25, 8.0, 2.5
	n := len(w.slope)
	marked := append([]bool(nil), astray...)
	for i := range marked {
		marked[i] = marked[i] || !w.sure[i]
	}
	longest, top := min(w.count(longestMM), n/3), w.count(topMM)
	for i := range marked {
		for _, way := range []int{1, n - 1} {
			if !marked[i] || marked[(i+way)%n] {
				continue
			}
			at := func(j int) int { return (i + way*j) % n }
			j := 1
			var fall float64
			for j < longest && !marked[at(j)] && (j <= top || math.Abs(w.slope[at(j)]) >= gentle) {
				j++
			}
			for m := range j {
				fall = max(fall, math.Abs(w.stepMM[at(j)]-w.stepMM[at(m)]))
			}
			if fall < fallMM {
				continue
			}
			for ; j > 0; j-- {
				astray[at(j)] = true
			}
		}
	}
}

func median(v []float64) float64 {
	s := append([]float64(nil), v...)
	sort.Float64s(s)
	return s[len(s)/2]
}
