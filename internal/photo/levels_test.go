package photo

import (
	"image"
	"image/color"
	"testing"
)

// A pixel's primaries come back from brightness and chroma as they went in (ITU-T T.871), to within what 8-bit rounding leaves of them.
func TestLevelsOfPrimaries(t *testing.T) {
	colours := []color.NRGBA{{30, 60, 150, 255}, {180, 180, 180, 255}, {150, 90, 60, 255}, {10, 10, 10, 255}}
	const side = 8 // of each colour's square
	im := image.NewNRGBA(image.Rect(0, 0, side*len(colours), side))
	for i, c := range colours {
		for k := range side * side {
			im.SetNRGBA(side*i+k%side, k/side, c)
		}
	}
	h := &head{format: "png", width: side * len(colours), height: side}
	pl, err := planesOf(im, h)
	if err != nil {
		t.Fatal(err)
	}
	p := assemble("", h, pl)
	for _, tt := range []struct {
		of   Primary
		want func(c color.NRGBA) uint8
	}{
		{Red, func(c color.NRGBA) uint8 { return c.R }},
		{Green, func(c color.NRGBA) uint8 { return c.G }},
		{Blue, func(c color.NRGBA) uint8 { return c.B }},
	} {
		levels := p.Levels(tt.of)
		for i, c := range colours {
			got, want := int(levels[side/2*side*len(colours)+side*i+side/2]), int(tt.want(c))
			if got < want-2 || got > want+2 {
				t.Errorf("primary %d of %v: %d, want %d", tt.of, c, got, want)
			}
		}
	}
}
