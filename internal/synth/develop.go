package synth

import (
	"bytes"
	"image"
	"image/jpeg"
	"math"
)

// develop turns light into the phone's JPEG: lens blur, vignetting, shot and read noise, tone curve, sharpening, coding.
func (s *Scene) develop(f *frame) ([]byte, error) {
	o := &s.Optics
	if o.BlurPx > 0 {
		f.blur(o.BlurPx, o.CornerBlur)
	}
	s.exposeAndGrain(f)
	img := s.code(f)
	if s.Orientation > 1 {
		img = stored(img, s.Orientation)
	}
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, img, &jpeg.Options{Quality: o.JPEGQuality}); err != nil {
		return nil, err
	}
	return withHeader(buf.Bytes(), s), nil
}

// blur convolves with a Gaussian whose sigma grows from sigma in the middle to sigma times corner at the corner.
func (f *frame) blur(sigma, corner float64) {
	if corner < 1 {
		corner = 1
	}
	const levels = 24
	kernels := make([][]float32, levels+1)
	for i := range kernels {
		kernels[i] = gaussian(sigma * (1 + (corner-1)*float64(i)/levels))
	}
	cu, cv := float64(f.w-1)/2, float64(f.h-1)/2
	r2 := cu*cu + cv*cv
	level := func(u, v int) []float32 {
		du, dv := float64(u)-cu, float64(v)-cv
		return kernels[int(levels*(du*du+dv*dv)/r2+0.5)]
	}
	rows(f.h, func(v int) {
		row := f.pix[3*v*f.w : 3*(v+1)*f.w]
		src := append([]float32(nil), row...)
		for u := range f.w {
			k := level(u, v)
			n := len(k) - 1
			for c := range 3 {
				sum := k[0] * src[3*u+c]
				for j := 1; j <= n; j++ {
					sum += k[j] * (src[3*max(0, u-j)+c] + src[3*min(f.w-1, u+j)+c])
				}
				row[3*u+c] = sum
			}
		}
	})
	// Columns, in blocks that stay in the cache.
	const wide = 64
	rows((f.w+wide-1)/wide, func(b int) {
		u0, u1 := b*wide, min(f.w, (b+1)*wide)
		n := 3 * (u1 - u0)
		src := make([]float32, f.h*n)
		for v := range f.h {
			copy(src[v*n:(v+1)*n], f.pix[3*(v*f.w+u0):3*(v*f.w+u1)])
		}
		for v := range f.h {
			k := level((u0+u1)/2, v)
			dst := f.pix[3*(v*f.w+u0) : 3*(v*f.w+u1)]
			mid := src[v*n : (v+1)*n]
			for i := range dst {
				dst[i] = k[0] * mid[i]
			}
			for j := 1; j < len(k); j++ {
				a, c := src[max(0, v-j)*n:], src[min(f.h-1, v+j)*n:]
				for i := range dst {
					dst[i] += k[j] * (a[i] + c[i])
				}
			}
		}
	})
}

// gaussian is one half of a normalised kernel.
func gaussian(sigma float64) []float32 {
	n := int(math.Ceil(3.5 * sigma))
	k := make([]float32, n+1)
	sum := 0.0
	for i := range k {
		v := math.Exp(-float64(i*i) / (2 * sigma * sigma))
		k[i] = float32(v)
		sum += v
		if i > 0 {
			sum += v
		}
	}
	for i := range k {
		k[i] /= float32(sum)
	}
	return k
}

// exposeAndGrain lets light fall off to the corners and adds the sensor's noise, slightly spread by the colour filter:
// white noise convolved with [1/4 1 1/4] both ways.
func (s *Scene) exposeAndGrain(f *frame) {
	o := &s.Optics
	rng := newDice(s.Seed, 0x901e)
	normal := make([]float32, 1<<14)
	for i := range normal {
		normal[i] = float32(rng.NormFloat64() / 1.125) // the convolution multiplies the deviation by 1 + 2/16
	}
	seed := uint32(rng.Uint64())
	fl, cu, cv := s.Camera.FocalPx, s.Camera.CxPx, s.Camera.CyPx
	if fl == 0 {
		fl = 1e9
	}
	shot, read := 0.0, 0.0
	if o.FullWell > 0 {
		shot, read = 1/o.FullWell, o.ReadNoise*o.ReadNoise/(o.FullWell*o.FullWell)
	}
	n := 3 * (f.w + 2)
	white := func(v int, to []float32) {
		h := uint64(hash(uint32(v), 77, seed))<<32 | uint64(hash(uint32(v), 78, seed)) | 1
		for i := range to {
			h ^= h << 13
			h ^= h >> 7
			h ^= h << 17
			to[i] = normal[h>>50]
		}
	}
	blocks(f.h, func(lo, hi int) {
		ring := [3][]float32{make([]float32, n), make([]float32, n), make([]float32, n)}
		col := make([]float32, n)
		white(lo-1, ring[0])
		white(lo, ring[1])
		for v := lo; v < hi; v++ {
			white(v+1, ring[2])
			for i := range col {
				col[i] = 0.25*ring[0][i] + ring[1][i] + 0.25*ring[2][i]
			}
			row := f.pix[3*v*f.w : 3*(v+1)*f.w]
			y := (float64(v) - cv) / fl
			fall := 1.0
			for u := range f.w {
				if o.Vignette > 0 && u&7 == 0 {
					// One value for eight pixels: the fall changes by less than 1e-4 over them.
					x := (float64(u) + 3.5 - cu) / fl
					fall = math.Pow(1+x*x+y*y, -o.Vignette)
				}
				for c := range 3 {
					l := float64(row[3*u+c]) * fall
					k := shot
					if c != 1 {
						k *= 1.4 // red and blue see less light
					}
					noise := 0.25*col[3*u+c] + col[3*u+3+c] + 0.25*col[3*u+6+c]
					row[3*u+c] = float32(l) + noise*float32(math.Sqrt(max(0, l)*k+read))
				}
			}
			ring[0], ring[1], ring[2] = ring[1], ring[2], ring[0]
		}
	})
}

// table is the tone curve over linear light 0 to 1.25 in steps of 1/4096: coded level 0 to 1.
func (t *Tone) table() []float32 {
	lut := make([]float32, 5121)
	for i := range lut {
		lut[i] = float32(t.Code(float64(i) / 4096))
	}
	return lut
}

// Code takes linear light to the coded level, 0 to 1.
func (t *Tone) Code(x float64) float64 {
	if t.Knee > 0 && t.Knee < 1 && x > t.Knee {
		x = t.Knee + (1-t.Knee)*(1-math.Exp(-(x-t.Knee)/(1-t.Knee)))
	}
	x = clamp01(x)
	if t.Kind == "gamma" {
		return math.Pow(x, 1/t.Gamma)
	}
	y := 12.92 * x
	if x > 0.0031308 {
		y = 1.055*math.Pow(x, 1/2.4) - 0.055
	}
	if t.Kind == "s" {
		y -= t.S / (2 * math.Pi) * math.Sin(2*math.Pi*y)
	}
	return y
}

// code applies the tone curve, sharpens the brightness and makes the JPEG's colour planes.
func (s *Scene) code(f *frame) *image.YCbCr {
	lut := s.Optics.Tone.table()
	img := image.NewYCbCr(image.Rect(0, 0, f.w, f.h), image.YCbCrSubsampleRatio444)
	luma := make([]float32, f.w*f.h)
	rows(f.h, func(v int) {
		for u := range f.w {
			k := v*f.w + u
			var c [3]float32
			for j := range c {
				x := f.pix[3*k+j] * 4096
				x = max(0, min(x, 5119))
				i := int(x)
				t := x - float32(i)
				c[j] = (lut[i]*(1-t) + lut[i+1]*t) * 255
			}
			y := 0.299*c[0] + 0.587*c[1] + 0.114*c[2]
			luma[k] = y
			img.Cb[v*img.CStride+u] = level(128 + 0.564334*(c[2]-y))
			img.Cr[v*img.CStride+u] = level(128 + 0.713267*(c[0]-y))
		}
	})
	a := float32(s.Optics.Sharpen)
	rows(f.h, func(v int) {
		up, dn := max(0, v-1)*f.w, min(f.h-1, v+1)*f.w
		up2, dn2 := max(0, v-2)*f.w, min(f.h-1, v+2)*f.w
		// A Gaussian of sigma 1 px, five taps each way.
		const g0, g1, g2 = 0.4026, 0.2442, 0.0545
		var col []float32
		if a != 0 {
			col = make([]float32, f.w)
			for u := range f.w {
				col[u] = g0*luma[v*f.w+u] + g1*(luma[up+u]+luma[dn+u]) + g2*(luma[up2+u]+luma[dn2+u])
			}
		}
		for u := range f.w {
			y := luma[v*f.w+u]
			if a != 0 {
				soft := g0*col[u] + g1*(col[max(0, u-1)]+col[min(f.w-1, u+1)]) + g2*(col[max(0, u-2)]+col[min(f.w-1, u+2)])
				y += a * (y - soft)
			}
			img.Y[v*img.YStride+u] = level(y)
		}
	})
	return img
}

func level(x float32) uint8 { return uint8(max(0, min(x+0.5, 255))) }

// stored turns the picture as displayed into the one that EXIF orientation o turns back.
func stored(img *image.YCbCr, o int) *image.YCbCr {
	w, h := img.Rect.Dx(), img.Rect.Dy()
	sw, sh := w, h
	if o >= 5 {
		sw, sh = h, w
	}
	out := image.NewYCbCr(image.Rect(0, 0, sw, sh), image.YCbCrSubsampleRatio444)
	for y := range h {
		for x := range w {
			// Where EXIF row and column go (CIPA DC-008): displayed (x, y) of an orientation o comes from stored (a, b).
			var a, b int
			switch o {
			case 2:
				a, b = w-1-x, y
			case 3:
				a, b = w-1-x, h-1-y
			case 4:
				a, b = x, h-1-y
			case 5:
				a, b = y, x
			case 6:
				a, b = y, w-1-x
			case 7:
				a, b = h-1-y, w-1-x
			case 8:
				a, b = h-1-y, x
			default:
				a, b = x, y
			}
			i, j := y*img.YStride+x, b*out.YStride+a
			out.Y[j], out.Cb[j], out.Cr[j] = img.Y[i], img.Cb[i], img.Cr[i]
		}
	}
	return out
}
