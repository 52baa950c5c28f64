package render

import (
	"bytes"
	"compress/flate"
	"compress/zlib"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
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

// encode writes the picture as an indexed PNG. Each pixel is stored as the difference from its left neighbour (the sub
// filter), by Huffman codes alone: grain leaves no repeats worth searching for, so this takes half the time of the fastest
// level that looks for them, and fewer bytes.
func encode(w io.Writer, im *image.RGBA) error {
	s := newShade()
	c := &chunks{w: w}
	c.write("\x89PNG\r\n\x1a\n")
	c.chunk("IHDR", header(im.Bounds()))
	var palette []byte
	for _, colour := range s.colours {
		rgb := colour.(color.RGBA)
		palette = append(palette, rgb.R, rgb.G, rgb.B)
	}
	c.chunk("PLTE", palette)
	data, err := s.pixels(im)
	if err != nil {
		return err
	}
	c.chunk("IDAT", data)
	c.chunk("IEND", nil)
	return c.err
}

// header is a PNG's IHDR (PNG specification, 11.2.2): width and height, 8 bits a pixel, indexed colour, not interlaced.
func header(b image.Rectangle) []byte {
	const bits, indexed = 8, 3
	h := binary.BigEndian.AppendUint32(nil, uint32(b.Dx()))
	h = binary.BigEndian.AppendUint32(h, uint32(b.Dy()))
	return append(h, bits, indexed, 0, 0, 0)
}

// pixels returns the picture's rows of palette entries, filtered and compressed.
func (s *shade) pixels(im *image.RGBA) ([]byte, error) {
	const subFilter = 1
	var grays [256]uint8
	for i := range grays {
		grays[i] = uint8((i*(grayLevels-1) + 127) / 255)
	}
	b := im.Bounds()
	var out bytes.Buffer
	z, err := zlib.NewWriterLevel(&out, flate.HuffmanOnly)
	if err != nil {
		return nil, err
	}
	line := make([]byte, 1+b.Dx())
	line[0] = subFilter
	for y := range b.Dy() {
		row := im.Pix[y*im.Stride:][:4*b.Dx()]
		left := uint8(0)
		for x := range line[1:] {
			px := row[4*x : 4*x+3 : 4*x+3]
			var entry uint8
			if r, g, bl := px[0], px[1], px[2]; r == g && g == bl {
				entry = grays[r]
			} else {
				entry = s.index(r, g, bl)
			}
			line[1+x] = entry - left
			left = entry
		}
		if _, err := z.Write(line); err != nil {
			return nil, err
		}
	}
	err = z.Close()
	return out.Bytes(), err
}

// chunks writes a PNG's parts, and keeps the first error.
type chunks struct {
	w   io.Writer
	err error
}

func (c *chunks) write(s string) {
	if c.err == nil {
		_, c.err = io.WriteString(c.w, s)
	}
}

// chunk writes length, name, data and the checksum of both (PNG specification, 5.3).
func (c *chunks) chunk(name string, data []byte) {
	c.write(string(binary.BigEndian.AppendUint32(nil, uint32(len(data)))))
	c.write(name)
	if c.err == nil {
		_, c.err = c.w.Write(data)
	}
	sum := crc32.Update(crc32.ChecksumIEEE([]byte(name)), crc32.IEEETable, data)
	c.write(string(binary.BigEndian.AppendUint32(nil, sum)))
}

// mixed lays part (0 to 255) of the ink over the ground.
func mixed(ground, ink color.RGBA, part int) color.RGBA {
	m := func(a, b uint8) uint8 { return uint8((int(a)*(255-part) + int(b)*part) / 255) }
	return color.RGBA{m(ground.R, ink.R), m(ground.G, ink.G), m(ground.B, ink.B), 0xff}
}
