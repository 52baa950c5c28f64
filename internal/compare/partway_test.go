package compare

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// plate is a square edge, half wide to either side, with points 0.5 mm apart; dent tells for every point how far it stands
// in, mm.
func plate(half float64, dent func(p geom.PointMM) float64) face.Edge {
	corners := geom.Outline{{X: -half, Y: -half}, {X: half, Y: -half}, {X: half, Y: half}, {X: -half, Y: half}}
	var e face.Edge
	for _, p := range corners.Resampled(0.5) {
		in := geom.PointMM{}
		if math.Abs(p.X) > math.Abs(p.Y) {
			in.X = -math.Copysign(dent(p), p.X)
		} else {
			in.Y = -math.Copysign(dent(p), p.Y)
		}
		e.Outline = append(e.Outline, p.Add(in))
	}
	return e
}

// notch is 3 mm deep and 6 mm wide, in the left side.
func notch(p geom.PointMM) float64 {
	if y := p.Y - 6; p.X < 0 && math.Abs(p.X) > math.Abs(p.Y) && math.Abs(y) < 3 {
		return math.Sqrt(9 - y*y)
	}
	return 0
}

func smooth(geom.PointMM) float64 { return 0 }

// squareFlange has four bolts in a square and a round bore: they fit eight ways, in four different places of the bore.
func squareFlange(target, work func(geom.PointMM) float64) scene {
	holes := []face.Hole{hole(-40, 40, 7), hole(40, 40, 7), hole(40, -40, 7), hole(-40, -40, 7)}
	s := scene{exactFace([]blob{{centre: geom.PointMM{X: 0.4}, radiusMM: 33}}, holes, 0.3), exactFace([]blob{{radiusMM: 31}}, holes, 0.3)}
	s.target.PartOutline, s.work.PartOutline = plate(54, target), plate(54.5, work)
	return s
}

// A notch that both edges have says how they go together, whichever way the gasket was photographed.
func TestPartEdgesChooseAmongWays(t *testing.T) {
	const seed = 21
	rng := rand.New(rand.NewPCG(seed, 0))
	// A casting's edge waves: 0.3 mm, every 60 mm.
	cast := func(p geom.PointMM) float64 { return notch(p) + 0.3*math.Sin((p.X+2*p.Y)/10) }
	s := squareFlange(notch, cast)
	for _, turn := range []float64{4, 90, 180, -90} {
		for _, mirror := range []bool{false, true} {
			target := photographed(rng, s.target, turn, mirror)
			res, err := Match(target, s.work, Options{ToleranceMM: 0.25})
			if err != nil {
				t.Fatalf("turned by %g, mirrored %v: %v", turn, mirror, err)
			}
			jobFromWork, jobFromTarget := rigidFrom6(res.Alignment.JobFromWork), rigidFrom6(res.Alignment.JobFromTarget)
			got := jobFromWork.Inverse().Apply(jobFromTarget.Apply(geom.Outline(target.Ports[0].Outline).CentroidMM()))
			if want := (geom.PointMM{X: 0.4}); got.Dist(want) > 1e-3 {
				t.Errorf("turned by %g, mirrored %v: the target's bore came to lie at %.3f, drawn at %.3f", turn, mirror, got, want)
			}
		}
	}
}

// What only one part has, what one of the photos does not show, and what a slanting light does to both alike says nothing.
func TestPartEdgesThatDoNotTell(t *testing.T) {
	shaded := func(p geom.PointMM) float64 {
		if p.X > 0 && p.X > math.Abs(p.Y) {
			return -0.8 // a shadow taken for the part
		}
		return 0
	}
	unseen := squareFlange(notch, notch)
	e := &unseen.work.PartOutline
	for _, p := range e.Outline {
		e.Sure = append(e.Sure, !(p.X < 0 && math.Abs(p.Y-6) < 8))
	}
	// Nor do edges that stand off each other by as much as the notch is deep.
	rough := func(p geom.PointMM) float64 { return notch(p) + 2.5*math.Sin((p.X+2*p.Y)/10) }
	for name, s := range map[string]scene{
		"no notch":                squareFlange(smooth, smooth),
		"notch in the target":     squareFlange(notch, smooth),
		"notch in the work":       squareFlange(smooth, notch),
		"light from the left":     squareFlange(shaded, shaded),
		"the work's notch unseen": unseen,
		"a rough work":            squareFlange(notch, rough),
	} {
		_, err := Match(s.target, s.work, Options{ToleranceMM: 0.25})
		var ambiguous *AmbiguousError
		if !errors.As(err, &ambiguous) {
			t.Errorf("%s: got %v, want an *AmbiguousError", name, err)
		}
	}
}
