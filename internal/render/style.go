package render

import (
	"fmt"
	"image/color"
)

// The look, in one place. Orange and blue of Okabe and Ito's set (2008) are told apart by all common kinds of colour
// blindness; on a black-and-white printer the hatching tells them apart: metal to remove slants up to the right, metal
// already gone past the line slants down and is spaced wider.

func inkRemove() color.RGBA { return color.RGBA{0xd5, 0x5e, 0x00, 0xff} } // vermilion
func inkPast() color.RGBA   { return color.RGBA{0x00, 0x72, 0xb2, 0xff} } // blue

// Tints of the same under the hatching, light enough that a black-and-white printer leaves the hatching to be seen.
func tintRemove() color.RGBA { return color.RGBA{0xfb, 0xd9, 0xbd, 0xff} }
func tintPast() color.RGBA   { return color.RGBA{0xcf, 0xe6, 0xf5, 0xff} }

// On a photo the tints must stand out from grey metal and from a dark opening.
func tintOnPhoto(past bool) color.RGBA {
	if past {
		return color.RGBA{0x56, 0xb4, 0xe9, 0xff} // sky blue
	}
	return color.RGBA{0xe6, 0x9f, 0x00, 0xff} // orange
}

func inkWorkOnPhoto() color.RGBA { return color.RGBA{0xf0, 0xe4, 0x42, 0xff} } // yellow

func gray(level uint8) color.RGBA { return color.RGBA{level, level, level, 0xff} }

// hexOf is a colour as CSS and SVG write it.
func hexOf(c color.RGBA) string { return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B) }
