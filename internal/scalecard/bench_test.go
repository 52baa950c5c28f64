package scalecard

import (
	"context"
	"math/rand/v2"
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

func BenchmarkJointSolve(b *testing.B) {
	s := twoStrips().setup(0.03)
	sv := s.solver(b, rand.New(rand.NewPCG(1, 1)), Options{})
	m := sv.newModel()
	start, _ := start(m, sv.tags, 3000)
	for b.Loop() {
		f, err := sv.problem.solve(start)
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(f.rounds), "rounds")
	}
}
