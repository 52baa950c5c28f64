package synth

// Picture draws the scene and returns the JPEG. It takes about a second of one core for four megapixels.
func (s *Scene) Picture() ([]byte, error) {
	return s.develop(newWorld(s).render())
}
