package photo

import (
	"image"
	"testing"
)

// The chroma read at a turned pixel must be that of the same pixel of the unturned view, whichever way the photo lies.
func TestChromaFollowsOrientation(t *testing.T) {
	for o := 1; o <= 8; o++ {
		const w, h, f = 64, 48, 2
		pl := planes{width: w, height: h, y: make([]uint8, w*h), fx: f, fy: f, stride: w / f,
			cb: make([]uint8, w*h/f/f), cr: make([]uint8, w*h/f/f)}
		for i := range pl.cb {
			pl.cb[i], pl.cr[i] = uint8(40+2*(i%(w/f))), uint8(60+3*(i/(w/f)))
		}
		p := &Photo{Width: w, Height: h, applied: o, stored: pl, chroma: pl.chromaGrid(o)}
		if o >= 5 {
			p.Width, p.Height = h, w
		}
		for _, q := range []image.Point{{10, 11}, {31, 20}, {40, 30}, {5, 44}} {
			if q.X >= p.Width || q.Y >= p.Height {
				continue
			}
			su, sv := storedFromTurned(q.X, q.Y, w, h, o)
			// Both planes are linear, so bilinear interpolation must hit them exactly: closed form.
			wantCb := 40 + 2*(float64(su)-0.5)/f - 128
			wantCr := 60 + 3*(float64(sv)-0.5)/f - 128
			cb, cr := p.ChromaAt(float64(q.X), float64(q.Y))
			if d := float64(cb) - wantCb; d > 1e-3 || d < -1e-3 {
				t.Errorf("orientation %d at %v: Cb %.3f, want %.3f", o, q, cb, wantCb)
			}
			if d := float64(cr) - wantCr; d > 1e-3 || d < -1e-3 {
				t.Errorf("orientation %d at %v: Cr %.3f, want %.3f", o, q, cr, wantCr)
			}
		}
	}
}
