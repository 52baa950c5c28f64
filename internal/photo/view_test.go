package photo

import (
	"image"
	"image/color"
	"math"
	"testing"
)

// The grey of a view is the mean of the photo's own pixels, for any step, also where the last block is cut.
func TestViewIsTheMeanOfItsPixels(t *testing.T) {
	p, err := loadBytes(t, "x.png", encodePNG(t, sceneAs(image.NewGray(image.Rect(0, 0, sceneW, sceneH)))))
	if err != nil {
		t.Fatal(err)
	}
	r := image.Rect(3, 5, 90, 76)
	for step := 1; step <= 7; step++ {
		view, err := p.Crop(r, step)
		if err != nil {
			t.Fatal(err)
		}
		for y := range view.Bounds().Dy() {
			for x := range view.Bounds().Dx() {
				sum, n := 0.0, 0.0
				for v := r.Min.Y + y*step; v < min(r.Min.Y+(y+1)*step, r.Max.Y); v++ {
					for u := r.Min.X + x*step; u < min(r.Min.X+(x+1)*step, r.Max.X); u++ {
						sum, n = sum+float64(p.Gray[v*p.Width+u]), n+1
					}
				}
				if c := view.RGBAAt(x, y); math.Abs(float64(c.R)-sum/n) > 0.5 || c.R != c.G || c.R != c.B || c.A != 255 {
					t.Fatalf("step %d at (%d, %d): %v, want %.2f", step, x, y, c, sum/n)
				}
			}
		}
	}
}

func TestPreviewSize(t *testing.T) {
	p := mustLoad(t, "testdata/baseline-420.jpg")
	for _, c := range []struct{ side, step, w, h int }{{1000, 1, 96, 80}, {96, 1, 96, 80}, {95, 2, 48, 40}, {40, 3, 32, 27}, {1, 96, 1, 1}, {0, 96, 1, 1}} {
		v := p.Preview(c.side)
		if v.Step != c.step || v.Bounds().Dx() != c.w || v.Bounds().Dy() != c.h {
			t.Errorf("Preview(%d): step %d, %v; want step %d, %d x %d", c.side, v.Step, v.Bounds(), c.step, c.w, c.h)
		}
	}
}

// The middle of a 3 x 3 block whose first pixel is (30, 40) is photo pixel (31, 41).
func TestViewCoordinates(t *testing.T) {
	v := View{Origin: image.Pt(30, 40), Step: 3}
	if x, y := v.FromPhoto(31, 41); x != 0 || y != 0 {
		t.Errorf("got (%g, %g), want (0, 0)", x, y)
	}
	if x, y := v.FromPhoto(34, 47); x != 1 || y != 2 {
		t.Errorf("got (%g, %g), want (1, 2)", x, y)
	}
	v.Step = 1
	if x, y := v.FromPhoto(30.25, 40.5); x != 0.25 || y != 0.5 {
		t.Errorf("got (%g, %g), want (0.25, 0.5)", x, y)
	}
}

func TestCropOutside(t *testing.T) {
	p := mustLoad(t, "testdata/grey.jpg")
	if v, err := p.Crop(image.Rect(-50, -50, 10, 20), 1); err != nil || v.Origin != image.Pt(0, 0) || v.Bounds().Dx() != 10 || v.Bounds().Dy() != 20 {
		t.Errorf("a crop that laps over gives %v, %v", v, err)
	}
	if _, err := p.Crop(image.Rect(200, 0, 300, 50), 1); err == nil {
		t.Error("a crop outside the picture gives no error")
	}
	if _, err := p.Crop(image.Rect(0, 0, 10, 10), 0); err == nil {
		t.Error("step 0 gives no error")
	}
}

// The colour of a patch must be the same whichever way the photo is turned and however it is cropped.
func TestCropColour(t *testing.T) {
	want := color.RGBA{20, 20, 20, 255}
	for _, name := range []string{"baseline-444.jpg", "baseline-411.jpg", "rgb.jpg"} {
		p := mustLoad(t, "testdata/"+name)
		v, err := p.Crop(image.Rect(13, 10, 27, 18), 2)
		if err != nil {
			t.Fatal(err)
		}
		if c := v.RGBAAt(3, 2); apart(c.R, want.R) > 10 || apart(c.G, want.G) > 10 || apart(c.B, want.B) > 10 {
			t.Errorf("%s: the dark bar is %v, want %v", name, c, want)
		}
	}
}
