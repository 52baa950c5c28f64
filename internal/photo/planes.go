package photo

import (
	"fmt"
	"image"
	"image/color"
)

// planes is a decoded picture as stored, before orientation: Y', and chroma where the picture has colour.
type planes struct {
	width, height int
	y             []uint8
	// Chroma planes, each sample covering fx x fy pixels from the top-left corner on; nil for a grey picture.
	cb, cr []uint8
	fx, fy int
	stride int // of a chroma plane, in samples
}

// planesOf takes a decoded picture to Y' and, where it has colour, to chroma at half size: enough to look at, and a third
// of the memory. See-through parts are laid on white.
func planesOf(img image.Image, h *head) (*planes, error) {
	b := img.Bounds()
	w, ht := b.Dx(), b.Dy()
	if same := w == h.width && ht == h.height; !same && !(h.turned && w == h.height && ht == h.width) {
		return nil, damaged(fmt.Sprintf("the header says %d x %d pixels, but there are %d x %d", h.width, h.height, w, ht))
	}
	p := &planes{width: w, height: ht, y: make([]uint8, w*ht)}
	switch m := img.(type) {
	case *image.Gray:
		for v := range ht {
			copy(p.y[v*w:(v+1)*w], m.Pix[v*m.Stride:])
		}
		return p, nil
	case *image.Gray16:
		for v := range ht {
			row := m.Pix[v*m.Stride:]
			for u := range w {
				p.y[v*w+u] = eight(row[2*u], row[2*u+1])
			}
		}
		return p, nil
	case *image.YCbCr:
		p.takeYCbCr(m, h.videoRange || h.format == "webp")
		return p, nil
	}
	p.takeRGB(img, h)
	return p, nil
}

// eight rounds a 16-bit level to 8 bits.
func eight(hi, lo uint8) uint8 { return uint8((uint32(hi)<<8 | uint32(lo) + 128) / 257) }

// takeYCbCr copies planes; in video coding black is 16 and white 235 (ITU-R BT.601), which WebP always uses.
func (p *planes) takeYCbCr(m *image.YCbCr, video bool) {
	var y, c [256]uint8
	for i := range 256 {
		y[i], c[i] = uint8(i), uint8(i)
		if video {
			y[i], c[i] = stretch(i-16, 219, 0), stretch(i-128, 224, 128)
		}
	}
	for v := range p.height {
		row := m.Y[v*m.YStride : v*m.YStride+p.width]
		out := p.y[v*p.width : (v+1)*p.width]
		for u, g := range row {
			out[u] = y[g]
		}
	}
	p.fx, p.fy = 1, 1
	switch m.SubsampleRatio {
	case image.YCbCrSubsampleRatio422:
		p.fx = 2
	case image.YCbCrSubsampleRatio420:
		p.fx, p.fy = 2, 2
	}
	p.makeChroma()
	for v := range len(p.cb) / p.stride {
		for u := range p.stride {
			p.cb[v*p.stride+u] = c[m.Cb[v*m.CStride+u]]
			p.cr[v*p.stride+u] = c[m.Cr[v*m.CStride+u]]
		}
	}
}

func stretch(v, span, zero int) uint8 {
	return uint8(min(max((v*255+span/2)/span+zero, 0), 255))
}

func (p *planes) makeChroma() {
	p.stride = (p.width + p.fx - 1) / p.fx
	n := p.stride * ((p.height + p.fy - 1) / p.fy)
	p.cb, p.cr = make([]uint8, n), make([]uint8, n)
}

// takeRGB converts row by row.
func (p *planes) takeRGB(img image.Image, h *head) {
	p.fx, p.fy = 2, 2
	p.makeChroma()
	row := make([]uint8, 3*p.width)
	sums := make([][3]int, p.stride) // Cb, Cr and their number
	seeThrough := false
	for v := range p.height {
		seeThrough = rgbRow(img, v, row) || seeThrough
		for u := range p.width {
			r, g, b := row[3*u], row[3*u+1], row[3*u+2]
			y, cb, cr := color.RGBToYCbCr(r, g, b)
			p.y[v*p.width+u] = y
			s := &sums[u/2]
			s[0], s[1], s[2] = s[0]+int(cb), s[1]+int(cr), s[2]+1
		}
		if v%2 == 1 || v == p.height-1 {
			for i, s := range sums {
				at := v/2*p.stride + i
				p.cb[at], p.cr[at] = uint8((s[0]+s[2]/2)/s[2]), uint8((s[1]+s[2]/2)/s[2])
			}
			clear(sums)
		}
	}
	if seeThrough {
		h.notes = append(h.notes, "parts of the picture are see-through; they are taken as white")
	}
}

// rgbRow writes row v of img as R, G, B; it reports whether any pixel is see-through.
func rgbRow(img image.Image, v int, out []uint8) (seeThrough bool) {
	b := img.Bounds()
	w := b.Dx()
	switch m := img.(type) {
	case *image.NRGBA:
		row := m.Pix[v*m.Stride:]
		for u := range w {
			a := row[4*u+3]
			if a != 255 {
				seeThrough = true
			}
			for i := range 3 {
				out[3*u+i] = onWhite(row[4*u+i], a)
			}
		}
		return seeThrough
	case *image.RGBA:
		row := m.Pix[v*m.Stride:]
		for u := range w {
			a := row[4*u+3]
			if a != 255 {
				seeThrough = true
			}
			for i := range 3 {
				out[3*u+i] = row[4*u+i] + 255 - a // colours are already multiplied by a, so at most a
			}
		}
		return seeThrough
	case *image.NRGBA64:
		row := m.Pix[v*m.Stride:]
		for u := range w {
			px := row[8*u : 8*u+8]
			a := eight(px[6], px[7])
			if a != 255 {
				seeThrough = true
			}
			for i := range 3 {
				out[3*u+i] = onWhite(eight(px[2*i], px[2*i+1]), a)
			}
		}
		return seeThrough
	case *image.RGBA64:
		row := m.Pix[v*m.Stride:]
		for u := range w {
			px := row[8*u : 8*u+8]
			a := eight(px[6], px[7])
			if a != 255 {
				seeThrough = true
			}
			for i := range 3 {
				c := eight(px[2*i], px[2*i+1])
				out[3*u+i] = uint8(min(255, int(c)+255-int(a)))
			}
		}
		return seeThrough
	}
	for u := range w {
		c := color.NRGBAModel.Convert(img.At(b.Min.X+u, b.Min.Y+v)).(color.NRGBA)
		if c.A != 255 {
			seeThrough = true
		}
		out[3*u], out[3*u+1], out[3*u+2] = onWhite(c.R, c.A), onWhite(c.G, c.A), onWhite(c.B, c.A)
	}
	return seeThrough
}

func onWhite(c, a uint8) uint8 {
	return uint8((int(c)*int(a) + 255*(255-int(a)) + 127) / 255)
}
