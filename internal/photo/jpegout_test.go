package photo

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"testing"
)

// What EncodeJPEG writes is the picture that another decoder reads.
func TestEncodeJPEG(t *testing.T) {
	whole := image.NewRGBA(image.Rect(0, 0, 131, 77))
	for y := range 77 {
		for x := range 131 {
			whole.SetRGBA(x, y, color.RGBA{uint8(x), uint8(2 * y), uint8(128 + 40*math.Sin(float64(x+y)/20)), 255})
		}
	}
	for _, im := range []*image.RGBA{whole, whole.SubImage(image.Rect(3, 5, 100, 60)).(*image.RGBA)} {
		var out bytes.Buffer
		if err := EncodeJPEG(&out, im, 90); err != nil {
			t.Fatal(err)
		}
		got, err := jpeg.Decode(&out)
		if err != nil {
			t.Fatal(err)
		}
		if got.Bounds().Size() != im.Bounds().Size() {
			t.Fatalf("%v, want %v", got.Bounds(), im.Bounds())
		}
		var sum float64
		b := im.Bounds()
		for y := range b.Dy() {
			for x := range b.Dx() {
				r, g, bl, _ := got.At(x, y).RGBA()
				want := im.RGBAAt(b.Min.X+x, b.Min.Y+y)
				sum += math.Abs(float64(r>>8)-float64(want.R)) + math.Abs(float64(g>>8)-float64(want.G)) + math.Abs(float64(bl>>8)-float64(want.B))
			}
		}
		// Quantisation at quality 90 in smooth colours, chroma at half size: under 2 levels in a mean, with image/jpeg as well.
		if mean := sum / float64(3*b.Dx()*b.Dy()); mean > 2 {
			t.Errorf("%.2f levels off on average", mean)
		}
	}
	if err := EncodeJPEG(&bytes.Buffer{}, &image.RGBA{}, 90); err == nil {
		t.Error("a picture without pixels was written")
	}
}
