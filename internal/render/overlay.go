package render

import (
	"fmt"
	"image"
	"image/draw"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"portmatch/internal/compare"
	"portmatch/internal/geom"
)

// PictureOptions say how large a picture is and in which units its figures are.
type PictureOptions struct {
	WidthPx int // 0 for the default, which a screen can show
	Units   Units
	// Screen is given the same picture, to be saved as a JPEG of the given quality, half as large in bytes, for pages that hold
	// many; nil: nothing is.
	Screen func(im *image.RGBA, quality int) error
}

const (
	overlayWidthPx = 2000
	closeUpWidthPx = 1000 // some 11 px a mm, as fine as a phone's photo of the whole part
	// screenQuality keeps lines of two pixels and small letters clean; the photo's grain takes most of the bytes.
	screenQuality = 72
	// A picture taller than this share of its width is scaled down instead, to fit a phone held upright.
	tallest = 1.25
)

// Overlay writes a PNG of the whole work face, seen as in the job frame, with the metal to remove. Without a photo (nil)
// the marks stand on plain grey.
func Overlay(w io.Writer, r *compare.Result, photo *Photo, o PictureOptions) error {
	if o.WidthPx == 0 {
		o.WidthPx = overlayWidthPx
	}
	ports, err := selectPorts(r, nil)
	if err != nil {
		return err
	}
	all, err := collectOutlines(r, OutlineOptions{})
	if err != nil {
		return err
	}
	const marginMM = 4
	view := all.all.grown(marginMM)
	// A part that is nearly as high as wide fills a screen at fewer pixels a line.
	const enoughHeight = 0.55
	if high := view.h() / view.w(); high > enoughHeight {
		o.WidthPx = int(float64(o.WidthPx) * math.Max(enoughHeight, math.Sqrt(enoughHeight/high)*0.8))
	}
	return compose(w, o.Screen, r, photo, scene{
		title:   fmt.Sprintf("Work face, pass %d", r.Pass),
		under:   fmt.Sprintf("tolerance %s %s; ± covers the truth 19 times in 20", o.Units.LengthText(r.ToleranceMM), o.Units.Length()),
		view:    view,
		ports:   ports,
		widthPx: o.WidthPx,
		em:      float64(o.WidthPx) / 54,
		units:   o.Units,
	})
}

// CloseUp writes a PNG of one port of the work face. A number that no port has is a *PortNumberError.
func CloseUp(w io.Writer, r *compare.Result, port int, photo *Photo, o PictureOptions) error {
	if o.WidthPx == 0 {
		o.WidthPx = closeUpWidthPx
	}
	ports, err := selectPorts(r, []int{port})
	if err != nil {
		return err
	}
	p := ports[0]
	view := boundsOf(outlineOf(p.TargetOutline)).union(boundsOf(outlineOf(p.WorkOutline)))
	if view.empty() {
		view = box{}
	}
	// Enough metal round the port to see where it stands.
	const leastMarginMM, marginShare = 4, 0.14
	view = view.grown(math.Max(leastMarginMM, marginShare*math.Max(view.w(), view.h())))
	under := o.Units.Prose(p.WhyText())
	if p.Verdict != compare.NotMeasured {
		under = fmt.Sprintf("remove %s %s; past the line %s %s", o.Units.AreaPM(p.RemoveArea), o.Units.Area(), o.Units.AreaPM(p.PastArea), o.Units.Area())
	}
	return compose(w, o.Screen, r, photo, scene{
		title:   fmt.Sprintf("Port %d: %s", p.Port, p.Verdict),
		under:   under,
		view:    view,
		ports:   ports,
		widthPx: o.WidthPx,
		em:      float64(o.WidthPx) / 32,
		units:   o.Units,
	})
}

// scene is what a picture shows.
type scene struct {
	title, under string
	view         box
	ports        []*compare.PortResult // those that are called out; the others in view are drawn all the same
	widthPx      int
	em           float64
	units        Units
}

func compose(w io.Writer, screen func(im *image.RGBA, quality int) error, r *compare.Result, photo *Photo, s scene) error {
	width := float64(s.widthPx)
	k := width / s.view.w()
	if s.view.h()*k > tallest*width {
		// Show more of the face to either side rather than blank paper.
		k = tallest * width / s.view.h()
		s.view = box{s.view.mid(), s.view.mid()}.with(geom.PointMM{X: s.view.mid().X - width/k/2, Y: s.view.lo.Y}).
			with(geom.PointMM{X: s.view.mid().X + width/k/2, Y: s.view.hi.Y})
	}
	l, err := newLettering(s.em)
	if err != nil {
		return err
	}
	tags := l.placeTags(s, width)
	entries := legend(r, s, k)
	legendH := l.legendHeight(entries, width)

	titleH := 3.1 * s.em
	topH, bottomH := l.tagBand(tags, true), l.tagBand(tags, false)
	photoH := math.Round(s.view.h() * k)
	p := newPicture(s.widthPx, int(titleH+topH+photoH+bottomH+legendH), l)
	p.view, p.k = s.view, k
	p.frame = image.Rect(0, int(titleH+topH), s.widthPx, int(titleH+topH)+int(photoH))

	p.drawPhoto(photo)
	p.drawHoles(r)
	for i := range r.Ports {
		p.drawPort(&r.Ports[i])
	}
	p.clearRound()
	// Leaders first: where one passes through a port, the port's number stays readable.
	p.drawLeaders(tags, titleH, topH)
	for _, port := range s.ports {
		p.drawNumber(port, len(s.ports) > 1)
	}
	for _, t := range tags {
		p.plate(t.x, p.tagTop(t, titleH, topH), t.lines)
	}
	p.write(p.bold, gray(0), s.em, 1.35*s.em, s.title)
	p.write(p.plain, gray(0x20), s.em, 2.6*s.em, s.under)
	p.drawLegend(entries, float64(p.frame.Max.Y)+bottomH, width)
	if screen != nil {
		if err := screen(p.RGBA, screenQuality); err != nil {
			return err
		}
	}
	return encode(w, p.RGBA)
}

// clearRound wipes what marks have left beyond the photo.
func (p *picture) clearRound() {
	b := p.Bounds()
	for _, r := range []image.Rectangle{{b.Min, image.Pt(b.Max.X, p.frame.Min.Y)}, {image.Pt(b.Min.X, p.frame.Max.Y), b.Max}} {
		draw.Draw(p.RGBA, r, image.White, image.Point{}, draw.Src)
	}
}

// drawPort draws a port's two edges, what lies between them, and where the edge is unsure. The tints go over the lines'
// dark casings, so that a sliver a few pixels wide isn't buried under them.
func (p *picture) drawPort(port *compare.PortResult) {
	work, target := p.drawn(port.WorkOutline), p.drawn(port.TargetOutline)
	if len(work) > 2 {
		p.trace(work)
		p.strokeWork()
	}
	if len(target) > 2 {
		p.trace(target)
		p.strokeTarget()
		p.fillPort(target, work)
		p.trace(target)
		p.dc.SetLineWidth(p.thin())
		p.dc.SetColor(gray(0xff))
		p.dc.Stroke()
	}
	if len(target) > 2 && len(port.UnsureArcs) > 0 {
		full := outlineOf(port.TargetOutline) // arcs are counted along all its points
		for _, arc := range port.UnsureArcs {
			p.drawUnsure(stretch(full, arc[0], arc[1]))
		}
	}
}

// drawUnsure covers a stretch of edge with a row of dots.
func (p *picture) drawUnsure(pts []geom.PointMM) {
	dot := math.Max(2, p.em/11)
	toNext := 0.0 // px
	for i := 1; i < len(pts); i++ {
		x0, y0 := p.at(pts[i-1])
		x1, y1 := p.at(pts[i])
		l := math.Hypot(x1-x0, y1-y0)
		for ; toNext < l; toNext += 4 * dot {
			f := toNext / l
			p.drawDot(x0+f*(x1-x0), y0+f*(y1-y0), dot)
		}
		toNext -= l
	}
}

// drawDot draws one dot of an unsure stretch.
func (p *picture) drawDot(x, y, radius float64) {
	p.dc.DrawCircle(x, y, radius*1.5)
	p.dc.SetColor(gray(0))
	p.dc.Fill()
	p.dc.DrawCircle(x, y, radius)
	p.dc.SetColor(gray(0xff))
	p.dc.Fill()
}

// thin is the width of every line that shows where something is.
func (p *picture) thin() float64 { return math.Max(1.5, p.em/20) }

func (p *picture) strokeTarget() { p.cased(p.thin(), gray(0xff), p.thin()/2, gray(0)) }

func (p *picture) strokeWork() {
	p.dc.SetDash(p.em/3, p.em/5)
	p.cased(p.thin(), inkWorkOnPhoto(), p.thin()/2, gray(0))
	p.dc.SetDash()
}

// drawHoles marks the holes: those the faces are lined up on with a cross, the others with their edge alone.
func (p *picture) drawHoles(r *compare.Result) {
	for _, h := range r.Holes {
		x, y := p.at(geom.PointMM{X: h.X, Y: h.Y})
		p.drawHole(x, y, drawnDiameterMM(h)/2*p.k, locates(h, r.Alignment))
	}
}

func (p *picture) drawHole(x, y, radius float64, cross bool) {
	p.dc.DrawCircle(x, y, radius)
	if cross {
		arm := radius + p.em/4
		p.dc.DrawLine(x-arm, y, x+arm, y)
		p.dc.DrawLine(x, y-arm, x, y+arm)
	}
	p.strokeTarget()
}

// drawNumber writes the port's number, and its verdict if there is room, in the middle of the opening.
func (p *picture) drawNumber(port *compare.PortResult, verdict bool) {
	o := outlineOf(port.TargetOutline)
	if len(o) < 3 {
		o = outlineOf(port.WorkOutline)
	}
	if len(o) < 3 {
		return
	}
	b := boundsOf(o)
	lines := []string{strconv.Itoa(port.Port)}
	if verdict {
		const share = 0.85 // of the opening that words may cover
		wrapped := p.wrap(port.Verdict, share*b.w()*p.k)
		if _, h := p.plateSize(append(lines, wrapped...)); h < share*b.h()*p.k {
			lines = append(lines, wrapped...)
		}
	}
	x, y := p.at(o.CentroidMM())
	_, h := p.plateSize(lines)
	y -= h / 2
	if h > 0.75*b.h()*p.k {
		// A number as large as its opening would hide it.
		_, y = p.at(b.hi)
		y -= h + p.em/5
	}
	p.plate(x, y, lines)
}

// wrap breaks words into lines of at most the given width, if no single word is wider.
func (l *lettering) wrap(words string, widthPx float64) []string {
	var lines []string
	for _, w := range strings.Fields(words) {
		if n := len(lines); n > 0 && widthOf(l.plain, lines[n-1]+" "+w) <= widthPx {
			lines[n-1] += " " + w
		} else {
			lines = append(lines, w)
		}
	}
	return lines
}

// plate writes lines of words on white, the first one bold, centred at x with their top at y.
func (p *picture) plate(x, y float64, lines []string) {
	w, h := p.plateSize(lines)
	p.dc.SetColor(gray(0xff))
	p.dc.DrawRectangle(x-w/2, y, w, h)
	p.dc.Fill()
	for i, s := range lines {
		f := p.plain
		if i == 0 {
			f = p.bold
		}
		p.write(f, gray(0), x-widthOf(f, s)/2, y+(0.95+1.15*float64(i))*p.em, s)
	}
}

func (l *lettering) plateSize(lines []string) (w, h float64) {
	for i, s := range lines {
		f := l.plain
		if i == 0 {
			f = l.bold
		}
		w = math.Max(w, widthOf(f, s))
	}
	return w + 0.5*l.em, (1.15*float64(len(lines)) + 0.15) * l.em
}

// tag is a callout's words in the white band above or below the photo.
type tag struct {
	callout
	lines []string
	top   bool
	row   int
	x     float64 // middle, px
	w, h  float64
}

// placeTags decides where the words of every callout stand: in the band nearer to the step, as nearly above or below it
// as its neighbours allow.
func (l *lettering) placeTags(s scene, width float64) []*tag {
	var tags []*tag
	for _, port := range s.ports {
		for _, c := range callouts(port) {
			first, second := c.words(s.units, FaceSide)
			if len(s.ports) > 1 {
				first = fmt.Sprintf("%d: %s", port.Port, first)
			}
			t := &tag{callout: c, lines: []string{first, second}, top: c.at.Y > s.view.mid().Y}
			t.w, t.h = l.plateSize(t.lines)
			tags = append(tags, t)
		}
	}
	gap := l.em / 2
	for _, top := range []bool{true, false} {
		var band []*tag
		var total float64
		for _, t := range tags {
			if t.top == top {
				t.x = (t.at.X - s.view.lo.X) / s.view.w() * width
				band = append(band, t)
				total += t.w + gap
			}
		}
		slices.SortFunc(band, func(a, b *tag) int { return int(math.Copysign(1, a.x-b.x)) })
		rows := max(1, int(math.Ceil(total/(width-2*gap))))
		for row := range rows {
			var inRow []*tag
			for i := row; i < len(band); i += rows {
				band[i].row = row
				inRow = append(inRow, band[i])
			}
			spreadOut(inRow, gap, width)
		}
	}
	return tags
}

// spreadOut moves tags sideways until none overlaps its neighbour or leaves the picture.
func spreadOut(tags []*tag, gap, width float64) {
	edge := gap
	for _, t := range tags {
		t.x = math.Max(t.x, edge+t.w/2)
		edge = t.x + t.w/2 + gap
	}
	edge = width - gap
	for i := len(tags) - 1; i >= 0; i-- {
		t := tags[i]
		t.x = math.Min(t.x, edge-t.w/2)
		edge = t.x - t.w/2 - gap
	}
}

// tagBand returns the height of the band above or below the photo.
func (l *lettering) tagBand(tags []*tag, top bool) float64 {
	h := 0.0
	for _, t := range tags {
		if t.top == top {
			h = math.Max(h, float64(t.row+1)*(t.h+0.2*l.em)+0.3*l.em)
		}
	}
	return h
}

// tagTop returns where a tag's plate begins.
func (p *picture) tagTop(t *tag, titleH, topH float64) float64 {
	off := float64(t.row)*(t.h+0.2*p.em) + 0.2*p.em
	if t.top {
		return titleH + topH - off - t.h
	}
	return float64(p.frame.Max.Y) + off
}

// drawLeaders draws a line from every tag to its place. It ends at a ring, so that the very place stays in sight.
func (p *picture) drawLeaders(tags []*tag, titleH, topH float64) {
	for _, t := range tags {
		px, py := p.at(t.at)
		ring := p.em / 4.5
		ty := p.tagTop(t, titleH, topH)
		if t.top {
			ty += t.h
		}
		if d := math.Hypot(t.x-px, ty-py); d > ring {
			p.dc.DrawLine(t.x, ty, px+(t.x-px)/d*ring, py+(ty-py)/d*ring)
		}
		p.dc.NewSubPath()
		p.dc.DrawCircle(px, py, ring)
		p.cased(p.thin(), gray(0), p.thin(), gray(0xff))
	}
}
