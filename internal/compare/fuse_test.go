package compare

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// Two photos of one face: the step's U is smaller than with either, and still covers the truth.
func TestFuseTwoPhotos(t *testing.T) {
	const seed = 61
	rng := rand.New(rand.NewPCG(seed, 0))
	var steps, areas tally
	var smaller, all int
	for range 25 {
		s := twoPorts(rng, 0.5)
		truth, err := Match(s.target, s.work, Options{ToleranceMM: 0.25})
		if err != nil {
			t.Fatal(err)
		}
		target := seen(rng, s.target, errorsMM{edge: 0.005, corr: 1, bias: 0.005, hole: 0.003, field: 0.003})
		one := seen(rng, s.work, typical)
		two := photographed(rng, seen(rng, s.work, typical), 30, false)
		fused, err := Fuse([]*face.Face{one, two})
		if err != nil {
			t.Fatal(err)
		}
		if len(fused.Warnings) != 0 {
			t.Errorf("seed %d: %v", seed, fused.Warnings)
		}
		opts := Options{ToleranceMM: 0.25}
		both, err := Match(target, fused, opts)
		if err != nil {
			t.Fatal(err)
		}
		first, err := Match(target, one, opts)
		if err != nil {
			t.Fatal(err)
		}
		second, err := Match(target, two, opts)
		if err != nil {
			t.Fatal(err)
		}
		for i, p := range both.Ports {
			w := truth.Ports[i]
			steps.add(p.RemoveStep.Quantity, w.RemoveStep.Value)
			steps.add(p.PastStep.Quantity, w.PastStep.Value)
			areas.add(p.RemoveArea, w.RemoveArea.Value)
			areas.add(p.WorkArea, w.WorkArea.Value)
			all++
			if p.RemoveStep.Uncertainty < min(first.Ports[i].RemoveStep.Uncertainty, second.Ports[i].RemoveStep.Uncertainty) {
				smaller++
			}
		}
	}
	if smaller != all {
		t.Errorf("U of the step is smaller than with either photo in %d of %d ports", smaller, all)
	}
	steps.check(t, "fused steps", 0.5, 0.90) // 100 of each
	areas.check(t, "fused areas", 0.5, 0.90)
}

// What one photo did not see comes from the other.
func TestFuseFillsGaps(t *testing.T) {
	_, one := twoCircles(20, 19, 0)
	_, two := twoCircles(20, 19, 0)
	target, _ := twoCircles(20, 19, 0)
	unsee(&one.Ports[0].Edge, geom.PointMM{}, 30, 60, 1)
	unsee(&two.Ports[0].Edge, geom.PointMM{}, -60, -30, 1)
	fused, err := Fuse([]*face.Face{one, two})
	if err != nil {
		t.Fatal(err)
	}
	p := mustMatch(t, target, fused)
	near(t, "remove step", p.RemoveStep.Value, 1, 2e-3)
	near(t, "remove area", p.RemoveArea.Value, math.Pi*(400-361), 0.5)
	var unsure float64
	for _, a := range p.UnsureArcs {
		unsure += a[1] - a[0]
	}
	if unsure > 1 {
		t.Errorf("%.1f mm unsure: %v", unsure, p.UnsureArcs)
	}
}

// A photo that shows something else at one place is named, and the uncertainty there grows to the disagreement.
func TestFuseDisagreement(t *testing.T) {
	target, one := twoCircles(20, 19, 0)
	_, two := twoCircles(20, 19, 0)
	for _, f := range []*face.Face{one, two} {
		e := &f.Ports[0].Edge
		e.SigmaMM = make([]float64, len(e.Outline))
		for i := range e.SigmaMM {
			e.SigmaMM[i] = 0.02
		}
		e.CorrMM = 1
	}
	for i, p := range two.Ports[0].Outline {
		if a := math.Atan2(p.Y, p.X); a > 0.5 && a < 0.8 {
			two.Ports[0].Outline[i] = p.Scale(19.6 / 19)
		}
	}
	fused, err := Fuse([]*face.Face{one, two})
	if err != nil {
		t.Fatal(err)
	}
	if len(fused.Warnings) != 1 || !strings.Contains(fused.Warnings[0].What, "port 1") || !strings.Contains(fused.Warnings[0].What, "0.60 mm at 2:") {
		t.Errorf("warnings %v", fused.Warnings)
	}
	p := mustMatch(t, target, fused)
	for _, q := range p.Profile {
		// 1 and 0.4: 0.7 in the middle, and half of the 0.6 either way is one standard uncertainty.
		if math.Abs(q.StepMM-0.7) < 0.005 && q.UMM < 0.58 {
			t.Fatalf("where the photos are 0.6 mm apart the step is %.2f ± %.2f", q.StepMM, q.UMM)
		}
	}
}

func TestFuseOtherParts(t *testing.T) {
	rng := rand.New(rand.NewPCG(62, 0))
	var m *MismatchError
	if _, err := Fuse([]*face.Face{fourPorts(rng, 1, 0.4).work, twoPorts(rng, 1).work}); !errors.As(err, &m) {
		t.Errorf("two parts fused: %v", err)
	}
	f := fourPorts(rng, 1, 0.4).work
	if g, err := Fuse([]*face.Face{f}); err != nil || g != f {
		t.Errorf("one photo alone: %v", err)
	}
}
