package photo

import (
	"context"
	"image"
	"image/color"
	"math"
	"os"
	"path/filepath"
	"testing"
)

// The files in testdata all show this scene, 96 x 80 pixels: ramps that differ in each colour, a dark bar at the top left
// and a light one at the bottom right, so that no turn or mirror image looks like another. They were written with Debian
// 12's tools (the HEIC files at 192 x 160, since tags need room and small ones decode wrongly): cjpeg and jpegtran 2.1.5, cwebp 1.2.4, heif-enc 1.15.1, tiffcp 4.5.0, pnmtopng, and Pillow 9.4.0 for inks.
const sceneW, sceneH = 96, 80

func sceneRGB(u, v int) (r, g, b uint8) {
	switch {
	case u >= 10 && u < 30 && v >= 8 && v < 20:
		return 20, 20, 20
	case u >= 60 && u < 90 && v >= 60 && v < 72:
		return 240, 235, 225
	}
	return uint8(60 + u), uint8(200 - v), uint8(80 + (u+v)/2)
}

func sceneImage() *image.NRGBA {
	m := image.NewNRGBA(image.Rect(0, 0, sceneW, sceneH))
	for v := range sceneH {
		for u := range sceneW {
			r, g, b := sceneRGB(u, v)
			m.SetNRGBA(u, v, color.NRGBA{r, g, b, 255})
		}
	}
	return m
}

// sceneGrey is Y' of ITU-T T.871, in floating point.
func sceneGrey(u, v int) float64 {
	r, g, b := sceneRGB(u, v)
	return 0.299*float64(r) + 0.587*float64(g) + 0.114*float64(b)
}

func mustLoad(t testing.TB, path string) *Photo {
	t.Helper()
	p, err := Load(context.Background(), path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Gray) != p.Width*p.Height {
		t.Fatalf("%s: %d grey levels for %d x %d pixels", path, len(p.Gray), p.Width, p.Height)
	}
	return p
}

func loadBytes(t testing.TB, name string, data []byte) (*Photo, error) {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return Load(context.Background(), path, Options{})
}

func testdata(t testing.TB, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func blockMean(p *Photo, u0, v0, n int) float64 {
	sum := 0
	for v := v0; v < v0+n; v++ {
		for u := u0; u < u0+n; u++ {
			sum += int(p.Gray[v*p.Width+u])
		}
	}
	return float64(sum) / float64(n*n)
}

// checkScene compares grey and colour with the scene as it appears under EXIF orientation o. Lossy files differ by their
// own noise, most at the bars' edges: rms and worst are in grey levels.
func checkScene(t *testing.T, p *Photo, o int, rms, worst float64) {
	t.Helper()
	w, h := sceneW, sceneH
	if o >= 5 {
		w, h = h, w
	}
	n := max(1, p.Width/w)
	if p.Width != n*w || p.Height != n*h {
		t.Fatalf("%d x %d pixels, want %d x %d or a multiple", p.Width, p.Height, w, h)
	}
	var sum, most float64
	for v := range h {
		for u := range w {
			su, sv := storedFromTurned(u, v, sceneW, sceneH, o)
			d := math.Abs(blockMean(p, u*n, v*n, n) - sceneGrey(su, sv))
			sum += d * d
			most = max(most, d)
		}
	}
	if got := math.Sqrt(sum / float64(w*h)); got > rms || most > worst {
		t.Errorf("grey is off by %.2f RMS and %.1f at worst, allowed %.2f and %.1f", got, most, rms, worst)
	}
	if p.stored.cb == nil {
		return
	}
	view := p.Preview(max(w, h))
	sum = 0
	for v := range h {
		for u := range w {
			su, sv := storedFromTurned(u, v, sceneW, sceneH, o)
			r, g, b := sceneRGB(su, sv)
			c := view.RGBAAt(u, v)
			for _, d := range []float64{float64(c.R) - float64(r), float64(c.G) - float64(g), float64(c.B) - float64(b)} {
				sum += d * d
			}
		}
	}
	// Chroma at a quarter of the pixels smears the bars' edges; the ramps alone would be within 2.
	if got := math.Sqrt(sum / float64(3*w*h)); got > 8 {
		t.Errorf("colour is off by %.2f RMS, allowed 8", got)
	}
}
