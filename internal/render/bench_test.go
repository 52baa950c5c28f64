package render

import (
	"io"
	"math/rand"
	"testing"

	"portmatch/internal/scalecard/strip"
)

// grainyPhoto is benchPhoto with the grain of a real one, whose compression is most of what a picture costs.
func grainyPhoto() *Photo {
	ph := benchPhoto()
	rng := rand.New(rand.NewSource(1))
	for i := range ph.Gray.Pix {
		ph.Gray.Pix[i] += uint8(rng.Intn(12))
	}
	return ph
}

func BenchmarkOverlay(b *testing.B) {
	r, ph := marineManifold(b), grainyPhoto()
	for b.Loop() {
		if err := Overlay(io.Discard, r, ph, PictureOptions{Units: MM}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCloseUp(b *testing.B) {
	r, ph := marineManifold(b), grainyPhoto()
	for b.Loop() {
		if err := CloseUp(io.Discard, r, 2, ph, PictureOptions{Units: MM}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkMap(b *testing.B) {
	r := marineManifold(b)
	for b.Loop() {
		if err := Map(io.Discard, r, MapOptions{Paper: strip.A4(), Units: MM}); err != nil {
			b.Fatal(err)
		}
	}
}
