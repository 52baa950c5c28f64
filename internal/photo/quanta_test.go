package photo

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"
	"testing"
)

// The example tables of ITU-T T.81, annex K.1 and K.2, which quality 50 of the common scale stands for, sum up to 3688 and 5505 over 64 coefficients
// (the tables' values are from memory; Go's encoder, which has them as they are, bears the sums out).
func TestMeanQuanta(t *testing.T) {
	im := image.NewRGBA(image.Rect(0, 0, 128, 128))
	for i := range 128 * 128 {
		im.Set(i%128, i/128, color.RGBA{uint8(i % 200), 90, 60, 255})
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, im, &jpeg.Options{Quality: 50}); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "q.jpg")
	if err := os.WriteFile(path, b.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
	p, err := Load(t.Context(), path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if luma, chroma := 3688.0/64, 5505.0/64; math.Abs(p.MeanQuantum-luma) > 0.01 || math.Abs(p.ChromaQuantum-chroma) > 0.01 {
		t.Errorf("the mean steps are %.2f and %.2f, want %.2f and %.2f", p.MeanQuantum, p.ChromaQuantum, luma, chroma)
	}
}
