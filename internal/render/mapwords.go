package render

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"portmatch/internal/compare"
	"portmatch/internal/geom"
)

// drawPortWords writes number, verdict and the steps called out into the opening, where the paper is bare, and points at
// the steps. What doesn't fit inside stands below the opening.
func (m *mapSheet) drawPortWords(p *portDrawing) {
	o := p.target
	if len(o) < 3 {
		o = p.work
	}
	if len(o) < 3 {
		return
	}
	if !m.win.holds(boundsOf(o)) {
		// Cut by the window: the words stand on the page that shows the port whole, here only its number, if its middle shows.
		if c := o.CentroidMM(); m.win.holds(box{c, c}.grown(roomMM)) {
			q := m.paperOf(c)
			m.text(typeface{sizeMM: 6, bold: true, ink: gray(0)}, centre, q.Add(geom.PointMM{Y: -2}), strconv.Itoa(p.Port))
		}
		return
	}
	lines := m.portLines(p)
	var w, h float64
	for _, l := range lines {
		w, h = math.Max(w, m.textWidth(l.face, l.words)), h+lineMM(l.face)
	}
	b := boundsOf(o)
	mid := m.paperOf(o.CentroidMM())
	// A rectangle three fifths as wide and high as the opening fits into any oval.
	const share = 0.62
	k := math.Min(1, math.Min(share*b.w()/w, share*b.h()/h))
	const smallest = 0.7 // of the sizes above; less can't be read at arm's length
	if k < smallest {
		k = smallest
		mid = m.paperOf(geom.PointMM{X: b.mid().X, Y: b.lo.Y - 2}).Sub(geom.PointMM{Y: k * h / 2})
	}
	words := box{mid, mid}.with(mid.Add(geom.PointMM{X: k * w / 2, Y: k * h / 2})).with(mid.Sub(geom.PointMM{X: k * w / 2, Y: k * h / 2}))
	for _, c := range p.callouts {
		m.drawLeader(words.grown(0.8), c)
	}
	y := words.hi.Y
	for _, l := range lines {
		l.face.sizeMM *= k
		y -= lineMM(l.face)
		m.text(l.face, centre, geom.PointMM{X: mid.X, Y: y + 0.3*l.face.sizeMM}, l.words)
	}
}

// drawLand marks where a port keeps the least metal beside it once it is ground, as a dimension line with its figure. Two ports
// that share their least land have one line.
func (m *mapSheet) drawLand(p *portDrawing) {
	if len(p.Lands) == 0 || p.Verdict == compare.NotMeasured {
		return
	}
	d := p.Lands[0]
	for _, other := range m.ports {
		if other.Port < p.Port && len(other.Lands) > 0 && other.Lands[0].To == fmt.Sprintf("port %d", p.Port) && d.To == fmt.Sprintf("port %d", other.Port) {
			return
		}
	}
	at := func(q [2]float64) geom.PointMM { return m.paperFromJob.Apply(geom.PointMM{X: q[0], Y: q[1]}) }
	from, to := at(d.At), at(d.End)
	if !m.win.holds(box{from, from}.with(to)) || from == to {
		return
	}
	from, to = m.paperOf(from), m.paperOf(to)
	m.ticked(from, to)
	face := typeface{sizeMM: 2.4, ink: gray(0x40)}
	words := "land " + m.Units.LengthText(d.Value) + " " + m.Units.Length()
	m.text(face, left, m.roomBeside(from, to, m.textWidth(face, words), face.sizeMM), words)
}

// roomBeside is where a line of text beside or behind a dimension line, all on paper, begins so that it crosses as little as possible of what
// is drawn: on either side, or beyond its far end.
func (m *mapSheet) roomBeside(from, to geom.PointMM, widthMM, sizeMM float64) geom.PointMM {
	const asideMM, stepMM, clearMM, arrowMM, marginMM = 1.3, 0.4, 0.3, 2.0, 2.0
	u := to.Sub(from).Scale(1 / to.Dist(from))
	side := geom.PointMM{X: -u.Y, Y: u.X}
	if side.X < 0 || side.X == 0 && side.Y < 0 {
		side = side.Scale(-1)
	}
	openings := m.openingsOnPaper()
	drawn := geom.Outline{from, to}.Resampled(stepMM)
	for _, o := range append(openings, m.onPaper(m.part)) {
		if len(o) > 0 { // the part's edge may not be known
			drawn = append(drawn, o.Resampled(stepMM)...)
		}
	}
	for i := range m.ports {
		for _, c := range m.ports[i].callouts {
			b := boundsOf(m.onPaper([]geom.PointMM{c.at})).grown(arrowMM)
			drawn = append(drawn, geom.Outline{b.lo, {X: b.hi.X, Y: b.lo.Y}, b.hi, {X: b.lo.X, Y: b.hi.Y}}.Resampled(stepMM)...)
		}
	}
	page := box{m.paperOf(m.win.lo), m.paperOf(m.win.hi)}.grown(marginMM)
	type place struct {
		at    geom.PointMM
		share float64 // of the text's width that lies left of at
	}
	var places []place
	for _, along := range []float64{0.5, 0.3, 0.7, 0.9} {
		on := from.Add(to.Sub(from).Scale(along))
		right, left := on.Add(side.Scale(asideMM)), on.Sub(side.Scale(asideMM))
		places = append(places, place{right, 0}, place{left, 1})
		if math.Abs(u.X) > math.Abs(u.Y) { // they stand over and under the line rather than beside it
			places = append(places, place{right, 1}, place{left, 0})
		}
	}
	for _, beyond := range []float64{1.5, 3} {
		places = append(places, place{to.Add(u.Scale(beyond * asideMM)), (1 - u.X) / 2})
	}
	var best geom.PointMM
	least := math.MaxInt
	for _, c := range places {
		begin := c.at.Sub(geom.PointMM{X: c.share * widthMM, Y: 0.4 * sizeMM})
		words := box{begin, begin.Add(geom.PointMM{X: widthMM, Y: sizeMM})}
		crossed := 0
		for _, q := range drawn {
			if words.grown(clearMM).holds(box{q, q}) {
				crossed++
			}
		}
		if !page.holds(words) || slices.ContainsFunc(openings, func(o geom.Outline) bool { return o.Contains(words.mid()) }) {
			crossed += len(drawn) // the words of a port stand in its opening
		}
		if crossed < least {
			best, least = begin, crossed
		}
	}
	return best
}

// openingsOnPaper are the edges of ports and holes.
func (m *mapSheet) openingsOnPaper() []geom.Outline {
	var out []geom.Outline
	for i := range m.ports {
		for _, o := range []geom.Outline{m.ports[i].target, m.ports[i].work} {
			if len(o) > 2 {
				out = append(out, m.onPaper(o))
			}
		}
	}
	for _, h := range m.holes {
		out = append(out, m.onPaper(h.circle()))
	}
	return out
}

type textLine struct {
	face  typeface
	words string
}

// lineMM is a line's height with the space to the next.
func lineMM(t typeface) float64 { return 1.25 * t.sizeMM }

func (m *mapSheet) portLines(p *portDrawing) []textLine {
	plain := typeface{sizeMM: 3, ink: gray(0)}
	bold := typeface{sizeMM: 3, bold: true, ink: gray(0)}
	lines := []textLine{{typeface{sizeMM: 6, bold: true, ink: gray(0)}, strconv.Itoa(p.Port)}, {bold, p.Verdict}}
	for _, c := range p.callouts {
		first, second := c.words(m.Units, m.Side)
		lines = append(lines, textLine{bold, first}, textLine{plain, second})
		if !c.past && !c.doubt {
			lines = append(lines, textLine{plain, "area " + m.Units.AreaPM(p.RemoveArea) + " " + m.Units.Area()})
		}
	}
	return lines
}

// drawLeader draws a thin line from a box of words to a place on the edge, and beyond the edge an arrowhead that points at
// it from the far side: the line ends at the tint, which goes over it, the arrowhead stays in sight.
func (m *mapSheet) drawLeader(from box, c callout) {
	to := m.paperOf(c.at)
	d := to.Sub(from.mid())
	u := d.Scale(1 / d.Norm())
	across := geom.PointMM{X: -u.Y, Y: u.X}
	// Where the way from the middle to the place leaves the box.
	if t := math.Min(from.w()/2/math.Abs(d.X), from.h()/2/math.Abs(d.Y)); t < 1 {
		m.line(pen{widthMM: narrowMM, ink: gray(0)}, from.mid().Add(d.Scale(t)), to)
	}
	const clear, length, half = 0.3, 2.0, 0.5
	tip := to.Add(u.Scale(clear))
	if c.past {
		tip = tip.Add(u.Scale(c.step.Value)) // the area past the line lies beyond the target's edge
	}
	back := tip.Add(u.Scale(length))
	m.fill(gray(0), closedPath(geom.Outline{tip, back.Add(across.Scale(half)), back.Sub(across.Scale(half))}))
}

// drawStencilNumber writes a port's number above its opening, on the paper that stays.
func (m *mapSheet) drawStencilNumber(p *portDrawing) {
	b := boundsOf(p.target)
	at := geom.PointMM{X: b.mid().X, Y: b.hi.Y + 1.5}
	if b.empty() || !m.win.holds(box{at, at}.grown(4)) {
		return
	}
	m.text(typeface{sizeMM: 4, bold: true, ink: gray(0)}, centre, m.paperOf(at), strconv.Itoa(p.Port))
}

// drawJoins marks the same places of the face on neighbouring pages, so that they can be laid over each other.
func (m *mapSheet) drawJoins(page int) {
	col, row := page%len(m.cols), page/len(m.cols)
	mark := func(p geom.PointMM, name string) {
		if m.win.holds(box{p, p}) {
			m.drawJoin(m.paperOf(p), name)
		}
	}
	// Marks stand in the middle of what two windows share, near both ends of it; letters A … between columns, N … between rows.
	for c := max(0, col-1); c <= col && c+1 < len(m.cols); c++ {
		x := (m.cols[c+1] + m.cols[c] + m.w) / 2
		for i, p := range m.joinPlaces(geom.PointMM{X: x, Y: m.rows[row]}, geom.PointMM{Y: m.h}) {
			mark(p, fmt.Sprintf("%c%d", 'A'+c, 2*row+i+1))
		}
	}
	for r := max(0, row-1); r <= row && r+1 < len(m.rows); r++ {
		y := (m.rows[r] + m.rows[r+1] + m.h) / 2
		for i, p := range m.joinPlaces(geom.PointMM{X: m.cols[col], Y: y}, geom.PointMM{X: m.w}) {
			mark(p, fmt.Sprintf("%c%d", 'N'+r, 2*col+i+1))
		}
	}
}

// joinPlaces returns a place near either end of a line on the face, clear of ports and holes if there is room.
func (m *mapSheet) joinPlaces(from, along geom.PointMM) [2]geom.PointMM {
	clear := func(p geom.PointMM) bool {
		mark := box{p, p}.grown(2 * roomMM)
		for _, b := range m.subject.ports {
			if mark.meets(b) {
				return false
			}
		}
		for _, h := range m.subject.holes {
			if mark.meets(box{h, h}.grown(2 * roomMM)) {
				return false
			}
		}
		return true
	}
	place := func(from, along geom.PointMM) geom.PointMM {
		const first, last, step = 0.06, 0.46, 0.04
		for f := first; f <= last; f += step {
			if p := from.Add(along.Scale(f)); clear(p) {
				return p
			}
		}
		return from.Add(along.Scale(first))
	}
	return [2]geom.PointMM{place(from, along), place(from.Add(along), along.Scale(-1))}
}

// drawJoin draws a slanting cross, which no hole has.
func (m *mapSheet) drawJoin(at geom.PointMM, name string) {
	const arm = 2.1
	d, e := geom.PointMM{X: arm, Y: arm}, geom.PointMM{X: arm, Y: -arm}
	m.fill(gray(0x40), bars(narrowMM, segment{at.Sub(d), at.Add(d)}, segment{at.Sub(e), at.Add(e)}))
	m.text(typeface{sizeMM: 2.6, ink: gray(0x40)}, left, at.Add(geom.PointMM{X: 2.6, Y: -0.9}), name)
}

// drawFurniture draws all that stands round the window.
func (m *mapSheet) drawFurniture(page int) {
	lo := geom.PointMM{X: blankMM + leftBandMM, Y: blankMM + bottomBandMM}
	hi := geom.PointMM{X: m.pageW - blankMM, Y: m.pageH - blankMM - titleBandMM}
	// Crop marks at the window's corners, outside it.
	const gap, length = 0.6, 1.8
	var crops []segment
	for _, x := range []float64{lo.X, hi.X} {
		for _, y := range []float64{lo.Y, hi.Y} {
			sx, sy := math.Copysign(1, x-lo.X-1), math.Copysign(1, y-lo.Y-1)
			crops = append(crops, segment{geom.PointMM{X: x + sx*gap, Y: y}, geom.PointMM{X: x + sx*(gap+length), Y: y}},
				segment{geom.PointMM{X: x, Y: y + sy*gap}, geom.PointMM{X: x, Y: y + sy*(gap+length)}})
		}
	}
	m.stroke(pen{widthMM: narrowMM, ink: gray(0)}, linePath(crops...))
	m.drawTitle(page)

	words := typeface{sizeMM: 2.6, ink: gray(0)}
	label := checkLabel(m.Units)
	across := geom.PointMM{X: lo.X, Y: blankMM + 5}
	m.ticked(across, across.Add(geom.PointMM{X: checkMM * m.kx}))
	m.text(words, centre, across.Add(geom.PointMM{X: checkMM * m.kx / 2, Y: 1}), label)
	up := geom.PointMM{X: blankMM + 4, Y: lo.Y + 3}
	m.ticked(up, up.Add(geom.PointMM{Y: checkMM * m.ky}))
	m.turned(up.Add(geom.PointMM{X: -1, Y: checkMM * m.ky / 2}), func() { m.text(words, centre, geom.PointMM{}, label) })
	m.drawPlan(page, box{geom.PointMM{X: hi.X - 60, Y: blankMM}, geom.PointMM{X: hi.X, Y: blankMM + bottomBandMM - 4.5}})
}

func checkLabel(u Units) string { return "check line " + u.ruled(checkMM) }

func (m *mapSheet) drawTitle(page int) {
	top := m.pageH - blankMM
	x := blankMM + leftBandMM
	what := "Metal to remove"
	if m.Stencil {
		what = "Stencil of the target openings"
	}
	title := fmt.Sprintf("%s, pass %d", what, m.result.Pass)
	if len(m.MapOptions.Ports) > 0 {
		title += ", " + portList(m.ports)
	}
	if m.Side == GasketSide {
		title += ": MIRRORED, gasket side"
	}
	m.text(typeface{sizeMM: 4.6, bold: true, ink: gray(0)}, left, geom.PointMM{X: x, Y: top - 3.6}, title)
	m.text(typeface{sizeMM: 4.6, ink: gray(0)}, right, geom.PointMM{X: m.pageW - blankMM, Y: top - 3.6}, fmt.Sprintf("page %d of %d", page+1, m.total))
	m.text(typeface{sizeMM: 2.8, ink: gray(0)}, left, geom.PointMM{X: x, Y: top - 7.6}, m.scaleWords())
}

// scaleWords say what the check lines must read and why.
func (m *mapSheet) scaleWords() string {
	if m.Printed[0] > 0 || m.Printed[1] > 0 {
		across, along := m.correction()
		return fmt.Sprintf("Print at 100 %% on the scale card's printer: drawn x %.4f across, x %.4f along the sheet to suit it. Both check lines must read %s.",
			across, along, m.Units.ruled(checkMM))
	}
	return fmt.Sprintf("Print at 100 %% on the scale card's printer: its error then cancels. Both check lines must read as on the card: %s if it is true.", m.Units.ruled(checkMM))
}

func portList(ports []portDrawing) string {
	var n []string
	for _, p := range ports {
		n = append(n, strconv.Itoa(p.Port))
	}
	return choose(len(n), "port ", "ports ") + strings.Join(n, ", ")
}

// drawPlan sketches how the pages lie on the face, the page at hand in grey.
func (m *mapSheet) drawPlan(page int, room box) {
	if m.pages() == 1 {
		return
	}
	all := emptyBox()
	for i := range m.pages() {
		all = all.union(m.window(i))
	}
	k := math.Min(room.w()/all.w(), room.h()/all.h())
	at := func(p geom.PointMM) geom.PointMM {
		return geom.PointMM{X: room.hi.X - (all.hi.X-p.X)*k, Y: room.lo.Y + (p.Y-all.lo.Y)*k}
	}
	thin := pen{widthMM: narrowMM, ink: gray(0x40)}
	rect := func(b box) geom.Outline {
		return geom.Outline{at(b.lo), at(geom.PointMM{X: b.hi.X, Y: b.lo.Y}), at(b.hi), at(geom.PointMM{X: b.lo.X, Y: b.hi.Y})}
	}
	m.fill(gray(0xdd), closedPath(rect(m.window(page))))
	for i := range m.pages() {
		m.stroke(thin, closedPath(rect(m.window(i))))
	}
	for _, p := range m.ports {
		o := make(geom.Outline, 0, len(p.target))
		for _, q := range p.target.Simplified(0.2 / k) {
			o = append(o, at(q))
		}
		m.stroke(thin, closedPath(o))
	}
	for i := range m.pages() {
		b := m.window(i)
		m.text(typeface{sizeMM: 2.6, bold: true, ink: gray(0)}, left, at(geom.PointMM{X: b.lo.X, Y: b.hi.Y}).Add(geom.PointMM{X: 0.6, Y: -2.6}), strconv.Itoa(i+1))
	}
}
