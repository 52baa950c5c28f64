// Package strip is the table of the scale card: where everything on a strip and on a page stands, in mm. The card is
// drawn from it and tags are looked for by it, so the two can't disagree. It needs neither OpenCV nor libapriltag.
package strip

import "portmatch/internal/geom"

// Strip frame: origin at the strip's lower-left corner, x along it, y up, mm.
const (
	LengthMM = 190.0
	WidthMM  = 28.0

	MaxNumber   = 40 // strips are numbered 1 to MaxNumber
	TagsPer     = 9  // tags on a strip
	TagMM       = 16.0
	Cells       = 8 // cells along a tag's side, black border included
	CellMM      = TagMM / Cells
	TagPitchMM  = 20.0
	firstTagXMM = 15.0
	tagYMM      = 16.0
	idsPerStrip = 10 // strip n carries ids 10 (n - 1) to 10 (n - 1) + 8; ids that end in 9 are on no strip

	// Nominal lengths of the two check lines that calipers read, tick to tick.
	CheckXMM = 150.0 // along every strip
	CheckYMM = 150.0 // up the page
)

// TagID returns the id of tag i (0 to TagsPer-1, left to right) of strip number.
func TagID(number, i int) int { return idsPerStrip*(number-1) + i }

// OfTag returns the strip that carries the tag id and the tag's place on it; ok is false for an id that is on no strip.
func OfTag(id int) (number, i int, ok bool) {
	if id < 0 || id >= idsPerStrip*MaxNumber || id%idsPerStrip >= TagsPer {
		return 0, 0, false
	}
	return id/idsPerStrip + 1, id % idsPerStrip, true
}

// TagCentre returns the centre of tag i in the strip frame.
func TagCentre(i int) geom.PointMM {
	return geom.PointMM{X: firstTagXMM + TagPitchMM*float64(i), Y: tagYMM}
}

// TagCorners returns the corners of the black border of tag i in the strip frame: lower left, lower right, upper right,
// upper left, which is libapriltag's order for an upright tag.
func TagCorners(i int) [4]geom.PointMM {
	c, h := TagCentre(i), TagMM/2
	return [4]geom.PointMM{{X: c.X - h, Y: c.Y - h}, {X: c.X + h, Y: c.Y - h}, {X: c.X + h, Y: c.Y + h}, {X: c.X - h, Y: c.Y + h}}
}

// Corners returns the strip's own corners in the strip frame, in the order of TagCorners.
func Corners() [4]geom.PointMM {
	return [4]geom.PointMM{{}, {X: LengthMM}, {X: LengthMM, Y: WidthMM}, {Y: WidthMM}}
}

// Black tells the colour of one cell of the upright tag id: col 0 to Cells-1 from the left, row 0 to Cells-1 from the
// bottom. Cells outside the tag are the paper's.
func Black(id, col, row int) bool {
	if col < 0 || row < 0 || col >= Cells || row >= Cells {
		return false
	}
	if col == 0 || row == 0 || col == Cells-1 || row == Cells-1 {
		return true
	}
	const inner = Cells - 2
	return tag36h11[id]>>(35-uint((inner-row)*inner+col-1))&1 == 0
}

// Line is a check line with a tick at either end; its length is measured between the ticks' middles.
type Line struct{ A, B geom.PointMM }

// Ticks and lines are thin enough to be read to 0.1 mm with calipers.
const (
	LineWidthMM  = 0.2
	TickLengthMM = 3.0 // centred on the line
)

// CheckLine returns the check line below a strip's tags, in the strip frame.
func CheckLine() Line {
	return Line{A: geom.PointMM{X: 20, Y: 3}, B: geom.PointMM{X: 20 + CheckXMM, Y: 3}}
}
