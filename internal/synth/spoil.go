package synth

import (
	"bytes"
	"image"
	"image/jpeg"
)

// mirrored flips the pixels of one picture left to right and keeps its header.
func mirrored(rng dice) *Case {
	k := plain(rng)
	target := rng.chance(0.5)
	k.Spoil = func(t, w []byte) ([]byte, []byte, error) {
		var err error
		if target {
			t, err = k.Target.redone(t, flip)
		} else {
			w, err = k.Work.redone(w, flip)
		}
		return t, w, err
	}
	return k
}

// stretched makes one picture wider or narrower without touching its height, as a careless edit does.
func stretched(rng dice) *Case {
	k := plain(rng)
	target := rng.chance(0.5)
	by := 1 + rng.in(0.015, 0.04)*rng.sign()
	k.Spoil = func(t, w []byte) ([]byte, []byte, error) {
		var err error
		wide := func(img *image.YCbCr) *image.YCbCr { return widen(img, by) }
		if target {
			t, err = k.Target.redone(t, wide)
		} else {
			w, err = k.Work.redone(w, wide)
		}
		return t, w, err
	}
	return k
}

// twoScales mixes strips of two prints in one picture.
func twoScales(rng dice) *Case {
	k := plain(rng)
	s := k.eitherOf(rng)
	v := 1 + rng.in(0.01, 0.04)*rng.sign()
	s.Strips[len(s.Strips)-1].Scale = [2]float64{v, v}
	return k
}

func (s *Scene) redone(jpg []byte, edit func(*image.YCbCr) *image.YCbCr) ([]byte, error) {
	img, err := jpeg.Decode(bytes.NewReader(jpg))
	if err != nil {
		return nil, err
	}
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, edit(full(img.(*image.YCbCr))), &jpeg.Options{Quality: 92}); err != nil {
		return nil, err
	}
	return withHeader(buf.Bytes(), s), nil
}

// full copies a picture into one with colour at every pixel.
func full(img *image.YCbCr) *image.YCbCr {
	out := image.NewYCbCr(img.Rect, image.YCbCrSubsampleRatio444)
	for y := range img.Rect.Dy() {
		for x := range img.Rect.Dx() {
			i, j := out.YOffset(x, y), img.COffset(x, y)
			out.Y[i], out.Cb[i], out.Cr[i] = img.Y[img.YOffset(x, y)], img.Cb[j], img.Cr[j]
		}
	}
	return out
}

func flip(img *image.YCbCr) *image.YCbCr {
	out := image.NewYCbCr(img.Rect, image.YCbCrSubsampleRatio444)
	w := img.Rect.Dx()
	for y := range img.Rect.Dy() {
		for x := range w {
			i, j := out.YOffset(x, y), img.YOffset(w-1-x, y)
			out.Y[i], out.Cb[i], out.Cr[i] = img.Y[j], img.Cb[j], img.Cr[j]
		}
	}
	return out
}

func widen(img *image.YCbCr, by float64) *image.YCbCr {
	w := int(float64(img.Rect.Dx()) * by)
	out := image.NewYCbCr(image.Rect(0, 0, w, img.Rect.Dy()), image.YCbCrSubsampleRatio444)
	for y := range img.Rect.Dy() {
		for x := range w {
			fx := max(0, min((float64(x)+0.5)/by-0.5, float64(img.Rect.Dx())-1.001))
			a := int(fx)
			t := fx - float64(a)
			i, j := out.YOffset(x, y), img.YOffset(a, y)
			mixed := func(p []uint8) uint8 { return uint8(float64(p[j])*(1-t) + float64(p[j+1])*t + 0.5) }
			out.Y[i], out.Cb[i], out.Cr[i] = mixed(img.Y), mixed(img.Cb), mixed(img.Cr)
		}
	}
	return out
}
