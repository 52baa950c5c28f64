package photo

import (
	"fmt"
	"image"
	"image/color"
)

// View is a picture of part of a photo, for looking at: right way up, in colour where the photo has any.
type View struct {
	*image.RGBA
	Origin image.Point // the photo pixel in the view's top-left corner
	Step   int         // each view pixel is the mean of Step x Step photo pixels
}

// FromPhoto takes photo pixel coordinates to view pixel coordinates. In both, (0, 0) is the centre of the top-left pixel.
func (v *View) FromPhoto(u, w float64) (x, y float64) {
	s := float64(v.Step)
	half := (s - 1) / 2
	return (u - float64(v.Origin.X) - half) / s, (w - float64(v.Origin.Y) - half) / s
}

// Preview returns the whole photo, made smaller by the least whole factor that brings its longer side to maxSidePx or
// under. Nothing is decoded again.
func (p *Photo) Preview(maxSidePx int) *View {
	long := max(p.Width, p.Height)
	step := max(1, (long+maxSidePx-1)/max(1, maxSidePx))
	return p.view(image.Rect(0, 0, p.Width, p.Height), step)
}

// Crop returns the part of the photo inside r (photo pixels), each step x step pixels made one; step 1 is full size. What
// lies outside the photo is left out; a rectangle wholly outside is an error.
func (p *Photo) Crop(r image.Rectangle, step int) (*View, error) {
	whole := image.Rect(0, 0, p.Width, p.Height)
	in := r.Intersect(whole)
	if in.Empty() || step < 1 {
		return nil, fmt.Errorf("%s: nothing of %v lies in the picture (%v)", p.Path, r, whole)
	}
	return p.view(in, step), nil
}

func (p *Photo) view(r image.Rectangle, step int) *View {
	w, h := (r.Dx()+step-1)/step, (r.Dy()+step-1)/step
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	var cols, rows [][]int
	if p.stored.cb != nil {
		cols, rows = p.chromaSpans(r.Min.X, r.Max.X, step, true), p.chromaSpans(r.Min.Y, r.Max.Y, step, false)
	}
	sums := make([]int, w)
	for y := range h {
		v0 := r.Min.Y + y*step
		v1 := min(v0+step, r.Max.Y)
		p.sumRows(sums, r.Min.X, r.Max.X, v0, v1, step)
		out := img.Pix[y*img.Stride : y*img.Stride+4*w]
		for x := range w {
			n := (min(r.Min.X+(x+1)*step, r.Max.X) - r.Min.X - x*step) * (v1 - v0)
			g := uint8((sums[x] + n/2) / n)
			px := out[4*x : 4*x+4 : 4*x+4]
			px[3] = 255
			if cols == nil {
				px[0], px[1], px[2] = g, g, g
				continue
			}
			cb, cr := p.stored.meanChroma(cols[x], rows[y])
			px[0], px[1], px[2] = color.YCbCrToRGB(g, cb, cr)
		}
	}
	return &View{RGBA: img, Origin: r.Min, Step: step}
}

// sumRows adds up the grey levels of each step-wide block between rows v0 and v1.
func (p *Photo) sumRows(sums []int, u0, u1, v0, v1, step int) {
	clear(sums)
	for v := v0; v < v1; v++ {
		row := p.Gray[v*p.Width+u0 : v*p.Width+u1]
		x, left := 0, step
		for _, g := range row {
			sums[x] += int(g)
			if left--; left == 0 {
				x, left = x+1, step
			}
		}
	}
}

// chromaSpans lists, for each view column (or row), what the chroma samples under it add to a sample's index. An index is
// the sum of a column's and a row's part whichever way the photo is turned.
func (p *Photo) chromaSpans(from, to, step int, column bool) [][]int {
	s := &p.stored
	spans := make([][]int, 0, (to-from+step-1)/step)
	for a := from; a < to; a += step {
		var span []int
		for i := a; i < min(a+step, to); i++ {
			u, v := i, 0
			if !column {
				u, v = 0, i
			}
			su, sv := storedFromTurned(u, v, s.width, s.height, p.applied)
			along := su / s.fx // a view column lies along a stored column, or along a stored row if the photo lies on its side
			if column == (p.applied >= 5) {
				along = sv / s.fy * s.stride
			}
			if len(span) == 0 || span[len(span)-1] != along {
				span = append(span, along)
			}
		}
		spans = append(spans, span)
	}
	return spans
}

func (s *planes) meanChroma(cols, rows []int) (cb, cr uint8) {
	if len(cols) == 1 && len(rows) == 1 {
		at := cols[0] + rows[0]
		return s.cb[at], s.cr[at]
	}
	var b, r int
	for _, row := range rows {
		for _, col := range cols {
			b += int(s.cb[row+col])
			r += int(s.cr[row+col])
		}
	}
	n := len(cols) * len(rows)
	return uint8((b + n/2) / n), uint8((r + n/2) / n)
}
