package synth

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"slices"
)

// Spoiling is a way in which a good photo goes wrong between the lens and the tool.
type Spoiling struct {
	Name     string
	Workable bool // it can still be measured; the others are to be refused or marked
	What     string
	edit     func(rng dice, p *sheet)
}

// Spoilings lists them, those that can be measured first.
func Spoilings() []Spoiling {
	return []Spoiling{
		{"recompressed", true, "coded once more at quality 30 to 80", func(rng dice, p *sheet) { p.quality = 30 + rng.IntN(51) }},
		{"noisy", true, "grain of 3 to 12 levels", noisy},
		{"soft", true, "out of focus by 0.7 to 1.6 px", func(rng dice, p *sheet) { p.defocus(rng.in(0.7, 1.6)) }},
		{"exposure", true, "0.6 to 1.5 times the light", func(rng dice, p *sheet) { p.expose(math.Exp(rng.in(math.Log(0.6), math.Log(1.5)))) }},
		{"flat", true, "black lifted, white dimmed", func(rng dice, p *sheet) { p.squeeze(rng.in(15, 40), rng.in(200, 240)) }},
		{"edited", true, "contrast curve of a picture editor", func(rng dice, p *sheet) { p.contrast(rng.in(0.2, 0.6)) }},
		{"sharpened", true, "unsharp mask", func(rng dice, p *sheet) { p.sharpen(rng.in(1, 2), rng.in(0.8, 2)) }},
		{"cast", true, "wrong white balance", func(rng dice, p *sheet) { p.tint(rng.sign()*rng.in(10, 25), rng.sign()*rng.in(10, 25)) }},
		{"grey", true, "colours taken out", func(_ dice, p *sheet) { p.grey() }},
		{"resized", true, "made smaller, to 0.5 to 0.8", func(rng dice, p *sheet) { p.scale(rng.in(0.5, 0.8)) }},
		{"stripped", true, "header taken out", func(_ dice, p *sheet) { p.header = nil }},
		{"orientation", true, "stored turned, the header says how", turnedInHeader},
		{"quarterturn", true, "turned by a quarter, without a header", func(_ dice, p *sheet) { p.pixels, p.header = stored(p.pixels, 6), nil }},
		{"vignetted", true, "dark corners", func(rng dice, p *sheet) { p.vignette(rng.in(0.3, 0.6)) }},
		{"shaded", true, "a soft shadow lies across", shaded},
		{"bulged", true, "lens errors of 1 to 3 % put on or taken out", bulged},

		{"messenger", false, "1600 px wide, quality 60 to 75, header taken out", messenger},
		{"cropped", false, "2 to 5 % cut off one side", func(rng dice, p *sheet) { p.crop(rng.IntN(4), rng.in(0.02, 0.05)) }},
		{"cut", false, "15 to 30 % cut off one side", func(rng dice, p *sheet) { p.crop(rng.IntN(4), rng.in(0.15, 0.30)) }},
		{"occluded", false, "something lies on the part", func(rng dice, p *sheet) { p.cover(rng, rng.in(20, 220)) }},
		{"glare", false, "a burnt-out highlight on the part", glaring},
		{"blurred", false, "out of focus by 3 to 8 px", func(rng dice, p *sheet) { p.defocus(rng.in(3, 8)) }},
		{"shaken", false, "moved by 8 to 30 px while the shutter was open", shaken},
		{"dark", false, "a twentieth of the light", func(_ dice, p *sheet) { p.expose(0.05) }},
		{"burnt", false, "4 to 8 times the light", func(rng dice, p *sheet) { p.expose(rng.in(4, 8)) }},
		{"mirrored", false, "left and right exchanged", func(_ dice, p *sheet) { p.pixels = flip(p.pixels) }},
		{"stretched", false, "1.5 to 4 % wider or narrower", func(rng dice, p *sheet) { p.pixels = widen(p.pixels, 1+rng.sign()*rng.in(0.015, 0.04)) }},
		{"sheared", false, "rows shifted by 0.5 to 2 % of their height", sheared},
		{"keystone", false, "straightened by an editor that knows no camera", keystone},
		{"wavy", false, "stitched from pieces: shifted to and fro by 2 to 6 px", wavy},
		{"torn", false, "the lower part shifted sideways by 8 to 60 px", torn},
		{"crushed", false, "coded at quality 2 to 8", func(rng dice, p *sheet) { p.quality = 2 + rng.IntN(7) }},
		{"tiny", false, "0.1 to 0.4 megapixels", shrunk},
		{"truncated", false, "the file's end is missing", func(rng dice, p *sheet) { p.keep = rng.in(0.3, 0.95) }},
	}
}

// Apply spoils a JPEG; one seed gives one picture.
func (s Spoiling) Apply(jpg []byte, seed uint64) ([]byte, error) {
	img, err := jpeg.Decode(bytes.NewReader(jpg))
	if err != nil {
		return nil, err
	}
	colour, ok := img.(*image.YCbCr)
	if !ok {
		return nil, fmt.Errorf("a picture of kind %T", img)
	}
	// Quality 95 changes next to nothing by itself.
	p := &sheet{pixels: full(colour), header: exifSegment(jpg), quality: 95, keep: 1}
	s.edit(newDice(seed, 7), p)
	if p.err != nil {
		return nil, p.err
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, p.pixels, &jpeg.Options{Quality: p.quality}); err != nil {
		return nil, err
	}
	const startMark = 2
	out := slices.Concat(b.Bytes()[:startMark], p.header, b.Bytes()[startMark:])
	return out[:int(p.keep*float64(len(out)))], nil
}

// sheet is a finished picture on its way through somebody's hands.
type sheet struct {
	pixels  *image.YCbCr // with colour at every pixel
	header  []byte       // EXIF segment, nil without one
	quality int          // to code it with
	keep    float64      // share of the file that arrives
	err     error
}

func (p *sheet) size() (w, h int) { return p.pixels.Rect.Dx(), p.pixels.Rect.Dy() }

// exifSegment returns a JPEG's EXIF segment with its marker, nil if it has none.
func exifSegment(jpg []byte) []byte {
	const app1, startOfScan = 0xe1, 0xda
	for at := 2; at+4 <= len(jpg) && jpg[at] == 0xff && jpg[at+1] != startOfScan; {
		end := at + 2 + int(jpg[at+2])<<8 + int(jpg[at+3])
		if end > len(jpg) {
			return nil
		}
		if jpg[at+1] == app1 && bytes.HasPrefix(jpg[at+4:], []byte("Exif\x00")) {
			return bytes.Clone(jpg[at:end])
		}
		at = end
	}
	return nil
}

// brightness runs do on every brightness, 0 to 255 and to be left so.
func (p *sheet) brightness(do func(x, y int, v float64) float64) {
	w, h := p.size()
	rows(h, func(y int) {
		for x := range w {
			i := p.pixels.YOffset(x, y)
			p.pixels.Y[i] = level(float32(do(x, y, float64(p.pixels.Y[i]))))
		}
	})
}

// expose multiplies the light, as the exposure does: before the tone curve, here sRGB's.
func (p *sheet) expose(gain float64) {
	p.brightness(func(_, _ int, v float64) float64 { return coded(gain * linear(v)) })
}

// linear and coded are sRGB's tone curve (IEC 61966-2-1), levels 0 to 255 against light 0 to 1.
func linear(level float64) float64 {
	if c := level / 255; c > 0.04045 {
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	return level / 255 / 12.92
}

func coded(light float64) float64 {
	light = max(0, min(light, 1))
	if light > 0.0031308 {
		return 255 * (1.055*math.Pow(light, 1/2.4) - 0.055)
	}
	return 255 * 12.92 * light
}

func noisy(rng dice, p *sheet) {
	sigma := rng.in(3, 12)
	for _, plane := range []struct {
		pix   []uint8
		sigma float64
	}{{p.pixels.Y, sigma}, {p.pixels.Cb, sigma / 2}, {p.pixels.Cr, sigma / 2}} {
		for i, v := range plane.pix {
			plane.pix[i] = level(float32(v) + float32(plane.sigma*rng.NormFloat64()))
		}
	}
}

// defocus blurs light, not levels: a lens knows no tone curve.
func (p *sheet) defocus(sigmaPx float64) {
	k := gaussian(sigmaPx)
	p.convolved(func(y []float32, w, h int) []float32 { return across(across(y, w, h, k, 1, 0), w, h, k, 0, 1) })
}

// convolved runs do on the brightness in linear light.
func (p *sheet) convolved(do func(light []float32, w, h int) []float32) {
	w, h := p.size()
	light := make([]float32, w*h)
	var table [256]float32
	for i := range table {
		table[i] = float32(linear(float64(i)))
	}
	for y := range h {
		for x := range w {
			light[y*w+x] = table[p.pixels.Y[p.pixels.YOffset(x, y)]]
		}
	}
	light = do(light, w, h)
	p.brightness(func(x, y int, _ float64) float64 { return coded(float64(light[y*w+x])) })
}

// across convolves along one direction with half of a symmetric kernel; the border goes on outside.
func across(in []float32, w, h int, half []float32, dx, dy int) []float32 {
	out := make([]float32, len(in))
	rows(h, func(y int) {
		for x := range w {
			sum := half[0] * in[y*w+x]
			for j := 1; j < len(half); j++ {
				ax, ay := max(0, x-j*dx), max(0, y-j*dy)
				bx, by := min(w-1, x+j*dx), min(h-1, y+j*dy)
				sum += half[j] * (in[ay*w+ax] + in[by*w+bx])
			}
			out[y*w+x] = sum
		}
	})
	return out
}

func shaken(rng dice, p *sheet) {
	n := 4 + rng.IntN(12)
	box := make([]float32, n+1)
	for i := range box {
		box[i] = 1 / float32(2*n+1)
	}
	dx := rng.IntN(2)
	p.convolved(func(y []float32, w, h int) []float32 { return across(y, w, h, box, dx, 1-dx) })
}

func (p *sheet) squeeze(black, white float64) {
	p.brightness(func(_, _ int, v float64) float64 { return black + v*(white-black)/255 })
}

// contrast bends the curve into an S, by more the larger share is.
func (p *sheet) contrast(share float64) {
	p.brightness(func(_, _ int, v float64) float64 {
		x := v / 255
		return 255 * ((1-share)*x + share*x*x*(3-2*x))
	})
}

// sharpen works on levels, as editors do.
func (p *sheet) sharpen(sigmaPx, amount float64) {
	w, h := p.size()
	in := make([]float32, w*h)
	for y := range h {
		for x := range w {
			in[y*w+x] = float32(p.pixels.Y[p.pixels.YOffset(x, y)])
		}
	}
	k := gaussian(sigmaPx)
	smooth := across(across(in, w, h, k, 1, 0), w, h, k, 0, 1)
	p.brightness(func(x, y int, v float64) float64 { return v + amount*(v-float64(smooth[y*w+x])) })
}

func (p *sheet) tint(cb, cr float64) {
	for i := range p.pixels.Cb {
		p.pixels.Cb[i], p.pixels.Cr[i] = level(float32(p.pixels.Cb[i])+float32(cb)), level(float32(p.pixels.Cr[i])+float32(cr))
	}
}

func (p *sheet) grey() {
	for i := range p.pixels.Cb {
		p.pixels.Cb[i], p.pixels.Cr[i] = 128, 128
	}
}

func (p *sheet) vignette(loss float64) {
	w, h := p.size()
	p.brightness(func(x, y int, v float64) float64 {
		r := math.Hypot(float64(2*x-w), float64(2*y-h)) / math.Hypot(float64(w), float64(h))
		return coded(linear(v) * (1 - loss*r*r))
	})
}

// shaded lays a shadow with a soft edge over a half plane through the middle of the picture.
func shaded(rng dice, p *sheet) {
	w, h := p.size()
	sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
	depth, soft := rng.in(0.3, 0.6), rng.in(0.02, 0.1)*float64(w)
	off := rng.in(-0.2, 0.2) * float64(h)
	p.brightness(func(x, y int, v float64) float64 {
		d := (cos*float64(2*x-w)+sin*float64(2*y-h))/2 - off
		return coded(linear(v) * (1 - depth/(1+math.Exp(-d/soft))))
	})
}

// cover lays something of one brightness over a round spot.
func (p *sheet) cover(rng dice, brightness float64) {
	w, h := p.size()
	cx, cy, r := rng.in(0.25, 0.75)*float64(w), rng.in(0.35, 0.65)*float64(h), rng.in(0.03, 0.08)*float64(w)
	p.brightness(func(x, y int, v float64) float64 {
		if math.Hypot(float64(x)-cx, float64(y)-cy) < r {
			return brightness
		}
		return v
	})
}

func glaring(rng dice, p *sheet) {
	w, h := p.size()
	cx, cy, r := rng.in(0.25, 0.75)*float64(w), rng.in(0.35, 0.65)*float64(h), rng.in(0.03, 0.08)*float64(w)
	p.brightness(func(x, y int, v float64) float64 {
		d := math.Hypot(float64(x)-cx, float64(y)-cy) / r
		return coded(linear(v) + 2*math.Exp(-d*d))
	})
}

// warp draws a picture of w by h pixels whose pixel (x, y) shows what stands at from(x, y); beyond the border all is grey.
func (p *sheet) warp(w, h int, from func(x, y float64) (float64, float64)) {
	in := p.pixels
	out := image.NewYCbCr(image.Rect(0, 0, w, h), image.YCbCrSubsampleRatio444)
	iw, ih := p.size()
	rows(h, func(y int) {
		for x := range w {
			sx, sy := from(float64(x), float64(y))
			i := out.YOffset(x, y)
			if !(sx >= 0 && sy >= 0 && sx < float64(iw-1) && sy < float64(ih-1)) {
				out.Y[i], out.Cb[i], out.Cr[i] = 128, 128, 128
				continue
			}
			a, b := int(sx), int(sy)
			tx, ty := sx-float64(a), sy-float64(b)
			j := in.YOffset(a, b)
			mixed := func(pix []uint8) uint8 {
				top := float64(pix[j])*(1-tx) + float64(pix[j+1])*tx
				low := float64(pix[j+in.YStride])*(1-tx) + float64(pix[j+in.YStride+1])*tx
				return uint8(top*(1-ty) + low*ty + 0.5)
			}
			out.Y[i], out.Cb[i], out.Cr[i] = mixed(in.Y), mixed(in.Cb), mixed(in.Cr)
		}
	})
	p.pixels = out
}

// scale makes the picture smaller, softened before so that nothing flickers.
func (p *sheet) scale(by float64) {
	p.defocus(0.4 / by)
	w, h := p.size()
	p.warp(int(by*float64(w)), int(by*float64(h)), func(x, y float64) (float64, float64) { return (x+0.5)/by - 0.5, (y+0.5)/by - 0.5 })
}

func messenger(rng dice, p *sheet) {
	w, h := p.size()
	if by := 1600 / float64(max(w, h)); by < 1 {
		p.scale(by)
	}
	p.quality, p.header = 60+rng.IntN(16), nil
}

func shrunk(rng dice, p *sheet) {
	w, h := p.size()
	p.scale(math.Sqrt(rng.in(0.1e6, 0.4e6) / float64(w*h)))
}

// crop cuts a share off one side: 0 left, 1 right, 2 top, 3 bottom.
func (p *sheet) crop(side int, share float64) {
	w, h := p.size()
	cutX, cutY := int(share*float64(w)), int(share*float64(h))
	r := []image.Rectangle{image.Rect(cutX, 0, w, h), image.Rect(0, 0, w-cutX, h), image.Rect(0, cutY, w, h), image.Rect(0, 0, w, h-cutY)}[side]
	p.warp(r.Dx(), r.Dy(), func(x, y float64) (float64, float64) { return x + float64(r.Min.X), y + float64(r.Min.Y) })
}

// bulged moves points outwards or inwards by the cube of their distance from the middle, as a lens does.
func bulged(rng dice, p *sheet) {
	w, h := p.size()
	k := rng.sign() * rng.in(0.01, 0.03)
	cx, cy := float64(w-1)/2, float64(h-1)/2
	p.warp(w, h, func(x, y float64) (float64, float64) {
		r2 := ((x-cx)*(x-cx) + (y-cy)*(y-cy)) / (cx*cx + cy*cy)
		return cx + (x-cx)*(1+k*(r2-1)), cy + (y-cy)*(1+k*(r2-1))
	})
}

func sheared(rng dice, p *sheet) {
	w, h := p.size()
	by := rng.sign() * rng.in(0.005, 0.02)
	p.warp(w, h, func(x, y float64) (float64, float64) { return x + by*(y-float64(h)/2), y })
}

// keystone makes one side of the picture 2 to 6 % longer, as the straightening of a scanning program does.
func keystone(rng dice, p *sheet) {
	w, h := p.size()
	by := rng.sign() * rng.in(0.02, 0.06)
	cx := float64(w-1) / 2
	p.warp(w, h, func(x, y float64) (float64, float64) {
		t := 1 + by*(y/float64(h)-0.5)
		return cx + (x-cx)/t, y
	})
}

func wavy(rng dice, p *sheet) {
	w, h := p.size()
	by, long, begin := rng.in(2, 6), rng.in(0.1, 0.3)*float64(h), 2*math.Pi*rng.Float64()
	p.warp(w, h, func(x, y float64) (float64, float64) { return x + by*math.Sin(2*math.Pi*y/long+begin), y })
}

func torn(rng dice, p *sheet) {
	w, h := p.size()
	by, below := rng.sign()*float64(8+rng.IntN(53)), rng.in(0.35, 0.65)*float64(h)
	p.warp(w, h, func(x, y float64) (float64, float64) {
		if y > below {
			x += by
		}
		return x, y
	})
}

// turnedInHeader stores the picture as a camera on its side does.
func turnedInHeader(rng dice, p *sheet) {
	o := 2 + rng.IntN(7)
	// The entry's tag, kind short, count 1, as a big-endian EXIF block holds it.
	at := bytes.Index(p.header, []byte{0x01, 0x12, 0, 3, 0, 0, 0, 1})
	if at < 0 {
		p.err = errors.New("the header has no orientation to change")
		return
	}
	p.header[at+9] = byte(o)
	p.pixels = stored(p.pixels, o)
}
