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
		y, _ := levels(h.videoRange)
		for v := range ht {
			for u, g := range m.Pix[v*m.Stride : v*m.Stride+w] {
				p.y[v*w+u] = y[g]
			}
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

// levels takes coded grey and chroma to full range; in video coding black is 16 and white 235 (ITU-R BT.601).
func levels(video bool) (y, c [256]uint8) {
	for i := range 256 {
		y[i], c[i] = uint8(i), uint8(i)
		if video {
			y[i], c[i] = stretch(i-16, 219, 0), stretch(i-128, 224, 128)
		}
	}
	return y, c
}

// takeYCbCr copies planes; WebP is always coded as video is.
func (p *planes) takeYCbCr(m *image.YCbCr, video bool) {
	y, c := levels(video)
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

// takeRGB converts two rows at a time: grey of each pixel, chroma of each two by two.
func (p *planes) takeRGB(img image.Image, h *head) {
	p.fx, p.fy = 2, 2
	p.makeChroma()
	var rows [2][]uint8
	for i := range rows {
		rows[i] = make([]uint8, 3*(p.width+1)) // one more pixel, to make them pairs
	}
	seeThrough := false
	for v := 0; v < p.height; v += 2 {
		for i := range rows {
			row := rows[i]
			seeThrough = rgbRow(img, min(v+i, p.height-1), row) || seeThrough
			copy(row[3*p.width:], row[3*p.width-3:3*p.width])
			if v+i < p.height {
				luma(p.y[(v+i)*p.width:(v+i+1)*p.width], row)
			}
		}
		at := v / 2 * p.stride
		for u := range p.stride {
			a, b := rows[0][6*u:6*u+6:6*u+6], rows[1][6*u:6*u+6:6*u+6]
			mean := func(i int) uint8 {
				return uint8((int(a[i]) + int(a[i+3]) + int(b[i]) + int(b[i+3]) + 2) / 4)
			}
			_, p.cb[at+u], p.cr[at+u] = color.RGBToYCbCr(mean(0), mean(1), mean(2))
		}
	}
	if seeThrough {
		h.notes = append(h.notes, "parts of the picture are see-through; they are taken as white")
	}
}

// luma is Y' of ITU-T T.871 in 1/65536: the grey that a JPEG of the same picture holds.
func luma(out, rgb []uint8) {
	for u := range out {
		c := rgb[3*u : 3*u+3 : 3*u+3]
		out[u] = uint8((19595*uint32(c[0]) + 38470*uint32(c[1]) + 7471*uint32(c[2]) + 32768) >> 16)
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
			px, to := row[4*u:4*u+4:4*u+4], out[3*u:3*u+3:3*u+3]
			to[0], to[1], to[2] = px[0], px[1], px[2]
			if a := px[3]; a != 255 {
				seeThrough = true
				to[0], to[1], to[2] = onWhite(px[0], a), onWhite(px[1], a), onWhite(px[2], a)
			}
		}
		return seeThrough
	case *image.RGBA: // colours are already multiplied by alpha
		row := m.Pix[v*m.Stride:]
		for u := range w {
			px, to := row[4*u:4*u+4:4*u+4], out[3*u:3*u+3:3*u+3]
			to[0], to[1], to[2] = px[0], px[1], px[2]
			if px[3] != 255 {
				seeThrough = true
				for i := range to {
					to[i] = uint8(min(255, int(px[i])+255-int(px[3])))
				}
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
