package synth

import (
	"math"
	"sync"
	"sync/atomic"
)

// frame is a picture in linear light, three floats a pixel.
type frame struct {
	w, h int
	pix  []float32
}

// Through a pixel that an edge crosses go samplesDense rays. They form a Fibonacci lattice, moved by a random shift in every
// pixel: the error of the covered share has no mean, and is below 1/samplesDense for an edge of any direction. See
// TestEdgesStandWhereTheTruthSays.
const (
	samplesDense  = 21
	latticeFactor = 13
)

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
				b := sv + float64(i*latticeFactor%samplesDense)/samplesDense
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
	blocks(n, func(lo, hi int) {
		for r := lo; r < hi; r++ {
			do(r)
		}
	})
}

// blocks runs do for runs of rows that cover 0 to n, on two goroutines.
func blocks(n int, do func(lo, hi int)) {
	const size = 16
	var next atomic.Int64
	var wg sync.WaitGroup
	for range 2 {
		wg.Go(func() {
			for {
				lo := int(next.Add(size)) - size
				if lo >= n {
					return
				}
				do(lo, min(n, lo+size))
			}
		})
	}
	wg.Wait()
}
