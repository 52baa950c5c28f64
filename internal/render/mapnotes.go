package render

import (
	"image/color"
	"math"
	"slices"

	"portmatch/internal/geom"
)

// Legend and cautions stand once on a map, under the part on the first page with room, or on a page of their own.

const notesHeightMM = 34.0

// contentBottom is how far down the page at hand is drawn on, in the face's mm.
func (m *mapSheet) contentBottom() float64 {
	bottom := math.Inf(1)
	show := func(b box) {
		if b.hi.X > m.win.lo.X && b.lo.X < m.win.hi.X {
			bottom = math.Min(bottom, b.lo.Y)
		}
	}
	for _, p := range m.subject.ports {
		show(p.grown(roomMM))
	}
	for _, h := range m.subject.holes {
		show(box{h, h}.grown(3 * roomMM))
	}
	if !m.Stencil {
		for _, piece := range clipCurve(m.part, true, m.win) {
			show(boundsOf(piece))
		}
	}
	return math.Max(math.Min(bottom, m.win.hi.Y), m.win.lo.Y)
}

// notesPage returns the page that takes the notes; m.pages() for one of their own.
func (m *mapSheet) notesPage() int {
	for i := range m.pages() {
		m.win = m.window(i)
		if (m.contentBottom()-m.win.lo.Y)*m.ky > notesHeightMM+4 {
			return i
		}
	}
	return m.pages()
}

// drawNotes writes legend and cautions below top.
func (m *mapSheet) drawNotes(top float64) {
	x0 := blankMM + leftBandMM
	width := m.pageW - blankMM - x0
	m.line(pen{widthMM: narrowMM, ink: gray(0x80)}, geom.PointMM{X: x0, Y: top}, geom.PointMM{X: x0 + width, Y: top})
	m.drawMapLegend(geom.PointMM{X: x0, Y: top - 1})
	body := typeface{sizeMM: 2.8, ink: gray(0)}
	x, y := x0+0.47*width, top-2.0
	m.text(typeface{sizeMM: 3.2, bold: true, ink: gray(0)}, left, geom.PointMM{X: x, Y: y - 3}, "Before you grind")
	y -= 5
	for _, s := range safety() {
		y -= m.textBox(body, geom.PointMM{X: x, Y: y}, 0.53*width, s) + 0.7
	}
}

// drawMapLegend explains the marks that this map carries.
func (m *mapSheet) drawMapLegend(at geom.PointMM) {
	const rowMM, sampleMM = 4.7, 9.0
	type item struct {
		words string
		draw  func(a, b geom.PointMM) // between the ends of the sample's middle line
	}
	line := func(p pen) func(a, b geom.PointMM) {
		return func(a, b geom.PointMM) { m.line(p, a, b) }
	}
	patch := func(tint, ink color.RGBA, angle, pitch float64) func(a, b geom.PointMM) {
		return func(a, b geom.PointMM) {
			half := geom.PointMM{Y: 1.6}
			r := geom.Outline{a.Sub(half), b.Sub(half), b.Add(half), a.Add(half)}
			m.fill(tint, closedPath(r))
			m.stroke(pen{widthMM: narrowMM, ink: ink}, linePath(hatching(r, nil, angle, pitch)...))
		}
	}
	cross := func(a, b geom.PointMM) {
		c := a.Add(b).Scale(0.5)
		m.stroke(pen{widthMM: narrowMM, ink: gray(0)}, circlePath(c, 1.2))
		m.fill(gray(0), bars(narrowMM, segment{c.Sub(geom.PointMM{X: 2.1}), c.Add(geom.PointMM{X: 2.1})},
			segment{c.Sub(geom.PointMM{Y: 2.1}), c.Add(geom.PointMM{Y: 2.1})}))
	}
	var items []item
	if m.Stencil {
		items = []item{{"cut along this line, lay the sheet by its holes, mark", line(targetPen())}}
	} else {
		items = []item{
			{wordRemove + ": up to the tint's edge", patch(tintRemove(), inkRemove(), removeAngle, hatchPitchMM)},
			{wordPast + ": take nothing more here", patch(tintPast(), inkPast(), pastAngle, hatchPastPitchMM)},
			{wordTarget, line(targetPen())},
			{wordWork, line(workPen())},
		}
	}
	items = append(items, item{wordHole, cross})
	if !m.Stencil && slices.ContainsFunc(m.ports, func(p portDrawing) bool { return len(p.unsure) > 0 }) {
		items = append(items, item{wordUnsure, func(a, b geom.PointMM) { m.drawUnsure([]geom.PointMM{a, b}) }})
	}
	if m.pages() > 1 {
		items = append(items, item{"A1, B1 …: the same place on two pages", func(a, b geom.PointMM) { m.drawJoin(a.Add(b).Scale(0.5), "") }})
	}
	words := typeface{sizeMM: 2.8, ink: gray(0)}
	for _, it := range items {
		a := at.Sub(geom.PointMM{Y: rowMM / 2})
		it.draw(a, a.Add(geom.PointMM{X: sampleMM}))
		m.text(words, left, a.Add(geom.PointMM{X: sampleMM + 2, Y: -1}), it.words)
		at.Y -= rowMM
	}
}
