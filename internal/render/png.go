package render

import (
	"image"
	"image/color"
	"image/png"
	"io"
)

// Photo under marks needs few colours: grey, grey under one of two tints, and the marks. One byte a pixel instead of four
// quarters the time the compressor takes, which is most of the time a picture costs.
const (
	grayLevels  = 64
	tintPercent = 65 // how much of a tint covers the photo
)

// shade tells which entry of the palette a colour gets: a nearest-neighbour table over five bits a channel, filled in as
// colours turn up.
type shade struct {
	colours color.Palette
	nearest [1 << 15]int16
}

func newShade() *shade {
	s := &shade{}
	for i := range grayLevels {
		s.colours = append(s.colours, gray(uint8(i*255/(grayLevels-1))))
	}
	for _, tint := range []color.RGBA{tintOnPhoto(false), tintOnPhoto(true)} {
		for i := range grayLevels {
			s.colours = append(s.colours, mixed(gray(uint8(i*255/(grayLevels-1))), tint, tintPercent*255/100))
		}
	}
	// Marks, and what smoothing makes of their edges against dark, middling and light.
	for _, ink := range []color.RGBA{inkRemove(), inkPast(), tintOnPhoto(false), tintOnPhoto(true), inkWorkOnPhoto()} {
		s.colours = append(s.colours, ink)
		for _, ground := range []color.RGBA{gray(0), gray(0x80), gray(0xff)} {
			for _, part := range []uint8{0x40, 0x80, 0xc0} {
				s.colours = append(s.colours, mixed(ground, ink, int(part)))
			}
		}
	}
	for i := range s.nearest {
		s.nearest[i] = -1
	}
	return s
}

func (s *shade) index(r, g, b uint8) uint8 {
	key := int(r>>3)<<10 | int(g>>3)<<5 | int(b>>3)
	if i := s.nearest[key]; i >= 0 {
		return uint8(i)
	}
	best, bestD := 0, 1<<30
	for i, c := range s.colours {
		p := c.(color.RGBA)
		dr, dg, db := int(p.R)-int(r), int(p.G)-int(g), int(p.B)-int(b)
		if d := dr*dr + dg*dg + db*db; d < bestD {
			best, bestD = i, d
		}
	}
	s.nearest[key] = int16(best)
	return uint8(best)
}

// encode writes the picture as an indexed PNG, compressed for speed.
func encode(w io.Writer, im *image.RGBA) error {
	s := newShade()
	b := im.Bounds()
	out := image.NewPaletted(b, s.colours)
	for y := range b.Dy() {
		row := im.Pix[y*im.Stride:][: 4*b.Dx() : 4*b.Dx()]
		dst := out.Pix[y*out.Stride:][:b.Dx()]
		for x := range dst {
			r, g, bl := row[4*x], row[4*x+1], row[4*x+2]
			if r == g && g == bl {
				dst[x] = uint8((int(r)*(grayLevels-1) + 127) / 255)
			} else {
				dst[x] = s.index(r, g, bl)
			}
		}
	}
	return (&png.Encoder{CompressionLevel: png.BestSpeed}).Encode(w, out)
}

// mixed lays part (0 to 255) of the ink over the ground.
func mixed(ground, ink color.RGBA, part int) color.RGBA {
	m := func(a, b uint8) uint8 { return uint8((int(a)*(255-part) + int(b)*part) / 255) }
	return color.RGBA{m(ground.R, ink.R), m(ground.G, ink.G), m(ground.B, ink.B), 0xff}
}
