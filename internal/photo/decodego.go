package photo

import (
	"bytes"
	"context"
	"image"
	"image/png"
)

// decodeGo decodes the formats that Go's own decoders handle, none of which can touch memory that isn't theirs.
func decodeGo(ctx context.Context, data []byte, h *head) (*planes, error) {
	img, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, damaged("the picture can't be decoded: " + err.Error())
	}
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	return planesOf(img, h), nil
}

// planesOf takes any decoded picture to Y' and, where it has colour, to chroma at half size.
func planesOf(img image.Image, h *head) *planes {
	b := img.Bounds()
	w, ht := b.Dx(), b.Dy()
	p := &planes{width: w, height: ht, y: make([]uint8, w*ht)}
	if g, ok := img.(*image.Gray); ok {
		for v := range ht {
			copy(p.y[v*w:(v+1)*w], g.Pix[v*g.Stride:])
		}
		return p
	}
	for v := range ht {
		for u := range w {
			r, g, bl, _ := img.At(b.Min.X+u, b.Min.Y+v).RGBA()
			p.y[v*w+u] = luma(int(r>>8), int(g>>8), int(bl>>8))
		}
	}
	return p
}

// luma is Y' of ITU-T T.871 in 1/65536, the grey that a JPEG of the same picture holds.
func luma(r, g, b int) uint8 { return uint8((19595*r + 38470*g + 7471*b + 32768) >> 16) }
