package scalecard

import (
	"context"
	"testing"
)

func BenchmarkSolve(b *testing.B) {
	p := load(b, "samples/gasket.jpg")
	for b.Loop() {
		if _, err := Solve(context.Background(), p, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkFindTags(b *testing.B) {
	p := load(b, "samples/gasket.jpg")
	for b.Loop() {
		if _, err := findTags(context.Background(), p); err != nil {
			b.Fatal(err)
		}
	}
}
