package scalecard

import (
	"math"
	"math/rand/v2"

	"portmatch/internal/geom"
	"portmatch/internal/photo"
	"portmatch/internal/scalecard/strip"
)

// drawing is how much of every pixel is ink and how much is bare paper, without blur.
type drawing struct {
	model      *model
	ink, paper []float32
}

// picture develops a drawing as a phone does.
type picture struct {
	drawing  *drawing
	blurPx   float64
	noise    float64 // of a pixel at mid grey, in linear light; as shot noise grows
	black    float64 // linear levels of ink, paper and bench
	white    float64
	bench    float64
	sharpen  float64                 // unsharp mask of 1 px on stored values
	curve    func(v float64) float64 // on stored values 0..1 after the sRGB curve
	mirrored bool
}

func newPicture(d *drawing) picture {
	return picture{drawing: d, blurPx: 0.7, noise: 0.01, black: 0.04, white: 0.75, bench: 0.25}
}

// ink tells whether there is ink at a point of a strip, mm in its frame, grown by the spread.
func ink(number int, p geom.PointMM, grow float64) bool {
	if p.Y < 5 { // the check line
		return math.Abs(p.Y-3) < 0.1+grow && p.X > 20 && p.X < 170
	}
	i := int(math.Floor((p.X - 5) / strip.TagPitchMM))
	if i < 0 || i >= strip.TagsPer {
		return false
	}
	c := strip.TagCentre(i)
	black := func(dx, dy float64) bool {
		col := int(math.Floor((p.X + dx - c.X + strip.TagMM/2) / strip.CellMM))
		row := int(math.Floor((p.Y + dy - c.Y + strip.TagMM/2) / strip.CellMM))
		return strip.Black(strip.TagID(number, i), col, row)
	}
	if grow >= 0 {
		return black(0, 0) || black(grow, 0) || black(-grow, 0) || black(0, grow) || black(0, -grow)
	}
	return black(0, 0) && black(grow, 0) && black(-grow, 0) && black(0, grow) && black(0, -grow)
}

// draw samples every pixel on the model's strips, whose ink spreads growMM past every nominal edge.
func draw(m *model, growMM float64) *drawing {
	const samples = 4 // each way in a pixel, none above or beside another: upright and level edges are placed to 1/32 px in any one pixel
	v := m.view()
	w, h := m.width, m.height
	d := &drawing{m, make([]float32, w*h), make([]float32, w*h)}
	for k, number := range m.numbers {
		s := &v.strips[k]
		lo, hi := geom.PointPx{U: math.Inf(1), V: math.Inf(1)}, geom.PointPx{U: math.Inf(-1), V: math.Inf(-1)}
		for _, c := range strip.Corners() {
			q := v.project(k, c)
			lo.U, lo.V, hi.U, hi.V = min(lo.U, q.U), min(lo.V, q.V), max(hi.U, q.U), max(hi.V, q.V)
		}
		at := func(u, vv float64) geom.PointMM {
			q := geom.PointPx{U: u, V: vv}
			if v.fy != 0 {
				q.V = v.camera.CyPx + (q.V-v.camera.CyPx)*v.camera.FocalPx/v.fy
			}
			p := v.camera.PlaneFromPixel(q, 0)
			// Strips off the plane: once more at the height that the first guess has.
			if s.lift != 0 || s.tilt != 0 || s.bow != 0 {
				_, z := s.onPlane(s.back(p))
				p = v.camera.PlaneFromPixel(q, z)
			}
			return s.back(p)
		}
		for row := max(0, int(lo.V)-3); row <= min(h-1, int(hi.V)+3); row++ {
			for col := max(0, int(lo.U)-3); col <= min(w-1, int(hi.U)+3); col++ {
				// Within a pixel the map is straight.
				o := at(float64(col), float64(row))
				du, dv := at(float64(col)+0.5, float64(row)).Sub(o), at(float64(col), float64(row)+0.5).Sub(o)
				for a := range samples {
					for b := range samples {
						x, y := 2*float64(samples*a+b)+1, 2*float64(samples*b+a)+1
						p := o.Add(du.Scale(x/(samples*samples) - 1)).Add(dv.Scale(y/(samples*samples) - 1))
						if p.X < 0 || p.Y < 0 || p.X > strip.LengthMM || p.Y > strip.WidthMM {
							continue
						}
						if ink(number, p, growMM) {
							d.ink[row*w+col] += 1. / (samples * samples)
						} else {
							d.paper[row*w+col] += 1. / (samples * samples)
						}
					}
				}
			}
		}
	}
	return d
}

// photo develops the picture; the noise comes from seed.
func (pic picture) photo(seed uint64) *photo.Photo {
	w, h := pic.drawing.model.width, pic.drawing.model.height
	light := make([]float64, w*h)
	for i := range light {
		k, p := float64(pic.drawing.ink[i]), float64(pic.drawing.paper[i])
		light[i] = k*pic.black + p*pic.white + (1-k-p)*pic.bench
	}
	blur(light, w, h, pic.blurPx)
	rng := rand.New(rand.NewPCG(seed, 77))
	stored := light
	for i, l := range light {
		l = min(max(l+pic.noise*math.Sqrt(max(l, 0.02)/0.18)*rng.NormFloat64(), 0), 1)
		if l <= 0.0031308 {
			stored[i] = 12.92 * l
		} else {
			stored[i] = 1.055*math.Pow(l, 1/2.4) - 0.055
		}
		if pic.curve != nil {
			stored[i] = pic.curve(stored[i])
		}
	}
	if pic.sharpen > 0 {
		soft := append([]float64(nil), stored...)
		blur(soft, w, h, 1)
		for i := range stored {
			stored[i] += pic.sharpen * (stored[i] - soft[i])
		}
	}
	p := &photo.Photo{Path: "drawn.jpg", Width: w, Height: h, Gray: make([]uint8, w*h), Tone: srgb()}
	for i, s := range stored {
		j := i
		if pic.mirrored {
			j = i - i%w + w - 1 - i%w
		}
		p.Gray[j] = uint8(min(max(255*s+0.5, 0), 255))
	}
	return p
}

// back takes a point of the plane to the strip's nominal frame.
func (s *stripView) back(p geom.PointMM) geom.PointMM {
	x, y := p.X-s.x, p.Y-s.y
	return geom.PointMM{X: (s.cos*x + s.sin*y) / s.scaleX, Y: (-s.sin*x + s.cos*y) / s.scaleY}
}

// srgb is the standard curve (IEC 61966-2-1).
func srgb() photo.Tone {
	var t photo.Tone
	for i := range t.Linear {
		v := float64(i) / 255
		if v <= 0.04045 {
			t.Linear[i] = float32(v / 12.92)
		} else {
			t.Linear[i] = float32(math.Pow((v+0.055)/1.055, 2.4))
		}
	}
	return t
}

// blur convolves with a Gaussian, in place.
func blur(px []float64, w, h int, sigma float64) {
	if sigma <= 0 {
		return
	}
	n := int(math.Ceil(4 * sigma))
	kernel := make([]float64, 2*n+1)
	var sum float64
	for i := range kernel {
		x := float64(i - n)
		kernel[i] = math.Exp(-x * x / (2 * sigma * sigma))
		sum += kernel[i]
	}
	pass := func(count, length, stride, step int) {
		line := make([]float64, length+2*n) // with its ends repeated
		for c := range count {
			for i := range line {
				line[i] = px[c*step+min(max(i-n, 0), length-1)*stride] / sum
			}
			for i := range length {
				var v float64
				for k, f := range kernel {
					v += f * line[i+k]
				}
				px[c*step+i*stride] = v
			}
		}
	}
	pass(h, w, 1, w)
	pass(w, h, w, 1)
}

// desk is a small photo that is quick to draw: two strips seen at about px pixels a millimetre, a little askew.
func desk(px float64) *model {
	r := rig{f35: 26, heightMM: 300, tiltDeg: 6, azimuthDeg: 30, rollDeg: 3, k1: 0.02, k2: -0.01, cx: 2, cy: -3,
		strips: []laid{{-100, 10, 4}, {-92, -45, -2.5}}}
	const widthMM, heightMM = 260, 160
	r.width, r.height = int(widthMM*px), int(heightMM*px)
	// The focal length that gives px pixels a mm at that height, as a full-frame equivalent.
	r.f35 = px * r.heightMM * fullFrameDiagonalMM / math.Hypot(float64(r.width), float64(r.height))
	return r.setup(0).model
}
