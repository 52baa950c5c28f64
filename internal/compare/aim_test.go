package compare

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// Ray-traced truth: gasket, head and face in one run. The head's opening stands beyond the gasket's at ports 1, 2 and 4, while
// port 3's is smaller, where grinding to the gasket would pass the head's edge.
func TestGasketAgainstHead(t *testing.T) {
	p, err := Choose(AimTarget, truthFace(t, "gasket"), truthFace(t, "head"), truthFace(t, "manifold-before"), Options{ToleranceMM: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	for i, w := range truthPair(t, "gasket-head") {
		g := p.TargetHead.Ports[i]
		if g.Port != p.Result.Ports[i].Port {
			t.Errorf("port %d is numbered %d", p.Result.Ports[i].Port, g.Port)
		}
		near(t, "head smaller", g.RemoveStep.Value, w.RemoveStep, 0.005)
		near(t, "head beyond", g.PastStep.Value, w.PastStep, 0.005)
	}
	var all []string
	for _, w := range p.Result.Warnings {
		all = append(all, w.What)
	}
	for _, want := range []string{"port 3: the head's opening is smaller than the target's by 0.52", "would pass the head's edge", "port 1: the head's opening stands beyond the target's by 0.27",
		"port 2: the head's opening stands beyond the target's by 0.45", "port 4: the head's opening stands beyond the target's by 0.19"} {
		if !slices.ContainsFunc(all, func(s string) bool { return strings.Contains(s, want) }) {
			t.Errorf("warnings %q lack %q", all, want)
		}
	}
	// The main result stays what it is without a head.
	alone, err := Match(truthFace(t, "gasket"), truthFace(t, "manifold-before"), Options{ToleranceMM: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "remove step", p.Result.Ports[2].RemoveStep.Value, alone.Ports[2].RemoveStep.Value, 1e-9)
}

// Union: what work and head have to give adds up to all they disagree by.
func TestUnionAddsUp(t *testing.T) {
	p, err := Choose(AimUnion, truthFace(t, "gasket"), truthFace(t, "head"), truthFace(t, "manifold-after"), Options{ToleranceMM: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	both, err := Match(truthFace(t, "head"), truthFace(t, "manifold-after"), Options{ToleranceMM: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	for i := range both.Ports {
		w, h := p.Result.Ports[i], p.Head.Ports[i]
		if w.Port != h.Port {
			t.Errorf("port %d is %d on the head", w.Port, h.Port)
		}
		near(t, "areas", w.RemoveArea.Value+h.RemoveArea.Value, both.Ports[i].MismatchArea.Value, 1e-6)
		near(t, "the head's remove is the work's past", h.RemoveStep.Value, w.PastStep.Value, 1e-6)
		for _, v := range []string{w.Verdict, h.Verdict} {
			if v == PastLine || v == GrindPast {
				t.Errorf("port %d: %s, though the other part gives way", w.Port, v)
			}
		}
		// Same place in the same frame.
		near(t, "place", h.RemoveStep.At[0], w.PastStep.At[0], 0.2)
	}
}

// Two circles of 20 mm, gasket and head, 2 mm apart: what they share is a lens of 1176.670407 mm² (closed form). A work of
// radius 17 in the middle is ground to it.
func TestCommonIsTheLens(t *testing.T) {
	gasket, head := twoCircles(20, 20, 2)
	_, work := twoCircles(20, 17, 1)
	p, err := Choose(AimCommon, gasket, head, work, Options{ToleranceMM: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	r := p.Result.Ports[0]
	near(t, "common area", r.TargetArea.Value, 1176.670407, 0.02)
	near(t, "remove area", r.RemoveArea.Value, 1176.670407-math.Pi*17*17, 0.03)
	// The lens' corners stand sqrt(20² - 1) from its middle.
	near(t, "largest step", r.RemoveStep.Value, math.Sqrt(399)-17, 0.02)
	// The same with the head photographed from its own side.
	p, err = Choose(AimCommon, gasket, photographed(rand.New(rand.NewPCG(1, 1)), head, 25, true), work, Options{ToleranceMM: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "common area, head mirrored", p.Result.Ports[0].TargetArea.Value, 1176.670407, 0.02)
}

func TestAimNeedsAHead(t *testing.T) {
	gasket, work := twoCircles(20, 19, 0)
	for _, aim := range []Aim{AimHead, AimCommon, AimUnion} {
		var fe *FaceError
		if _, err := Choose(aim, gasket, nil, work, Options{ToleranceMM: 0.25}); !errors.As(err, &fe) || fe.Face != "head" {
			t.Errorf("%s without a head: %v", aim, err)
		}
	}
	if p, err := Choose(AimTarget, gasket, nil, work, Options{ToleranceMM: 0.25}); err != nil || p.Result == nil {
		t.Errorf("target without a head: %v", err)
	}
}

func TestOffsetFace(t *testing.T) {
	target, work := twoCircles(20, 19, 0)
	small, err := OffsetFace(target, -0.3)
	if err != nil {
		t.Fatal(err)
	}
	// Circles of 19.7 and 19.
	p := mustMatch(t, small, work)
	near(t, "remove step", p.RemoveStep.Value, 0.7, 0.003)
	near(t, "target area", p.TargetArea.Value, math.Pi*19.7*19.7, 0.002*2*math.Pi*20)
	if _, err := OffsetFace(target, -25); err == nil {
		t.Error("a port of 20 mm survived 25 mm of shrinking")
	}
	if target.Ports[0].Outline[0].X != 20 {
		t.Error("the face itself was changed")
	}
}

// Ray-traced truth: the throttle's bore, 0.55 right and 0.43 below the middle of its bolts, ground to a circle of 70 round the
// gasket's bore and round its own: nested circles, in closed form.
func TestCircleOnThrottle(t *testing.T) {
	gasket, work := truthFace(t, "throttle-gasket"), truthFace(t, "throttle-face")
	truth := truthPair(t, "throttle")[0]
	bore := math.Sqrt(truth.WorkArea / math.Pi)
	for _, c := range []struct {
		on             *face.Face
		off, step, tol float64
	}{
		{gasket, math.Hypot(0.55, 0.43), truth.RemoveStep + 35 - 33, 0.01}, // the gasket's bore is 66: every step grows by 2
		{work, 0, 35 - bore, 0.1}, // the rounded rim shows up to 0.08 mm off its circle
	} {
		target, err := CircleFace(c.on, 70)
		if err != nil {
			t.Fatal(err)
		}
		p := mustMatch(t, target, work)
		near(t, "target area", p.TargetArea.Value, 3848.451, 0.02)
		near(t, "remove area", p.RemoveArea.Value, 3848.451-truth.WorkArea, 0.5)
		near(t, "largest step", p.RemoveStep.Value, c.step, c.tol)
		near(t, "offset", math.Hypot(p.OffsetMM[0], p.OffsetMM[1]), c.off, 0.005)
	}
	if _, err := CircleFace(truthFace(t, "gasket"), 70); err == nil {
		t.Error("one circle for four ports")
	}
	if _, err := CircleFace(gasket, -1); err == nil {
		t.Error("a circle of -1 mm")
	}
}

// The common face's uncertainty is that of the part each stretch comes from.
func TestCommonKeepsUncertainty(t *testing.T) {
	gasket, head := twoCircles(20, 20, 2)
	fill := func(f *face.Face, v float64) {
		e := &f.Ports[0].Edge
		e.SigmaMM = slices.Repeat([]float64{v}, len(e.Outline))
	}
	fill(gasket, 0.01)
	fill(head, 0.03)
	a, err := layed(gasket, head, Options{})
	if err != nil {
		t.Fatal(err)
	}
	c, err := commonFace(gasket, head, a)
	if err != nil {
		t.Fatal(err)
	}
	e := c.Ports[0].Edge
	for i, p := range e.Outline {
		want := 0.01 // the gasket's edge is the lens' right side
		if p.Dist(geom.PointMM{X: 2}) > 19.99 && p.Norm() < 19.9 {
			want = 0.03
		} else if p.Norm() < 19.99 || p.Dist(geom.PointMM{X: 2}) > 19.9 {
			continue // near a corner
		}
		if math.Abs(e.SigmaMM[i]-want) > 1e-9 {
			t.Fatalf("sigma %.3f at %v, want %.3f", e.SigmaMM[i], p, want)
		}
	}
}
