package render

import (
	"image"
	"math"
	"slices"
	"strconv"

	"portmatch/internal/compare"
	"portmatch/internal/geom"
)

// entry is one item of a picture's legend.
type entry struct {
	words    string
	samplePx float64
	// sample draws what the words explain into the box whose top-left corner is x, y.
	sample func(p *picture, x, y, w, h float64)
}

// legend lists what can be seen in a picture, and nothing else, and a scale bar.
func legend(r *compare.Result, s scene, k float64) []entry {
	px := 1.8 * s.em
	entries := []entry{
		{wordRemove, px, func(p *picture, x, y, w, h float64) { p.samplePatch(x, y, w, h, false) }},
		{wordPast, px, func(p *picture, x, y, w, h float64) { p.samplePatch(x, y, w, h, true) }},
		{wordTarget, px, func(p *picture, x, y, w, h float64) { p.sampleLine(x, y, w, h, p.strokeTarget) }},
		{wordWork, px, func(p *picture, x, y, w, h float64) { p.sampleLine(x, y, w, h, p.strokeWork) }},
	}
	if slices.ContainsFunc(r.Holes, func(h compare.HoleResult) bool {
		c := geom.PointMM{X: h.X, Y: h.Y}
		return locates(h, r.Alignment) && s.view.holds(box{c, c})
	}) {
		entries = append(entries, entry{wordHole, px, func(p *picture, x, y, w, h float64) { p.drawHole(x+w/2, y+h/2, h/4, true) }})
	}
	if slices.ContainsFunc(s.ports, func(p *compare.PortResult) bool { return len(p.UnsureArcs) > 0 }) {
		entries = append(entries, entry{wordUnsure, px, func(p *picture, x, y, w, h float64) {
			dot := math.Max(2, p.em/11)
			for at := x + 2*dot; at < x+w; at += 4 * dot {
				p.drawDot(at, y+h/2, dot)
			}
		}})
	}
	return append(entries, scaleBar(s.view.w(), k, s.units))
}

// scaleBar is a round length that takes at most a fifth of the picture's width.
func scaleBar(viewMM, k float64, u Units) entry {
	most := viewMM / 5 / u.perUnit()
	length := math.Pow(10, math.Floor(math.Log10(most)))
	for _, m := range []float64{5, 2} {
		if m*length <= most {
			length *= m
			break
		}
	}
	return entry{strconv.FormatFloat(length, 'g', -1, 64) + " " + u.Length(), length * u.perUnit() * k,
		func(p *picture, x, y, w, h float64) {
			p.dc.DrawLine(x, y+h/2, x+w, y+h/2)
			p.dc.DrawLine(x, y+h/4, x, y+h*3/4)
			p.dc.DrawLine(x+w, y+h/4, x+w, y+h*3/4)
			p.dc.SetColor(gray(0))
			p.dc.SetLineWidth(p.thin())
			p.dc.Stroke()
		}}
}

// sampleGround draws the grey of metal in a dimmed photo and returns the whole pixels that it covers.
func (p *picture) sampleGround(x, y, w, h float64) image.Rectangle {
	r := image.Rect(int(x), int(y), int(x+w), int(y+h))
	p.dc.SetColor(gray(0x90))
	p.dc.DrawRectangle(float64(r.Min.X), float64(r.Min.Y), float64(r.Dx()), float64(r.Dy()))
	p.dc.Fill()
	return r
}

func (p *picture) sampleLine(x, y, w, h float64, stroke func()) {
	p.sampleGround(x, y, w, h)
	p.dc.DrawLine(x, y+h/2, x+w, y+h/2)
	stroke()
}

// samplePatch shows a tint with its hatching.
func (p *picture) samplePatch(x, y, w, h float64, past bool) {
	r := p.sampleGround(x, y, w, h)
	full, nothing := image.NewAlpha(r), image.NewAlpha(r)
	for i := range full.Pix {
		full.Pix[i] = 0xff
	}
	if past {
		full, nothing = nothing, full
	}
	p.fillDifference(r, full, nothing)
}

// Sizes in the legend, in heights of its words.
const (
	legendRow  = 1.7
	legendGap  = 1.2 // between items
	legendTuck = 0.5 // between a sample and its words
)

// eachEntry calls f with the place of every entry, set in rows across the picture, and returns the number of rows.
func (l *lettering) eachEntry(entries []entry, width float64, f func(e entry, x float64, row int)) int {
	x, row := l.em, 0
	for _, e := range entries {
		w := e.samplePx + legendTuck*l.em + widthOf(l.plain, e.words)
		if x > l.em && x+w > width-l.em {
			x, row = l.em, row+1
		}
		f(e, x, row)
		x += w + legendGap*l.em
	}
	return row + 1
}

func (l *lettering) legendHeight(entries []entry, width float64) float64 {
	rows := l.eachEntry(entries, width, func(entry, float64, int) {})
	return (float64(rows)*legendRow + 0.8) * l.em
}

func (p *picture) drawLegend(entries []entry, top, width float64) {
	p.eachEntry(entries, width, func(e entry, x float64, row int) {
		y := top + (0.6+legendRow*float64(row))*p.em
		e.sample(p, x, y, e.samplePx, 1.1*p.em)
		p.write(p.plain, gray(0), x+e.samplePx+legendTuck*p.em, y+0.9*p.em, e.words)
	})
}
