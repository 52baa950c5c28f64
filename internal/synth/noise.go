package synth

import (
	"math"
	"math/rand/v2"
)

// tile is a periodic patch of fractal noise, mean 0, standard deviation about 1; sampled bilinearly.
type tile struct{ v []float32 }

const tileSize = 512 // a power of two

func newTile(rng *rand.Rand, octaves int, roughness float64) *tile {
	t := &tile{make([]float32, tileSize*tileSize)}
	amp, sum2 := 1.0, 0.0
	for o := range octaves {
		n := 32 << o // lattice points across the tile
		if n > tileSize {
			break
		}
		lat := make([]float32, n*n)
		for i := range lat {
			lat[i] = float32(rng.NormFloat64() * amp)
		}
		sum2 += amp * amp * 0.5 // smooth interpolation halves the variance, about
		step := float64(n) / tileSize
		for y := range tileSize {
			fy := float64(y) * step
			iy := int(fy)
			ty := float32(smooth(fy - float64(iy)))
			for x := range tileSize {
				fx := float64(x) * step
				ix := int(fx)
				tx := float32(smooth(fx - float64(ix)))
				ix1, iy1 := (ix+1)%n, (iy+1)%n
				a := lat[iy*n+ix]*(1-tx) + lat[iy*n+ix1]*tx
				b := lat[iy1*n+ix]*(1-tx) + lat[iy1*n+ix1]*tx
				t.v[y*tileSize+x] += a*(1-ty) + b*ty
			}
		}
		amp *= roughness
	}
	k := float32(1 / math.Sqrt(sum2))
	for i := range t.v {
		t.v[i] *= k
	}
	return t
}

func smooth(t float64) float64 { return t * t * (3 - 2*t) }

// at samples the tile; one unit is one lattice point of its coarsest octave.
func (t *tile) at(x, y float64) float64 {
	const per = tileSize / 32
	x *= per
	y *= per
	fx, fy := math.Floor(x), math.Floor(y)
	ix, iy := int(fx)&(tileSize-1), int(fy)&(tileSize-1)
	ix1, iy1 := (ix+1)&(tileSize-1), (iy+1)&(tileSize-1)
	tx, ty := float32(x-fx), float32(y-fy)
	a := t.v[iy*tileSize+ix]*(1-tx) + t.v[iy*tileSize+ix1]*tx
	b := t.v[iy1*tileSize+ix]*(1-tx) + t.v[iy1*tileSize+ix1]*tx
	return float64(a*(1-ty) + b*ty)
}

// line is periodic noise in one dimension.
type line struct{ v []float32 }

func newLine(rng *rand.Rand) *line {
	l := &line{make([]float32, 4096)}
	for i := range l.v {
		l.v[i] = float32(rng.NormFloat64())
	}
	return l
}

func (l *line) at(x float64) float64 {
	f := math.Floor(x)
	i := int(f) & 4095
	t := float32(smooth(x - f))
	return float64(l.v[i]*(1-t) + l.v[(i+1)&4095]*t)
}

// hash of a pixel, uniform in 32 bits.
func hash(x, y, seed uint32) uint32 {
	h := x*0x9E3779B1 ^ y*0x85EBCA77 ^ seed*0xC2B2AE3D
	h ^= h >> 15
	h *= 0x2C1B3C6D
	h ^= h >> 12
	h *= 0x297A2D39
	h ^= h >> 15
	return h
}

func lerp(a, b, t float64) float64 { return a + (b-a)*t }

func clamp01(t float64) float64 { return max(0, min(1, t)) }

// ramp rises from 0 at a to 1 at b, smoothly.
func ramp(x, a, b float64) float64 { return smooth(clamp01((x - a) / (b - a))) }

// hypot is math.Hypot without its care for overflow.
func hypot(a, b float64) float64 { return math.Sqrt(a*a + b*b) }
