package photo

import (
	"context"
	"os"
	"testing"

	"gocv.io/x/gocv"
)

// benchFile is any 12-megapixel JPEG: PORTMATCH_BENCH_JPEG, else the sample.
func benchFile(b *testing.B) string {
	if f := os.Getenv("PORTMATCH_BENCH_JPEG"); f != "" {
		return f
	}
	return "../../samples/gasket.jpg"
}

func BenchmarkLoad(b *testing.B) {
	f := benchFile(b)
	for b.Loop() {
		if _, err := Load(context.Background(), f, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkBareColourDecode is the yardstick: OpenCV's own colour decode of the same file.
func BenchmarkBareColourDecode(b *testing.B) {
	f := benchFile(b)
	for b.Loop() {
		m := gocv.IMRead(f, gocv.IMReadColor)
		m.Close()
	}
}

func BenchmarkBareGreyDecode(b *testing.B) {
	f := benchFile(b)
	for b.Loop() {
		m := gocv.IMRead(f, gocv.IMReadGrayScale)
		m.Close()
	}
}

func BenchmarkPreview(b *testing.B) {
	p := mustLoad(b, benchFile(b))
	for b.Loop() {
		p.Preview(1400)
	}
}

func BenchmarkTurn(b *testing.B) {
	p := mustLoad(b, benchFile(b))
	for b.Loop() {
		turned(p.Gray, p.Width, p.Height, 6)
	}
}

// BenchmarkChromaAt reads a square mm's worth of places at half a pixel, as an edge's profiles do.
func BenchmarkChromaAt(b *testing.B) {
	p := mustLoad(b, benchFile(b))
	for b.Loop() {
		for k := range 256 {
			p.ChromaAt(1000+0.5*float64(k%16), 1000+0.5*float64(k/16))
		}
	}
}
