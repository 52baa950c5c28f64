package compare

import (
	"math"
	"testing"

	"portmatch/internal/geom"
)

// Ray-traced truth: the samples' face before and after grinding. The metal taken off is the difference of the areas, since
// nothing was put back.
func TestProgressOnTruth(t *testing.T) {
	target := truthFace(t, "gasket")
	before, err := Match(target, truthFace(t, "manifold-before"), Options{ToleranceMM: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	now, err := Match(target, truthFace(t, "manifold-after"), Options{ToleranceMM: 0.25, Pass: 2, Before: before})
	if err != nil {
		t.Fatal(err)
	}
	b, a := truthPair(t, "before"), truthPair(t, "after")
	progress := ProgressSince(before, now)
	for i, g := range progress {
		if g.Why != "" || g.Port != i+1 || g.Since != 1 {
			t.Fatalf("%+v", g)
		}
		near(t, "taken", g.Taken.Value, a[i].WorkArea-b[i].WorkArea, 3e-4*a[i].TargetArea)
		if len(g.Ground) == 0 || g.MostTaken.Value < b[i].RemoveStep-a[i].RemoveStep-0.01 {
			t.Errorf("port %d: most taken %.3f at %s, over %v", g.Port, g.MostTaken.Value, g.MostTaken.Clock, g.Ground)
		}
		// Exact faces have no uncertainty, so that whatever lies past is told.
		if len(g.Past) == 0 || math.Abs(g.Past[0].Value-a[i].PastStep) > 0.01 {
			t.Errorf("port %d: past spots %v, want the deepest %.3f", g.Port, g.Past, a[i].PastStep)
		}
		if len(g.Unmoved) != 0 {
			t.Errorf("port %d: unmoved %v", g.Port, g.Unmoved)
		}
	}
}

// spot is 1 between two angles, degrees, 0 well outside them, and fades over 6 degrees, half way at either angle.
func spot(deg, from, to float64) float64 {
	ramp := func(x float64) float64 { return min(max(0.5+x/6, 0), 1) }
	return ramp(deg-from) * ramp(to-deg)
}

// A round port opened by half a millimetre, but not between 100 and 140 degrees, where the old edge stands; and past the
// target by 0.4 mm between -20 and 20 degrees, across the rightmost point.
func TestProgressSpots(t *testing.T) {
	target, was := twoCircles(20, 19, 0)
	_, is := twoCircles(20, 19, 0)
	o := is.Ports[0].Outline
	for i, p := range o {
		a := math.Atan2(p.Y, p.X) * 180 / math.Pi
		r := 19.5 - 0.5*spot(a, 100, 140) + 0.9*spot(a, -20, 20)
		o[i] = p.Scale(r / 19)
	}
	// The two dowels lie on a line that falls by 32 degrees: the job frame is turned by it.
	before, err := Match(target, was, Options{ToleranceMM: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	now, err := Match(target, is, Options{ToleranceMM: 0.25, Pass: 2, Before: before})
	if err != nil {
		t.Fatal(err)
	}
	turn := rigidFrom6(now.Alignment.JobFromWork).AngleRad()
	g := now.Progress[0]
	if len(g.Past) != 1 || len(g.Unmoved) != 1 {
		t.Fatalf("%+v", g)
	}
	along := func(deg float64) float64 { return 20 * math.Mod(deg*math.Pi/180+turn+4*math.Pi, 2*math.Pi) }
	near(t, "past: from", g.Past[0].FromMM, along(-20), 1)
	near(t, "past: to", g.Past[0].ToMM, along(20), 1)
	near(t, "past: depth", g.Past[0].Value, 0.4, 0.01)
	// To within sqrt(1 - 0.5²) mm of its ends the ground edge is nearer than 1 mm.
	near(t, "unmoved: from", g.Unmoved[0].FromMM, along(100)+0.87, 1)
	near(t, "unmoved: to", g.Unmoved[0].ToMM, along(140)-0.87, 1)
	near(t, "unmoved: height", g.Unmoved[0].Value, 1, 0.01)
	near(t, "taken", g.Taken.Value, math.Pi*((19.5*19.5-361)*280/360+(20.4*20.4-361)*40/360), 0.3)
	near(t, "most taken", g.MostTaken.Value, 1.4, 0.01)
	// The same face again: nothing came off, all of the joint stands as it did.
	again, err := Match(target, was, Options{ToleranceMM: 0.25, Pass: 2, Before: before})
	if err != nil {
		t.Fatal(err)
	}
	g = ProgressSince(before, again)[0]
	if g.Taken.Value != 0 || len(g.Ground) != 0 || len(g.Past) != 0 || len(g.Unmoved) != 1 {
		t.Errorf("same face: %+v", g)
	}
}

func TestProgressSaysWhyNot(t *testing.T) {
	target, work := twoCircles(20, 19, 0)
	before, err := Match(target, work, Options{ToleranceMM: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	work.Ports[0].CutByFrame = true
	now, err := Match(target, work, Options{ToleranceMM: 0.25, Pass: 2, Before: before})
	if err != nil {
		t.Fatal(err)
	}
	if g := ProgressSince(before, now)[0]; g.Why == "" {
		t.Errorf("%+v", g)
	}
	target.Ports[0].Outline = geom.Outline(target.Ports[0].Outline).Mapped(geom.Translation(geom.PointMM{X: 0.1}))
	work.Ports[0].CutByFrame = false
	now, err = Match(target, work, Options{ToleranceMM: 0.25, Pass: 2, Before: before})
	if err != nil {
		t.Fatal(err)
	}
	if g := ProgressSince(before, now)[0]; g.Why == "" {
		t.Errorf("another target: %+v", g)
	}
}
