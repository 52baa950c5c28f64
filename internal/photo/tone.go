package photo

import "math"

// toneOf returns the curve from grey levels to linear light, and advice where the file's own can't be followed. A colour
// profile wins over everything else the file says; a file that says nothing is sRGB.
func toneOf(h *head) (Tone, string) {
	if h.icc != nil {
		curve, err := greyCurve(h.icc)
		if err == nil {
			return toneFrom(curve), ""
		}
		return toneFrom(srgbToLinear), "the picture's colour profile can't be used (" + err.Error() + "); the usual sRGB is assumed. Edges may stand a little off"
	}
	switch {
	case h.exif.adobeRGB:
		const gamma = 563.0 / 256 // the wide colour space that cameras mark R03
		return toneFrom(func(v float64) float64 { return math.Pow(v, gamma) }), ""
	case h.gamma > 0 && !h.sRGB && differBy(h.gamma, 1/2.2, 0.01):
		// 1/2.2 itself is what programs write beside sRGB data.
		if h.gamma < 0.2 || h.gamma > 1.25 {
			return toneFrom(srgbToLinear), ""
		}
		return toneFrom(func(v float64) float64 { return math.Pow(v, 1/h.gamma) }), ""
	}
	return toneFrom(srgbToLinear), ""
}

func toneFrom(curve func(float64) float64) Tone {
	var t Tone
	for i := range t.Linear {
		t.Linear[i] = float32(curve(float64(i) / 255))
	}
	return t
}

// srgbToLinear is IEC 61966-2-1.
func srgbToLinear(v float64) float64 {
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}
