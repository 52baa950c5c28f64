package contour

import (
	"math"
	"slices"
	"sort"
)

// penStroke is where a line drawn on the face crosses one row of a band, along the inward normal; ok is false where none does.
type penStroke struct {
	fromMM, toMM float64
	ok           bool
}

// withoutPenLines returns the surface with dark lines drawn on a casting's face beside its openings painted over with what lies on either
// side of them; s itself if there are none. A felt-pen line beside an edge, with the face showing in between and beyond, would pass for the edge, or
// make a rim of the face in between.
func (v *Survey) withoutPenLines(s *surface, starts []start) *surface {
	if v.through() {
		return s
	}
	const (
		reachMM, inMM = 5.0, 1.5 // that is looked at, outside the curve and in it
		alongMM       = 2.0      // lines go on, grain does not
		spacingMM     = 0.4
	)
	o := *s
	o.light = nil
	for _, st := range starts {
		c := st.curve
		b := s.unroll(smoothClosed(resampleClosed(c, spacingMM), spacingMM, 0.8), -reachMM, inMM, 0.5*s.mmPerPx(c[0]), alongMM, false)
		strokes := b.penStrokes()
		if !slices.ContainsFunc(strokes, func(p penStroke) bool { return p.ok }) {
			continue
		}
		if o.light == nil {
			o.light = slices.Clone(s.light)
		}
		for i, p := range strokes {
			if q := strokes[(i+1)%len(strokes)]; p.ok && q.ok {
				o.paint(b, i, p, q)
			}
		}
	}
	if o.light == nil {
		return s
	}
	return &o
}

// penStrokes finds in every row the darkest line that is drawn on the face outside the edge, if it goes on from row to row.
func (b *band) penStrokes() []penStroke {
	const (
		nearMM   = 0.8  // the face is learned farther out
		leastMM  = 6.0  // of a line's length
		jumpMM   = 0.35 // from row to row: more is another line
		mostMM   = 0.5  // and across a gap
		gapMM    = 2.0  // within one line that does not show
		marginPx = 1.6  // to either side, of the lens's blur
	)
	n := len(b.base)
	level, spread := faceLevels(b, b.s0, -nearMM)
	seen := make([]penStroke, n)
	for i := range seen {
		seen[i] = b.penStroke(i, level[i], spread[i])
	}
	out := make([]penStroke, n)
	start := slices.IndexFunc(seen, func(p penStroke) bool { return !p.ok })
	for k := 0; k < n; k++ {
		at := func(k int) *penStroke { return &seen[(max(start, 0)+k)%n] }
		if !at(k).ok {
			continue
		}
		last := k
		for j := k + 1; j < n && float64(j-last-1)*b.spacing <= gapMM; j++ {
			if p, q := at(last), at(j); q.ok && math.Abs(p.fromMM+p.toMM-q.fromMM-q.toMM)/2 < min(jumpMM*float64(j-last), mostMM) {
				last = j
			}
		}
		if float64(last-k)*b.spacing > leastMM {
			for j, p := k, *at(k); j <= last; j++ {
				if at(j).ok {
					p = *at(j)
				}
				m := marginPx * b.pxMM
				out[(max(start, 0)+j)%n] = penStroke{p.fromMM - m, p.toMM + m, true}
			}
		}
		k = last
	}
	return out
}

// penStroke is the line across row i, if there is one. spread is what the face's light there scatters by, standard deviation.
func (b *band) penStroke(i int, faceLevel, spread float64) penStroke {
	const (
		edgeMM         = 0.3       // how far in the curve may run
		farMM          = 4.3       // from the curve
		stripMM        = 0.4       // of face between edge and line, and beyond it, at least
		widestMM       = 1.4       // line
		faceLo, faceHi = 0.8, 1.25 // of the face's usual light, in between and beyond
		line           = 0.65      // of it, at most: milling marks are lighter
		standsOut      = 3.5       // spreads
	)
	row := b.row(i)
	level := func(j int) float64 { return float64(row[j]) / faceLevel }
	mm := func(j int) float64 { return b.s0 + float64(j)*b.ds }
	looks := func(fromMM, toMM float64) bool {
		v, ok := b.meanBetween(i, fromMM, toMM)
		return ok && v > faceLo*faceLevel && v < faceHi*faceLevel
	}
	far := max(0, int(b.index(-farMM)))
	edge := int(b.index(edgeMM))
	for edge > far && !(level(edge) > faceLo) {
		edge--
	}
	least := far
	for j := far; mm(j) < mm(edge)-stripMM; j++ {
		if row[j] < row[least] {
			least = j
		}
	}
	if dark := level(least); !(dark < line) || !((1-dark)*faceLevel > standsOut*spread) {
		return penStroke{}
	}
	half := (level(least) + 1) / 2
	inner, outer := least, least
	for inner < edge && !(level(inner) > half) {
		inner++
	}
	for outer > far && !(level(outer) > half) {
		outer--
	}
	if outer == far || mm(edge)-mm(inner) < stripMM || mm(inner)-mm(outer) > widestMM ||
		!looks(mm(inner)+b.pxMM, mm(inner)+b.pxMM+stripMM) || !looks(mm(outer)-b.pxMM-stripMM, mm(outer)-b.pxMM) {
		return penStroke{}
	}
	return penStroke{mm(outer), mm(inner), true}
}

// paint lays over the strokes of rows i and i+1, and what is between them, the light beside them.
func (s *surface) paint(b *band, i int, p, q penStroke) {
	const stepPx, sidePx = 0.4, 0.7
	k := (i + 1) % len(b.base)
	step := stepPx * b.pxMM
	beside := func(i int, mm, side float64) float64 {
		v, ok := b.meanBetween(i, mm+min(0, side), mm+max(0, side))
		if !ok {
			return math.NaN()
		}
		return v
	}
	side := sidePx * b.pxMM
	outerP, innerP := beside(i, p.fromMM, -side), beside(i, p.toMM, side)
	outerQ, innerQ := beside(k, q.fromMM, -side), beside(k, q.toMM, side)
	mix := func(a, b, t float64) float64 { return a + t*(b-a) }
	for t := 0.0; t < 1; t += step / b.spacing {
		base := b.base[i].Scale(1 - t).Add(b.base[k].Scale(t))
		in := b.inward[i].Scale(1 - t).Add(b.inward[k].Scale(t))
		from, to := mix(p.fromMM, q.fromMM, t), mix(p.toMM, q.toMM, t)
		for at := from; at <= to; at += step {
			px := s.pixel(base.Add(in.Scale(at)))
			u, v := int(math.Round(px.U)), int(math.Round(px.V))
			light := mix(mix(outerP, outerQ, t), mix(innerP, innerQ, t), (at-from)/(to-from))
			if u >= 0 && v >= 0 && u < s.w && v < s.h && light == light {
				s.light[v*s.w+u] = s.stored(light)
			}
		}
	}
}

// stored is the level of the photo that has so much linear light.
func (s *surface) stored(linear float64) uint8 {
	return uint8(min(255, sort.Search(256, func(v int) bool { return float64(s.tone[v]) >= linear })))
}
