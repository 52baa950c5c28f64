package compare

import (
	"math"
	"strings"
	"testing"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// Loss coefficients as published: Borda-Carnot; Idelchik (second column of contraction); Crane TP-410M.
func TestLossCoefficients(t *testing.T) {
	for _, c := range []struct{ n, expansion, idelchik, crane float64 }{
		{0.99, 0.00010, 0.0158, 0.0050}, {0.95, 0.00250, 0.0529, 0.0250}, {0.90, 0.01000, 0.0889, 0.0500},
		{0.80, 0.04000, 0.1495, 0.1000}, {0.50, 0.25000, 0.2973, 0.2500},
	} {
		near(t, "expansion", SuddenExpansion(c.n), c.expansion, 5e-6)
		crane, idelchik := SuddenContraction(c.n)
		near(t, "contraction, Idelchik", idelchik, c.idelchik, 5e-5)
		near(t, "contraction, Crane", crane, c.crane, 5e-6)
	}
	// Encyclopaedia Britannica, 11th ed., Hydraulics: expansion by an area ratio, referred to the larger section's velocity,
	// which is (ratio)² times what refers to the smaller.
	for ratio, k := range map[float64]float64{1.1: 0.01, 1.2: 0.04, 1.5: 0.25, 2: 1, 3: 4} {
		near(t, "expansion, referred to the larger section", SuddenExpansion(1/ratio)*ratio*ratio, k, 1e-12)
	}
}

func TestLipOrLedge(t *testing.T) {
	for _, c := range []struct {
		target, work         float64
		dir                  FlowDirection
		remove, past, change string
		ratio                float64
	}{
		{1000, 900, IntoWork, Lip, Ledge, "contraction", 0.9},
		{1000, 900, OutOfWork, Ledge, Lip, "expansion", 1 / 0.9},
		{900, 1000, IntoWork, Lip, Ledge, "expansion", 1 / 0.9},
		{1000, 1000, IntoWork, Lip, Ledge, "none", 1},
	} {
		f := FlowThrough(c.target, c.work, c.dir)
		if f.RemoveStep != c.remove || f.PastStep != c.past || f.Change != c.change {
			t.Errorf("%g to %g %s: %+v", c.target, c.work, c.dir, f)
		}
		near(t, "ratio", f.AreaRatio, c.ratio, 1e-12)
	}
	near(t, "contraction to 0.9", FlowThrough(1000, 900, IntoWork).Loss[0], 0.05, 1e-12)
	near(t, "expansion from 0.9", FlowThrough(1000, 900, OutOfWork).Loss[1], 0.01, 1e-12)
}

// Round ports, a hole and a rectangular part: every land is a difference of distances in closed form.
func TestLands(t *testing.T) {
	holes := []face.Hole{hole(-70, 35, 8), hole(70, -35, 8), hole(0, 40, 10), hole(-70, -38, 10)}
	target := exactFace([]blob{{centre: geom.PointMM{X: -25}, radiusMM: 20}, {centre: geom.PointMM{X: 25}, radiusMM: 21}}, holes, 0.1)
	work := exactFace([]blob{{centre: geom.PointMM{X: -25}, radiusMM: 19}, {centre: geom.PointMM{X: 25.5}, radiusMM: 20}}, holes, 0.1)
	work.PartOutline.Outline = []geom.PointMM{{X: -90, Y: -50}, {X: 90, Y: -50}, {X: 90, Y: 50}, {X: -90, Y: 50}}
	res, err := Match(target, work, Options{ToleranceMM: 0.25, MinLandMM: 10})
	if err != nil {
		t.Fatal(err)
	}
	p := res.Ports[0]
	want := map[string][2]float64{ // after, now
		"port 2":          {50 - 20 - 21, 50 - 19 - 21}, // the neighbour's target as the far end of both
		"a hole":          {math.Hypot(25, 40) - 5 - 20, math.Hypot(25, 40) - 5 - 19},
		"the part's edge": {50 - 20, 50 - 19},
	}
	if len(p.Lands) != len(want) {
		t.Fatalf("%d lands: %+v", len(p.Lands), p.Lands)
	}
	last := 0.0
	for _, d := range p.Lands {
		w, ok := want[d.To]
		if !ok {
			t.Fatalf("land to %q", d.To)
		}
		near(t, "land to "+d.To, d.Value, w[0], 0.01)
		near(t, "land now to "+d.To, d.Now, w[1], 0.01)
		if d.Value < last {
			t.Error("not sorted")
		}
		last = d.Value
	}
	near(t, "least land", p.LeastLand.Value, 9, 0.01)
	// Where the work is past the target already its own edge counts: port 2's right side stands at 25.5 + 20, its left where
	// the target is.
	near(t, "land from port 2", res.Ports[1].LeastLand.Value, 9, 0.01)
	var warned []string
	for _, w := range res.Warnings {
		warned = append(warned, w.What)
	}
	if len(warned) != 2 || !strings.Contains(warned[0], "leaves 9.0 mm of land to port 2; there is 10.0 mm now") {
		t.Errorf("warnings %q", warned)
	}
	res, err = Match(target, work, Options{ToleranceMM: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	if len(res.Warnings) != 0 {
		t.Errorf("9 mm are enough by default, but: %v", res.Warnings)
	}
}
