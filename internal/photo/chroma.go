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
	if p.applied != 1 {
		u, v = p.storedAt(u, v)
	}
	g := &p.chroma
	i, x := cell((u-g.x0)*g.perU, g.w)
	j, y := cell((v-g.y0)*g.perV, g.h)
	at := j*s.stride + i
	mix := func(c []uint8) float32 {
		c = c[at : at+g.down+g.right+1 : at+g.down+g.right+1]
		a, b := float32(c[0]), float32(c[g.right])
		d, e := float32(c[g.down]), float32(c[g.down+g.right])
		top := a + x*(b-a)
		return top + y*(d+x*(e-d)-top) - 128
	}
	return mix(s.cb), mix(s.cr)
}

// storedAt takes a place in the photo to that in the picture as stored.
func (p *Photo) storedAt(u, v float64) (float64, float64) {
	if p.applied >= 5 {
		u, v = v, u
	}
	w, h := float64(p.stored.width-1), float64(p.stored.height-1)
	switch p.applied {
	case 2, 8:
		u = w - u
	case 3, 7:
		u, v = w-u, h-v
	case 4, 6:
		v = h - v
	}
	return u, v
}

// chromaGrid is where the stored chroma samples stand: column i at x0 + i / perU px, and how far the next one to the right and
// the next one down are in memory. ChromaAt is asked for millions of places.
type chromaGrid struct {
	w, h        int // samples
	x0, y0      float64
	perU, perV  float64
	right, down int
}

func (s *planes) chromaGrid() chromaGrid {
	if s.cb == nil {
		return chromaGrid{}
	}
	w, h := (s.width+s.fx-1)/s.fx, (s.height+s.fy-1)/s.fy
	return chromaGrid{w: w, h: h, x0: float64(s.fx-1) / 2, y0: float64(s.fy-1) / 2, perU: 1 / float64(s.fx), perV: 1 / float64(s.fy),
		right: min(1, w-1), down: min(1, h-1) * s.stride}
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
