package geom

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

// lensArea is the area common to two circles, in closed form.
func lensArea(r, s, d float64) float64 {
	if d <= math.Abs(r-s) {
		return math.Pi * math.Min(r, s) * math.Min(r, s)
	}
	a := r * r * math.Acos((d*d+r*r-s*s)/(2*d*r))
	b := s * s * math.Acos((d*d+s*s-r*r)/(2*d*s))
	return a + b - math.Sqrt((-d+r+s)*(d+r-s)*(d-r+s)*(d+r+s))/2
}

// Lenses and crescents: two circles, in closed form.
func TestLensesAndCrescents(t *testing.T) {
	for _, c := range []struct{ r, s, d, lens, crescentR, crescentS, stepR, stepS float64 }{
		{20, 20, 2, 1176.670407, 79.966654, 79.966654, 2, 2},
		{20, 19, 3, 1071.910498, 184.726563, 62.204450, 4, 2},
		{20, 19, 0.7, math.Pi * 19 * 19, 122.522113, 0, 1.7, -0.3},
	} {
		// 3000 points: 7e-7 of a circle's area lies outside, and the chords stand off by 1e-5 mm.
		a, b := polygonAt(PointMM{}, c.r, 3000), polygonAt(PointMM{c.d, 0}, c.s, 3000)
		near(t, "closed form of the lens", lensArea(c.r, c.s, c.d), c.lens, 1e-6)
		in, err := Intersection(RegionOf(a), RegionOf(b))
		if err != nil {
			t.Fatal(err)
		}
		out, err := Difference(RegionOf(a), RegionOf(b))
		if err != nil {
			t.Fatal(err)
		}
		both, err := Union(RegionOf(a), RegionOf(b))
		if err != nil {
			t.Fatal(err)
		}
		const tol = 2e-3
		near(t, "lens", in.AreaMM2(), c.lens, tol)
		near(t, "crescent of a", out.AreaMM2(), c.crescentR, tol)
		near(t, "crescent of a, from the lens", a.AreaMM2()-in.AreaMM2(), c.crescentR, tol)
		near(t, "crescent of b", b.AreaMM2()-in.AreaMM2(), c.crescentS, tol)
		near(t, "|a or b| = |a| + |b| - |a and b|", both.AreaMM2(), a.AreaMM2()+b.AreaMM2()-in.AreaMM2(), 1e-9)
		largest := func(o, of Outline) float64 {
			ix, worst := NewIndex(of), math.Inf(-1)
			for _, p := range o {
				d, _, _ := ix.SignedDistMM(p)
				worst = math.Max(worst, d)
			}
			return worst
		}
		near(t, "largest step of a beyond b", largest(a, b), c.stepR, 2e-5)
		near(t, "largest step of b beyond a", largest(b, a), c.stepS, 2e-5)
	}
}

// Areas of simplefeatures' results against another library's (paulmach/orb v0.14), and against the arrangement of this
// package, over random stars.
func TestBooleansAgainstOthers(t *testing.T) {
	const seed = 4
	rng := rand.New(rand.NewPCG(seed, 0))
	star := func(c PointMM, n int) Outline {
		o := make(Outline, n)
		for i := range o {
			s, k := math.Sincos(2 * math.Pi * float64(i) / float64(n))
			r := 10 + 8*rng.Float64()
			o[i] = PointMM{c.X + r*k, c.Y + r*s}
		}
		return o
	}
	for trial := range 150 {
		a, b := star(PointMM{}, 3+rng.IntN(120)), star(PointMM{6 * rng.NormFloat64(), 6 * rng.NormFloat64()}, 3+rng.IntN(120))
		if trial%5 == 0 { // shared points and sides
			b = append(Outline{}, a...)
			b[0] = b[0].Scale(1.1)
		}
		if trial%7 == 0 { // points on a coarse grid touch and overlap a lot
			for _, o := range []Outline{a, b} {
				for i := range o {
					o[i] = PointMM{math.Round(o[i].X), math.Round(o[i].Y)}
				}
			}
			var errA, errB error
			a, errA = Simple(a)
			b, errB = Simple(b)
			if errA != nil || errB != nil {
				continue // the grid folded it
			}
		}
		near(t, "area against orb", a.SignedAreaMM2(), planar.Area(orbPolygon(a)), 1e-9)
		oc, _ := planar.CentroidArea(orbPolygon(a))
		near(t, "centroid against orb", a.CentroidMM().Dist(PointMM{oc[0], oc[1]}), 0, 1e-9)
		arr, err := arrange([]Outline{a, b})
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range []struct {
			name   string
			op     func(a, b Region) (Region, error)
			winds  int
			second float64
		}{{"union", Union, 1, 0}, {"intersection", Intersection, 2, 0}} {
			got, err := c.op(RegionOf(a), RegionOf(b))
			if err != nil {
				t.Fatalf("seed %d/%d: %s: %v", seed, trial, c.name, err)
			}
			var byOrb float64
			for _, p := range got {
				byOrb += planar.Area(orbPolygon(p.Outer, p.Holes...))
			}
			near(t, c.name+" against orb", got.AreaMM2(), byOrb, 1e-9)
			// The grid moves every point by up to 2^-19 mm along perimeters of some 1000 mm.
			other := arr.region(func(w int) bool { return w >= c.winds })
			near(t, c.name+" against the arrangement", got.AreaMM2(), other.AreaMM2(), 2e-3)
		}
		diff, err := Difference(RegionOf(a), RegionOf(b))
		if err != nil {
			t.Fatal(err)
		}
		in, _ := Intersection(RegionOf(a), RegionOf(b))
		near(t, "|a - b| = |a| - |a and b|", diff.AreaMM2(), a.AreaMM2()-in.AreaMM2(), 1e-9)
	}
}

func orbPolygon(outer Outline, holes ...Outline) orb.Polygon {
	var p orb.Polygon
	for _, o := range append([]Outline{outer}, holes...) {
		var r orb.Ring
		for _, q := range append(append(Outline{}, o...), o[0]) {
			r = append(r, orb.Point{q.X, q.Y})
		}
		p = append(p, r)
	}
	return p
}

func TestSimple(t *testing.T) {
	bowTie := &CrossingError{}
	for _, c := range []struct {
		name string
		o    Outline
		area float64
		n    int // points left
		err  error
	}{
		{"square", Outline{{0, 0}, {4, 0}, {4, 4}, {0, 4}}, 16, 4, nil},
		{"clockwise", Outline{{0, 0}, {0, 4}, {4, 4}, {4, 0}}, 16, 4, nil},
		{"repeated points", Outline{{0, 0}, {0, 0}, {4, 0}, {4, 4}, {4, 4}, {4, 4}, {0, 4}, {0, 0}}, 16, 4, nil},
		{"spike", Outline{{0, 0}, {2, 0}, {2, -3}, {2, 0}, {4, 0}, {4, 4}, {0, 4}}, 16, 5, nil},
		{"side run to and fro", Outline{{0, 0}, {4, 0}, {1, 0}, {3, 0}, {4, 0}, {4, 4}, {0, 4}}, 16, 0, nil},
		{"run round twice", Outline{{0, 0}, {4, 0}, {4, 4}, {0, 4}, {0, 0}, {4, 0}, {4, 4}, {0, 4}}, 16, 4, nil},
		{"small loop at a corner", Outline{{0, 0}, {40, 0}, {40, 40}, {39.9, 40}, {39.9, 40.1}, {40, 39.95}, {39, 40}, {0, 40}}, 1600, 0, nil},
		{"touching itself at a point", Outline{{0, 0}, {40, 0}, {40, 40}, {20, 0}, {0, 40}}, 800, 0, bowTie},
		{"touching itself, small", Outline{{0, 0}, {40, 0}, {40, 0.1}, {39.9, 0}, {39.5, 40}, {0, 40}}, 1588, 0, nil},
		{"bow tie", Outline{{0, 0}, {4, 4}, {4, 0}, {0, 4}}, 0, 0, bowTie},
		{"no area", Outline{{0, 0}, {4, 0}, {2, 0}}, 0, 0, ErrNoArea},
		{"two points", Outline{{0, 0}, {4, 0}}, 0, 0, ErrNoArea},
		{"one point three times", Outline{{1, 1}, {1, 1}, {1, 1}}, 0, 0, ErrNoArea},
		{"nothing", nil, 0, 0, ErrNoArea},
		{"not a number", Outline{{0, 0}, {math.NaN(), 0}, {1, 1}}, 0, 0, ErrBadPoint},
		{"without end", Outline{{0, 0}, {math.Inf(1), 0}, {1, 1}}, 0, 0, ErrBadPoint},
		{"huge", Outline{{0, 0}, {1e300, 0}, {1, 1}}, 0, 0, ErrBadPoint},
	} {
		got, err := Simple(c.o)
		if c.err != nil {
			var ce *CrossingError
			if c.err == bowTie && !errors.As(err, &ce) || c.err != bowTie && !errors.Is(err, c.err) {
				t.Errorf("%s: %v, %v; want %v", c.name, got, err, c.err)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		near(t, c.name+": area", got.SignedAreaMM2(), c.area, 3e-4*c.area)
		if c.n != 0 && len(got) != c.n {
			t.Errorf("%s: %v, want %d points", c.name, got, c.n)
		}
	}
}

// Random closed curves of every wildness: never a panic, and the arrangement's areas are those of the winding number
// itself, counted at random points.
func TestArrangementAgainstWindingNumbers(t *testing.T) {
	const seed = 5
	rng := rand.New(rand.NewPCG(seed, 0))
	for trial := range 60 {
		var o Outline
		for range 3 + rng.IntN(60) {
			p := PointMM{10 * rng.Float64(), 10 * rng.Float64()}
			if trial%2 == 0 {
				p = PointMM{math.Round(p.X), math.Round(p.Y)} // everything touches and overlaps
			}
			o = append(o, p)
		}
		a, err := arrange([]Outline{o})
		if err != nil {
			t.Fatalf("seed %d/%d: %v", seed, trial, err)
		}
		r := a.region(func(w int) bool { return w >= 1 })
		for range 200 {
			p := PointMM{10 * rng.Float64(), 10 * rng.Float64()}
			if NewIndex(o).distOf(p) < 1e-5 {
				continue
			}
			if in := windingNumber(o, p) >= 1; r.Contains(p) != in {
				t.Fatalf("seed %d/%d: %v lies in: %v, want %v", seed, trial, p, !in, in)
			}
		}
		for _, g := range r {
			if _, err := Simple(g.Outer); err != nil {
				t.Fatalf("seed %d/%d: a result is not simple: %v", seed, trial, err)
			}
		}
		if s, err := Simple(o); err == nil && s.SignedAreaMM2() <= 0 {
			t.Fatalf("seed %d/%d: simple, but of area %g", seed, trial, s.SignedAreaMM2())
		}
	}
}

func (ix *Index) distOf(p PointMM) float64 {
	_, _, d := ix.Nearest(p)
	return d
}

func windingNumber(o Outline, p PointMM) int {
	w := 0.0
	for i := range o {
		a, b := o[i].Sub(p), o[o.next(i)].Sub(p)
		w += math.Atan2(a.Cross(b), a.Dot(b))
	}
	return int(math.Round(w / (2 * math.Pi)))
}

func TestOffset(t *testing.T) {
	square := Outline{{0, 0}, {10, 0}, {10, 6}, {0, 6}}
	notched := Outline{{0, 0}, {10, 0}, {10, 10}, {6, 10}, {6, 4}, {4, 4}, {4, 10}, {0, 10}} // a slot 2 wide, 6 deep
	dumbbell := Outline{{0, 0}, {10, 0}, {10, 4}, {20, 4}, {20, 0}, {30, 0}, {30, 10}, {20, 10}, {20, 6}, {10, 6}, {10, 10}, {0, 10}}
	// In front of the corridor's mouth a room keeps what lies 1.5 mm from the mouth's corners: 1.5 less the circle's ordinate,
	// from 0 to 1, on either side.
	mouth := 1.5 - (math.Sqrt(1.25)+2.25*math.Asin(1/1.5))/2
	for _, c := range []struct {
		name   string
		o      Outline
		by     float64
		area   float64 // closed form
		pieces int
	}{
		{"rectangle grown", square, 1, 60 + 32 + math.Pi, 1},
		{"rectangle shrunk", square, -1, 8 * 4, 1},
		{"circle grown", circleAt(PointMM{5, 5}, 20), 0.5, math.Pi * 20.5 * 20.5, 1},
		{"circle shrunk", circleAt(PointMM{5, 5}, 20), -0.5, math.Pi * 19.5 * 19.5, 1},
		{"circle shrunk to a spot", circleAt(PointMM{}, 20), -19.5, math.Pi * 0.25, 1},
		{"slot grown shut", notched, 1, 12*12 - (4 - math.Pi) - (2 - math.Pi/2), 1}, // less four corners, and two where the slot was
		{"two rooms shrunk apart", dumbbell, -1.5, 2*7*7 + 4*mouth, 2},
		{"rounded rectangle", roundedRectangle(50, 30, 8), -2, 46*26 - (4-math.Pi)*36, 1},
		{"by nothing", square, 0, 60, 1},
	} {
		r, err := Offset(c.o, c.by)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		// 0.002 mm all round.
		near(t, c.name, r.AreaMM2(), c.area, 0.002*(c.o.PerimeterMM()+2*math.Pi*math.Max(c.by, 0)))
		if len(r) != c.pieces {
			t.Errorf("%s: %d pieces, want %d", c.name, len(r), c.pieces)
		}
	}
	if _, err := Offset(square, -3.01); !errors.Is(err, ErrVanished) {
		t.Errorf("shrunk away: %v", err)
	}
	if _, err := Offset(square, math.NaN()); err == nil {
		t.Error("an offset of NaN was taken")
	}
}

// Every point of an offset edge lies at the offset from the outline (closed form by definition), on random shapes.
func TestOffsetDistance(t *testing.T) {
	const seed = 6
	rng := rand.New(rand.NewPCG(seed, 0))
	for trial := range 20 {
		o := make(Outline, 200)
		for i := range o {
			s, k := math.Sincos(2 * math.Pi * float64(i) / float64(len(o)))
			r := 15 + 2*math.Sin(5*math.Atan2(s, k)) + 0.05*rng.NormFloat64()
			o[i] = PointMM{r * k, r * s}
		}
		by := 3 * rng.NormFloat64()
		r, err := Offset(o, by)
		if err != nil {
			t.Fatalf("seed %d/%d: %v", seed, trial, err)
		}
		ix := NewIndex(o)
		for _, g := range r {
			for _, p := range g.Outer {
				if d, _, _ := ix.SignedDistMM(p); math.Abs(d-by) > 0.002 {
					t.Fatalf("seed %d/%d: a point lies at %.4f, want %.4f", seed, trial, d, by)
				}
			}
		}
	}
}

func TestLargeOutlines(t *testing.T) {
	o := polygonAt(PointMM{}, 25, 100_000)
	s, err := Simple(o)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "area", s.AreaMM2(), math.Pi*625, 1e-5)
	r, err := Offset(o, 1)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "grown", r.AreaMM2(), math.Pi*26*26, 0.002*2*math.Pi*26)
}

// A hostile outline is refused in seconds, whatever it does.
func TestTangledOutline(t *testing.T) {
	o := make(Outline, 60_001) // a star of 60 001 points, every side across all others
	for i := range o {
		s, c := math.Sincos(2 * math.Pi * float64(i) * 30_000 / 60_001)
		o[i] = PointMM{20 * c, 20 * s}
	}
	if _, err := Simple(o); !errors.Is(err, ErrTangled) {
		t.Errorf("got %v, want ErrTangled", err)
	}
}

func FuzzSimple(f *testing.F) {
	f.Add([]byte{0, 0, 4, 0, 4, 4, 0, 4})
	f.Add([]byte{0, 0, 4, 4, 4, 0, 0, 4})
	f.Add([]byte{0, 0, 4, 0, 1, 0, 3, 0, 4, 0, 4, 4, 0, 4})
	f.Fuzz(func(t *testing.T, b []byte) {
		var o Outline
		for i := 0; i+1 < len(b) && i < 400; i += 2 {
			o = append(o, PointMM{float64(int8(b[i])) / 4, float64(int8(b[i+1])) / 4})
		}
		s, err := Simple(o)
		if err != nil {
			return
		}
		if again, err := Simple(s); err != nil || math.Abs(again.SignedAreaMM2()-s.SignedAreaMM2()) > 1e-3 || s.SignedAreaMM2() <= 0 {
			t.Fatalf("%v came out as %v, then %v", o, s, err)
		}
		for _, by := range []float64{0.3, -0.3} {
			if r, err := Offset(s, by); err == nil && (by > 0) != (r.AreaMM2() > s.AreaMM2()) {
				t.Fatalf("%v offset by %g went from %g to %g mm²", s, by, s.AreaMM2(), r.AreaMM2())
			}
		}
	})
}

func BenchmarkSimple(b *testing.B) {
	o := polygonAt(PointMM{}, 20, 2000)
	for b.Loop() {
		if _, err := Simple(o); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkIntersection(b *testing.B) {
	p, q := RegionOf(polygonAt(PointMM{}, 20, 2000)), RegionOf(polygonAt(PointMM{0.3, 0.1}, 19.8, 2000))
	for b.Loop() {
		if _, err := Intersection(p, q); err != nil {
			b.Fatal(err)
		}
	}
}
