package synth

import "portmatch/internal/scalecard"

// Picture draws the scene and returns the JPEG. It takes about a second of one core for four megapixels.
func (s *Scene) Picture() ([]byte, error) {
	return s.develop(newWorld(s).render())
}

// Resize changes the picture's size by the factor f, everything in it alike; lens blur and noise per pixel stay.
func (s *Scene) Resize(f float64) {
	c := &s.Camera
	w, h := int(float64(c.WidthPx)*f), int(float64(c.HeightPx)*f)
	// Pixel centres are at whole numbers: (u + 1/2) scales.
	c.CxPx, c.CyPx = (c.CxPx+0.5)*f-0.5, (c.CyPx+0.5)*f-0.5
	c.FocalPx *= f
	c.WidthPx, c.HeightPx = w, h
	if a := c.Scan; a != nil {
		c.Scan = &scalecard.Affine{A: a.A * f, B: a.B * f, Tu: (a.Tu+0.5)*f - 0.5, C: a.C * f, D: a.D * f, Tv: (a.Tv+0.5)*f - 0.5}
		s.DeclaredDPI *= f
	}
}
