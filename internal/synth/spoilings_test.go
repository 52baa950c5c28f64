package synth

import (
	"bytes"
	"image"
	"image/jpeg"
	"testing"
)

// drawnPhoto is a small picture with edges and a header, as a camera writes it.
func drawnPhoto(t *testing.T) []byte {
	t.Helper()
	img := image.NewYCbCr(image.Rect(0, 0, 320, 240), image.YCbCrSubsampleRatio444)
	for y := range 240 {
		for x := range 320 {
			i := img.YOffset(x, y)
			img.Y[i], img.Cb[i], img.Cr[i] = uint8(60+x/4), uint8(110+y/16), 140
			if (x/40+y/30)%2 == 0 {
				img.Y[i] = uint8(200 - y/8)
			}
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 95}); err != nil {
		t.Fatal(err)
	}
	return withHeader(b.Bytes(), &Scene{Orientation: 1, Focal35MM: 26})
}

// Every kind of spoiling changes the picture, gives the same one for the same seed, and leaves a JPEG but where it cuts the file.
func TestSpoilings(t *testing.T) {
	photo := drawnPhoto(t)
	names := map[string]bool{}
	for _, s := range Spoilings() {
		if names[s.Name] {
			t.Errorf("two kinds are called %s", s.Name)
		}
		names[s.Name] = true
		one, err := s.Apply(photo, 3)
		if err != nil {
			t.Errorf("%s: %v", s.Name, err)
			continue
		}
		if again, err := s.Apply(photo, 3); err != nil || !bytes.Equal(one, again) {
			t.Errorf("%s: seed 3 gives another picture the second time: %v", s.Name, err)
		}
		if bytes.Equal(one, photo) {
			t.Errorf("%s changes nothing", s.Name)
		}
		if _, err := jpeg.Decode(bytes.NewReader(one)); (err == nil) == (s.Name == "truncated") {
			t.Errorf("%s: decoding says %v", s.Name, err)
		}
		kept := exifSegment(one) != nil
		if lost := s.Name == "stripped" || s.Name == "quarterturn" || s.Name == "messenger"; kept == lost {
			t.Errorf("%s: its header is there: %v", s.Name, kept)
		}
	}
	if len(names) < 30 {
		t.Errorf("only %d kinds", len(names))
	}
}
