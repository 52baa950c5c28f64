package strip

import "portmatch/internal/geom"

// Paper is a sheet that a card is printed on, upright.
type Paper struct {
	Name              string
	WidthMM, HeightMM float64
}

// A4 is 210 x 297 mm (ISO 216).
func A4() Paper { return Paper{"a4", 210, 297} }

// Letter is 8.5 x 11 in (ANSI/ASME Y14.1).
func Letter() Paper { return Paper{"letter", 215.9, 279.4} }

// Page is the layout of one sheet in the page frame: origin at the lower-left corner of the paper, x right, y up, mm.
type Page struct {
	Paper  Paper
	Strips []Placed
	// CheckY is the line that shows the printer's scale up the page; the strips' own lines show it across.
	CheckY Line
	// TextLo and TextHi span the room left for instructions.
	TextLo, TextHi geom.PointMM
}

// Placed is a strip on a page: its lower-left corner stands at Origin, its long side along the page's x.
type Placed struct {
	Number int
	Origin geom.PointMM
}

const (
	// PerPage is how many strips go on a sheet.
	PerPage = 4

	// Printers leave at most about 6 mm blank at an edge (common practice, no source); what is printed stays inside.
	pageMarginMM = 10.0
	// Room for scissors between two strips.
	stripGapMM = 4.0
	// The check line that runs up the page stands this far right of the strips: on Letter its upper end is beside them.
	checkAsideMM = 5.5
)

// Layout places up to PerPage strips of the given numbers on a sheet, from the top down, and the check line below and
// beside them. Numbers past PerPage are left out.
func Layout(paper Paper, numbers []int) Page {
	p := Page{Paper: paper}
	// Strips, check line and half a tick stand in the middle of the sheet.
	x := (paper.WidthMM - LengthMM - checkAsideMM - TickLengthMM/2) / 2
	y := paper.HeightMM - pageMarginMM
	for _, n := range numbers[:min(len(numbers), PerPage)] {
		y -= WidthMM
		p.Strips = append(p.Strips, Placed{Number: n, Origin: geom.PointMM{X: x, Y: y}})
		y -= stripGapMM
	}
	right := x + LengthMM + checkAsideMM
	p.CheckY = Line{A: geom.PointMM{X: right, Y: pageMarginMM}, B: geom.PointMM{X: right, Y: pageMarginMM + CheckYMM}}
	full := paper.HeightMM - pageMarginMM - PerPage*(WidthMM+stripGapMM)
	p.TextLo = geom.PointMM{X: x, Y: pageMarginMM}
	p.TextHi = geom.PointMM{X: right - 15, Y: full}
	return p
}
