package contour

import (
	"math"
	"slices"
	"sort"

	"portmatch/internal/geom"
)

// openings is what the coarse search makes of a plan.
type openings struct {
	ports, holes []*loop
}

// sortOut tells ports, holes and the part's own edge apart.
func sortOut(cands []*loop) openings {
	cands = slices.DeleteFunc(dropLines(cands), func(l *loop) bool { return l.wide < minContrast })
	inside := make([][]int, len(cands)) // direct and indirect contents
	solid := make([]bool, len(cands))
	parallelItems(len(cands), func(i int) {
		solid[i] = solidity(cands[i]) >= minSolidity
		for j, b := range cands {
			if i != j && encloses(cands[i], b) {
				inside[i] = append(inside[i], j)
			}
		}
	})
	isPart := make([]bool, len(cands))
	parallelItems(len(cands), func(i int) { isPart[i] = holdsOpenings(cands[i], inside[i], cands, solid) })
	part, partIndex := choosePart(cands, inside, isPart, solid)

	var open []*loop
	for _, chain := range chains(cands, isPart) {
		if l := outermostSound(chain); !l.cut && !l.holdsStrip && solidity(l) >= minSolidity {
			open = append(open, l)
		}
	}
	ports, holes := classify(open, 0)
	ports = agreeing(ports)
	if part != nil {
		// Half a part's edge may close on a highlight: it counts only if it holds every port.
		for _, l := range ports {
			if !encloses(cands[partIndex], l) {
				part = nil
				break
			}
		}
	}
	if part != nil {
		within := func(l *loop) bool { return encloses(cands[partIndex], l) }
		holes = slices.DeleteFunc(holes, func(l *loop) bool { return !within(l) && !likeThose(l, holes, within) })
	}
	return openings{ports: ports, holes: holes}
}

// likeThose tells whether a round opening that the part's edge leaves out is in the part all the same: the edge may cut off
// an ear along a milling mark. What lies round the opening and in it must then be as it is with the others.
func likeThose(l *loop, holes []*loop, within func(*loop) bool) bool {
	n, like := 0, 0
	for _, o := range holes {
		if !within(o) {
			continue
		}
		n++
		near := 0.25 * math.Max(l.contrast, o.contrast)
		if l.darkInside == o.darkInside && l.contrast > 0.6*o.contrast && math.Abs(l.outside-o.outside) < near &&
			math.Abs(l.inside-o.inside) < near && math.Abs(math.Log(l.areaMM2/o.areaMM2)) < 0.4 {
			like++
		}
	}
	return like >= 2 && 2*like > n
}

// dropLines removes curves that are one side of a closed line (a scribed outline, a bead): two curves of opposite sense,
// one in the other, closer than a line is wide, with the same brightness on the far sides of both. An opening within such a line keeps its
// edge, and has outside it what lies beyond the line.
func dropLines(cands []*loop) []*loop {
	const lineMM = 3.0
	drop := make([]bool, len(cands))
	beyond := make([]*loop, len(cands)) // the outer edge of the line round an opening
	for i, a := range cands {
		for j, b := range cands {
			gap := (a.areaMM2 - b.areaMM2) / (0.5 * (a.perimeter + b.perimeter))
			if a.darkInside != b.darkInside && gap > 0 && gap < lineMM && boxesAgree(a, b, 2*lineMM) && encloses(a, b) {
				// The outer edge belongs to the line, and so does the inner one if the face goes on behind it.
				drop[i] = true
				if math.Abs(a.outside-b.inside) < 0.3*math.Min(a.contrast, b.contrast) {
					drop[j] = true
				}
				if (b.outside-a.outside)*(b.inside-a.outside) < 0 {
					beyond[j] = a
				}
			}
		}
	}
	var out []*loop
	for i, l := range cands {
		if drop[i] {
			continue
		}
		if a := beyond[i]; a != nil {
			o := *l
			o.outside = a.outside
			l = &o
		}
		out = append(out, l)
	}
	return out
}

// holdsOpenings tells whether a is a part's edge, not an opening: it contains two separate strong curves, or one of
// the opposite sense.
func holdsOpenings(a *loop, inside []int, cands []*loop, solid []bool) bool {
	var strong []*loop
	for _, j := range inside {
		b := cands[j]
		if b.wide < 0.3*a.wide || b.contrast < 0.3*a.contrast || !solid[j] {
			continue
		}
		if b.darkInside != a.darkInside && b.areaMM2 > 0.02*a.areaMM2 && b.contrast > 0.6*a.contrast {
			return true
		}
		strong = append(strong, b)
	}
	for i, b := range strong {
		for _, c := range strong[i+1:] {
			if !encloses(b, c) && !encloses(c, b) {
				return true
			}
		}
	}
	return false
}

// choosePart returns the smallest of the curves that hold the most opening area.
func choosePart(cands []*loop, inside [][]int, isPart, solid []bool) (*loop, int) {
	best, bestIndex := (*loop)(nil), -1
	var bestArea float64
	for i, a := range cands {
		if !isPart[i] {
			continue
		}
		var held float64
		for _, j := range inside[i] {
			if !isPart[j] && solid[j] && !nestedInAny(cands, inside[i], j, isPart) {
				held += cands[j].areaMM2
			}
		}
		if best == nil || held > 1.05*bestArea || held > 0.95*bestArea && a.contrast > 1.2*best.contrast {
			best, bestIndex, bestArea = a, i, math.Max(held, bestArea)
		}
	}
	return best, bestIndex
}

func nestedInAny(cands []*loop, among []int, j int, isPart []bool) bool {
	for _, k := range among {
		if k != j && !isPart[k] && encloses(cands[k], cands[j]) {
			return true
		}
	}
	return false
}

// chains groups what lies one in the other, outermost first; curves that are part edges take no part.
func chains(cands []*loop, isPart []bool) [][]*loop {
	var order []*loop
	for i, l := range cands {
		if !isPart[i] {
			order = append(order, l)
		}
	}
	sort.SliceStable(order, func(i, j int) bool { return order[i].areaMM2 > order[j].areaMM2 })
	var out [][]*loop
	for _, l := range order {
		placed := false
		for k := range out {
			if encloses(out[k][0], l) || overlapping(out[k][0], l) {
				out[k] = append(out[k], l)
				placed = true
				break
			}
		}
		if !placed {
			out = append(out, []*loop{l})
		}
	}
	return out
}

// overlapping tells whether two curves share ground without one enclosing the other by the strict test.
func overlapping(a, b *loop) bool {
	if a.hi.X < b.lo.X || b.hi.X < a.lo.X || a.hi.Y < b.lo.Y || b.hi.Y < a.lo.Y {
		return false
	}
	return contains(a.pts, mid(b.lo, b.hi)) && contains(b.pts, mid(b.lo, b.hi))
}

func compactness(l *loop) float64 { return 4 * math.Pi * l.areaMM2 / (l.perimeter * l.perimeter) }

// outermostSound picks from a chain the outermost curve that is an edge in its own right: coming from the face, the first
// transition is the edge, not a far wall; but a curve that wanders out along milling marks or a shadow is none.
func outermostSound(chain []*loop) *loop {
	var best *loop
	strength := func(l *loop) float64 { return l.wide * compactness(l) }
	for _, l := range chain {
		if best == nil || strength(l) > strength(best) {
			best = l
		}
	}
	for _, l := range chain {
		if l.areaMM2 < best.areaMM2 {
			break
		}
		if l.darkInside == best.darkInside && compactness(l) > 0.93*compactness(best) && solidity(l) > 0.95*solidity(best) && l.wide > 0.25*best.wide {
			return l
		}
	}
	return best
}

const (
	// RMS deviation from a circle over the radius. A square has 0.085, but what is seen through a hole in a thick gasket at
	// 15° is a lens with up to 0.15, and at the end of a long one up to 0.25; the sub-pixel circle decides in the end.
	lens, notRound, surelyRound = 0.27, 0.16, 0.05
	smallMM2                    = 80.0
	leastLens                   = 0.92 // solidity of a lens
	// A round port is larger than the first, and than the part's holes by the factor: bolts, studs and dowels of one part are seldom so
	// unlike (common practice, no source). Between the second and the first it must be that and as large as the other ports.
	leastRoundPortMM, smallRoundPortMM, beyondBolt = 16.0, 11.0, 1.6
)

// evened returns a ragged curve without what is narrower than 2 mm or so: spurs along milling marks, notches where a stain on
// the bench touches the edge. Along its normals no edge can be followed: they cross. A curve that is not ragged is returned as it is.
func (l *loop) evened() *loop {
	const (
		maybe, ragged = 1.02, 1.03 // length over that of the convex hull, and over that of the even curve; clean ones have 1.01
		mostChanged   = 0.2        // of the area
	)
	length := pathLength(l.pts)
	if length < maybe*pathLength(convexHull(l.pts)) {
		return l
	}
	e := l.smoothed()
	if math.Abs(e.areaMM2-l.areaMM2) > mostChanged*l.areaMM2 || length < ragged*e.perimeter {
		return l
	}
	return e
}

// smoothed returns the curve round the same ground blurred by 1.2 mm.
func (l *loop) smoothed() *loop {
	const cellMM, rounds = 0.5, 6 // each a blur of one cell's standard deviation
	margin := geom.PointMM{X: 4, Y: 4}
	lo, size := l.lo.Sub(margin), l.hi.Sub(l.lo).Add(margin.Scale(2))
	p := &plan{w: int(size.X/cellMM) + 1, h: int(size.Y/cellMM) + 1, lo: lo, stepMM: cellMM}
	p.level, p.valid = make([]float32, p.w*p.h), make([]bool, p.w*p.h)
	parallelRows(p.h, func(j int) {
		for i := range p.w {
			k := j*p.w + i
			p.valid[k] = true
			if contains(l.pts, lo.Add(geom.PointMM{X: float64(i) * cellMM, Y: float64(j) * cellMM})) {
				p.level[k] = levelSpacing
			}
		}
	})
	for range rounds {
		p.blur()
	}
	out := *l
	out.areaMM2 = 0
	for _, e := range p.terraces(0, 1, nil).loops(0, 0, func(*loop) bool { return false }, &walk{}) {
		if !e.darkInside && e.areaMM2 > out.areaMM2 {
			out.pts, out.areaMM2, out.lo, out.hi, out.perimeter = e.pts, e.areaMM2, e.lo, e.hi, pathLength(e.pts)
		}
	}
	return &out
}

// classify tells holes from ports: a hole is round and small, both in mm and beside the ports.
// boltMM is the usual diameter of the part's holes, 0 where it is not known.
func classify(open []*loop, boltMM float64) (ports, holes []*loop) {
	var biggest float64
	for _, l := range open {
		biggest = math.Max(biggest, l.areaMM2)
	}
	var round []*loop
	for _, l := range open {
		_, d, rel := roundness(l)
		switch {
		case d <= maxHoleMM && (rel < surelyRound || rel < notRound && l.areaMM2 < 0.3*biggest):
			round = append(round, l)
		case l.areaMM2 < smallMM2 && rel < lens && solidity(l) > leastLens:
			round = append(round, l)
		case l.areaMM2 > smallMM2:
			ports = append(ports, l)
		}
	}
	if len(ports) == 0 {
		ports, round = biggestClass(round)
	}
	if boltMM == 0 && len(round) > 2 {
		var d []float64
		for _, l := range round {
			_, diameterMM, _ := roundness(l)
			d = append(d, diameterMM)
		}
		boltMM = quantile(d, 0.5)
	}
	var typical float64
	for _, l := range ports {
		typical = math.Max(typical, l.areaMM2)
	}
	for _, l := range round {
		// Small round ports beside others of their size, or far larger than what carries bolts.
		_, d, _ := roundness(l)
		large, unlike := l.areaMM2 > 0.5*typical, boltMM > 0 && d > beyondBolt*boltMM
		if d > leastRoundPortMM && (large || unlike) || d > smallRoundPortMM && large && unlike {
			ports = append(ports, l)
			continue
		}
		holes = append(holes, l)
	}
	return ports, holes
}

// biggestClass splits round openings at the largest gap in diameter: where nothing but round openings is small, the
// large ones are the ports.
func biggestClass(round []*loop) (ports, holes []*loop) {
	if len(round) == 0 {
		return nil, nil
	}
	sorted := append([]*loop(nil), round...)
	sort.Slice(sorted, func(i, j int) bool { return sorted[i].areaMM2 > sorted[j].areaMM2 })
	cut, gap := 0, 1.3 // in diameter squared: classes closer than 14 % are one
	for i := 1; i < len(sorted); i++ {
		if r := sorted[i-1].areaMM2 / sorted[i].areaMM2; r > gap {
			cut, gap = i, r
			break
		}
	}
	if cut == 0 {
		return nil, sorted
	}
	return sorted[:cut], sorted[cut:]
}

// agreeing drops candidates for ports that do not look like the strongest one: another sense, or far fainter. Stains
// on a bench do not pass.
func agreeing(ports []*loop) []*loop {
	weight := map[bool]float64{}
	var best float64
	for _, l := range ports {
		weight[l.darkInside] += l.wide * math.Sqrt(l.areaMM2)
		best = math.Max(best, l.wide)
	}
	dark := weight[true] >= weight[false]
	var out []*loop
	for _, l := range ports {
		if l.darkInside == dark && l.wide > 0.2*best {
			out = append(out, l)
		}
	}
	return out
}

func centroid(pts []geom.PointMM) geom.PointMM {
	var a, cx, cy float64
	o := pts[0]
	q := pts[len(pts)-1].Sub(o)
	for _, p := range pts {
		r := p.Sub(o)
		c := q.Cross(r)
		a += c
		cx += (q.X + r.X) * c
		cy += (q.Y + r.Y) * c
		q = r
	}
	return o.Add(geom.PointMM{X: cx / (3 * a), Y: cy / (3 * a)})
}
