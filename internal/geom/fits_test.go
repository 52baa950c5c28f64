package geom

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// Umeyama 1991's example: (0,0), (1,0), (0,2) onto (0,0), (-1,0), (0,2). Its mean squared residual with a free scale c is
// 0.533333; rigid maps and residual follow from the same formulas.
func TestUmeyamaExample(t *testing.T) {
	from := []PointMM{{0, 0}, {1, 0}, {0, 2}}
	to := []PointMM{{0, 0}, {-1, 0}, {0, 2}}
	f, err := FitRigid(from, to, nil, SameHand)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "angle", f.ToFromFrom.AngleRad()*180/math.Pi, -33.690, 5e-4)
	near(t, "tx", f.ToFromFrom.Tx, -0.980484, 5e-7)
	near(t, "ty", f.ToFromFrom.Ty, 0.296867, 5e-7)
	near(t, "mean squared residual", f.RMSMM*f.RMSMM, 0.619755, 5e-7)
	near(t, "scale", f.Scale, 0.721110, 5e-7)
	// With the scale applied: t = (-0.8, 0.4).
	c := PointMM{1.0 / 3, 2.0 / 3}
	turned := f.ToFromFrom.Turn(c).Scale(f.Scale)
	near(t, "tx with scale", -1.0/3-turned.X, -0.8, 1e-9)
	near(t, "ty with scale", 2.0/3-turned.Y, 0.4, 1e-9)
	f, err = FitRigid(from, to, nil, EitherHand)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "residual of the other hand", f.RMSMM, 0, 1e-7)
	if !f.ToFromFrom.Mirrored() {
		t.Error("not mirrored")
	}
}

func TestFitRigidRecovers(t *testing.T) {
	const seed = 1
	rng := rand.New(rand.NewPCG(seed, 0))
	for range 50 {
		m := Rotation(7 * rng.Float64()).After(Translation(PointMM{100 * rng.NormFloat64(), 100 * rng.NormFloat64()}))
		hand := SameHand
		if rng.IntN(2) == 0 {
			m, hand = m.After(Rigid{A: -1, D: 1}), OtherHand
		}
		var from, to []PointMM
		var w []float64
		for range 2 + rng.IntN(5) {
			p := PointMM{100 * rng.NormFloat64(), 50 * rng.NormFloat64()}
			from, to, w = append(from, p), append(to, m.Apply(p)), append(w, 0.5+rng.Float64())
		}
		f, err := FitRigid(from, to, w, hand)
		if err != nil {
			t.Fatal(err)
		}
		for i := range from {
			if d := f.ToFromFrom.Apply(from[i]).Dist(to[i]); d > 1e-9 {
				t.Fatalf("seed %d: %g off", seed, d)
			}
		}
		near(t, "scale", f.Scale, 1, 1e-12)
		id := f.ToFromFrom.After(f.ToFromFrom.Inverse())
		near(t, "there and back", id.Apply(PointMM{5, 7}).Dist(PointMM{5, 7}), 0, 1e-9)
	}
	for _, p := range [][]PointMM{nil, {{1, 2}}, {{1, 2}, {1, 2}}} {
		if _, err := FitRigid(p, p, nil, EitherHand); !errors.Is(err, ErrTooFewPoints) {
			t.Errorf("%d points: %v", len(p), err)
		}
	}
}

func TestFitCircle(t *testing.T) {
	const seed = 2
	rng := rand.New(rand.NewPCG(seed, 0))
	c, r := PointMM{120, -33}, 4.5
	// Exact points, a third of the circle only.
	f, err := FitCircle(arcOf(c, r, 0.3, 2.4), nil)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "centre", f.Centre.Dist(c), 0, 1e-9)
	near(t, "radius", f.RadiusMM, r, 1e-9)

	// A tenth of the points a millimetre off, as where a thread's chamfer glares: they count for little.
	const sigma, n, draws = 0.02, 60, 300
	var sum, sum2 [3]float64
	var stated float64
	for range draws {
		var ps []PointMM
		var sg []float64
		for k := range n {
			rr := r + sigma*rng.NormFloat64()
			a := 2 * math.Pi * float64(k) / n
			ps = append(ps, c.Add(PointMM{rr * math.Cos(a), rr * math.Sin(a)}))
			sg = append(sg, sigma)
		}
		f, err := FitCircle(ps, sg)
		if err != nil {
			t.Fatal(err)
		}
		for i, v := range []float64{f.Centre.X, f.Centre.Y, f.RadiusMM} {
			sum[i] += v
			sum2[i] += v * v
		}
		stated += f.Covariance[0][0] / draws
		for k := range 6 {
			a := 0.1 * float64(k)
			ps[k] = c.Add(PointMM{(r + 1) * math.Cos(a), (r + 1) * math.Sin(a)})
		}
		if f, err = FitCircle(ps, sg); err != nil {
			t.Fatal(err)
		}
		// Huber's influence is bounded: six of sixty points pull by 6 · 1.345 sigma / 60 of the radius' weight, the centre by
		// twice that.
		if d := f.Centre.Dist(c); d > 5*sigma/math.Sqrt(n/2)+2*6*1.345*sigma/60*2 {
			t.Errorf("seed %d: strays pull the centre by %.3f mm", seed, d)
		}
	}
	// On a full circle of n points the centre's variance is 2 sigma²/n in either direction, the radius' sigma²/n (closed
	// form). 300 draws tell a variance to 8 %; Huber's weights cost 5 %.
	variance := func(i int) float64 { return (sum2[i] - sum[i]*sum[i]/draws) / (draws - 1) }
	near(t, "variance of x", variance(0)/(2*sigma*sigma/n), 1, 0.25)
	near(t, "variance of y", variance(1)/(2*sigma*sigma/n), 1, 0.25)
	near(t, "variance of r", variance(2)/(sigma*sigma/n), 1, 0.25)
	near(t, "stated variance", stated/(2*sigma*sigma/n), 1, 0.15)

	for _, ps := range [][]PointMM{nil, {{0, 0}, {1, 1}}, {{0, 0}, {1, 1}, {2, 2}, {3, 3}}, {{1, 1}, {1, 1}, {1, 1}}} {
		if _, err := FitCircle(ps, nil); !errors.Is(err, ErrTooFewPoints) {
			t.Errorf("%v: %v", ps, err)
		}
	}
}

func TestFieldMapped(t *testing.T) {
	f := Field{Name: "camera 1", CentreMM: PointMM{20, -7}, ScaleMM: 120,
		X: [10]float64{0.1, -0.2, 0.3, 0.05, -0.07, 0.02, 0.11, -0.01, 0.03, 0.2}, Y: [10]float64{-0.3, 0.1, 0.2, 0.3, 0.02, -0.2, 0.01, 0.04, 0.05, -0.06}}
	for _, r := range []Rigid{Rotation(0.7).After(Translation(PointMM{50, 60})), Rotation(2).After(Rigid{A: -1, D: 1, Tx: 5})} {
		g := f.Mapped(r)
		for _, p := range []PointMM{{0, 0}, {100, 50}, {-150, 90}, {31, -44}} {
			near(t, "displacement", g.At(r.Apply(p)).Dist(r.Turn(f.At(p))), 0, 1e-10)
		}
	}
}

// Published pair of the JTS test suite: over vertices alone the distance reads 22.360679774997898; the true one is about
// 47.89 (to two decimals).
func TestHausdorffPublishedPair(t *testing.T) {
	a := NewOpenIndex([]PointMM{{0, 0}, {100, 0}, {10, 100}, {10, 100}})
	b := NewOpenIndex([]PointMM{{0, 100}, {0, 10}, {80, 10}})
	near(t, "distance", HausdorffMM(a, b, 1e-6), 47.89, 0.005)
}

func TestHausdorffShiftedSquare(t *testing.T) {
	a := Outline{{0, 0}, {2, 0}, {2, 2}, {0, 2}}
	b := a.Mapped(Translation(PointMM{0.5, 0.5}))
	near(t, "distance", HausdorffMM(NewIndex(a), NewIndex(b), 1e-9), 0.70710678, 1e-8)
	in, err := Intersection(RegionOf(a), RegionOf(b))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "symmetric difference", a.AreaMM2()+b.AreaMM2()-2*in.AreaMM2(), 3.5, 1e-12)
}

// The index against a look at every side.
func TestNearestAgainstBruteForce(t *testing.T) {
	const seed = 3
	rng := rand.New(rand.NewPCG(seed, 0))
	outlines := []Outline{
		polygonAt(PointMM{}, 20, 500), {{0, 0}, {300, 0}, {300, 1}, {0, 1}}, {{5, 5}}, {{0, 0}, {0, 0}, {0, 7}},
		{{0, 0}, {50, 49}, {50, 50}, {49, 50}}, // thin and slanting
	}
	var wild Outline
	for range 300 {
		wild = append(wild, PointMM{40 * rng.NormFloat64(), 10 * rng.NormFloat64()})
	}
	outlines = append(outlines, wild)
	for n, o := range outlines {
		ix := NewIndex(o)
		for range 500 {
			p := PointMM{60 * rng.NormFloat64(), 60 * rng.NormFloat64()}
			best := math.Inf(1)
			for i := range o {
				best = math.Min(best, distToSegment(p, o[i], o[o.next(i)]))
			}
			q, at, d := ix.Nearest(p)
			if math.Abs(d-best) > 1e-9 || math.Abs(p.Dist(q)-d) > 1e-9 || o.At(at).Dist(q) > 1e-9 {
				t.Fatalf("seed %d, outline %d, %v: %.6f at %v, want %.6f", seed, n, p, d, at, best)
			}
			if ix.Contains(p) != o.Contains(p) {
				t.Fatalf("seed %d, outline %d, %v: contained %v by index", seed, n, p, ix.Contains(p))
			}
		}
	}
}

func BenchmarkNearest(b *testing.B) {
	for _, n := range []int{1500, 50000} {
		b.Run(map[int]string{1500: "1500 points", 50000: "50000 points"}[n], func(b *testing.B) {
			ix := NewIndex(polygonAt(PointMM{}, 25, n))
			i := 0
			for b.Loop() {
				a := float64(i)
				ix.SignedDistMM(PointMM{24 * math.Cos(a), 24 * math.Sin(a)})
				i++
			}
		})
	}
}
