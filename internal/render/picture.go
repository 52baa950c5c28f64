package render

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"math"

	"github.com/fogleman/gg"
	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"

	"portmatch/internal/geom"
)

// Photo is the picture that overlays are drawn on.
type Photo struct {
	Gray *image.Gray // as the user sees it, after EXIF orientation
	// PixelFromJob maps the job frame on the work face's surface to pixels of Gray; (0, 0) is the centre of the top-left one.
	PixelFromJob func(geom.PointMM) geom.PointPx
}

// lettering is the two faces that a picture's words are set in.
type lettering struct {
	em          float64 // height of the words, px
	plain, bold font.Face
}

func newLettering(em float64) (*lettering, error) {
	l := &lettering{em: em}
	for _, f := range []struct {
		ttf  []byte
		face *font.Face
	}{{goregular.TTF, &l.plain}, {gobold.TTF, &l.bold}} {
		parsed, err := opentype.Parse(f.ttf)
		if err != nil {
			return nil, fmt.Errorf("reading the built-in font: %w", err)
		}
		// At 72 dots an inch a point is a pixel.
		*f.face, err = opentype.NewFace(parsed, &opentype.FaceOptions{Size: em, DPI: 72, Hinting: font.HintingNone})
		if err != nil {
			return nil, fmt.Errorf("reading the built-in font: %w", err)
		}
	}
	return l, nil
}

// picture is a raster in the making. Its part at `frame` shows `view` of the job frame, k pixels a mm, upright; the rest is
// for words.
type picture struct {
	*image.RGBA
	*lettering
	dc    *gg.Context
	view  box
	frame image.Rectangle
	k     float64
}

// newPicture is all see-through: drawPhoto lays the ground under the frame, clearRound what lies round it.
func newPicture(width, height int, l *lettering) *picture {
	p := &picture{RGBA: image.NewRGBA(image.Rect(0, 0, width, height)), lettering: l}
	p.dc = gg.NewContextForRGBA(p.RGBA)
	p.dc.SetLineJoin(gg.LineJoinBevel) // outlines are dense; round joins cost time and can't be seen
	return p
}

// at maps the job frame to the picture's continuous coordinates, in which a pixel's centre stands at half numbers.
func (p *picture) at(q geom.PointMM) (x, y float64) {
	return float64(p.frame.Min.X) + (q.X-p.view.lo.X)*p.k, float64(p.frame.Min.Y) + (p.view.hi.Y-q.Y)*p.k
}

// job is the inverse of at.
func (p *picture) job(x, y float64) geom.PointMM {
	return geom.PointMM{X: p.view.lo.X + (x-float64(p.frame.Min.X))/p.k, Y: p.view.hi.Y - (y-float64(p.frame.Min.Y))/p.k}
}

// Grey of the photo under the marks: flattened and dimmed, so that white, black and colours all stand out from it.
func dimmed() (levels [256]uint8) {
	for i := range levels {
		levels[i] = uint8(60 + i*150/255)
	}
	return levels
}

const beyondPhoto = 0xd8 // where the photo doesn't reach

// drawPhoto lays the photo under the frame. The map into the photo is smooth, so it is worked out on a grid and
// interpolated between: with nodes 32 px apart a lens' curvature leaves under a hundredth of a pixel.
func (p *picture) drawPhoto(photo *Photo) {
	if photo == nil {
		draw.Draw(p.RGBA, p.frame, image.NewUniform(gray(beyondPhoto)), image.Point{}, draw.Src)
		return
	}
	const cell = 32
	cols, rows := p.frame.Dx()/cell+2, p.frame.Dy()/cell+2
	nodes := make([]geom.PointPx, cols*rows)
	for r := range rows {
		for c := range cols {
			nodes[r*cols+c] = photo.PixelFromJob(p.job(float64(p.frame.Min.X+c*cell)+0.5, float64(p.frame.Min.Y+r*cell)+0.5))
		}
	}
	levels := dimmed()
	for r := range rows - 1 {
		for c := range cols - 1 {
			p.drawCell(photo.Gray, &levels, image.Pt(c*cell, r*cell), cell, [4]geom.PointPx{
				nodes[r*cols+c], nodes[r*cols+c+1], nodes[(r+1)*cols+c], nodes[(r+1)*cols+c+1]})
		}
	}
}

// drawCell lays the photo under one square of the frame whose corners show the given places of it: upper left and right,
// lower left and right.
func (p *picture) drawCell(photo *image.Gray, levels *[256]uint8, at image.Point, side int, corner [4]geom.PointPx) {
	w, h := photo.Rect.Dx(), photo.Rect.Dy()
	// Where the photo is finer than the picture, four samples a pixel are averaged.
	spread := corner[0].Dist(corner[1]) / float64(side) / 4
	inside := true // all four samples of all pixels: the map is straight between the corners
	for _, q := range corner {
		inside = inside && q.U > spread && q.V > spread && q.U+spread < float64(w-1) && q.V+spread < float64(h-1)
	}
	for y := range min(side, p.frame.Dy()-at.Y) {
		f := float64(y) / float64(side)
		mix := func(a, b geom.PointPx) geom.PointPx { return geom.PointPx{U: a.U + f*(b.U-a.U), V: a.V + f*(b.V-a.V)} }
		from, to := mix(corner[0], corner[2]), mix(corner[1], corner[3])
		// Places in the photo in whole numbers of 1/65536 px, its pixels' edges at whole ones.
		const one = 1 << 16
		u, v := int((from.U+0.5)*one), int((from.V+0.5)*one)
		du, dv := int((to.U-from.U)*one)/side, int((to.V-from.V)*one)/side
		half := int(spread * one)
		out := p.Pix[p.PixOffset(p.frame.Min.X+at.X, p.frame.Min.Y+at.Y+y):]
		for x := range min(side, p.frame.Dx()-at.X) {
			level := uint8(beyondPhoto)
			u0, v0, u1, v1 := (u-half)>>16, (v-half)>>16, (u+half)>>16, (v+half)>>16
			if inside || u0 >= 0 && v0 >= 0 && u1 < w && v1 < h {
				top, bottom := photo.Pix[v0*photo.Stride:], photo.Pix[v1*photo.Stride:]
				level = levels[(int(top[u0])+int(top[u1])+int(bottom[u0])+int(bottom[u1]))/4]
			}
			u, v = u+du, v+dv
			o := out[4*x : 4*x+4 : 4*x+4]
			o[0], o[1], o[2], o[3] = level, level, level, 0xff
		}
	}
}

// fillPort tints and hatches what one outline holds and the other doesn't.
func (p *picture) fillPort(target, work geom.Outline) {
	if len(target) < 3 || len(work) < 3 {
		return
	}
	b := boundsOf(target).union(boundsOf(work))
	x0, y0 := p.at(geom.PointMM{X: b.lo.X, Y: b.hi.Y})
	x1, y1 := p.at(geom.PointMM{X: b.hi.X, Y: b.lo.Y})
	r := image.Rect(int(x0)-1, int(y0)-1, int(x1)+2, int(y1)+2).Intersect(p.frame)
	if !r.Empty() {
		p.fillDifference(r, p.coverage(target, r), p.coverage(work, r))
	}
}

// fillDifference tints and hatches r, pixel by pixel, by the share of each pixel that target covers more than work (metal
// to remove) or less (past the line). No polygon arithmetic, so no outline can upset it.
func (p *picture) fillDifference(r image.Rectangle, target, work *image.Alpha) {
	thick := math.Max(1.5, p.em/14)
	remove := hatchLevels(p.em/3.2, thick, inkRemove())
	past := hatchLevels(p.em/2, thick, inkPast())
	for y := range r.Dy() {
		for x := range r.Dx() {
			i := y*r.Dx() + x
			d := int(target.Pix[i]) - int(work.Pix[i])
			if d == 0 {
				continue
			}
			h, tint := &remove, tintOnPhoto(false)
			phase := x + r.Min.X + y + r.Min.Y
			if d < 0 {
				d = -d
				h, tint = &past, tintOnPhoto(true)
				phase = x + r.Min.X - y - r.Min.Y
			}
			o := p.PixOffset(r.Min.X+x, r.Min.Y+y)
			was := color.RGBA{p.Pix[o], p.Pix[o+1], p.Pix[o+2], 0xff}
			c := mixed(was, tint, d*tintPercent/100)
			c = mixed(c, h.ink, d*h.at(phase)/255)
			p.Pix[o], p.Pix[o+1], p.Pix[o+2] = c.R, c.G, c.B
		}
	}
}

// hatch is a family of 45° lines: how much of a pixel they cover, by x + y or x - y.
type hatch struct {
	ink    color.RGBA
	levels []int
}

func hatchLevels(pitchPx, thickPx float64, ink color.RGBA) hatch {
	n := max(4, int(math.Round(pitchPx*math.Sqrt2)))
	h := hatch{ink, make([]int, n)}
	for i := range h.levels {
		off := math.Min(float64(i), float64(n-i)) / math.Sqrt2 // px from the line's middle
		h.levels[i] = int(255 * math.Min(1, math.Max(0, thickPx/2-off+0.5)))
	}
	return h
}

func (h *hatch) at(phase int) int {
	n := len(h.levels)
	return h.levels[(phase%n+n)%n]
}

// coverage returns how much of each pixel of r lies inside the outline.
func (p *picture) coverage(o geom.Outline, r image.Rectangle) *image.Alpha {
	z := vector.NewRasterizer(r.Dx(), r.Dy())
	z.DrawOp = draw.Src
	for i, q := range o {
		x, y := p.at(q)
		if i == 0 {
			z.MoveTo(float32(x-float64(r.Min.X)), float32(y-float64(r.Min.Y)))
		} else {
			z.LineTo(float32(x-float64(r.Min.X)), float32(y-float64(r.Min.Y)))
		}
	}
	z.ClosePath()
	a := image.NewAlpha(image.Rect(0, 0, r.Dx(), r.Dy()))
	z.Draw(a, a.Bounds(), image.Opaque, image.Point{})
	return a
}

// drawn returns an outline with no more points than can be told apart on screen; none at all if it lies out of view.
func (p *picture) drawn(outline [][2]float64) geom.Outline {
	const tellApartPx = 0.1
	o := outlineOf(outline)
	if !boundsOf(o).meets(p.view) {
		return nil
	}
	return o.Simplified(tellApartPx / p.k)
}

// trace puts a closed curve into gg's path.
func (p *picture) trace(o geom.Outline) {
	for i, q := range o {
		x, y := p.at(q)
		if i == 0 {
			p.dc.MoveTo(x, y)
		} else {
			p.dc.LineTo(x, y)
		}
	}
	p.dc.ClosePath()
}

// cased strokes the current path in one colour on a wider line of another, so that it shows on light and dark alike.
func (p *picture) cased(widthPx float64, ink color.RGBA, casePx float64, casing color.RGBA) {
	p.dc.SetLineWidth(widthPx + 2*casePx)
	p.dc.SetColor(casing)
	p.dc.StrokePreserve()
	p.dc.SetLineWidth(widthPx)
	p.dc.SetColor(ink)
	p.dc.Stroke()
}

// write sets one line of words, its baseline starting at x, y.
func (p *picture) write(f font.Face, ink color.RGBA, x, y float64, s string) {
	d := font.Drawer{Dst: p.RGBA, Src: image.NewUniform(ink), Face: f,
		Dot: fixed.Point26_6{X: fixed.Int26_6(x * 64), Y: fixed.Int26_6(y * 64)}}
	d.DrawString(s)
}

func widthOf(f font.Face, s string) float64 { return float64(font.MeasureString(f, s)) / 64 }
