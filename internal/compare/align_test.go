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

// photographed returns f as a photo taken by hand shows it: turned and shifted, mirrored if it was turned over.
func photographed(rng *rand.Rand, f *face.Face, turnDeg float64, mirror bool) *face.Face {
	m := geom.Translation(geom.PointMM{X: 80 * rng.NormFloat64(), Y: 60 * rng.NormFloat64()}).After(geom.Rotation(turnDeg * math.Pi / 180))
	if mirror {
		m = m.After(geom.Rigid{A: -1, D: 1})
	}
	g := moved(f, m)
	rng.Shuffle(len(g.Holes), func(i, j int) { g.Holes[i], g.Holes[j] = g.Holes[j], g.Holes[i] })
	return g
}

// compareToTruth checks the steps of a scene laid another way against those of the scene as it was drawn. Both are exact, so
// that only the alignment can make a difference.
func compareToTruth(t *testing.T, res, truth *Result, toleranceMM float64) {
	t.Helper()
	if len(res.Ports) != len(truth.Ports) {
		t.Fatalf("%d ports, want %d", len(res.Ports), len(truth.Ports))
	}
	order := func(r *Result) (out [][2]float64) {
		for _, p := range r.Ports {
			out = append(out, [2]float64{p.RemoveStep.Value, p.PastStep.Value})
		}
		slices.SortFunc(out, func(a, b [2]float64) int { return compareFloats(a[0], b[0]) })
		return out
	}
	got, want := order(res), order(truth)
	for i := range want {
		near(t, "remove step", got[i][0], want[i][0], toleranceMM)
		near(t, "past step", got[i][1], want[i][1], toleranceMM)
	}
}

func TestAlignEitherHandAnyTurn(t *testing.T) {
	const seed = 3
	rng := rand.New(rand.NewPCG(seed, 0))
	s := fourPorts(rng, 1, 0.4)
	truth, err := Match(s.target, s.work, Options{ToleranceMM: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	for _, turn := range []float64{0, 17, 90, 133, 180, -100} {
		for _, mirror := range []bool{false, true} {
			for _, workTurn := range []float64{0, 8, -60, 85} {
				target, work := photographed(rng, s.target, turn, mirror), photographed(rng, s.work, workTurn, false)
				res, err := Match(target, work, Options{ToleranceMM: 0.25})
				if err != nil {
					t.Fatal(err)
				}
				compareToTruth(t, res, truth, 1e-6)
				if res.Alignment.Mirrored != mirror || res.Alignment.On != "dowels" {
					t.Errorf("turn %g: on %s, mirrored %v", turn, res.Alignment.On, res.Alignment.Mirrored)
				}
				// The job frame's x axis lies within 90° of the photo's.
				if m := rigidFrom6(res.Alignment.JobFromWork); m.Mirrored() || m.A < 0 {
					t.Errorf("work turned by %g: job frame from work %+v", workTurn, m)
				}
				checkJobFrame(t, res)
			}
		}
	}
}

// checkJobFrame checks that the dowels lie on the x axis with the origin midway, and that ports are numbered left to right.
func checkJobFrame(t *testing.T, res *Result) {
	t.Helper()
	var x []float64
	for _, h := range res.Holes {
		if h.Kind == "dowel" {
			near(t, "dowel's y", h.Y, 0, 1e-9)
			x = append(x, h.X)
		}
	}
	if len(x) != 2 {
		t.Fatalf("%d dowels", len(x))
	}
	near(t, "dowels' middle", x[0]+x[1], 0, 1e-9)
	last := math.Inf(-1)
	for i, p := range res.Ports {
		c := geom.Outline(pointsOf(p.TargetOutline)).CentroidMM()
		if p.Port != i+1 || c.X < last {
			t.Errorf("port %d at x = %.1f after %.1f", p.Port, c.X, last)
		}
		last = c.X
	}
}

func TestAlignHolesMissedAndExtra(t *testing.T) {
	const seed = 4
	for trial := range 20 {
		rng := rand.New(rand.NewPCG(seed, uint64(trial)))
		s := fourPorts(rng, 1, 0.4)
		truth, err := Match(s.target, s.work, Options{ToleranceMM: 0.25})
		if err != nil {
			t.Fatal(err)
		}
		target, work := photographed(rng, s.target, 20, trial%2 == 1), photographed(rng, s.work, -5, false)
		// Two bolt holes not found on either, not the same two; three marks taken for holes on the work.
		drop := func(f *face.Face, n int) {
			for i := 0; i < len(f.Holes) && n > 0; i++ {
				if f.Holes[i].DiameterMM > 8.5 {
					f.Holes = slices.Delete(f.Holes, i, i+1)
					n--
				}
			}
		}
		drop(target, 1)
		drop(work, 1)
		c := work.Ports[0].Outline[0]
		for range 3 {
			work.Holes = append(work.Holes, hole(c.X+100*rng.NormFloat64(), c.Y+30*rng.NormFloat64(), 6))
		}
		res, err := Match(target, work, Options{ToleranceMM: 0.25})
		if err != nil {
			t.Fatalf("seed %d/%d: %v", seed, trial, err)
		}
		compareToTruth(t, res, truth, 1e-6)
	}
}

func TestAlignOneBadHole(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 0))
	s := fourPorts(rng, 1, 0.4)
	for i := range s.target.Holes { // no dowels
		s.target.Holes[i].DiameterMM, s.work.Holes[i].DiameterMM = 9, 9
	}
	truth, err := Match(s.target, s.work, Options{ToleranceMM: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	s.work.Holes[2].Centre.X += 0.9
	res, err := Match(s.target, s.work, Options{ToleranceMM: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	compareToTruth(t, res, truth, 1e-6)
	if res.Alignment.On != "bolt holes" || len(res.Warnings) != 1 || !strings.Contains(res.Warnings[0].What, "0.90 mm off") {
		t.Errorf("on %s, warnings %v; want the bad hole named", res.Alignment.On, res.Warnings)
	}
}

// A pattern of four bolts in a rectangle fits four ways; the irregular ports say which.
func TestPortsChooseAmongWays(t *testing.T) {
	const seed = 6
	for trial := range 10 {
		rng := rand.New(rand.NewPCG(seed, uint64(trial)))
		var target, work []blob
		for _, x := range []float64{-46, 46} {
			b := randomBlob(rng, geom.PointMM{X: x, Y: 2 * rng.NormFloat64()}, 20)
			target = append(target, b)
			b.radiusMM -= 0.8
			b.centre.X += 0.3
			work = append(work, b)
		}
		holes := []face.Hole{hole(-90, 30, 9), hole(90, 30, 9), hole(90, -30, 9), hole(-90, -30, 9)}
		s := scene{exactFace(target, holes, 0.4), exactFace(work, holes, 0.4)}
		truth, err := Match(s.target, s.work, Options{ToleranceMM: 0.25})
		if err != nil {
			t.Fatal(err)
		}
		for _, turn := range []float64{0, 180} {
			for _, mirror := range []bool{false, true} {
				res, err := Match(photographed(rng, s.target, turn+5, mirror), photographed(rng, s.work, 3, false), Options{ToleranceMM: 0.25})
				if err != nil {
					t.Fatalf("seed %d/%d: %v", seed, trial, err)
				}
				compareToTruth(t, res, truth, 1e-6)
				if res.Alignment.Mirrored != mirror {
					t.Errorf("turn %g, mirror %v: mirrored %v", turn, mirror, res.Alignment.Mirrored)
				}
			}
		}
	}
}

// symmetricScene has bolts and ports that fit when turned over or round, but for a work port that was cut crooked.
func symmetricScene() scene {
	var target, work []blob
	for _, x := range []float64{-46, 46} {
		b := blob{centre: geom.PointMM{X: x}, radiusMM: 20}
		target = append(target, b)
		b.radiusMM = 19
		b.centre.X += 0.4
		work = append(work, b)
	}
	holes := []face.Hole{hole(-90, 30, 9), hole(90, 30, 9), hole(90, -30, 9), hole(-90, -30, 9)}
	return scene{exactFace(target, holes, 0.2), exactFace(work, holes, 0.2)}
}

// Where every way lays the target alike, it doesn't matter which is taken.
func TestWaysThatComeToTheSame(t *testing.T) {
	s := symmetricScene()
	res, err := Match(s.target, s.work, Options{ToleranceMM: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	if res.Alignment.Mirrored {
		t.Error("turned over without need")
	}
	// Circles of 20 and 19 with centres 0.4 apart: steps run from 1 - 0.4 to 1 + 0.4 (closed form).
	near(t, "remove step", res.Ports[0].RemoveStep.Value, 1.4, 1e-3)
}

// A round bore as it is traced is not quite round; within its uncertainty it still looks alike whichever way it is laid.
func TestNoiseIsNoAmbiguity(t *testing.T) {
	const seed = 15
	rng := rand.New(rand.NewPCG(seed, 0))
	holes := []face.Hole{hole(-40, 40, 7), hole(40, 40, 7), hole(40, -40, 7), hole(-40, -40, 7)}
	target := exactFace([]blob{{radiusMM: 33}}, holes, 0.3)
	work := exactFace([]blob{{radiusMM: 31, centre: geom.PointMM{X: 0.55, Y: -0.43}}}, holes, 0.3)
	for range 10 {
		e := errorsMM{edge: 0.03, corr: 2, bias: 0.03, hole: 0.01, field: 0.01, doubt: 0.2}
		res, err := Match(photographed(rng, seen(rng, target, e), 4, false), seen(rng, work, e), Options{ToleranceMM: 0.25})
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		if res.Alignment.Mirrored || math.Abs(rigidFrom6(res.Alignment.JobFromTarget).AngleRad()) > 0.2 {
			t.Errorf("seed %d: mirrored %v, turned by %.2f: not as the photos show it", seed, res.Alignment.Mirrored, rigidFrom6(res.Alignment.JobFromTarget).AngleRad())
		}
	}
}

func TestAmbiguousWaysNameTheFlag(t *testing.T) {
	// The target's ports stand 0.5 mm aside; the work's 1 mm bores are just as far from either way.
	s := symmetricScene()
	for i := range s.target.Ports {
		s.target.Ports[i].Outline = geom.Outline(s.target.Ports[i].Outline).Mapped(geom.Translation(geom.PointMM{X: 0.5}))
		s.work.Ports[i].Outline = geom.Outline(s.work.Ports[i].Outline).Mapped(geom.Translation(geom.PointMM{X: -0.4}))
	}
	_, err := Match(s.target, s.work, Options{ToleranceMM: 0.25})
	var ambiguous *AmbiguousError
	if !errors.As(err, &ambiguous) {
		t.Fatalf("got %v, want an *AmbiguousError", err)
	}
	// Half a turn and turning over side to side both put the ports at -0.5.
	if !strings.Contains(ambiguous.Flag, "--flipped") && !strings.Contains(ambiguous.Flag, "--turned") {
		t.Errorf("flag %q", ambiguous.Flag)
	}
	no, zero := false, 0
	res, err := Match(s.target, s.work, Options{ToleranceMM: 0.25, Flipped: &no, Turned: &zero})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "remove step as photographed", res.Ports[0].RemoveStep.Value, 1.5, 1e-3)
	half := 180
	res, err = Match(s.target, s.work, Options{ToleranceMM: 0.25, Flipped: &no, Turned: &half})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "centroid after half a turn", res.Ports[0].OffsetMM[0], 0.5, 1e-3)
	// Turned over side to side as well: same thing, the other hand.
	yes := true
	res, err = Match(s.target, s.work, Options{ToleranceMM: 0.25, Flipped: &yes, Turned: &zero})
	if err != nil {
		t.Fatal(err)
	}
	if !res.Alignment.Mirrored {
		t.Error("--flipped yes was not heeded")
	}
}

func TestDowels(t *testing.T) {
	pattern := [][2]float64{{-160, 31}, {97, -33}, {-92, 34}, {0, -36}, {92, 36}, {-150, -35}}
	faces := func(target, work [6]float64) (*face.Face, *face.Face, []pair) {
		f, g := &face.Face{}, &face.Face{}
		var ps []pair
		for i, p := range pattern {
			f.Holes = append(f.Holes, hole(p[0], p[1], target[i]))
			g.Holes = append(g.Holes, hole(p[0], p[1], work[i]))
			ps = append(ps, pair{i, i})
		}
		return f, g, ps
	}
	for _, c := range []struct {
		name         string
		target, work [6]float64
		want         []pair
	}{
		{"two small ones", [6]float64{8, 8, 9, 9, 9, 9}, [6]float64{8, 8, 10, 10, 10, 10}, []pair{{0, 0}, {1, 1}}},
		{"gasket gives them air, face has a chamfer", [6]float64{8.3, 8.3, 9, 9, 9, 9}, [6]float64{9, 9, 10, 10, 10, 10}, []pair{{0, 0}, {1, 1}}},
		{"sleeves round two bolts: larger, but tight", [6]float64{12, 12, 9, 9, 9, 9}, [6]float64{12.1, 12.1, 8, 8, 8, 8}, []pair{{0, 0}, {1, 1}}},
		{"two larger bolts with air", [6]float64{11, 11, 9, 9, 9, 9}, [6]float64{10, 10, 8, 8, 8, 8}, nil},
		{"all alike", [6]float64{9, 9, 9, 9, 9, 9}, [6]float64{10, 10, 10, 10, 10, 10}, nil},
		{"one small one", [6]float64{8, 9, 9, 9, 9, 9}, [6]float64{8, 10, 10, 10, 10, 10}, nil},
		{"three small ones", [6]float64{8, 8, 8, 9, 9, 9}, [6]float64{8, 8, 8, 10, 10, 10}, nil},
		{"small ones side by side", [6]float64{9, 9, 8, 8, 9, 9}, [6]float64{10, 10, 8, 8, 10, 10}, nil},
		{"small on the target alone", [6]float64{8, 8, 9, 9, 9, 9}, [6]float64{10, 10, 10, 10, 10, 10}, nil},
	} {
		f, g, ps := faces(c.target, c.work)
		if c.name == "small ones side by side" { // holes 2 and 3 lie 115 mm apart of 263
			f.Holes[2].Centre.X, g.Holes[2].Centre.X = 60, 60
		}
		if got := dowels(f.Holes, g.Holes, ps); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

func TestPartsThatDoNotBelongTogether(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 0))
	s, other := fourPorts(rng, 1, 0.4), twoPorts(rng, 1)
	check := func(name string, target, work *face.Face, want ...string) {
		t.Helper()
		_, err := Match(target, work, Options{ToleranceMM: 0.25})
		var m *MismatchError
		if !errors.As(err, &m) {
			t.Fatalf("%s: got %v, want a *MismatchError", name, err)
		}
		for _, w := range want {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("%s: %q lacks %q", name, err, w)
			}
		}
	}
	check("another engine", s.target, other.work, "7", "5", "mm apart", "4 ports")
	// Two of four holes as far apart as two others, but for 1.4 mm: nothing else says that the parts go together.
	near := func(f *face.Face, holes ...face.Hole) *face.Face {
		g := *f
		g.Holes = holes
		return &g
	}
	check("two holes by chance", near(s.target, hole(-92, 34, 9), hole(92, 36, 9), hole(-150, -35, 9), hole(20, 60, 9)),
		near(s.work, hole(-92.7, 34, 10), hole(92.7, 36, 10), hole(150, 20, 10), hole(-40, -80, 10)), "no more than 2 fall together")
	// One card printed at 97 %: everything measured with it comes out 3.1 % too large.
	large := *s.work
	large.Holes = slices.Clone(s.work.Holes)
	for i := range large.Holes {
		large.Holes[i].Centre = large.Holes[i].Centre.Scale(1 / 0.97)
	}
	check("another scale", s.target, &large, "3.1 % larger")
	// Ports in other places under the same bolts.
	shifted := *s.work
	shifted.Ports = nil
	for _, p := range s.work.Ports {
		p.Outline = geom.Outline(p.Outline).Mapped(geom.Translation(geom.PointMM{X: 46}))
		shifted.Ports = append(shifted.Ports, p)
	}
	check("ports elsewhere", s.target, &shifted, "lie on one of")
}

// Scales that differ by 0.3 %, as after a print at 99.7 %: half a millimetre at the part's end, named, and in the uncertainty
// of the steps. By 1.5 %, as after a forgotten height: no figures.
func TestScaleCheck(t *testing.T) {
	s := fourPorts(rand.New(rand.NewPCG(14, 0)), 0.5, 0.4)
	res, err := Match(s.target, s.work, Options{ToleranceMM: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "scale of equal patterns", res.Alignment.ScaleCheck, 1, 1e-9)
	if len(res.Warnings) != 0 {
		t.Errorf("%v", res.Warnings)
	}
	for i := range s.work.Holes {
		s.work.Holes[i].Centre = s.work.Holes[i].Centre.Scale(1.003)
	}
	for i := range s.work.Ports {
		for k, p := range s.work.Ports[i].Outline {
			s.work.Ports[i].Outline[k] = p.Scale(1.003)
		}
	}
	before := res.Ports
	if res, err = Match(s.target, s.work, Options{ToleranceMM: 0.25}); err != nil {
		t.Fatal(err)
	}
	near(t, "scale", res.Alignment.ScaleCheck, 1.003, 1e-6)
	for i, p := range res.Ports {
		for _, step := range [][2]Step{{p.RemoveStep, before[i].RemoveStep}, {p.PastStep, before[i].PastStep}} {
			if off := math.Abs(step[0].Value - step[1].Value); off > step[0].Uncertainty {
				t.Errorf("port %d: step %.2f ± %.2f is %.2f off", p.Port, step[0].Value, step[0].Uncertainty, off)
			}
		}
	}
	if !slices.ContainsFunc(res.Warnings, func(w face.Warning) bool { return strings.Contains(w.What, "0.30 % farther apart") }) {
		t.Errorf("not named: %v", res.Warnings)
	}
	for i := range s.work.Holes {
		s.work.Holes[i].Centre = s.work.Holes[i].Centre.Scale(1.012)
	}
	var other *MismatchError
	if _, err = Match(s.target, s.work, Options{ToleranceMM: 0.25}); !errors.As(err, &other) || math.Abs(other.ScaleRatio-1.015) > 0.001 {
		t.Errorf("1.5 %% too large: %v", err)
	}
}

// Without holes the parts are laid on their edges, in either hand; irregular ports leave no doubt which way.
func TestAlignOnOutlines(t *testing.T) {
	const seed = 9
	for trial := range 4 {
		rng := rand.New(rand.NewPCG(seed, uint64(trial)))
		s := fourPorts(rng, 0, 0.4)
		s.target.Holes, s.work.Holes = nil, nil
		mirror := trial%2 == 1
		res, err := Match(photographed(rng, s.target, 40, mirror), photographed(rng, s.work, 5, false), Options{ToleranceMM: 0.25})
		if err != nil {
			t.Fatalf("seed %d/%d: %v", seed, trial, err)
		}
		if res.Alignment.On != "outlines" || res.Alignment.Mirrored != mirror || len(res.Warnings) == 0 {
			t.Errorf("on %s, mirrored %v, warnings %v", res.Alignment.On, res.Alignment.Mirrored, res.Warnings)
		}
		for _, p := range res.Ports {
			near(t, "remove step of equal ports", p.RemoveStep.Value, 0, 0.01)
			near(t, "past step of equal ports", p.PastStep.Value, 0, 0.01)
		}
	}
}

// A single port without any hole, a throttle bore, is laid on its edge: the shape decides the turn.
func TestAlignOnePortWithoutHoles(t *testing.T) {
	rng := rand.New(rand.NewPCG(10, 0))
	b := randomBlob(rng, geom.PointMM{}, 30)
	s := scene{exactFace([]blob{b}, nil, 0.4), exactFace([]blob{b}, nil, 0.4)}
	res, err := Match(photographed(rng, s.target, 77, true), s.work, Options{ToleranceMM: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "remove step", res.Ports[0].RemoveStep.Value, 0, 0.01)
	if !res.Alignment.Mirrored {
		t.Error("not mirrored")
	}
	// A round one has no turn to find.
	round := exactFace([]blob{{radiusMM: 35}}, nil, 0.4)
	res, err = Match(round, round, Options{ToleranceMM: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "round on round", res.Ports[0].RemoveStep.Value, 0, 0.01)
}

func TestPortsThatCannotBeMeasured(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 0))
	s := fourPorts(rng, 1, 0.4)
	truth, err := Match(s.target, s.work, Options{ToleranceMM: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	s.work.Ports[0].CutByFrame = true
	s.target.Ports[1].Outline = []geom.PointMM{{X: -50, Y: -5}, {X: -40, Y: 5}, {X: -40, Y: -5}, {X: -50, Y: 5}} // a bow tie
	s.work.Ports = slices.Delete(s.work.Ports, 3, 4)
	res, err := Match(s.target, s.work, Options{ToleranceMM: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	var why []string
	for _, p := range res.Ports {
		if p.Verdict == NotMeasured {
			why = append(why, p.Why)
		}
	}
	for _, w := range []string{"cuts this port off", "crosses itself", "no opening was found here on the work"} {
		if !slices.ContainsFunc(why, func(s string) bool { return strings.Contains(s, w) }) {
			t.Errorf("reasons %q lack %q", why, w)
		}
	}
	i := slices.IndexFunc(res.Ports, func(p PortResult) bool { return p.Verdict != NotMeasured })
	if i < 0 {
		t.Fatal("no port was measured")
	}
	near(t, "the port that can be measured", res.Ports[i].RemoveStep.Value, truth.Ports[2].RemoveStep.Value, 1e-6)
}

func TestFacesWithNothingToCompare(t *testing.T) {
	rng := rand.New(rand.NewPCG(12, 0))
	s := fourPorts(rng, 1, 0.4)
	empty := *s.target
	empty.Ports = nil
	var fe *FaceError
	if _, err := Match(&empty, s.work, Options{ToleranceMM: 0.25}); !errors.As(err, &fe) || fe.Face != "target" {
		t.Errorf("no ports on the target: %v", err)
	}
	bad := *s.work
	bad.Ports = slices.Clone(s.work.Ports)
	bad.Ports[1].SigmaMM = []float64{1}
	if _, err := Match(s.target, &bad, Options{ToleranceMM: 0.25}); !errors.As(err, &fe) || fe.Face != "work" || !strings.Contains(fe.What.Words, "port 2") {
		t.Errorf("one sigma for many points: %v", err)
	}
	for _, tol := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if _, err := Match(s.target, s.work, Options{ToleranceMM: tol}); err == nil {
			t.Errorf("a tolerance of %g was taken", tol)
		}
	}
}

// A pass after the first keeps the frame: the target stays where it was, however the work lay in the photo.
func TestLaterPassKeepsTheFrame(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 0))
	s := fourPorts(rng, 1, 0.4)
	first, err := Match(s.target, s.work, Options{ToleranceMM: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	second, err := Match(s.target, photographed(rng, s.work, 175, false), Options{ToleranceMM: 0.25, Pass: 2, Before: first})
	if err != nil {
		t.Fatal(err)
	}
	for i := range first.Ports {
		p, q := first.Ports[i], second.Ports[i]
		near(t, "target outline x", q.TargetOutline[0][0], p.TargetOutline[0][0], 1e-9)
		near(t, "remove step", q.RemoveStep.Value, p.RemoveStep.Value, 1e-6)
		near(t, "its place", q.RemoveStep.At[1], p.RemoveStep.At[1], 1e-6)
	}
}

// A later pass whose face shows no holes, or lies with the other hand, is not the face of the job.
func TestLaterPassOfAnotherFace(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 1))
	s := fourPorts(rng, 1, 0.4)
	first, err := Match(s.target, s.work, Options{ToleranceMM: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	bare := *s.work
	bare.Holes = nil
	for name, work := range map[string]*face.Face{"no holes": &bare, "other hand": photographed(rng, s.work, 175, true)} {
		var mismatch *MismatchError
		if _, err := Match(s.target, work, Options{ToleranceMM: 0.25, Pass: 2, Before: first}); !errors.As(err, &mismatch) {
			t.Errorf("%s: %v, want a MismatchError", name, err)
		} else if !strings.Contains(mismatch.What.Words, "pass 1") {
			t.Errorf("%s: %q says nothing of pass 1", name, mismatch.What)
		}
	}
}

// Of a pattern 3.4 % too large three holes of six fall together by chance, enough to lay the parts on; at its own scale all do.
func TestScaleFoundByMoreHoles(t *testing.T) {
	grid := func(scale float64) *face.Face {
		var holes []face.Hole
		var ports []blob
		for _, x := range []float64{-40, 0, 40} {
			holes = append(holes, hole(scale*x, 0, 8.4), hole(scale*x, scale*105, 8.4))
			ports = append(ports, blob{centre: geom.PointMM{X: scale * x, Y: scale * 50}, radiusMM: scale * 15})
		}
		return exactFace(ports, holes, 0.5)
	}
	target, work := grid(1), grid(1.034)
	if fits := holeFits(target.Holes, work.Holes, holeReachMM); len(fits) == 0 || len(fits[0].pairs) != 3 {
		t.Fatalf("the scene has lost its point: %v", fits)
	}
	var other *MismatchError
	if _, err := Match(target, work, Options{ToleranceMM: 0.25}); !errors.As(err, &other) || math.Abs(other.ScaleRatio-1.034) > 0.001 {
		t.Errorf("%v", err)
	}
}

// Of two parts' six holes each, three fall together to a millimetre: that is chance, where others have no partner at all.
func TestFewHolesRoughlyTogether(t *testing.T) {
	ports := []blob{{centre: geom.PointMM{X: -30, Y: 30}, radiusMM: 15}, {centre: geom.PointMM{X: 30, Y: 30}, radiusMM: 15}}
	target := exactFace(ports, []face.Hole{hole(-90, 0, 8.4), hole(0, 0, 8.4), hole(80, 0, 8.4), hole(-60, 70, 8.4), hole(20, 75, 8.4), hole(95, 40, 8.4)}, 0.5)
	work := exactFace(ports, []face.Hole{hole(-89, 0.8, 8.4), hole(0, -1.4, 8.4), hole(78.6, 0.6, 8.4), hole(-20, 64, 8.4), hole(62, 81, 8.4), hole(-95, 52, 8.4)}, 0.5)
	if fits := holeFits(target.Holes, work.Holes, holeReachMM); len(fits) == 0 || len(fits[0].pairs) != 3 {
		t.Fatalf("the scene has lost its point: %v", fits)
	}
	var mismatch *MismatchError
	if _, err := Match(target, work, Options{ToleranceMM: 0.25}); !errors.As(err, &mismatch) {
		t.Errorf("%v", err)
	}
}

// On a first look holes that fit lay the parts, whatever passed for ports on one of them or whether any did; but where holes fit in more than one
// way and no port tells which, nobody guesses. Measured faces need ports that fit.
func TestLayByHoles(t *testing.T) {
	s := fourPorts(rand.New(rand.NewPCG(9, 0)), 1, 0.4)
	want, err := Lay(s.target, s.work, Options{ToleranceMM: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	elsewhere := func(p face.Port) face.Port {
		p.Outline = geom.Outline(p.Outline).Mapped(geom.Translation(geom.PointMM{X: 46}))
		return p
	}
	stain, none := *s.work, *s.target
	stain.Ports, none.Ports = []face.Port{elsewhere(s.work.Ports[0])}, nil
	for name, f := range map[string][2]*face.Face{"a stain for a port": {s.target, &stain}, "no port on the target": {&none, s.work}} {
		got, err := Lay(f[0], f[1], Options{ToleranceMM: 0.25})
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		for _, p := range s.target.Ports {
			c := geom.Outline(p.Outline).CentroidMM()
			near(t, name+": a port's place", got.Apply(c).Dist(want.Apply(c)), 0, 1e-6)
		}
		if _, err := Match(f[0], f[1], Options{ToleranceMM: 0.25}); err == nil {
			t.Errorf("%s: compared all the same", name)
		}
	}
	symmetric := symmetricScene()
	symmetric.target.Ports = nil
	var ambiguous *AmbiguousError
	if _, err := Lay(symmetric.target, symmetric.work, Options{ToleranceMM: 0.25}); !errors.As(err, &ambiguous) {
		t.Errorf("holes that fit two ways and no port: got %v, want an *AmbiguousError", err)
	}
}
