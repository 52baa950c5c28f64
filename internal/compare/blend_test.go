package compare

import (
	"math"
	"math/rand/v2"
	"testing"

	"portmatch/internal/geom"
)

// Concentric circles: what is removed is a frustum less the bore, π D (R² + R r + r²)/3 - π r² D; at an angle α to the wall
// D = (R - r)/tan α.
func TestBlendFrustum(t *testing.T) {
	target, work := twoCircles(20, 18, 0)
	frustum := func(d float64) float64 { return math.Pi*d*(400+360+324)/3 - math.Pi*324*d }
	for _, c := range []struct {
		b     Blend
		depth float64
	}{{Blend{DepthMM: 25}, 25}, {Blend{AngleDeg: 10}, 2 / math.Tan(10*math.Pi/180)}} {
		res, err := Match(target, work, Options{ToleranceMM: 0.25, Blend: c.b})
		if err != nil {
			t.Fatal(err)
		}
		b := res.Ports[0].Blend
		near(t, "depth", b.DepthMM, c.depth, 0.01)
		// Chords of 0.1 mm stand off by 6e-5 mm.
		near(t, "volume", b.Volume.Value, frustum(c.depth), 1e-3*frustum(c.depth))
		if n := len(b.Line); n < 110 || n > 130 { // 126 mm round
			t.Errorf("%d points of the line", n)
		}
		depth := c.depth
		for _, p := range b.Line {
			c := geom.Outline(pointsOf(res.Ports[0].WorkOutline)).CentroidMM()
			near(t, "line on the wall", math.Hypot(p.At[0]-c.X, p.At[1]-c.Y), 18, 1e-3)
			near(t, "depth of the line", p.DepthMM, depth, 0.02)
		}
	}
}

// A work circle that is past on one side: only where metal stands in the way is there a cut. Steps of circles r = 20 and 20,
// 1 mm apart, are cos φ to the first order; at an angle the volume is the integral of step²/(2 tan α), π/2 · 20 / (2 tan α)
// over the half that is to be ground; over a depth half the area times it.
func TestBlendCrescent(t *testing.T) {
	target, work := twoCircles(20, 20, 1)
	res, err := Match(target, work, Options{ToleranceMM: 0.25, Blend: Blend{DepthMM: 12}})
	if err != nil {
		t.Fatal(err)
	}
	p := res.Ports[0]
	near(t, "volume over a depth", p.Blend.Volume.Value, p.RemoveArea.Value*12/2, 0.01*p.RemoveArea.Value*6)
	res, err = Match(target, work, Options{ToleranceMM: 0.25, Blend: Blend{AngleDeg: 15}})
	if err != nil {
		t.Fatal(err)
	}
	want := math.Pi / 2 * 20 / (2 * math.Tan(15*math.Pi/180))
	near(t, "volume at an angle", res.Ports[0].Blend.Volume.Value, want, 0.03*want)
	near(t, "deepest", res.Ports[0].Blend.DepthMM, 1/math.Tan(15*math.Pi/180), 0.01)
	for _, q := range res.Ports[0].Blend.Line {
		if q.DepthMM <= 0 {
			t.Fatalf("a point of the line at %g mm", q.DepthMM)
		}
	}
}

func TestBlendCoverage(t *testing.T) {
	const seed = 51
	rng := rand.New(rand.NewPCG(seed, 0))
	s := twoPorts(rng, 0.8)
	for _, b := range []Blend{{DepthMM: 20}, {AngleDeg: 8}} {
		opts := Options{ToleranceMM: 0.25, Blend: b}
		truth, err := Match(s.target, s.work, opts)
		if err != nil {
			t.Fatal(err)
		}
		var c tally
		for range 40 {
			res, err := Match(seen(rng, s.target, typical), seen(rng, s.work, typical), opts)
			if err != nil {
				t.Fatal(err)
			}
			for i := range res.Ports {
				c.add(res.Ports[i].Blend.Volume, truth.Ports[i].Blend.Volume.Value)
			}
		}
		c.check(t, "volumes", 0.8, 0.89) // 80 of them
	}
}

func TestBlendValidate(t *testing.T) {
	for _, b := range []Blend{{DepthMM: -1}, {AngleDeg: 90}, {AngleDeg: -3}, {DepthMM: 3, AngleDeg: 3}, {DepthMM: math.NaN()}, {DepthMM: 1e308}} {
		if b.Validate() == nil {
			t.Errorf("%+v was taken", b)
		}
	}
}
