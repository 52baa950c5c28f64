package compare

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// stadium is an opening of 50 x 30 with round ends.
func stadium(c geom.PointMM) []geom.PointMM {
	var o []geom.PointMM
	for k := range 720 {
		a := 2 * math.Pi * float64(k) / 720
		x := 10.0
		if math.Cos(a) < 0 {
			x = -10
		}
		o = append(o, geom.PointMM{X: c.X + x + 15*math.Cos(a), Y: c.Y + 15*math.Sin(a)})
	}
	return o
}

func TestDimensions(t *testing.T) {
	holes := []face.Hole{hole(-70, 30, 9), hole(60, 30, 9), hole(60, -30, 8), hole(-70, -35, 8), hole(0, 38, 10)}
	f := &face.Face{Holes: holes, Ports: []face.Port{{Number: 1, Edge: face.Edge{Outline: stadium(geom.PointMM{})}}}}
	res, err := Match(f, f, Options{ToleranceMM: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	// Closed forms: the widest web that a caliper opens to, and the longest across it; the stadium's two widths.
	want := []float64{
		math.Hypot(130, 65) - 8.5, // (-70, -35) to (60, 30)
		math.Hypot(60, 68) - 9,    // (60, -30) to (0, 38)
		50, 30,
	}
	if len(res.Dimensions) != len(want) {
		t.Fatalf("%+v", res.Dimensions)
	}
	for i, d := range res.Dimensions {
		near(t, d.What, d.Value.Value, want[i], 0.01)
		near(t, "distance of the marks of "+d.Name, math.Hypot(d.To[0]-d.From[0], d.To[1]-d.From[1]), d.Value.Value, 1e-9)
		if d.Name != string(rune('A'+i)) {
			t.Errorf("number %d is called %s", i, d.Name)
		}
	}
	if !strings.Contains(res.Dimensions[2].What, "length of port 1") || !strings.Contains(res.Dimensions[3].What, "width of port 1") {
		t.Errorf("%q, %q", res.Dimensions[2].What, res.Dimensions[3].What)
	}
}

// Over many drawings of the errors U covers what a caliper would read on the true part.
func TestDimensionsCover(t *testing.T) {
	const seed = 41
	rng := rand.New(rand.NewPCG(seed, 0))
	s := twoPorts(rng, 0.5)
	truth, err := Match(s.target, s.work, Options{ToleranceMM: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	var c tally
	for range 40 {
		res, err := Match(seen(rng, s.target, typical), seen(rng, s.work, typical), Options{ToleranceMM: 0.25})
		if err != nil {
			t.Fatal(err)
		}
		if n := len(res.Dimensions); n < 3 || n > 5 {
			t.Fatalf("%d dimensions", n)
		}
		for _, d := range res.Dimensions {
			for _, w := range truth.Dimensions { // the same place, if this drawing chose it too
				if math.Hypot(d.From[0]-w.From[0], d.From[1]-w.From[1]) < 0.5 && math.Hypot(d.To[0]-w.To[0], d.To[1]-w.To[1]) < 0.5 {
					c.add(d.Value, w.Value.Value)
				}
			}
		}
	}
	if c.n < 60 {
		t.Fatalf("only %g of 40 drawings' dimensions are the truth's", c.n)
	}
	c.check(t, "dimensions", 0, 0.9)
}

func TestCheckReading(t *testing.T) {
	d := Dimension{Value: Quantity{45.28, 0.08}}
	limit := math.Hypot(0.08, CaliperUMM) // 0.1
	near(t, "limit", limit, 0.1, 1e-12)
	for _, c := range []struct {
		read   float64
		agrees bool
	}{{45.28, true}, {45.37, true}, {45.39, false}, {45.17, false}, {0, false}} {
		r := d.Check(c.read)
		if r.Agrees != c.agrees {
			t.Errorf("%g: %+v", c.read, r)
		}
		near(t, "difference", r.DifferenceMM, c.read-45.28, 1e-12)
		near(t, "limit", r.LimitMM, limit, 1e-12)
	}
}
