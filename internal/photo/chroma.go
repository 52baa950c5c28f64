package photo

// HasColour tells whether the photo holds any colour.
func (p *Photo) HasColour() bool { return p.stored.cb != nil }

// ChromaAt returns the chroma (Cb, Cr, each less its neutral 128) at photo pixel (u, v), (0, 0) being the centre of the
// top-left pixel, by bilinear interpolation between the stored chroma samples; each is taken to stand at the middle of the
// pixels that it covers (ITU-T T.871). Outside the photo the nearest sample counts. A grey picture gives 0, 0.
func (p *Photo) ChromaAt(u, v float64) (cb, cr float32) {
	s := &p.stored
	if s.cb == nil {
		return 0, 0
	}
	if p.applied >= 5 {
		u, v = v, u
	}
	w, h := float64(s.width-1), float64(s.height-1)
	switch p.applied {
	case 2, 8:
		u = w - u
	case 3, 7:
		u, v = w-u, h-v
	case 4, 6:
		v = h - v
	}
	cw, ch := (s.width+s.fx-1)/s.fx, (s.height+s.fy-1)/s.fy
	i, x := cell((u-float64(s.fx-1)/2)/float64(s.fx), cw)
	j, y := cell((v-float64(s.fy-1)/2)/float64(s.fy), ch)
	di, dj := min(1, cw-1), min(1, ch-1)*s.stride
	at := j*s.stride + i
	mix := func(c []uint8) float32 {
		a, b := float32(c[at]), float32(c[at+di])
		d, e := float32(c[at+dj]), float32(c[at+dj+di])
		top := a + x*(b-a)
		return top + y*(d+x*(e-d)-top) - 128
	}
	return mix(s.cb), mix(s.cr)
}

// cell splits a coordinate on a line of n samples into the sample before it and the rest, clamped to the line.
func cell(x float64, n int) (int, float32) {
	if x <= 0 || n < 2 {
		return 0, 0
	}
	if x >= float64(n-1) {
		return n - 2, 1
	}
	return int(x), float32(x - float64(int(x)))
}
