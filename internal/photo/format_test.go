package photo

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"testing"
)

// Every format must show the same scene. Allowances in grey levels: 0.6 where only rounding differs, more where the file
// is lossy.
func TestFormatsShowTheSameScene(t *testing.T) {
	files := []struct {
		name       string
		format     string
		rms, worst float64
	}{
		{"baseline-420.jpg", "jpeg", 1.5, 12},
		{"baseline-422.jpg", "jpeg", 1.5, 12},
		{"baseline-444.jpg", "jpeg", 1.5, 12},
		{"baseline-440.jpg", "jpeg", 1.5, 12},
		{"baseline-411.jpg", "jpeg", 1.5, 12},
		{"baseline-odd.jpg", "jpeg", 5, 40}, // luma itself is stored at half height
		{"progressive.jpg", "jpeg", 1.5, 12},
		{"arithmetic.jpg", "jpeg", 1.5, 12},
		{"noninterleaved.jpg", "jpeg", 1.5, 12},
		{"restart.jpg", "jpeg", 1.5, 12},
		{"rgb.jpg", "jpeg", 1.5, 12},
		{"grey.jpg", "jpeg", 1.5, 12},
		{"cmyk-adobe.jpg", "jpeg", 1.5, 14},
		{"cmyk-plain.jpg", "jpeg", 1.5, 14},
		{"interlaced.png", "png", 0.6, 1},
		{"palette.png", "png", 3, 12}, // 256 colours stand for some thousand
		{"tiles-lzw-predictor.tif", "tiff", 0.6, 1},
		{"strips7-zip.tif", "tiff", 0.6, 1},
		{"lossy.webp", "webp", 2.5, 30},
		{"lossless.webp", "webp", 0.6, 1},
		{"plain.heic", "heic", 2.5, 30},
		{"mif1.heic", "heic", 2.5, 30},
		{"videorange.heic", "heic", 2.5, 30},
		{"lossless444.heic", "heic", 1, 3},
		{"grey.heic", "heic", 2.5, 30},
	}
	for _, f := range files {
		t.Run(f.name, func(t *testing.T) {
			p := mustLoad(t, "testdata/"+f.name)
			if p.Format != f.format {
				t.Errorf("format %q, want %q", p.Format, f.format)
			}
			checkScene(t, p, 1, f.rms, f.worst)
		})
	}
}

func encodePNG(t testing.TB, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// sceneAs copies the scene into another kind of picture.
func sceneAs(dst interface {
	image.Image
	Set(x, y int, c color.Color)
}) image.Image {
	src := sceneImage()
	for v := range sceneH {
		for u := range sceneW {
			dst.Set(u, v, src.At(u, v))
		}
	}
	return dst
}

func TestPNGDepths(t *testing.T) {
	r := image.Rect(0, 0, sceneW, sceneH)
	for _, m := range []image.Image{
		sceneImage(), sceneAs(image.NewRGBA(r)), sceneAs(image.NewNRGBA64(r)), sceneAs(image.NewRGBA64(r)),
		sceneAs(image.NewGray(r)), sceneAs(image.NewGray16(r)),
	} {
		p, err := loadBytes(t, "x.png", encodePNG(t, m))
		if err != nil {
			t.Fatal(err)
		}
		checkScene(t, p, 1, 0.6, 1)
	}
}

func TestSeeThroughIsWhiteAndSaidSo(t *testing.T) {
	for _, name := range []string{"alpha.png", "alpha.webp"} {
		p := mustLoad(t, "testdata/"+name)
		if p.Gray[0] != 255 {
			t.Errorf("%s: a see-through corner has level %d, want 255", name, p.Gray[0])
		}
		if len(p.Notes) != 1 {
			t.Errorf("%s: notes %q, want one", name, p.Notes)
		}
		if d := float64(p.Gray[40*sceneW+40]) - sceneGrey(40, 40); d > 5 || d < -5 {
			t.Errorf("%s: the middle is off by %.1f", name, d)
		}
	}
}
