package render

import (
	"fmt"
	"io"

	"portmatch/internal/geom"
	"portmatch/internal/scalecard/strip"
)

// CardOptions says what to print.
type CardOptions struct {
	Paper  Paper
	Strips []int // strip numbers, 1 to strip.MaxNumber; four fit on a page
	Units  Units // of the instructions; the card itself is the same
}

// StripNumberError says that there is no strip of that number.
type StripNumberError struct{ Number int }

func (e *StripNumberError) Error() string {
	return fmt.Sprintf("there is no strip %d: strips are numbered 1 to %d", e.Number, strip.MaxNumber)
}

// Card writes the scale card as a PDF at true size, drawn from the table that detection uses. It returns a
// *StripNumberError for a number that no strip has.
func Card(w io.Writer, o CardOptions) error {
	for _, n := range o.Strips {
		if n < 1 || n > strip.MaxNumber {
			return &StripNumberError{n}
		}
	}
	d, err := newDocument("portmatch scale card")
	if err != nil {
		return err
	}
	for from := 0; from < len(o.Strips); from += strip.PerPage {
		page := strip.Layout(o.Paper, o.Strips[from:min(from+strip.PerPage, len(o.Strips))])
		d.page(o.Paper.WidthMM, o.Paper.HeightMM)
		for _, s := range page.Strips {
			drawStrip(d, s)
		}
		d.ticked(page.CheckY.A, page.CheckY.B)
		drawCardWords(d, page, o.Units)
	}
	return d.finish(w)
}

// cutPen is quiet: nothing on the sheet but the tags is dark and large enough to be taken for one.
func cutPen() pen { return pen{widthMM: 0.13, ink: gray(0x60), dashes: []float64{2, 1.2}} }

// drawStrip draws one strip with its cut line, tags, check line and label.
func drawStrip(d *document, s strip.Placed) {
	place := func(p geom.PointMM) geom.PointMM { return s.Origin.Add(p) }
	corners := strip.Corners()
	var edge geom.Outline
	for _, c := range corners {
		edge = append(edge, place(c))
	}
	d.stroke(cutPen(), closedPath(edge))

	// One path for all the tags of a strip, with cells merged: a viewer that smooths edges leaves no hairline inside.
	var black []geom.Outline
	for i := range strip.TagsPer {
		lowerLeft := place(strip.TagCorners(i)[0])
		for _, r := range blackAreas(strip.TagID(s.Number, i)) {
			for k, p := range r {
				r[k] = lowerLeft.Add(p)
			}
			black = append(black, r)
		}
	}
	d.fill(gray(0), closedPath(black...))

	line := strip.CheckLine()
	d.ticked(place(line.A), place(line.B))
	words := typeface{sizeMM: 2.2, ink: gray(0x30)}
	mid := place(line.A.Add(line.B).Scale(0.5))
	d.text(words, centre, mid.Add(geom.PointMM{Y: 0.7}), fmt.Sprintf("%.1f mm", strip.CheckXMM))
	d.text(words, right, place(geom.PointMM{X: corners[1].X - 2, Y: 2.2}), fmt.Sprintf("strip %d", s.Number))
}

// blackAreas returns the black areas of a tag, its lower-left corner at the origin, as closed curves with black on their
// left: outer borders anticlockwise, holes clockwise, no vertex on a straight run.
func blackAreas(id int) []geom.Outline {
	type node struct{ x, y int }
	next := map[node][]node{} // the border's steps from each grid point, black on the left
	add := func(a, b node) { next[a] = append(next[a], b) }
	for x := range strip.Cells {
		for y := range strip.Cells {
			if !strip.Black(id, x, y) {
				continue
			}
			if !strip.Black(id, x, y-1) {
				add(node{x, y}, node{x + 1, y})
			}
			if !strip.Black(id, x+1, y) {
				add(node{x + 1, y}, node{x + 1, y + 1})
			}
			if !strip.Black(id, x, y+1) {
				add(node{x + 1, y + 1}, node{x, y + 1})
			}
			if !strip.Black(id, x-1, y) {
				add(node{x, y + 1}, node{x, y})
			}
		}
	}
	var areas []geom.Outline
	for x := 0; x <= strip.Cells; x++ {
		for y := 0; y <= strip.Cells; y++ {
			for len(next[node{x, y}]) > 0 {
				var path []node
				for at := (node{x, y}); len(next[at]) > 0; {
					to := next[at][0]
					next[at] = next[at][1:]
					path = append(path, at)
					at = to
				}
				var r geom.Outline
				for i, p := range path {
					before, after := path[(i+len(path)-1)%len(path)], path[(i+1)%len(path)]
					if (p.x-before.x)*(after.y-p.y) != (p.y-before.y)*(after.x-p.x) {
						r = append(r, geom.PointMM{X: float64(p.x) * strip.CellMM, Y: float64(p.y) * strip.CellMM})
					}
				}
				areas = append(areas, r)
			}
		}
	}
	return areas
}

// drawCardWords writes the instructions beside the check line that runs up the page.
func drawCardWords(d *document, page strip.Page, u Units) {
	lineMid := page.CheckY.A.Add(page.CheckY.B).Scale(0.5)
	d.turned(lineMid.Sub(geom.PointMM{X: 2}), func() {
		d.text(typeface{sizeMM: 3, ink: gray(0x30)}, centre, geom.PointMM{}, fmt.Sprintf("%.1f mm", strip.CheckYMM))
	})
	x, y := page.TextLo.X, page.TextHi.Y
	width := page.TextHi.X - page.TextLo.X
	heading := typeface{sizeMM: 6, bold: true, ink: gray(0)}
	body := typeface{sizeMM: 3.8, ink: gray(0)}
	y -= heading.sizeMM
	d.text(heading, left, geom.PointMM{X: x, Y: y}, "Scale card")
	y -= 3
	across, up := u.ruled(strip.CheckXMM), u.ruled(strip.CheckYMM)
	read := "in mm"
	if u == Inch {
		read += ", or like " + u.LengthText(strip.CheckXMM) + "in"
	}
	for i, words := range []string{
		"Print at 100 % (actual size), never \u201cfit to page\u201d.",
		"Measure with calipers, tick to tick: " + across + " on a strip, " + up + " up the page.",
		"If either is off, give what you read: --printed-x and --printed-y, " + read + ".",
		"Cut along the dashed lines. The strips must lie flat: no folds, no curl.",
		"Lay two or more in the plane of the face, far apart, one each side of the part and spanning its length.",
		"Photograph from above with every strip in the picture.",
	} {
		d.text(body, left, geom.PointMM{X: x, Y: y - body.sizeMM}, fmt.Sprint(i+1))
		y -= d.textBox(body, geom.PointMM{X: x + 7, Y: y}, width-7, words) + 2.2
	}
	drawLaying(d, box{geom.PointMM{X: x + 7, Y: page.TextLo.Y}, geom.PointMM{X: page.TextHi.X, Y: y - 2}})
}

// drawLaying sketches two strips beside a part, one above and one below, at opposite ends.
func drawLaying(d *document, room box) {
	s := min(room.h()/32, room.w()/90, 1.1) // the sketch is 90 x 32 units
	if s < 0.4 {
		return
	}
	at := func(x, y float64) geom.PointMM { return geom.PointMM{X: room.lo.X + s*x, Y: room.hi.Y - s*(32-y)} }
	rect := func(x, y, w, h float64) geom.Outline {
		return geom.Outline{at(x, y), at(x+w, y), at(x+w, y+h), at(x, y+h)}
	}
	thin := pen{widthMM: 0.25, ink: gray(0x40)}
	d.stroke(thin, closedPath(rect(5, 9, 80, 14)))
	for _, x := range []float64{15, 35, 55, 75} {
		d.stroke(thin, circlePath(at(x, 16), 4.5*s))
	}
	strips := []geom.Outline{rect(0, 0, 45, 6), rect(45, 26, 45, 6)}
	d.fill(gray(0xd8), closedPath(strips...))
	d.stroke(thin, closedPath(strips...))
	words := typeface{sizeMM: 3 * s, ink: gray(0x40)}
	for _, c := range []geom.PointMM{at(22.5, 2), at(67.5, 28)} {
		d.text(words, centre, c, "strip")
	}
}
