package render

import (
	"fmt"
	"image/color"
	"io"
	"math"

	"portmatch/internal/compare"
	"portmatch/internal/geom"
	"portmatch/internal/scalecard/strip"
)

// MapOptions say what goes on a map.
type MapOptions struct {
	Paper   Paper
	Ports   []int // port numbers; none for all
	Side    Side  // zero value: FaceSide
	Stencil bool  // cut lines alone
	Units   Units
	// Printed is what the printer makes of a mm along the card page's x (the paper's short side) and y: what calipers read on
	// the card's check lines, over their nominal lengths. Zero where it wasn't measured.
	Printed [2]float64
}

// Line widths of ISO 128: wide to narrow as 2 to 1. The thinnest group of the standard, since widths are errors here.
const (
	wideMM   = 0.25
	narrowMM = 0.13

	// Hatching is narrow lines at 45°; the other slant and a wider pitch tell past from remove without colour.
	removeAngle      = math.Pi / 4
	pastAngle        = -math.Pi / 4
	hatchPitchMM     = 1.0
	hatchPastPitchMM = 1.8
	checkMM          = strip.CheckXMM // as on the card, so that the two can be held side by side
)

func targetPen() pen { return pen{widthMM: wideMM, ink: gray(0)} }
func workPen() pen   { return pen{widthMM: narrowMM, ink: gray(0), dashes: []float64{2, 1}} }

// Map writes the 1:1 map of the metal to remove as a PDF, over as many pages as it takes. A number that no port has is a
// *PortNumberError; a map of too many pages a *TooLargeError.
func Map(w io.Writer, r *compare.Result, o MapOptions) error {
	m, err := newMapSheet(r, o)
	if err != nil {
		return err
	}
	if m.document, err = newDocument(fmt.Sprintf("portmatch map, pass %d", r.Pass)); err != nil {
		return err
	}
	notes := m.notesPage()
	m.total = m.pages()
	if notes == m.pages() {
		m.total++
	}
	for i := range m.pages() {
		m.page(m.pageW, m.pageH)
		m.win = m.window(i)
		m.drawFace()
		m.drawJoins(i)
		m.drawFurniture(i)
		if i == notes {
			m.drawNotes(m.paperOf(geom.PointMM{X: m.win.lo.X, Y: m.contentBottom()}).Y - 2)
		}
	}
	if notes == m.pages() {
		m.page(m.pageW, m.pageH)
		m.drawTitle(m.pages())
		m.drawNotes(m.pageH - blankMM - titleBandMM)
	}
	return m.finish(w)
}

// newMapSheet collects what a map shows and spreads it over pages.
func newMapSheet(r *compare.Result, o MapOptions) (*mapSheet, error) {
	ports, err := selectPorts(r, o.Ports)
	if err != nil {
		return nil, err
	}
	m := &mapSheet{MapOptions: o, result: r, paperFromJob: o.Side.paperFromJob()}
	for _, p := range ports {
		d := m.drawing(p)
		m.ports = append(m.ports, d)
		if b := boundsOf(d.target).union(boundsOf(d.work)); !b.empty() {
			m.subject.ports = append(m.subject.ports, b)
		}
	}
	for _, h := range r.Holes {
		if h.WorkDiameter == 0 {
			continue // not on the part that the map is laid on
		}
		c := m.paperFromJob.Apply(geom.PointMM{X: h.X, Y: h.Y})
		m.holes = append(m.holes, placedHole{h, c, locates(h, r.Alignment)})
		m.subject.holes = append(m.subject.holes, c)
		if locates(h, r.Alignment) {
			m.subject.locating = append(m.subject.locating, c)
		}
	}
	m.part = outlineOf(r.PartOutline).Mapped(m.paperFromJob).Simplified(drawingToleranceMM)
	m.subject.part = boundsOf(m.part)
	across, along := m.correction()
	m.layout, err = placeTiles(m.subject, o.Paper, across, along)
	return m, err
}

// correction returns how much larger than 1:1 to draw along the paper's short and long side.
func (o *MapOptions) correction() (across, along float64) {
	across, along = 1, 1
	if o.Printed[0] > 0 {
		across = 1 / o.Printed[0]
	}
	if o.Printed[1] > 0 {
		along = 1 / o.Printed[1]
	}
	return across, along
}

// mapSheet is a map in the making.
type mapSheet struct {
	MapOptions
	*document
	*layout
	subject      subject
	result       *compare.Result
	paperFromJob geom.Rigid // the job frame, mirrored for the gasket's side
	ports        []portDrawing
	holes        []placedHole
	part         geom.Outline
	win          box // what the page at hand shows
	total        int // pages
}

// portDrawing is a port in the drawing's frame, thinned out to what a printer can show.
type portDrawing struct {
	*compare.PortResult
	target, work geom.Outline
	remove, past geom.Region // empty if the outlines are too broken for polygon arithmetic; the hatching stays
	callouts     []callout
	unsure       [][]geom.PointMM
}

func (m *mapSheet) drawing(p *compare.PortResult) portDrawing {
	full := outlineOf(p.TargetOutline)
	d := portDrawing{PortResult: p,
		target: full.Mapped(m.paperFromJob).Simplified(drawingToleranceMM),
		work:   outlineOf(p.WorkOutline).Mapped(m.paperFromJob).Simplified(drawingToleranceMM),
	}
	if len(d.target) > 2 && len(d.work) > 2 {
		t, w := geom.RegionOf(d.target), geom.RegionOf(d.work)
		remove, err1 := geom.Difference(t, w)
		past, err2 := geom.Difference(w, t)
		if err1 == nil && err2 == nil {
			d.remove, d.past = remove, past
		}
	}
	for _, c := range callouts(p) {
		c.at = m.paperFromJob.Apply(c.at)
		d.callouts = append(d.callouts, c)
	}
	for _, arc := range p.UnsureArcs {
		pts := stretch(full, arc[0], arc[1])
		for i := range pts {
			pts[i] = m.paperFromJob.Apply(pts[i])
		}
		d.unsure = append(d.unsure, pts)
	}
	return d
}

// paperOf maps the face to the page at hand, mm.
func (m *mapSheet) paperOf(p geom.PointMM) geom.PointMM {
	return geom.PointMM{
		X: blankMM + leftBandMM + (p.X-m.win.lo.X)*m.kx,
		Y: blankMM + bottomBandMM + (p.Y-m.win.lo.Y)*m.ky,
	}
}

// onPaper maps points of the face to the page at hand.
func (m *mapSheet) onPaper(pts []geom.PointMM) []geom.PointMM {
	q := make([]geom.PointMM, len(pts))
	for i, p := range pts {
		q[i] = m.paperOf(p)
	}
	return q
}

func (m *mapSheet) curve(p pen, pts []geom.PointMM, closed bool) {
	for _, piece := range clipCurve(pts, closed, m.win) {
		path := openPath(m.onPaper(piece))
		if closed && len(piece) > 2 && piece[0] == piece[len(piece)-1] {
			path.Close() // a cutter follows one closed line
		}
		m.stroke(p, path)
	}
}

// drawFace draws what the window shows of the part. Lines and words come first and tints go over them: the edge of the
// tinted area, not the middle of a line, is the edge that was measured, and all that is tinted is metal to remove.
func (m *mapSheet) drawFace() {
	if m.Stencil {
		for i := range m.ports {
			m.drawCutLine(&m.ports[i])
		}
	} else {
		m.curve(pen{widthMM: narrowMM, ink: gray(0x90)}, m.part, true)
		for i := range m.ports {
			m.drawPort(&m.ports[i])
		}
	}
	for _, h := range m.holes {
		m.drawHole(h)
	}
}

func (m *mapSheet) drawPort(p *portDrawing) {
	m.curve(workPen(), p.work, true)
	m.curve(targetPen(), p.target, true)
	for _, arc := range p.unsure {
		for _, piece := range clipCurve(arc, false, m.win) {
			m.drawUnsure(m.onPaper(piece))
		}
	}
	m.drawPortWords(p)
	m.drawLand(p)
	m.fillRegion(p.past, tintPast())
	m.fillRegion(p.remove, tintRemove())
	m.hatch(p.work, p.target, pastAngle, hatchPastPitchMM, inkPast())
	m.hatch(p.target, p.work, removeAngle, hatchPitchMM, inkRemove())
}

// drawCutLine draws a port of a stencil, whole: half an opening can't be cut out. Where no page holds all of it, it is
// drawn on every page that shows some of it.
func (m *mapSheet) drawCutLine(p *portDrawing) {
	b := boundsOf(p.target)
	if b.empty() {
		return
	}
	for i := range m.pages() {
		if m.window(i).holds(b) && !m.win.holds(b) {
			return
		}
	}
	m.curve(targetPen(), p.target, true)
	m.drawStencilNumber(p)
}

// drawUnsure dots a stretch of edge, given on paper, whose place isn't known.
func (m *mapSheet) drawUnsure(pts []geom.PointMM) {
	m.stroke(pen{widthMM: 1.1, ink: gray(0), dashes: []float64{0.5, 1}}, openPath(pts))
}

func (m *mapSheet) fillRegion(r geom.Region, tint color.RGBA) {
	for _, g := range r {
		var rings []geom.Outline
		for _, o := range append([]geom.Outline{g.Outer}, g.Holes...) {
			if c := clipArea(o, m.win); len(c) > 2 {
				rings = append(rings, m.onPaper(c))
			}
		}
		m.fill(tint, closedPath(rings...)) // outer borders and holes run opposite ways round
	}
}

func (m *mapSheet) hatch(inside, outside geom.Outline, angleRad, pitchMM float64, ink color.RGBA) {
	if len(inside) < 3 || len(outside) < 3 {
		return
	}
	var segs []segment
	for _, s := range hatching(inside, outside, angleRad, pitchMM) {
		// Lines end a little before the edge, so that no ink of theirs crosses it.
		d := s.b.Sub(s.a)
		if d.Norm() < 3*narrowMM {
			continue
		}
		d = d.Scale(narrowMM / d.Norm())
		s = segment{s.a.Add(d), s.b.Sub(d)}
		if c, ok := clipSegment(s, m.win); ok {
			segs = append(segs, segment{m.paperOf(c.a), m.paperOf(c.b)})
		}
	}
	m.stroke(pen{widthMM: narrowMM, ink: ink}, linePath(segs...))
}

// drawHole draws a hole's edge and a cross through its middle; the cross of a locating hole reaches beyond the edge.
func (m *mapSheet) drawHole(h placedHole) {
	p := pen{widthMM: narrowMM, ink: gray(0)}
	r := drawnDiameterMM(h.HoleResult) / 2
	b := box{h.centre, h.centre}
	if m.Stencil {
		b = b.grown(r) // half a hole can't be cut out
	}
	if !m.win.holds(b) {
		return
	}
	m.curve(p, h.circle(), true)
	arm := r / 2
	if h.locates {
		arm = r + roomMM
	}
	var arms []segment
	for _, d := range []geom.PointMM{{X: arm}, {Y: arm}} {
		if s, ok := clipSegment(segment{h.centre.Sub(d), h.centre.Add(d)}, m.win); ok {
			arms = append(arms, segment{m.paperOf(s.a), m.paperOf(s.b)})
		}
	}
	m.fill(p.ink, bars(p.widthMM, arms...))
}

// circle is the hole's edge.
func (h placedHole) circle() geom.Outline {
	const steps = 90
	r := drawnDiameterMM(h.HoleResult) / 2
	circle := make(geom.Outline, steps)
	for i := range circle {
		a := 2 * math.Pi * float64(i) / steps
		circle[i] = h.centre.Add(geom.PointMM{X: r * math.Cos(a), Y: r * math.Sin(a)})
	}
	return circle
}
