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
	side := max(1, maxSidePx)
	step := (long + side - 1) / side
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
	var cols, rows []int
	if p.stored.cb != nil {
		cols, rows = p.chromaIndex(r.Min.X, r.Max.X, step, true), p.chromaIndex(r.Min.Y, r.Max.Y, step, false)
	}
	sums := make([]uint32, w)
	for y := range h {
		v0 := r.Min.Y + y*step
		v1 := min(v0+step, r.Max.Y)
		clear(sums)
		for v := v0; v < v1; v++ {
			addBlocks(sums, p.Gray[v*p.Width+r.Min.X:v*p.Width+r.Max.X], step)
		}
		out := img.Pix[y*img.Stride : y*img.Stride+4*w]
		n := uint32(step * (v1 - v0))
		for x := range w {
			if x == w-1 {
				n = uint32((r.Dx() - x*step) * (v1 - v0)) // the last block may be narrower
			}
			g := uint8((sums[x] + n/2) / n)
			px := out[4*x : 4*x+4 : 4*x+4]
			px[3] = 255
			if cols == nil {
				px[0], px[1], px[2] = g, g, g
				continue
			}
			at := cols[x] + rows[y]
			px[0], px[1], px[2] = color.YCbCrToRGB(g, p.stored.cb[at], p.stored.cr[at])
		}
	}
	return &View{RGBA: img, Origin: r.Min, Step: step}
}

// addBlocks adds each run of step levels of a row to its sum; the last run may be shorter.
func addBlocks(sums []uint32, row []uint8, step int) {
	switch step { // the usual steps, unrolled: three times as fast
	case 1:
		for x, g := range row {
			sums[x] += uint32(g)
		}
		return
	case 2:
		for x := range len(row) / 2 {
			b := row[2*x : 2*x+2 : 2*x+2]
			sums[x] += uint32(b[0]) + uint32(b[1])
		}
	case 3:
		for x := range len(row) / 3 {
			b := row[3*x : 3*x+3 : 3*x+3]
			sums[x] += uint32(b[0]) + uint32(b[1]) + uint32(b[2])
		}
	case 4:
		for x := range len(row) / 4 {
			b := row[4*x : 4*x+4 : 4*x+4]
			sums[x] += uint32(b[0]) + uint32(b[1]) + uint32(b[2]) + uint32(b[3])
		}
	default:
		for x := range len(row) / step {
			for _, g := range row[x*step : (x+1)*step] {
				sums[x] += uint32(g)
			}
		}
	}
	for _, g := range row[len(row)/step*step:] {
		sums[len(sums)-1] += uint32(g)
	}
}

// chromaIndex gives, for each view column (or row), its part of the index of the chroma sample under its middle. An index
// is the sum of a column's and a row's part whichever way the photo is turned. One sample is enough: chroma is smooth, and
// only looked at.
func (p *Photo) chromaIndex(from, to, step int, column bool) []int {
	s := &p.stored
	index := make([]int, 0, (to-from+step-1)/step)
	for a := from; a < to; a += step {
		u, v := (a+min(a+step, to)-1)/2, 0
		if !column {
			u, v = v, u
		}
		su, sv := storedFromTurned(u, v, s.width, s.height, p.applied)
		// A view column lies along a stored column, or along a stored row if the photo lies on its side.
		if column == (p.applied >= 5) {
			index = append(index, sv/s.fy*s.stride)
		} else {
			index = append(index, su/s.fx)
		}
	}
	return index
}
