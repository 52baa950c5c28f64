package photo

import (
	"fmt"
	"math"
)

// head is what a file says of itself before any decoder has seen it.
type head struct {
	format        string // "jpeg", "png", "tiff", "webp", "heic"
	width, height int    // as stored, before orientation
	bytesPerPixel int    // memory that decoding takes at its peak
	exif          exifInfo
	icc           []byte
	gamma         float64 // PNG gAMA: encoding exponent, 0 if not stated
	sRGB          bool    // stated outright
	dpiX, dpiY    float64 // JFIF density or PNG pHYs; 0 if not stated
	videoRange    bool    // black is 16 and white 235
	turned        bool    // the container turns the picture itself, so EXIF must not turn it again
	meanQuantum   float64 // JPEG: the mean step of the brightness's coefficients, in grey levels; 0 if unknown
	chromaQuantum float64 // the same of the chroma's
	notes         []string
}

// orientation is the EXIF orientation to be applied, 1 where nothing is left to do.
func (h *head) orientation() int {
	if h.turned || h.exif.orientation == 0 {
		return 1
	}
	return h.exif.orientation
}

const mmPerInch = 25.4

// resolution returns the stored axes' resolution in dots per inch, 0 where it is unknown or means nothing, with advice
// where the file contradicts itself.
func (h *head) resolution() (x, y float64, note string) {
	if h.exif.exposed {
		return 0, 0, "" // through a lens, dots per inch are a figure of speech
	}
	x, y = h.exif.dpi()
	if h.dpiX > 0 {
		if x > 0 && (differ(x, h.dpiX) || differ(y, h.dpiY)) {
			return 0, 0, fmt.Sprintf("the file states two resolutions, %.4g and %.4g dpi; neither is used unless you say which with --dpi", h.dpiX, x)
		}
		x, y = h.dpiX, h.dpiY
	}
	return x, y, ""
}

// differ allows for resolutions rounded to whole dots per inch or per cm: 1 dot in 100.
func differ(a, b float64) bool { return differBy(a, b, 0.01) }

func differBy(a, b, share float64) bool { return math.Abs(a-b) > share*math.Max(a, b) }

// dpi returns the resolution of an EXIF or TIFF directory, 0 if unknown. 72 by 72 is what CIPA DC-008 (XResolution)
// prescribes for "unknown".
func (x exifInfo) dpi() (float64, float64) {
	perInch := 0.0
	switch x.resUnit {
	case 2:
		perInch = 1
	case 3:
		perInch = 2.54
	}
	dx, dy := x.xRes*perInch, x.yRes*perInch
	if dy == 0 {
		dy = dx
	}
	if dx == 72 && dy == 72 {
		return 0, 0
	}
	return checkedDPI(dx, dy)
}

// checkedDPI drops what no scanner delivers: under 50 or over 20 000 dots per inch, or axes more than fourfold apart.
func checkedDPI(x, y float64) (float64, float64) {
	lo, hi := math.Min(x, y), math.Max(x, y)
	if !(lo >= 50) || !(hi <= 20000) || hi > 4*lo {
		return 0, 0
	}
	return x, y
}

// A full 35 mm frame is 36 x 24 mm (ISO 1007 calls it 135); equivalent focal lengths go by its diagonal.
var fullFrameDiagonalMM = math.Hypot(36, 24)

// focal35 returns the 35 mm equivalent focal length in mm, 0 if unknown. Where the camera doesn't state it, it follows
// from the focal length and the sensor's pixel pitch, by the diagonal.
func (x exifInfo) focal35() float64 {
	// Nothing that photographs a flat part has a lens outside this; a value there is a broken field.
	const shortestMM, longestMM = 8, 800
	if x.focal35MM >= shortestMM && x.focal35MM <= longestMM {
		return x.focal35MM
	}
	unitMM := 0.0
	switch x.focalPlaneUnit {
	case 2:
		unitMM = mmPerInch
	case 3:
		unitMM = 10
	}
	if x.focalMM <= 0 || x.focalPlaneX <= 0 || x.focalPlaneY <= 0 || x.pixelX <= 0 || x.pixelY <= 0 {
		return 0
	}
	sensorW := float64(x.pixelX) / x.focalPlaneX * unitMM
	sensorH := float64(x.pixelY) / x.focalPlaneY * unitMM
	// Sensors run from a phone's 3 mm to a medium-format back's 60 mm, and their pixels are square to a few per cent:
	// outside that the fields contradict each other.
	if !(sensorW > 2 && sensorW < 80 && sensorH > 2 && sensorH < 80) || differBy(x.focalPlaneX, x.focalPlaneY, 0.05) {
		return 0
	}
	f := x.focalMM * fullFrameDiagonalMM / math.Hypot(sensorW, sensorH)
	if f < shortestMM || f > longestMM {
		return 0
	}
	return f
}

// cropped reports whether the camera wrote a picture of another shape than the one at hand. A picture that was only made
// smaller keeps its shape to within the rounding of its sides.
func (x exifInfo) cropped(width, height int) bool {
	if x.pixelX <= 0 || x.pixelY <= 0 {
		return false
	}
	a, b := float64(max(x.pixelX, x.pixelY)), float64(min(x.pixelX, x.pixelY))
	w, h := float64(max(width, height)), float64(min(width, height))
	// Rounding either side by half a pixel changes the ratio by this much at most; cameras also trim a few rows to fill
	// whole blocks of 16.
	slack := 16/b + 1/h
	return math.Abs(w/h-a/b) > slack*(a/b)
}
