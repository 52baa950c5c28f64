package scalecard

// EdgeShape is the photo's response to a straight edge, in linear light: 0 far on the black side, 1 far on the white, as a
// function of the distance towards white in px. It holds lens, pixel and sharpening, with the halo that sharpening leaves
// (large on the white side, small on the black, as a camera sharpens gamma-coded pixels). Nil where the tags did not show
// enough of their edges.
func (s *Solution) EdgeShape() func(px float64) float64 {
	p := s.edges.profile(max(profileSmoothPx, 0.6*s.BlurPx), 3*s.BlurPx+3)
	if p == nil {
		return nil
	}
	return func(px float64) float64 {
		level, _ := p.at(px)
		return level
	}
}
