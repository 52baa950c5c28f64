package render

import (
	"bytes"
	"errors"
	"fmt"
	"image/color"
	"io"
	"regexp"
	"strconv"

	"github.com/tdewolff/canvas"
	"github.com/tdewolff/canvas/renderers/pdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"

	"portmatch/internal/geom"
	"portmatch/internal/scalecard/strip"
)

const ptPerMM = 72 / 25.4 // ISO 32000: the user unit is 1/72 in

// document is a PDF in the making: 1:1 in mm, origin at the lower-left corner of each page.
type document struct {
	buf   bytes.Buffer
	pdf   *pdf.PDF
	ctx   *canvas.Context
	fonts *canvas.FontFamily
	title string
}

func newDocument(title string) (*document, error) {
	d := &document{title: title, fonts: canvas.NewFontFamily("Go")}
	if err := d.fonts.LoadFont(goregular.TTF, 0, canvas.FontRegular); err != nil {
		return nil, fmt.Errorf("reading the built-in font: %w", err)
	}
	if err := d.fonts.LoadFont(gobold.TTF, 0, canvas.FontBold); err != nil {
		return nil, fmt.Errorf("reading the built-in bold font: %w", err)
	}
	return d, nil
}

// page begins a page of the given size in mm.
func (d *document) page(widthMM, heightMM float64) {
	if d.pdf == nil {
		d.pdf = pdf.New(&d.buf, widthMM, heightMM, nil)
		d.pdf.SetInfo(d.title, "", "", "", "portmatch")
	} else {
		d.pdf.NewPage(widthMM, heightMM)
	}
	d.ctx = canvas.NewContext(d.pdf)
	d.ctx.SetStrokeCapper(canvas.ButtCap)
	d.ctx.SetStrokeJoiner(canvas.RoundJoin)
}

// pen is a line's width and colour; dashes in mm.
type pen struct {
	widthMM float64
	ink     color.RGBA
	dashes  []float64
}

func (d *document) stroke(p pen, path *canvas.Path) {
	if path.Empty() {
		return
	}
	d.ctx.SetFillColor(canvas.Transparent)
	d.ctx.SetStrokeColor(p.ink)
	d.ctx.SetStrokeWidth(p.widthMM)
	if len(p.dashes) > 0 {
		// Cut here, since canvas takes dashes in line widths and forgets them on short paths.
		path = path.Dash(0, p.dashes...)
	}
	d.ctx.DrawPath(0, 0, path)
}

func (d *document) fill(ink color.RGBA, path *canvas.Path) {
	if path.Empty() {
		return
	}
	d.ctx.SetStrokeColor(canvas.Transparent)
	d.ctx.SetFillColor(ink)
	d.ctx.DrawPath(0, 0, path)
}

func (d *document) line(p pen, a, b geom.PointMM) { d.stroke(p, linePath(segment{a, b})) }

// align says which point of a line of text stands at the given place.
type align = canvas.TextAlign

const (
	left   = canvas.Left
	centre = canvas.Center
	right  = canvas.Right
)

// typeface is a text's height (of the body, mm), weight and colour.
type typeface struct {
	sizeMM float64
	bold   bool
	ink    color.RGBA
}

func (d *document) face(t typeface) *canvas.FontFace {
	style := canvas.FontRegular
	if t.bold {
		style = canvas.FontBold
	}
	return d.fonts.Face(t.sizeMM*ptPerMM, t.ink, style)
}

// text writes one line with its baseline at p.
func (d *document) text(t typeface, a align, p geom.PointMM, s string) {
	d.ctx.DrawText(p.X, p.Y, canvas.NewTextLine(d.face(t), s, a))
}

// textWidth returns the width of a line in mm.
func (d *document) textWidth(t typeface, s string) float64 { return d.face(t).TextWidth(s) }

// textBox sets words within a width, top line first, the top of the box at p, and returns the height used.
func (d *document) textBox(t typeface, p geom.PointMM, widthMM float64, s string) float64 {
	box := canvas.NewTextBox(d.face(t), s, widthMM, 0, canvas.Left, canvas.Top, nil)
	d.ctx.DrawText(p.X, p.Y, box)
	return box.Bounds().H()
}

// turned draws with the page turned by 90° anticlockwise about p, which becomes the origin.
func (d *document) turned(p geom.PointMM, draw func()) {
	d.ctx.Push()
	d.ctx.ComposeView(canvas.Identity.Translate(p.X, p.Y).Rotate(90))
	draw()
	d.ctx.Pop()
}

// finish writes the document. Viewers are told to print it at its own size, since the usual "fit to page" would shrink it.
func (d *document) finish(w io.Writer) error {
	if err := d.pdf.Close(); err != nil {
		return err
	}
	b, err := trueSize(d.buf.Bytes())
	if err != nil {
		return err
	}
	_, err = w.Write(b)
	return err
}

// trueSize appends to a PDF the wish not to be scaled in print (ISO 32000-1, 12.2 PrintScaling), as an incremental update
// (7.5.6) that replaces the catalogue, object 1 of canvas' writer.
func trueSize(b []byte) ([]byte, error) {
	tail := regexp.MustCompile(`/Size (\d+)>>\s+startxref\s+(\d+)\s+%%EOF\s*$`).FindSubmatch(b)
	if tail == nil || !bytes.Contains(b, []byte("/Pages 3 0 R")) {
		return nil, errors.New("the PDF writer's output has an unknown form; can't ask for printing at true size")
	}
	prev, err := strconv.Atoi(string(tail[2]))
	if err != nil {
		return nil, fmt.Errorf("PDF cross-reference offset: %w", err)
	}
	out := bytes.NewBuffer(b)
	if b[len(b)-1] != '\n' {
		out.WriteByte('\n')
	}
	catalogue := out.Len()
	fmt.Fprintf(out, "1 0 obj\n<</Type/Catalog/Pages 3 0 R/Lang(en)"+
		"/ViewerPreferences<</PrintScaling/None/PickTrayByPDFSize true>>>>\nendobj\n")
	xref := out.Len()
	fmt.Fprintf(out, "xref\n0 1\n0000000000 65535 f \n1 1\n%010d 00000 n \n", catalogue)
	fmt.Fprintf(out, "trailer\n<</Root 1 0 R/Info 2 0 R/Size %s/Prev %d>>\nstartxref\n%d\n%%%%EOF\n", tail[1], prev, xref)
	return out.Bytes(), nil
}

func linePath(segs ...segment) *canvas.Path {
	p := &canvas.Path{}
	for _, s := range segs {
		p.MoveTo(s.a.X, s.a.Y)
		p.LineTo(s.b.X, s.b.Y)
	}
	return p
}

// bars are straight lines as filled rectangles: renderers move thin strokes onto their grid of dots, which shifts a line
// by up to half a dot, but not fills. For every line that calipers are laid on.
func bars(widthMM float64, segs ...segment) *canvas.Path {
	var rects []geom.Outline
	for _, s := range segs {
		d := s.b.Sub(s.a)
		n := geom.PointMM{X: -d.Y, Y: d.X}.Scale(widthMM / 2 / d.Norm())
		rects = append(rects, geom.Outline{s.a.Sub(n), s.b.Sub(n), s.b.Add(n), s.a.Add(n)})
	}
	return closedPath(rects...)
}

// ticked draws a check line for calipers: its length is that between the middles of its end ticks.
func (d *document) ticked(a, b geom.PointMM) {
	u := b.Sub(a).Scale(1 / b.Dist(a))
	tick := geom.PointMM{X: -u.Y, Y: u.X}.Scale(strip.TickLengthMM / 2)
	d.fill(gray(0), bars(strip.LineWidthMM, segment{a, b}, segment{a.Sub(tick), a.Add(tick)}, segment{b.Sub(tick), b.Add(tick)}))
}

func closedPath(rs ...geom.Outline) *canvas.Path {
	p := &canvas.Path{}
	for _, r := range rs {
		if len(r) < 2 {
			continue
		}
		p.MoveTo(r[0].X, r[0].Y)
		for _, q := range r[1:] {
			p.LineTo(q.X, q.Y)
		}
		p.Close()
	}
	return p
}

func openPath(pts []geom.PointMM) *canvas.Path {
	p := &canvas.Path{}
	for i, q := range pts {
		if i == 0 {
			p.MoveTo(q.X, q.Y)
		} else {
			p.LineTo(q.X, q.Y)
		}
	}
	return p
}

func circlePath(c geom.PointMM, radiusMM float64) *canvas.Path {
	return canvas.Circle(radiusMM).Translate(c.X, c.Y)
}
