package contour

import (
	"math"
	"slices"

	"portmatch/internal/geom"
)

// Some gaskets' openings are lined by a ring of another colour: a fire ring, an eyelet, a bead at the very edge. The opening's edge is
// the ring's inner one, however much stronger the outer one is. A cut wall and a shadow lie beside an edge too, but on one side of
// the opening only.

// ringWidthMM returns the least width of the ring between two curves, the inner one inside the outer one all round, or 0 where what
// lies between them is no ring.
func ringWidthMM(outer, inner []geom.PointMM) float64 {
	const (
		leastMM, mostMM = 0.6, 6.0 // common practice, no source
		uneven          = 0.5      // how much the widths may differ, of the usual one, and for a cut wall and a shadow besides
		shadowMM        = 1.0
		stepMM          = 1.0 // along the inner edge
	)
	ix := geom.NewIndex(geom.Outline(outer))
	var apart []float64
	for _, p := range resampleClosed(inner, stepMM) {
		_, _, d := ix.Nearest(p)
		if !ix.Contains(p) {
			d = -d
		}
		apart = append(apart, d)
	}
	least, usual, widest := quantile(apart, 0.03), quantile(apart, 0.5), quantile(apart, 0.97)
	if least < leastMM || widest > mostMM || widest-least > uneven*usual+shadowMM {
		return 0
	}
	return least
}

// beadMM is how far outside the edge at base a bead or a line runs all along it, within 5 mm; 0 where there is none. Either its brightness or
// its colour is unlike that of the face beside the edge.
func (s *surface) beadMM(base []geom.PointMM) float64 {
	const (
		nearMM, behindMM = 5.0, 0.8
		unlike           = 0.35 // of the step at the edge
		unlikeHue        = 0.04 // chroma over brightness, at least
	)
	b := s.unroll(base, -nearMM-0.2, behindMM+0.2, 0.5*s.mmPerPx(base[0]), profileAverageMM, true)
	column := make([]float64, 0, len(base))
	// along returns, at every distance from the edge, what is usual along it.
	along := func(value func(i, j int) float32) []float64 {
		usual := make([]float64, b.n)
		for j := range usual {
			column = column[:0]
			for i := range base {
				if y := float64(value(i, j)); y == y {
					column = append(column, y)
				}
			}
			usual[j] = quantile(column, 0.5)
		}
		return usual
	}
	at := func(mm float64) int { return min(max(int(b.index(mm)), 0), b.n-1) }
	behind, nearest := at(behindMM), at(-nearMM)
	light := along(func(i, j int) float32 { return b.row(i)[j] })
	face := at(-math.Max(0.3, 2.5*b.pxMM))
	step := math.Abs(light[behind] - light[face])
	changed := func(j int) bool { return math.Abs(light[j]-light[face]) > unlike*step }
	if b.hue != nil {
		blue := along(func(i, j int) float32 { return b.hue[2*(i*b.n+j)] })
		red := along(func(i, j int) float32 { return b.hue[2*(i*b.n+j)+1] })
		// A photo stores colour for every other pixel.
		hueFace := at(-math.Max(0.5, 4*b.pxMM))
		apart := func(j int) float64 { return math.Hypot(blue[j]-blue[hueFace], red[j]-red[hueFace]) }
		most := math.Max(unlike*apart(behind), unlikeHue)
		inLight := changed
		changed = func(j int) bool { return inLight(j) || j < hueFace && apart(j) > most }
	}
	for j := face; j >= nearest; j-- {
		if changed(j) {
			return -(b.s0 + float64(j)*b.ds)
		}
	}
	return 0
}

// ringed looks inside the opening l of a thin part for a ring's inner edge. It returns l where there is none. Between the two edges
// lies the ring, of one brightness; what a bench in the part's shadow shows instead grows lighter all the way.
func ringed(l *loop, cands []*loop) *loop {
	const (
		asClear, asCompact, asSolid = 0.6, 0.93, 0.95 // of the ring's outer edge
		even                        = 0.35            // how far the ring's brightness may differ at its edges, of the lesser step there
	)
	best := l
	for _, c := range cands {
		if c == l || c.darkInside != l.darkInside || c.cut || c.holdsStrip || !encloses(l, c) || c.wide < minContrast || c.contrast < asClear*l.contrast ||
			math.Abs(l.inside-c.outside) > even*math.Min(l.wide, c.wide) || compactness(c) < asCompact*compactness(l) || solidity(c) < asSolid*solidity(l) {
			continue
		}
		if width := ringWidthMM(l.pts, c.pts); width > 0 && (best == l || c.contrast > best.contrast) {
			inner := *c
			inner.landMM = width
			best = &inner
		}
	}
	return best
}

// wideEnough tells whether an opening has room for a bead or a ring inside the curve, and something to be seen behind it.
func wideEnough(curve []geom.PointMM) bool {
	const leastRadiusMM = 8
	return math.Abs(signedArea(curve)) > math.Pi*leastRadiusMM*leastRadiusMM
}

// withinBead looks whether the edge at base is the outer one of a bead or a printed line that lies on the face of a thin part round the
// opening, and returns nil where there is no bead.
func (s *surface) withinBead(base []geom.PointMM) (found *beadRound) {
	// Where base had left the bead's side it is put back there, from either end a little further each time, and the bead seen there, too.
	for range 4 {
		b := s.unroll(base, -beadInMM-1, beadInMM+2.5, 0.5*s.mmPerPx(base[0]), profileAverageMM, true)
		next := b.beadRound()
		if next == nil {
			break
		}
		found = next
		if found.whole {
			break
		}
		base = resampleClosed(found.outer, b.spacing)
	}
	return found
}

// beadRound is a bead or a line round an opening, or a ring that lines it.
type beadRound struct {
	outer  []geom.PointMM // along its outer side, face frame
	end    []geom.PointMM // along it where the part usually ends
	sure   []geom.PointMM // like end, and straight across where the bead was not seen
	landMM float64        // how wide the face inside the bead is, at least, or the ring
	whole  bool           // it was seen in every arc
	look   beadLook       // of a bead
}

// beadLook is what the beads of a gasket have in common: their width and that of the face between them and the opening, mm, and the colours of both.
type beadLook struct {
	beadMM, landMM float64
	bead, face     colour
}

// beadInMM is how far in from a bead's outer side the face is looked for inside it.
const beadInMM = 4.5

// beadSeen is a bead as an arc shows it, from its outer side inward: its sides and how wide the face is inside it, mm, its colour, and how
// unlike the face that is, in levels.
type beadSeen struct {
	outerMM, innerMM, landMM float64
	look, face               colour
	change                   float64
}

// beadIn looks across an arc with the colours p for a bead whose outer side is near the middle of b: inside it the face shows again, and then
// something else.
func (b *band) beadIn(p []colour) (seen beadSeen, ok bool) {
	const (
		likeFace    = 0.35 // of the change at the bead
		leastChange = 12   // levels, from the face to the bead, and a third of it from the land to what lies behind
		sameFace    = 0.06 // of the change at the bead: a land no more unlike the face than this is the face
		leastLandMM = 0.4
		staysMM     = 0.25
	)
	at := func(mm float64) int { return min(max(int(b.index(mm)), 0), b.n-1) }
	face := middleColour(p[at(-2):at(-0.5)])
	d := make([]float64, len(p)) // how unlike the face
	for j := range p {
		d[j] = p[j].apart(face)
	}
	bead := indexOfMost(d, at(0), at(2.5))
	land := indexOfLeastIn(d, bead, at(beadInMM))
	behind := indexOfMost(d, land, min(land+int(3/b.ds), b.n-1))
	if d[bead] < leastChange || d[land] > likeFace*d[bead] || d[behind] < leastChange/3+d[land] || d[behind] < 2*d[land] {
		return seen, false
	}
	// A bead may be far brighter than both the face and the bench.
	if d[behind] < likeFace*d[bead] && (d[land] > sameFace*d[bead] || d[behind] < leastChange || d[behind] < 4*d[land]) {
		return seen, false
	}
	first, from, to := bead, land, land
	for first > 0 && d[first] > d[bead]/2 {
		first--
	}
	for from > bead && d[from] < (d[land]+d[bead])/2 {
		from--
	}
	// A wall or a shadow lies before what is most unlike the face.
	speck := 1.5 * quantile(slices.Clone(d[at(-2):at(-0.5)]), 0.9)
	// Grain is no end of the land: what lies behind it stays so.
	ends := min(max(d[land]+leastChange/2, 2.5*d[land], speck), (d[land]+d[behind])/2)
	stays := int(staysMM / b.ds)
	for to < behind && slices.Min(d[to:min(to+stays, behind)+1]) < ends {
		to++
	}
	mm := float64(to-from) * b.ds
	return beadSeen{b.s0 + float64(first)*b.ds, b.s0 + float64(from)*b.ds, mm, p[bead], face, d[bead]}, mm > math.Max(leastLandMM, 3*b.pxMM)
}

// beadRound looks for a bead whose outer side is at the middle of b, or that is so in some arcs, while the opening's edge is in others. Both
// the bead and the face inside it are as wide all the way round. It returns nil where there is none.
func (b *band) beadRound() *beadRound {
	const (
		agree      = 0.8 // share of the arcs that must show it, inside the middle of b or, where base has left the bead's side for the edge, outside
		mostly     = 0.4 // and inside it
		evenMM     = 0.3 // how far the bead's widths in the middle half of the arcs may differ
		landEvenMM = 0.6 // and those of the land, which may seem to end at a cut wall's foot
		alike      = 0.5 // how far a bead's colour may stray, of the change from the face
	)
	n := len(b.base)
	arcs := max(8, int(float64(n)*b.spacing/arcMM))
	across := make([][]colour, arcs)
	found := make([]*beadSeen, arcs)
	var beads, lands, changes []float64
	var looks, faces []colour
	for a := range arcs {
		across[a] = b.colours(a*n/arcs, (a+1)*n/arcs)
		if f, ok := b.beadIn(across[a]); ok {
			found[a] = &f
			beads, lands, changes, looks = append(beads, f.innerMM-f.outerMM), append(lands, f.landMM), append(changes, f.change), append(looks, f.look)
			faces = append(faces, f.face)
		}
	}
	if float64(len(beads)) < mostly*float64(arcs) || middleHalf(beads) > evenMM || middleHalf(lands) > landEvenMM {
		return nil
	}
	bead, land, change := quantile(beads, 0.5), quantile(lands, 0.5), quantile(changes, 0.5)
	// In a shadow bead and face are as much darker as each other.
	face := middleColour(faces)
	for k := range looks {
		looks[k] = looks[k].scaled(face[0] / faces[k][0])
	}
	look := middleColour(looks)
	inner := make([]float64, arcs) // the bead's inner side in every arc, from the band's middle; NaN where it is not seen
	count := 0
	// Of another width or colour it is a wall or a shadow, where base had left the bead's side. A bead of metal that glints has any colour, but its very
	// width, and the very land.
	same := func(f *beadSeen) bool {
		off, offLand := math.Abs(f.innerMM-f.outerMM-bead), math.Abs(f.landMM-land)
		return off <= evenMM && f.look.scaled(face[0]/f.face[0]).apart(look) <= alike*change || off <= evenMM/3 && offLand <= landEvenMM/3
	}
	for a, f := range found {
		switch {
		case f != nil && same(f):
			inner[a] = f.innerMM
		case b.beadOutside(across[a], beadLook{bead, land, look, face}, alike*change):
			inner[a] = -land
		default:
			inner[a] = math.NaN()
			continue
		}
		count++
	}
	if float64(count) < agree*float64(arcs) {
		return nil
	}
	round := b.alongRound(inner, -bead, land)
	round.landMM, round.whole = quantile(lands, 0.25), count == arcs
	round.look = beadLook{bead, land, look, face}
	return round
}

// beadLike looks near the edge at base for a bead that looks like those of the other openings of the gasket, and of the same opening's other
// arcs. base may be along either side of the bead or along the opening's edge, or change between them: bendMM is by how much the bead's side may change against base, from one arc to the next, at the
// price of a full misfit. It returns nil where there is none.
func (s *surface) beadLike(base []geom.PointMM, like beadLook, bendMM float64) *beadRound {
	const (
		outMM, inMM = 2.5, 2.5 // how far the bead's outer side lies outside of where it is if base is the opening's edge, or inside base
		besideMM    = 0.8      // face outside the bead that must look so
		blurMM      = 0.12     // at its sides
		unseen      = 1.0      // misfit that says no more
		seen        = 0.5      // where it is there
		agree       = 0.7      // share of the arcs that must show it
	)
	first := -outMM - like.beadMM - like.landMM
	b := s.unroll(base, first-besideMM-0.2, inMM+like.beadMM+like.landMM+0.2, 0.5*s.mmPerPx(base[0]), profileAverageMM, true)
	n := len(b.base)
	arcs := max(12, int(float64(n)*b.spacing/(arcMM/2)))
	lo, hi := int(b.index(first)), int(b.index(inMM))
	wide := hi - lo + 1
	cost := make([]float64, arcs*wide)
	for a := range arcs {
		p := newColourSums(b.colours(a*n/arcs, (a+1)*n/arcs))
		mean := func(from, to float64) colour { return p.mean(int(b.index(from)+0.5), int(b.index(to)+0.5)) }
		for j := range wide {
			at := first + float64(j)*b.ds
			face := mean(at-besideMM, at-blurMM)
			bead := mean(at+blurMM, at+like.beadMM-blurMM)
			land := mean(at+like.beadMM+blurMM, at+like.beadMM+max(like.landMM-2*blurMM, 2*blurMM))
			cost[a*wide+j] = min(like.misfit(face, bead, land), unseen)
		}
	}
	perArc := make([]float64, arcs)
	count := 0
	for a, j := range closedPath(cost, arcs, wide, math.Pow(b.ds/bendMM, 2), wide) {
		perArc[a] = math.NaN()
		if cost[a*wide+j] < seen {
			perArc[a] = first + float64(j)*b.ds + like.beadMM
			count++
		}
	}
	if float64(count) < agree*float64(arcs) {
		return nil
	}
	round := b.alongRound(perArc, -like.beadMM, like.landMM)
	round.landMM, round.whole, round.look = like.landMM, count == arcs, like
	return round
}

// beadRoundLike is the bead that beadLike finds near base, looked for again from along itself, where it leads on smoothly.
func (s *surface) beadRoundLike(base []geom.PointMM, like beadLook) (round *beadRound) {
	for _, bendMM := range []float64{5, 1, 1, 1} {
		found := s.beadLike(base, like, bendMM)
		if found == nil {
			break
		}
		round = found
		base = resampleClosed(found.outer, pathLength(base)/float64(len(base)))
	}
	return round
}

// misfit tells how much what is seen in a row across a bead differs from what it looks like: 0 for not at all, 1 for as much as bead and face
// differ. Light and shadow take all three alike.
func (l *beadLook) misfit(face, bead, land colour) float64 {
	light := 2 * l.face[0] / (face[0] + land[0])
	return (face.scaled(light).apart(l.face) + bead.scaled(light).apart(l.bead) + land.scaled(light).apart(l.face)) / l.bead.apart(l.face)
}

// colourSums are running sums of colours.
type colourSums []colour

func newColourSums(p []colour) colourSums {
	sums := make(colourSums, len(p)+1)
	for j, x := range p {
		for c := range x {
			sums[j+1][c] = sums[j][c] + x[c]
		}
	}
	return sums
}

// mean is the mean of the colours from place from up to, not with, place to; of one at least.
func (s colourSums) mean(from, to int) colour {
	from = min(max(from, 0), len(s)-2)
	to = min(max(to, from+1), len(s)-1)
	m := s[to]
	for c := range m {
		m[c] = (m[c] - s[from][c]) / float64(to-from)
	}
	return m
}

// beadsAlike looks for beads again, with what is known of those of the gasket's other openings, where one was found in part only or not at all:
// all openings of a gasket have alike ones (common practice, no source).
func (v *Survey) beadsAlike(starts []start, bases [][]geom.PointMM, beads []*beadRound) {
	var known []beadLook
	looked := 0
	for i, b := range beads {
		if b != nil {
			known = append(known, b.look)
		}
		if wideEnough(bases[i]) {
			looked++
		}
	}
	outside := len(known) < 2 || 2*len(known) <= looked
	if outside {
		if known = v.beadsOutside(starts, bases, beads); len(known) == 0 || 2*len(known) <= looked {
			return
		}
	}
	like := usualBead(known)
	parallelItems(len(starts), func(i int) {
		if beads[i] != nil && beads[i].whole || !wideEnough(bases[i]) || starts[i].landMM > 0 && beads[i] == nil {
			return
		}
		found := v.s.beadRoundLike(bases[i], like)
		if found == nil {
			return
		}
		if outside {
			// Regions had the edge right mostly, and have it where the bead is not seen.
			found.sure = found.end
		}
		beads[i] = found
	})
}

// beadsOutside returns what the beads look like that lie outside of where regions have the edges, which may be astray here and there; none
// where those of different openings differ.
func (v *Survey) beadsOutside(starts []start, bases [][]geom.PointMM, beads []*beadRound) (known []beadLook) {
	const alikeMM, alike = 0.5, 0.4 // how far widths may differ, and colours, of their difference from the face's
	found := make([]*beadLook, len(bases))
	parallelItems(len(bases), func(i int) {
		if wideEnough(bases[i]) && beads[i] == nil && starts[i].landMM == 0 {
			found[i] = v.s.beadBeside(bases[i])
		}
	})
	for _, f := range found {
		if f != nil {
			known = append(known, *f)
		}
	}
	if len(known) == 0 {
		return nil
	}
	usual := usualBead(known)
	return slices.DeleteFunc(known, func(k beadLook) bool {
		return math.Abs(k.beadMM-usual.beadMM) > alikeMM || math.Abs(k.landMM-usual.landMM) > alikeMM || k.bead.scaled(usual.face[0]/k.face[0]).apart(usual.bead) > alike*usual.bead.apart(usual.face)
	})
}

// beadBeside returns what a bead looks like that lies outside the edge at base and is seen most of the way round, or nil where there is none.
func (s *surface) beadBeside(base []geom.PointMM) *beadLook {
	const (
		leastLandMM, mostLandMM = 0.6, 4.0
		leastMM, mostMM         = 0.5, 3.5 // how wide a bead is
		leastChange             = 7        // levels, from the face to the bead
		sameFace                = 0.35     // how much the face on both sides may differ, of that
	)
	b := s.unroll(base, -mostLandMM-mostMM-1, 0.5, 0.5*s.mmPerPx(base[0]), profileAverageMM, true)
	_, usual := b.colourArcs()
	at := func(mm float64) int { return min(max(int(b.index(mm)), 0), b.n-1) }
	face := middleColour(usual[at(-leastLandMM):at(-0.25)])
	most := indexOfMostApart(usual, face, at(-mostLandMM-0.3), at(-leastLandMM))
	change := usual[most].apart(face)
	if change < leastChange {
		return nil
	}
	inner, outer := most, most
	for inner < b.n-1 && usual[inner].apart(face) > change/2 {
		inner++
	}
	for outer > 0 && usual[outer].apart(face) > change/2 {
		outer--
	}
	width, land := float64(inner-outer)*b.ds, -(b.s0 + float64(inner)*b.ds)
	beyond := middleColour(usual[max(0, outer-int(1/b.ds)):max(1, outer-int(0.2/b.ds))])
	if width < leastMM || width > mostMM || land < leastLandMM || beyond.apart(face) > sameFace*change {
		return nil
	}
	return &beadLook{width, land, middleColour(usual[outer+(inner-outer)/4 : inner-(inner-outer)/4+1]), face}
}

// usualBead is the median of what beads look like.
func usualBead(known []beadLook) (usual beadLook) {
	var widths, lands []float64
	var beads, faces []colour
	for _, k := range known {
		widths, lands = append(widths, k.beadMM), append(lands, k.landMM)
		beads, faces = append(beads, k.bead), append(faces, k.face)
	}
	return beadLook{quantile(widths, 0.5), quantile(lands, 0.5), middleColour(beads), middleColour(faces)}
}

// beadOutside tells whether across the edge with the colours p, where the edge is at the middle, a bead so wide and of such a colour lies so
// far outside it.
func (b *band) beadOutside(p []colour, usual beadLook, stray float64) bool {
	beadMM, landMM := usual.beadMM, usual.landMM
	at := func(mm float64) int { return min(max(int(b.index(mm)), 0), b.n-1) }
	bead := middleColour(p[at(-landMM-0.75*beadMM) : at(-landMM-0.25*beadMM)+1])
	land := middleColour(p[at(-0.75*landMM) : at(-0.25*landMM)+1])
	light := usual.face[0] / land[0]
	return bead.scaled(light).apart(usual.bead) < stray && land.scaled(light).apart(usual.bead) > stray
}

// alongRound makes curves along what lies at the given distances from the band's middle in so many equal arcs, NaN where it was not seen: at
// outerMM and at endMM from it, inward.
func (b *band) alongRound(arcs []float64, outerMM, endMM float64) *beadRound {
	along := func(arcs []float64, mm float64) []geom.PointMM {
		off := b.fromArcs(arcs)
		for i := range off {
			off[i] += mm
		}
		return b.moved(off)
	}
	filled := filledRound(arcs)
	sure := slices.DeleteFunc(along(arcs, endMM), func(p geom.PointMM) bool { return p.X != p.X })
	return &beadRound{outer: along(filled, outerMM), end: along(filled, endMM), sure: sure, landMM: endMM}
}

// filledRound gives what is NaN in values round an opening its nearest neighbours' values. One of them at least is a number.
func filledRound(v []float64) []float64 {
	out := slices.Clone(v)
	for i := range v {
		for k := 0; math.IsNaN(out[i]); k++ {
			before, after := v[(i-k+len(v))%len(v)], v[(i+k)%len(v)]
			switch {
			case math.IsNaN(before):
				out[i] = after
			case math.IsNaN(after):
				out[i] = before
			default:
				out[i] = (before + after) / 2
			}
		}
	}
	return out
}

// besideRing looks whether a ring lines the opening whose edge is at base most of the way round, or a bead runs round it: outside the edge
// something of another colour than what lies further out, as wide all along. Where a ring looks like what is behind it, base may have left the
// edge for the ring's outer side. It returns nil where there is neither. left tells whether base has left its edge anywhere.
func (s *surface) besideRing(base []geom.PointMM) (found *beadRound, left bool) {
	const (
		mostMM, leastMM   = 4.5, 0.6
		nearMM, behindMM  = 0.3, 1.0
		leastChange       = 12        // levels, from the face to the ring
		evenMM            = 0.3       // how far from the usual width an arc's may be
		mostly, nearlyAll = 0.5, 0.75 // share of the arcs
		staysMM           = 0.3       // that the ring must be wide, and what lies outside it
	)
	b := s.unroll(base, -mostMM-1.2, behindMM+0.5, 0.5*s.mmPerPx(base[0]), profileAverageMM, true)
	all, usual := b.colourArcs()
	arcs := len(all)
	at := func(mm float64) int { return min(max(int(b.index(mm)), 0), b.n-1) }
	ring := middleColour(usual[at(-nearMM-0.5):at(-nearMM)])
	far := indexOfMostApart(usual, ring, at(-mostMM), at(-leastMM))
	change := usual[far].apart(ring)
	if change < leastChange {
		return nil, false
	}
	border := at(-nearMM)
	for border > far && usual[border].apart(ring) < change/2 {
		border--
	}
	outside := b.s0 + float64(border)*b.ds
	face := middleColour(usual[at(outside-1):at(outside-0.4)])
	if face.apart(ring) < leastChange {
		return nil, false
	}
	// The border between face and ring in every arc; NaN where there is none.
	borders := make([]float64, arcs)
	stays := int(staysMM / b.ds)
	for a, p := range all {
		borders[a] = math.NaN()
		ringLike := func(from, to int) bool {
			c := middleColour(p[from:to])
			return c.apart(ring) < c.apart(face)
		}
		for j := at(outside-0.5) + stays; j+stays < at(behindMM); j++ {
			if ringLike(j, j+stays) && !ringLike(j-stays, j) {
				borders[a] = b.s0 + float64(j)*b.ds
				break
			}
		}
	}
	width := -outside
	var even, gone float64
	for a, x := range borders {
		switch {
		case math.Abs(-x-width) < evenMM:
			even++
		case x > -width/2:
			gone++
		default:
			borders[a] = math.NaN()
		}
	}
	if width < leastMM || even < mostly*float64(arcs) || even+gone < nearlyAll*float64(arcs) {
		return nil, false
	}
	return b.alongRound(borders, 0, width), gone > 0
}

// indexOfMostApart is the place, between two, of the colour that is most unlike c.
func indexOfMostApart(v []colour, c colour, from, to int) int {
	best := from
	for j := from; j <= to; j++ {
		if v[j].apart(c) > v[best].apart(c) {
			best = j
		}
	}
	return best
}

// middleHalf is how far apart the ends of the middle half of v are.
func middleHalf(v []float64) float64 { return quantile(v, 0.75) - quantile(v, 0.25) }

// fromArcs takes values in the middles of as many equal arcs to values at every row of b; NaN next to NaN.
func (b *band) fromArcs(v []float64) []float64 {
	out := make([]float64, len(b.base))
	for i := range out {
		x := float64(i)*float64(len(v))/float64(len(out)) - 0.5
		k := int(math.Floor(x))
		f := x - float64(k)
		out[i] = (1-f)*v[(k+len(v))%len(v)] + f*v[(k+1)%len(v)]
	}
	return out
}

// lining is what is seen inside an edge in search of a ring that lines the opening: the place of the greatest change of colour in every arc,
// and a curve along such places.
type lining struct {
	curve    []geom.PointMM
	widthMM  float64
	agreeing float64 // share of the arcs where the change is at that width
}

// lining looks for the inner edge of a ring inside the edge at base. A cut wall and a shadow have an inner edge too, but on one side of the
// opening they are wide and on the other there is none: a fifth of the arcs agree. A bench's grain lies anywhere.
func (s *surface) lining(base []geom.PointMM) *lining {
	const (
		leastMM, mostMM = 0.9, 4.0
		clearMM         = 0.4  // of the edge itself
		plain           = 0.55 // how much a ring's colour changes in its middle, of the change at its inner edge; a shadow fades all the way
		leastChange     = 8    // levels
		mostChange      = 40   // what is more counts no more
		evenMM          = 0.25 // how far from the usual width an arc's may be
		alike           = 0.5  // how far the ring's colour may stray, of the change at its inner edge
		mostByChance    = 0.42 // share of the arcs that agree on a width at random; 0.35 at most with rings, 0.45 and more in a noisy photo
		bendMM          = 0.3  // by which the curve may change from one arc to the next at the price of the least change
	)
	b := s.unroll(base, -0.5, mostMM+1, 0.5*s.mmPerPx(base[0]), profileAverageMM, true)
	n := len(b.base)
	arcs := max(12, int(float64(n)*b.spacing/(arcMM/2)))
	half := max(2, int(math.Max(0.2, 2*b.pxMM)/b.ds))
	at := func(mm float64) int { return min(max(int(b.index(mm)), half), b.n-1-half) }
	first, last := at(leastMM), at(mostMM)
	wide := last - first + 1
	across := make([][]colour, arcs)
	changes := make([]float64, arcs*wide)
	peaks := make([][]int, arcs) // where the colour changes most, and is plain before
	for a := range arcs {
		p := b.colours(a*n/arcs, (a+1)*n/arcs)
		across[a] = p
		change := make([]float64, len(p))
		for j := at(clearMM); j <= last+1; j++ {
			change[j] = p[j+half].apart(p[j-half])
		}
		for k := range wide {
			j := first + k
			changes[a*wide+k] = change[j]
			if k > 0 && change[j] > leastChange && change[j] >= change[j-1] && change[j] > change[j+1] && slices.Min(change[at(clearMM):j]) < plain*change[j] {
				peaks[a] = append(peaks[a], k)
			}
		}
	}
	near := int(evenMM / b.ds)
	usual, agreeing := mostAgreed(peaks, wide, near)
	if len(agreeing) == 0 || byChance(peaks, wide, near) > mostByChance {
		return &lining{}
	}
	var ring []colour
	var change, strays []float64
	for _, k := range agreeing {
		inner := first + k%wide - half
		ring, change = append(ring, middleColour(across[k/wide][at(clearMM):max(inner, at(clearMM)+1)])), append(change, changes[k])
	}
	middle := middleColour(ring)
	for _, c := range ring {
		strays = append(strays, c.apart(middle))
	}
	if quantile(strays, 0.5) > alike*quantile(change, 0.5) {
		return &lining{}
	}
	cost := make([]float64, arcs*wide)
	for k, c := range changes {
		off := float64(k%wide-usual) * b.ds / (3 * evenMM)
		cost[k] = off*off - min(c, mostChange)/leastChange
	}
	perArc := make([]float64, arcs)
	for a, j := range closedPath(cost, arcs, wide, math.Pow(b.ds/bendMM, 2), wide) {
		perArc[a] = b.s0 + float64(first+j)*b.ds
	}
	return &lining{b.moved(b.fromArcs(perArc)), b.s0 + float64(first+usual)*b.ds, float64(len(agreeing)) / float64(arcs)}
}

// mostAgreed returns the place of so many at which most rows have a peak, give or take near, and where those are, counted through all rows.
func mostAgreed(peaks [][]int, wide, near int) (place int, agreeing []int) {
	for k := range wide {
		var here []int
		for row, p := range peaks {
			best := -1
			for _, q := range p {
				if abs(q-k) <= near && (best < 0 || abs(q-k) < abs(best-k)) {
					best = q
				}
			}
			if best >= 0 {
				here = append(here, row*wide+best)
			}
		}
		if len(here) > len(agreeing) {
			place, agreeing = k, here
		}
	}
	return place, agreeing
}

// byChance is the share of the rows that have a peak at a place, give or take near, the median over so many places: in noise there is one anywhere.
func byChance(peaks [][]int, wide, near int) float64 {
	share := make([]float64, wide)
	for k := range share {
		for _, p := range peaks {
			if slices.ContainsFunc(p, func(q int) bool { return abs(q-k) <= near }) {
				share[k] += 1 / float64(len(peaks))
			}
		}
	}
	return quantile(share, 0.5)
}

func abs(i int) int { return max(i, -i) }

// lined moves the starts of all openings that a ring lines to its inner edge. All openings of a gasket are lined alike: what would not
// be believed of one alone is believed where others have it, and where most have it an opening in which none is made out is in doubt.
func (s *surface) lined(starts []start, bases [][]geom.PointMM) {
	const (
		// Share of the arcs that agree, for an opening alone, with another, and for that other. Of 900 drawn openings without a ring eleven had
		// 0.45 or more, and none more than 0.52; grain along one of four ray-traced openings made 0.69. Where two others show nothing of the kind
		// nearly all must: a thick gasket's soft shadow along a corner made 0.73.
		alone, sure, likely = 0.72, 0.6, 0.45
		aloneOfMany         = 0.9
		alikeMM             = 0.35 // widths of rings of one gasket
	)
	// Beside some edges a ring or a bead is known already.
	open := func(i int) bool { return starts[i].landMM == 0 && wideEnough(bases[i]) }
	seen := make([]*lining, len(starts))
	parallelItems(len(starts), func(i int) {
		seen[i] = &lining{}
		if open(i) {
			seen[i] = s.lining(bases[i])
		}
	})
	looked := 0
	for i := range starts {
		if open(i) {
			looked++
		}
	}
	believed := func(l *lining) bool {
		if slices.ContainsFunc(seen, func(o *lining) bool { return o != l && o.agreeing >= likely }) {
			return l.agreeing >= sure
		}
		return l.agreeing >= aloneOfMany || l.agreeing >= alone && looked < 3
	}
	var widths []float64
	for _, l := range seen {
		if believed(l) {
			widths = append(widths, l.widthMM)
		}
	}
	if len(widths) == 0 {
		return
	}
	width := quantile(widths, 0.5)
	for i, l := range seen {
		starts[i].unlined = len(widths) > 1 && 2*len(widths) > looked && open(i)
		if believed(l) || l.agreeing >= likely && math.Abs(l.widthMM-width) < alikeMM {
			starts[i].curve, starts[i].landMM, starts[i].far = l.curve, l.widthMM, reach{1, 1}
			starts[i].lined, starts[i].unlined = true, false
		}
	}
}

// usualBesideMM is how wide the face is between most edges and the beads or rings round them; 0 where none run round most.
func usualBesideMM(starts []start, bases [][]geom.PointMM) float64 {
	var lands []float64
	looked := 0
	for i, st := range starts {
		if !wideEnough(bases[i]) {
			continue
		}
		looked++
		if st.alongBead != nil {
			lands = append(lands, st.besideMM)
		}
	}
	if len(lands) < 2 || 2*len(lands) <= looked {
		return 0
	}
	return quantile(lands, 0.5)
}

// withoutBead marks openings beside which the face is not as wide as it usually is up to a bead or a ring: all openings of a gasket have alike ones
// (common practice, no source), and its edge may have been taken for a bead's or a ring's outer side. usualMM is 0 where there are none.
func withoutBead(starts []start, bases [][]geom.PointMM, usualMM float64) {
	const alikeMM = 0.6
	if usualMM == 0 {
		return
	}
	for i := range starts {
		if st := &starts[i]; wideEnough(bases[i]) && st.alongBead == nil && math.Abs(max(st.landMM, st.besideMM)-usualMM) > alikeMM {
			st.unlined = true
		}
	}
}

// colour is brightness and chroma (Cb and Cr), in levels of a photo.
type colour [3]float64

func (c colour) apart(o colour) float64 {
	return math.Sqrt((c[0]-o[0])*(c[0]-o[0]) + (c[1]-o[1])*(c[1]-o[1]) + (c[2]-o[2])*(c[2]-o[2]))
}

// scaled is the colour in so many times the light.
func (c colour) scaled(light float64) colour { return colour{c[0] * light, c[1] * light, c[2] * light} }

// colours returns the mean colours across the edge, of rows from to to.
func (b *band) colours(from, to int) []colour {
	out := make([]colour, b.n)
	for j := range out {
		var light float64
		var count float64
		for i := from; i < to; i++ {
			y := float64(b.row(i)[j])
			if y != y {
				continue
			}
			count++
			light += y
			if b.hue != nil {
				grey := greyLevel(y) + hueFloor
				for c := range 2 {
					out[j][1+c] += grey * float64(b.hue[2*(i*b.n+j)+c])
				}
			}
		}
		if count == 0 {
			continue
		}
		out[j][0] = greyLevel(light / count)
		out[j][1] /= count
		out[j][2] /= count
	}
	return out
}

// colourArcs returns the mean colours across the edge in arcs of half arcMM, and at every distance from the edge what is usual all round.
func (b *band) colourArcs() (arcs [][]colour, usual []colour) {
	n := len(b.base)
	arcs = make([][]colour, max(12, int(float64(n)*b.spacing/(arcMM/2))))
	for a := range arcs {
		arcs[a] = b.colours(a*n/len(arcs), (a+1)*n/len(arcs))
	}
	usual = make([]colour, b.n)
	column := make([]colour, len(arcs))
	for j := range usual {
		for a := range arcs {
			column[a] = arcs[a][j]
		}
		usual[j] = middleColour(column)
	}
	return arcs, usual
}

// middleColour is the median of every part of the colours.
func middleColour(all []colour) (m colour) {
	for c := range m {
		var v []float64
		for _, x := range all {
			v = append(v, x[c])
		}
		m[c] = quantile(v, 0.5)
	}
	return m
}

func indexOfMost(v []float64, from, to int) int {
	return from + slices.Index(v[from:to+1], slices.Max(v[from:to+1]))
}

func indexOfLeastIn(v []float64, from, to int) int {
	return from + indexOfLeast(v[from:to+1])
}

// unlessOpen marks the places of an edge of a thin part behind which something else than what shows in the middle of its opening comes: more of the
// part, a bead, or a shadow that may hide either. Where the bench begins right behind the cut wall the edge is the opening's own, whatever
// beads are beside it.
func (s *surface) unlessOpen(r *edgeReading, m edgeModel) {
	const (
		faceMM           = 1.6 // outside the edge
		clearMM          = 0.5 // of the edge and of the wall's foot
		depthMM, partMM  = 4.0, 0.5
		middleMM         = 3.0 // from here to twice as far shows what lies in the middle
		alike            = 0.4 // of the difference between face and middle
		leastLevels      = 15.0
		arcMM, marginArc = 2.0, 1
	)
	b := s.unroll(r.outline, -faceMM, depthMM+2*middleMM, 0.5*r.pxMM, profileAverageMM, true)
	n := len(b.base)
	arcs := max(12, int(float64(n)*b.spacing/arcMM))
	at := func(mm float64) int { return min(max(int(b.index(mm)), 0), b.n-1) }
	all := make([][]colour, arcs)
	var inner []colour
	foot := make([]float64, arcs)
	for a := range arcs {
		all[a] = b.colours(a*n/arcs, (a+1)*n/arcs)
		foot[a] = m.width(b.lean[(2*a+1)*n/(2*arcs)])
		inner = append(inner, all[a][at(foot[a]+middleMM):at(foot[a]+2*middleMM)+1]...)
	}
	middle := middleColour(inner)
	open := make([]bool, arcs)
	for a, p := range all {
		step := middleColour(p[at(-faceMM) : at(-clearMM)+1]).apart(middle)
		open[a] = step > leastLevels
		for mm := foot[a] + clearMM; mm < foot[a]+depthMM; mm += partMM {
			open[a] = open[a] && middleColour(p[at(mm):at(mm+partMM)+1]).apart(middle) < alike*step
		}
	}
	for a, yes := range open {
		if yes {
			continue
		}
		for i := (a - marginArc) * n / arcs; i < (a+1+marginArc)*n/arcs; i++ {
			r.sure[(i+n)%n] = false
		}
	}
}
