package synth

import (
	"math"
	"sync"
)

// frame is a picture in linear light, three floats a pixel.
type frame struct {
	w, h int
	pix  []float32
}

// samplesDense is how many rays go through a pixel that an edge crosses. They form a rank-1 lattice (golden ratio), moved by a
// random shift in every pixel, so that the error of the covered share has no mean and is below 1/samplesDense; see
// TestRenderedEdgesStandWhereTheTruthSays.
const samplesDense = 32

// render casts the rays. It uses two goroutines.
func (w *world) render() *frame {
	cam := &w.Camera
	f := &frame{w: cam.WidthPx, h: cam.HeightPx}
	f.pix = make([]float32, 3*f.w*f.h)
	ids := make([]uint8, f.w*f.h)
	rays := newRays(cam)
	rows(f.h, func(v int) {
		for u := range f.w {
			c, id := w.shade(rays.through(float64(u), float64(v)))
			k := v*f.w + u
			ids[k] = id
			f.pix[3*k], f.pix[3*k+1], f.pix[3*k+2] = float32(c[0]), float32(c[1]), float32(c[2])
		}
	})
	rows(f.h, func(v int) {
		for u := range f.w {
			if !mixed(ids, f.w, f.h, u, v) {
				continue
			}
			h := hash(uint32(u), uint32(v), uint32(w.Seed))
			su, sv := float64(h&0xffff)/65536, float64(h>>16)/65536
			var sum RGB
			for i := range samplesDense {
				a := su + float64(i)/samplesDense
				b := sv + float64(i)*0.6180339887498949
				c, _ := w.shade(rays.through(float64(u)+a-math.Floor(a)-0.5, float64(v)+b-math.Floor(b)-0.5))
				sum[0] += c[0]
				sum[1] += c[1]
				sum[2] += c[2]
			}
			k := 3 * (v*f.w + u)
			for j := range sum {
				f.pix[k+j] = float32(sum[j] / samplesDense)
			}
		}
	})
	return f
}

// mixed tells whether anything else than the pixel's own kind lies among its eight neighbours.
func mixed(ids []uint8, w, h, u, v int) bool {
	id := ids[v*w+u]
	for y := max(0, v-1); y <= min(h-1, v+1); y++ {
		for x := max(0, u-1); x <= min(w-1, u+1); x++ {
			if ids[y*w+x] != id {
				return true
			}
		}
	}
	return false
}

// rows runs do for every row, on two goroutines.
func rows(n int, do func(row int)) {
	const block = 16
	var wg sync.WaitGroup
	for g := range 2 {
		wg.Go(func() {
			for b := g * block; b < n; b += 2 * block {
				for r := b; r < min(n, b+block); r++ {
					do(r)
				}
			}
		})
	}
	wg.Wait()
}
