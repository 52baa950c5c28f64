package compare

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// JCGM 100:2008 (GUM), H.1, end-gauge calibration: components of 25, 16.599, 6.7, 5.8, 3.9 and 2.887 nm give u = 31.66 nm.
func TestLinearAgainstGUM(t *testing.T) {
	var l linear
	for _, c := range []float64{25, 16.599, 6.7, 5.8, 3.9, 2.887} {
		l.add(c)
	}
	near(t, "combined standard uncertainty", l.expanded()/2, 31.66, 0.01)
}

// JCGM 106:2012 with T = 0.50, u = 0.10, y = 0.30: 0.97725; at its 95 % acceptance limit 0.3355: 0.95.
func TestWithinProbabilityAgainstJCGM106(t *testing.T) {
	near(t, "at 0.30", withinProbability(0.50, 0.30, 0.10), 0.97725, 5e-6)
	near(t, "at the 95 % acceptance limit", withinProbability(0.50, 0.3355, 0.10), 0.95, 5e-5)
	near(t, "exact and within", withinProbability(0.5, 0.5, 0), 1, 0)
	near(t, "exact and beyond", withinProbability(0.5, 0.51, 0), 0, 0)
}

// ILAC-G8:09/2019: below T - U a pass, to T + U neither, above a fail. The worked inspection note has a limit of 0.003 and
// U = 0.0010: 0.0017 passes, 0.0025 falls in the guard band.
func TestVerdictGuardBand(t *testing.T) {
	at := func(v, u float64) peak {
		return peak{valueMM: v, uMM: u, certainMM: v - u, possibleMM: v + u, at: &sample{}}
	}
	none := at(0, 0)
	for _, c := range []struct {
		remove, past peak
		tol          float64
		want         string
	}{
		{at(0.0017, 0.0010), none, 0.003, Matched},
		{at(0.0025, 0.0010), none, 0.003, TooClose},
		{at(0.0035, 0.0010), none, 0.003, TooClose},
		{at(0.0041, 0.0010), none, 0.003, Grind},
		{none, at(0.0041, 0.0010), 0.003, PastLine},
		{at(0.0041, 0.0010), at(0.0041, 0.0010), 0.003, GrindPast},
		{at(0.0041, 0.0010), at(0.0035, 0.0010), 0.003, Grind},
		{at(0.0017, 0.0010), at(0.0025, 0.0010), 0.003, TooClose},
	} {
		p := &portComparison{target: &ring{outline: geom.Outline{{}}, arcMM: []float64{0, 0}}, tolMM: c.tol, remove: c.remove, past: c.past, hasRemove: true, hasPast: true}
		var r PortResult
		p.judge(&r)
		if r.Verdict != c.want {
			t.Errorf("remove %g ± %g, past %g ± %g: %s, want %s", c.remove.valueMM, c.remove.uMM, c.past.valueMM, c.past.uMM, r.Verdict, c.want)
		}
	}
}

// typical is what a good photo of 12 MP gives.
var typical = errorsMM{edge: 0.015, corr: 1, bias: 0.02, hole: 0.01, field: 0.02}

// twoPorts is a small part, so that a thousand of it are compared in seconds: the ports stand stepMM or so off.
func twoPorts(rng *rand.Rand, stepMM float64) scene {
	holes := []face.Hole{hole(-60, 25, 9), hole(60, 28, 9), hole(0, -30, 9), hole(-70, -26, 8), hole(66, -24, 8)}
	var target, work []blob
	for _, x := range []float64{-32, 34} {
		b := randomBlob(rng, geom.PointMM{X: x}, 15)
		target = append(target, b)
		a := 2 * math.Pi * rng.Float64()
		b.centre = b.centre.Add(geom.PointMM{X: stepMM * math.Cos(a), Y: stepMM * math.Sin(a)})
		work = append(work, b)
	}
	return scene{exactFace(target, holes, 0.4), exactFace(work, holes, 0.4)}
}

// The stated uncertainties, by linear propagation, against the scatter of results when the errors are drawn from their
// distributions (JCGM 101:2008), over five scenes.
func TestLinearAgainstMonteCarlo(t *testing.T) {
	const draws = 70
	const seed = 101
	for scene := range 5 {
		rng := rand.New(rand.NewPCG(seed, uint64(scene)))
		s := twoPorts(rng, 0.4+0.2*float64(scene))
		stated := map[string]float64{}  // mean of U²/4
		scatter := map[string]float64{} // variance, summed over ports and kinds, each about its own mean
		sums := map[string][2]float64{}
		for range draws {
			res, err := Match(seen(rng, s.target, typical), seen(rng, s.work, typical), Options{ToleranceMM: 0.25})
			if err != nil {
				t.Fatal(err)
			}
			for i, p := range res.Ports {
				for _, q := range []struct {
					kind, name string
					Quantity
				}{{"steps", "remove step", p.RemoveStep.Quantity}, {"steps", "past step", p.PastStep.Quantity},
					{"remove and past areas", "remove area", p.RemoveArea}, {"remove and past areas", "past area", p.PastArea},
					{"port areas", "target area", p.TargetArea}, {"port areas", "work area", p.WorkArea}} {
					stated[q.kind] += q.Uncertainty * q.Uncertainty / 4 / draws
					k := q.kind + "/" + q.name + string(rune('1'+i))
					v := sums[k]
					sums[k] = [2]float64{v[0] + q.Value, v[1] + q.Value*q.Value}
				}
			}
		}
		for k, v := range sums {
			kind, _, _ := strings.Cut(k, "/")
			scatter[kind] += (v[1] - v[0]*v[0]/draws) / (draws - 1)
		}
		for kind, u2 := range stated {
			if ratio := math.Sqrt(u2 / scatter[kind]); math.Abs(ratio-1) > 0.15 {
				t.Errorf("scene %d (seed %d): %s: linear propagation states %.3f of the scatter", scene, seed, kind, ratio)
			} else {
				t.Logf("scene %d: %s: %.3f", scene, kind, ratio)
			}
		}
	}
}

// Stated uncertainties must cover the truth in 95 % of cases and not be wider than that takes; matched joints, where the
// largest step is all noise, are the hard ones.
func TestCoverage(t *testing.T) {
	const seed = 7
	doubtful := typical
	doubtful.doubt = 0.1
	for _, c := range []struct {
		stepMM float64
		e      errorsMM
	}{{0, typical}, {0.2, typical}, {1, typical}, {0, doubtful}, {1, doubtful}} {
		stepMM := c.stepMM
		rng := rand.New(rand.NewPCG(seed, uint64(100*stepMM)))
		var steps, areas tally
		for range 20 {
			s := fourPorts(rng, stepMM, 0.4)
			truth, err := Match(s.target, s.work, Options{ToleranceMM: 0.25})
			if err != nil {
				t.Fatal(err)
			}
			got, err := Match(seen(rng, s.target, c.e), seen(rng, s.work, c.e), Options{ToleranceMM: 0.25})
			if err != nil {
				t.Fatal(err)
			}
			for i := range got.Ports {
				g, w := got.Ports[i], truth.Ports[i]
				steps.add(g.RemoveStep.Quantity, w.RemoveStep.Value)
				steps.add(g.PastStep.Quantity, w.PastStep.Value)
				areas.add(g.RemoveArea, w.RemoveArea.Value)
				areas.add(g.PastArea, w.PastArea.Value)
				areas.add(g.TargetArea, w.TargetArea.Value)
				areas.add(g.WorkArea, w.WorkArea.Value)
				r, p := w.RemoveStep.Value, w.PastStep.Value
				switch {
				case g.Verdict == Matched && max(r, p) > 0.25, g.Verdict == Grind && r <= 0.25, g.Verdict == PastLine && p <= 0.25,
					g.Verdict == GrindPast && min(r, p) <= 0.25:
					t.Errorf("seed %d: steps of %.3f and %.3f mm called %s", seed, r, p, g.Verdict)
				}
			}
		}
		// 160 steps: 0.95 give or take two standard deviations of 0.017; areas likewise.
		steps.check(t, "steps", stepMM, 0.915)
		areas.check(t, "areas", stepMM, 0.915)
	}
}

// tally counts how often U covered the truth, and how wide it was against the errors made.
type tally struct{ n, covered, sumU2, sumErr2 float64 }

func (c *tally) add(q Quantity, truth float64) {
	d := q.Value - truth
	c.n++
	if math.Abs(d) <= q.Uncertainty {
		c.covered++
	}
	c.sumU2 += q.Uncertainty * q.Uncertainty / 4
	c.sumErr2 += d * d
}

func (c *tally) check(t *testing.T, what string, stepMM, least float64) {
	t.Helper()
	t.Logf("ports %.1f mm off: %s covered in %.3f, u over error %.2f", stepMM, what, c.covered/c.n, math.Sqrt(c.sumU2/c.sumErr2))
	if c.covered/c.n < least {
		t.Errorf("ports %.1f mm off: U covers %.3f of the %s, want 0.95", stepMM, c.covered/c.n, what)
	}
	if r := math.Sqrt(c.sumU2 / c.sumErr2); r > 1.7 {
		t.Errorf("ports %.1f mm off: stated uncertainties of %s are %.2f times the errors made", stepMM, what, r)
	}
}
