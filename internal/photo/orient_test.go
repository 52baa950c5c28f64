package photo

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"testing"
)

// CIPA DC-008, Orientation: where row 0 and column 0 of the stored picture are in the scene.
var dc008 = []struct{ row0, column0 string }{
	1: {"top", "left"}, 2: {"top", "right"}, 3: {"bottom", "right"}, 4: {"bottom", "left"},
	5: {"left", "top"}, 6: {"right", "top"}, 7: {"right", "bottom"}, 8: {"left", "bottom"},
}

// storedAs returns the scene as a camera held in orientation o stores it, from the standard's words alone.
func storedAs(scene *image.NRGBA, o int) *image.NRGBA {
	b := scene.Bounds()
	w, h := b.Dx(), b.Dy()
	where := dc008[o]
	upright := where.row0 == "top" || where.row0 == "bottom"
	sw, sh := w, h
	if !upright {
		sw, sh = h, w
	}
	out := image.NewNRGBA(image.Rect(0, 0, sw, sh))
	for v := range sh {
		for u := range sw {
			across, down := u, v // scene pixel
			if !upright {
				across, down = v, u
			}
			if where.row0 == "right" || where.column0 == "right" {
				across = w - 1 - across
			}
			if where.row0 == "bottom" || where.column0 == "bottom" {
				down = h - 1 - down
			}
			out.SetNRGBA(u, v, scene.NRGBAAt(across, down))
		}
	}
	return out
}

func orientationEXIF(o int) []byte {
	return buildEXIF(binary.LittleEndian, []ifdEntry{short(tagOrientation, uint32(o))}, nil)
}

// A lossless file must give the same pixels, and the same colours, in all eight orientations; odd sides are the harder case.
func TestOrientationsGiveTheSamePixels(t *testing.T) {
	full := sceneImage()
	odd := full.SubImage(image.Rect(0, 0, sceneW-1, sceneH-3)).(*image.NRGBA)
	for _, scene := range []*image.NRGBA{full, odd} {
		var want *Photo
		for o := 1; o <= 8; o++ {
			data := withChunk(encodePNG(t, storedAs(scene, o)), "eXIf", orientationEXIF(o))
			p, err := loadBytes(t, "x.png", data)
			if err != nil {
				t.Fatal(err)
			}
			if p.Orientation != o {
				t.Errorf("orientation %d read as %d", o, p.Orientation)
			}
			if o == 1 {
				want = p
			}
			if p.Width != want.Width || p.Height != want.Height || !bytes.Equal(p.Gray, want.Gray) {
				t.Errorf("orientation %d: %d x %d pixels, or their levels, differ from orientation 1", o, p.Width, p.Height)
			}
			// Chroma is stored in pairs of pixels, which may fall differently from the other side: compare with the scene.
			view := p.Preview(1000)
			far := 0
			for v := range p.Height {
				for u := range p.Width {
					r, g, b := sceneRGB(u, v)
					c := view.RGBAAt(u, v)
					if apart(c.R, r) > 12 || apart(c.G, g) > 12 || apart(c.B, b) > 12 {
						far++
					}
				}
			}
			// Only the two bars' edges may differ, some 120 pixels long together.
			if far > 250 {
				t.Errorf("orientation %d: %d pixels have another colour", o, far)
			}
		}
	}
}

func apart(a, b uint8) int {
	if a < b {
		a, b = b, a
	}
	return int(a - b)
}

func TestOrientationInEveryContainer(t *testing.T) {
	plain := encodeJPEG(t, sceneImage())
	for o := 1; o <= 8; o++ {
		files := map[string][]byte{
			"x.jpg":  withEXIF(plain, orientationEXIF(o)),
			"x.tif":  buildTIFF(binary.BigEndian, 3, 1, short(tagOrientation, uint32(o))),
			"x.webp": webpWithEXIF(testdata(t, "lossless.webp"), orientationEXIF(o)),
		}
		for name, data := range files {
			t.Run(fmt.Sprintf("%s %d", name, o), func(t *testing.T) {
				p, err := loadBytes(t, name, data)
				if err != nil {
					t.Fatal(err)
				}
				checkScene(t, p, o, 1.5, 12)
			})
		}
	}
}

// webpWithEXIF wraps a simple WebP file into the extended form (RFC 9649) with an EXIF chunk.
func webpWithEXIF(simple, exif []byte) []byte {
	chunk := func(kind string, body []byte) []byte {
		c := binary.LittleEndian.AppendUint32([]byte(kind), uint32(len(body)))
		c = append(c, body...)
		if len(body)%2 == 1 {
			c = append(c, 0)
		}
		return c
	}
	const hasEXIF = 1 << 3
	vp8x := []byte{hasEXIF, 0, 0, 0, sceneW - 1, 0, 0, sceneH - 1, 0, 0}
	body := append([]byte("WEBP"), chunk("VP8X", vp8x)...)
	body = append(body, simple[12:]...)
	body = append(body, chunk("EXIF", exif)...)
	return append(binary.LittleEndian.AppendUint32([]byte("RIFF"), uint32(len(body))), body...)
}

// HEIC may hold the turn in a box, in EXIF, or in both: the picture is turned once in each case.
func TestHEICIsTurnedOnce(t *testing.T) {
	for _, name := range []string{"exif6.heic", "box6.heic", "box6-exif6.heic"} {
		t.Run(name, func(t *testing.T) {
			checkScene(t, mustLoad(t, "testdata/"+name), 6, 2.5, 30)
		})
	}
}

func TestBrokenOrientationIsIgnored(t *testing.T) {
	plain := encodeJPEG(t, sceneImage())
	for _, o := range []int{0, 9, 65535} {
		p, err := loadBytes(t, "x.jpg", withEXIF(plain, orientationEXIF(o)))
		if err != nil {
			t.Fatal(err)
		}
		if p.Orientation != 1 {
			t.Errorf("orientation %d read as %d, want 1", o, p.Orientation)
		}
	}
}
