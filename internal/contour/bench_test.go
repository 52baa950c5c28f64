package contour

import (
	"context"
	"testing"

	"portmatch/internal/photo"
	"portmatch/internal/scalecard"
)

// sample is one of the 12 MP samples with its camera.
func sample(b *testing.B, name string) (*photo.Photo, *scalecard.Solution) {
	b.Helper()
	p, err := photo.Load(context.Background(), "../../samples/"+name, photo.Options{})
	if err != nil {
		b.Fatal(err)
	}
	sol, err := scalecard.Solve(context.Background(), p, scalecard.Options{})
	if err != nil {
		b.Fatal(err)
	}
	return p, sol
}

func benchmarkSurvey(b *testing.B, name string, heightMM float64) {
	p, sol := sample(b, name)
	for b.Loop() {
		if _, err := NewSurvey(context.Background(), p, sol, Options{HeightMM: heightMM}); err != nil {
			b.Fatal(err)
		}
	}
}

func benchmarkTrace(b *testing.B, name string, heightMM float64) {
	p, sol := sample(b, name)
	v, err := NewSurvey(context.Background(), p, sol, Options{HeightMM: heightMM})
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		v.part = nil
		if _, err := v.Trace(context.Background(), nil); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkSurveyGasket(b *testing.B)   { benchmarkSurvey(b, "gasket.jpg", 1.2) }
func BenchmarkSurveyManifold(b *testing.B) { benchmarkSurvey(b, "manifold-before.jpg", 0) }
func BenchmarkTraceGasket(b *testing.B)    { benchmarkTrace(b, "gasket.jpg", 1.2) }
func BenchmarkTraceManifold(b *testing.B)  { benchmarkTrace(b, "manifold-before.jpg", 0) }

func BenchmarkCandidates(b *testing.B) {
	p, sol := sample(b, "manifold-before.jpg")
	s := newSurface(p, sol, 0)
	pl := s.plan()
	pl.blur()
	for b.Loop() {
		pl.candidates(s.onStrip(sol.StripQuadsPx))
	}
}

func BenchmarkPlan(b *testing.B) {
	p, sol := sample(b, "manifold-before.jpg")
	s := newSurface(p, sol, 0)
	for b.Loop() {
		s.plan().blur()
	}
}
