package scalecard

import (
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"
	"testing"

	"portmatch/internal/photo"
)

// TestTinted: a photo of a throttle face with the light of its primaries multiplied. Gains of 0.03 to 0.12 are what no lamp does.
func TestTinted(t *testing.T) {
	f, err := os.Open(filepath.Join("..", "..", "testdata", "photos", "throttle-face.jpg"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	img, err := jpeg.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		red, green, blue float64
		want             error
	}{{0.055, 0.65, 1.05, ErrTinted}, {1, 0.5, 0.04, ErrTinted}, {0.6, 1, 1, nil}, {1, 0.7, 0.25, nil}} {
		t.Run(fmt.Sprint(c.red, c.green, c.blue), func(t *testing.T) {
			var lut [3][256]uint8 // by a gamma of 2.2
			for k, gain := range []float64{c.red, c.green, c.blue} {
				for v := range 256 {
					lut[k][v] = uint8(min(255, float64(v)*math.Pow(gain, 1/2.2)+0.5))
				}
			}
			b := img.Bounds()
			tinted := image.NewRGBA(b)
			for y := b.Min.Y; y < b.Max.Y; y++ {
				for x := b.Min.X; x < b.Max.X; x++ {
					r, g, bl, _ := img.At(x, y).RGBA()
					tinted.SetRGBA(x, y, color.RGBA{lut[0][r>>8], lut[1][g>>8], lut[2][bl>>8], 255})
				}
			}
			path := filepath.Join(t.TempDir(), "tinted.jpg")
			out, err := os.Create(path)
			if err != nil {
				t.Fatal(err)
			}
			if err := jpeg.Encode(out, tinted, &jpeg.Options{Quality: 92}); err != nil {
				t.Fatal(err)
			}
			if err := out.Close(); err != nil {
				t.Fatal(err)
			}
			p, err := photo.Load(t.Context(), path, photo.Options{})
			if err != nil {
				t.Fatal(err)
			}
			if _, err := Solve(t.Context(), p, Options{}); !errors.Is(err, c.want) {
				t.Errorf("got %v, want %v", err, c.want)
			}
		})
	}
}
