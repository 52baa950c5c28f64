package compare

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// ISO 273: an M8 stud in a medium hole, 9.0, gives 0.5 mm radially; two such holes 300 mm apart let a part turn by
// 2 · 0.5 / 300 rad = 0.191° each way.
func TestPlayISO273(t *testing.T) {
	holes := func(d float64) []face.Hole { return []face.Hole{hole(-150, 0, d), hole(150, 0, d)} }
	target, work := exactFace([]blob{{radiusMM: 20, wave: [5]float64{1, 2}}}, holes(8), 0.2), exactFace([]blob{{radiusMM: 19, wave: [5]float64{1, 2}}}, holes(9), 0.2)
	res, err := Match(target, work, Options{ToleranceMM: 0.25, Fasteners: Fasteners{StudMM: 8}})
	if err != nil {
		t.Fatal(err)
	}
	f := res.Float
	if f == nil || f.Why != "" {
		t.Fatalf("%+v", f)
	}
	near(t, "shift in x", f.PlayMM[0], 0.5, 1e-6)
	near(t, "shift in y", f.PlayMM[1], 0.5, 1e-6)
	near(t, "turn", f.TurnDeg, 0.191, 5e-4)
	near(t, "turn, closed form", f.TurnDeg, 1.0/300*180/math.Pi, 1e-6)
	// The port in the middle moves by 0.5 in any direction.
	near(t, "worst remove step", f.Ports[0].WorstRemove.Value, 1.5, 1e-3)
}

// Round port on round port, free by 0.5 mm: closed forms.
func TestFloatTwoCircles(t *testing.T) {
	holes := func(d float64) []face.Hole {
		return []face.Hole{hole(-40, 25, d), hole(40, -25, d), hole(-40, -22, d), hole(38, 27, d)}
	}
	target := exactFace([]blob{{radiusMM: 20}}, holes(8), 0.1)
	work := exactFace([]blob{{centre: geom.PointMM{X: 0.8}, radiusMM: 20}}, holes(9), 0.1)
	res, err := Match(target, work, Options{ToleranceMM: 0.25, Fasteners: Fasteners{StudMM: 8}})
	if err != nil {
		t.Fatal(err)
	}
	p := res.Float.Ports[0]
	// Centres 0.8 apart, at worst 1.3 (turning adds 0.0001), at best 0.3.
	near(t, "worst remove step", p.WorstRemove.Value, 1.3, 2e-3)
	near(t, "worst past step", p.WorstPast.Value, 1.3, 2e-3)
	near(t, "best remove step", p.BestRemove.Value, 0.3, 5e-3)
	near(t, "push", math.Hypot(res.Float.Push[0], res.Float.Push[1]), 0.5, 1e-3)
	toLeft := rigidFrom6(res.Alignment.JobFromWork).Turn(geom.PointMM{X: -1})
	if cos := toLeft.Dot(geom.PointMM{X: res.Float.Push[0], Y: res.Float.Push[1]}) / 0.5; cos < 0.99 {
		t.Errorf("pushed to %v, want along %v", res.Float.Push, toLeft)
	}
	near(t, "area as laid", res.Float.RemoveArea, crescent(20, 0.8), 0.02)
	near(t, "area at best", res.Float.RemoveAreaBest, crescent(20, 0.3), 0.15)
}

// crescent is what two circles of radius r, d apart, have each for itself: closed form.
func crescent(r, d float64) float64 {
	return math.Pi*r*r - (2*r*r*math.Acos(d/(2*r)) - d/2*math.Sqrt(4*r*r-d*d))
}

// Against 10 000 positions, each tried for itself.
func TestFloatAgainstBruteForce(t *testing.T) {
	const seed = 31
	for trial := range 1 {
		rng := rand.New(rand.NewPCG(seed, uint64(trial)))
		s := twoPorts(rng, 0.6)
		for i := range s.target.Holes { // bolts all, with 0.3 to 0.5 mm of air, not quite where they should be
			s.target.Holes[i].DiameterMM, s.work.Holes[i].DiameterMM = 8, 8.6+0.4*rng.Float64()
			s.work.Holes[i].Centre = s.work.Holes[i].Centre.Add(geom.PointMM{X: 0.05 * rng.NormFloat64(), Y: 0.05 * rng.NormFloat64()})
		}
		opts := Options{ToleranceMM: 0.25, Fasteners: Fasteners{StudMM: 8}}
		res, err := Match(s.target, s.work, opts)
		if err != nil {
			t.Fatal(err)
		}
		if res.Float.Why != "" {
			t.Fatal(res.Float.Why)
		}
		l, err := lay(s.target, s.work, opts)
		if err != nil {
			t.Fatal(err)
		}
		pl, _, _ := l.playOf(opts.Fasteners)
		joints := l.joints()
		cs := make([]*portComparison, len(joints))
		few := make([][2][]sample, len(joints))
		for i, j := range joints {
			_, cs[i] = l.comparePort(i+1, j, opts)
			few[i] = [2][]sample{coarse(cs[i].onTarget), coarse(cs[i].onWork)}
			for k := range few[i] { // between two samples 1 mm apart a largest step hides less than 1 µm
				few[i][k] = slices.DeleteFunc(few[i][k], func(s sample) bool { return int(s.alongMM/floatMM)%2 == 1 })
			}
		}
		worst := make([][2]float64, len(cs))
		least := math.Inf(1)
		for range 10_000 {
			// A random position, pushed on until the first hole touches; every third one not so far.
			a, b := 2*math.Pi*rng.Float64(), 2*rng.Float64()-1
			dir := position{geom.PointMM{X: math.Cos(a), Y: math.Sin(a)}.Scale(math.Sqrt(1 - b*b)), b / 60}
			lo, hi := 0.0, 3.0
			for range 30 {
				mid := (lo + hi) / 2
				if pl.beyond(position{dir.shift.Scale(mid), dir.turn * mid}) <= 0 {
					lo = mid
				} else {
					hi = mid
				}
			}
			if rng.IntN(3) == 0 {
				lo *= rng.Float64()
			}
			x := position{dir.shift.Scale(lo), dir.turn * lo}
			for i, c := range cs {
				worst[i][0] = max(worst[i][0], c.largestAt(pl, x, few[i][0], true))
				worst[i][1] = max(worst[i][1], c.largestAt(pl, x, few[i][1], false))
			}
			least = min(least, areaUnder(cs, few, pl, x))
		}
		for i, p := range res.Float.Ports {
			for k, got := range []float64{p.WorstRemove.Value, p.WorstPast.Value} {
				if d := got - worst[i][k]; d < -1e-3 || d > 0.01 {
					t.Errorf("seed %d/%d, port %d: worst step %.4f, by brute force %.4f", seed, trial, p.Port, got, worst[i][k])
				}
			}
		}
		if res.Float.RemoveAreaBest > res.Float.RemoveArea {
			t.Errorf("seed %d/%d: the best position leaves %.2f mm², as laid %.2f", seed, trial, res.Float.RemoveAreaBest, res.Float.RemoveArea)
		}
		best := position{geom.PointMM{X: res.Float.Push[0], Y: res.Float.Push[1]}, res.Float.PushTurnDeg * math.Pi / 180}
		if pl.beyond(best) > 1e-6 {
			t.Errorf("seed %d/%d: the best position is %.4f mm beyond the holes' air", seed, trial, pl.beyond(best))
		}
		area := areaUnder(cs, few, pl, best)
		// 0.01 mm over both ports' perimeters, 190 mm, of which half is to be ground.
		if area > least+0.01*95 {
			t.Errorf("seed %d/%d: the best position leaves %.3f mm², brute force found %.3f", seed, trial, area, least)
		}
	}
}

// areaUnder is the area under the remove steps of all ports, by samples about 1 mm apart.
func areaUnder(cs []*portComparison, few [][2][]sample, pl *play, x position) (mm2 float64) {
	for i, c := range cs {
		for k := range few[i][0] {
			d, _ := c.stepAt(pl, x, &few[i][0][k], true)
			mm2 += max(0, d) * c.target.perimeterMM() / float64(len(few[i][0]))
		}
	}
	return mm2
}

func TestFloatSaysWhy(t *testing.T) {
	s := fourPorts(rand.New(rand.NewPCG(32, 0)), 1, 0.4)
	for _, c := range []struct {
		f     Fasteners
		fixed bool
		why   string
	}{
		{Fasteners{StudMM: 8}, true, "dowels fix"},
		{Fasteners{StudMM: 8, DowelMM: 7.9}, false, ""},
		{Fasteners{StudMM: 12, DowelMM: 7.9}, false, "does not go into the hole"},
	} {
		res, err := Match(s.target, s.work, Options{ToleranceMM: 0.25, Fasteners: c.f})
		if err != nil {
			t.Fatal(err)
		}
		if res.Float.Fixed != c.fixed || !strings.Contains(res.Float.Why, c.why) || c.why == "" && res.Float.Why != "" {
			t.Errorf("%+v: %+v", c.f, res.Float)
		}
	}
	// Dowels of 7.9 in holes of 8, both parts: 0.1 mm of play.
	res, err := Match(s.target, s.work, Options{ToleranceMM: 0.25, Fasteners: Fasteners{StudMM: 8, DowelMM: 7.9}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "play of dowels", res.Float.PlayMM[0], 0.1, 1e-3)
	// Studs of 8 in holes that were measured a hundredth too far apart, and are known to no better than that.
	for i := range s.target.Holes {
		s.target.Holes[i].DiameterMM, s.work.Holes[i].DiameterMM = 8, 8
		s.work.Holes[i].SigmaCentreMM = 0.01
	}
	s.work.Holes[0].Centre.X += 0.01
	res, err = Match(s.target, s.work, Options{ToleranceMM: 0.25, Fasteners: Fasteners{StudMM: 8, DowelMM: 8}})
	if err != nil {
		t.Fatal(err)
	}
	if !res.Float.Fixed || !strings.Contains(res.Float.Why, "as closely as can be measured") {
		t.Errorf("%+v", res.Float)
	}
	// Holes that don't line up at all.
	for i := range s.target.Holes {
		s.target.Holes[i].DiameterMM, s.work.Holes[i].DiameterMM = 8, 8.05
	}
	s.work.Holes[0].Centre.X += 0.3
	res, err = Match(s.target, s.work, Options{ToleranceMM: 0.25, Fasteners: Fasteners{StudMM: 8}})
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(res.Float.Why, "lack") {
		t.Errorf("%+v", res.Float)
	}
}

// A work opening 0.3 mm smaller all round is past the target nowhere as laid; free by 0.5 mm it can be by 0.2 (closed form), as
// surely as the edge is known.
func TestFloatStepThatIsNotThereAsLaid(t *testing.T) {
	holes := func(d float64) []face.Hole {
		return []face.Hole{hole(-40, 25, d), hole(40, -25, d), hole(-40, -22, d), hole(38, 27, d)}
	}
	target := exactFace([]blob{{radiusMM: 20}}, holes(8), 0.1)
	work := exactFace([]blob{{radiusMM: 19.7}}, holes(9), 0.1)
	const biasMM = 0.05
	work.Ports[0].BiasMM = slices.Repeat([]float64{biasMM}, len(work.Ports[0].Outline))
	res, err := Match(target, work, Options{ToleranceMM: 0.25, Fasteners: Fasteners{StudMM: 8}})
	if err != nil {
		t.Fatal(err)
	}
	got := res.Float.Ports[0].WorstPast
	near(t, "worst past step", got.Value, 0.2, 2e-3)
	if !(got.Uncertainty >= 2*biasMM && got.Uncertainty < 2*biasMM+0.05) {
		t.Errorf("U is %.3f mm, want that of the edge, %.2f", got.Uncertainty, 2*biasMM)
	}
}
