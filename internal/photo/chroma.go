package photo

import (
	"runtime"
	"sync"
)

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
	h, w := &p.chroma.across, &p.chroma.down
	i, x := cell((u-h.start)*h.perPx, h.n)
	j, y := cell((v-w.start)*w.perPx, w.n)
	at := p.chroma.first + i*h.stride + j*w.stride
	mix := func(c []uint8) float32 {
		a, b := float32(c[at]), float32(c[at+h.next])
		d, e := float32(c[at+w.next]), float32(c[at+w.next+h.next])
		top := a + x*(b-a)
		return top + y*(d+x*(e-d)-top) - 128
	}
	return mix(s.cb), mix(s.cr)
}

// chromaGrid is where the stored chroma samples stand in the photo, that is after EXIF orientation: all orientations of one
// picture are then the same to the last bit. ChromaAt is asked for millions of places.
type chromaGrid struct {
	across, down chromaAxis
	first        int // index of the photo's top-left sample
}

// chromaAxis is one direction of the photo: sample i stands at start + i / perPx px, and stride further in memory than the one
// before; next is the stride, or 0 where there is but one sample.
type chromaAxis struct {
	n            int
	start, perPx float64
	stride, next int
}

func (s *planes) chromaGrid(orientation int) chromaGrid {
	if s.cb == nil {
		return chromaGrid{}
	}
	g := chromaGrid{}
	axis := func(sizePx, factor, stride int, back bool) chromaAxis {
		a := chromaAxis{n: (sizePx + factor - 1) / factor, start: float64(factor-1) / 2, perPx: 1 / float64(factor), stride: stride}
		if back {
			g.first += (a.n - 1) * stride
			a.start = float64(sizePx-1) - (a.start + float64((a.n-1)*factor))
			a.stride = -stride
		}
		if a.n > 1 {
			a.next = a.stride
		}
		return a
	}
	// Which way the stored columns and rows run in the photo (CIPA DC-008, Orientation).
	g.across = axis(s.width, s.fx, 1, orientation == 2 || orientation == 3 || orientation == 7 || orientation == 8)
	g.down = axis(s.height, s.fy, s.stride, orientation == 3 || orientation == 4 || orientation == 6 || orientation == 7)
	if orientation >= 5 {
		g.across, g.down = g.down, g.across
	}
	return g
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

// Primary is one of the primaries that a picture's colours are mixed from.
type Primary int

// The primaries of a photo.
const (
	Red Primary = iota
	Green
	Blue
)

// Level is the level of the primary in a colour with brightness y and chroma cb, cr (ITU-T T.871), not held to 0 to 255.
func (p Primary) Level(y, cb, cr float32) float32 {
	switch p {
	case Red:
		return y + 1.402*cr
	case Green:
		return y - 0.344136*cb - 0.714136*cr
	}
	return y + 1.772*cb
}

// Levels returns how bright the photo is in one primary, laid out and coded as Gray is. A grey picture gives Gray itself.
func (p *Photo) Levels(of Primary) []uint8 {
	if !p.HasColour() {
		return p.Gray
	}
	out := make([]uint8, len(p.Gray))
	workers := runtime.GOMAXPROCS(0)
	var wg sync.WaitGroup
	for k := range workers {
		wg.Go(func() {
			for y := k; y < p.Height; y += workers {
				for x := range p.Width {
					cb, cr := p.ChromaAt(float64(x), float64(y))
					i := y*p.Width + x
					out[i] = uint8(min(max(of.Level(float32(p.Gray[i]), cb, cr), 0), 255) + 0.5)
				}
			}
		})
	}
	wg.Wait()
	return out
}
