package compare

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// twoCircles is a target of radius r and a work opening of radius s, shifted by d to the right, with holes to lay them on.
func twoCircles(r, s, d float64) (target, work *face.Face) {
	holes := []face.Hole{hole(-40, 25, 8), hole(40, -25, 8), hole(-40, -22, 9), hole(38, 27, 9)}
	return exactFace([]blob{{radiusMM: r}}, holes, 0.1), exactFace([]blob{{centre: geom.PointMM{X: d}, radiusMM: s}}, holes, 0.1)
}

func mustMatch(t *testing.T, target, work *face.Face) PortResult {
	t.Helper()
	res, err := Match(target, work, Options{ToleranceMM: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	if len(res.Ports) != 1 {
		t.Fatalf("%d ports", len(res.Ports))
	}
	return res.Ports[0]
}

// Crescents of two circles in closed form; the chords of 0.1 mm on r = 20 stand off by 6e-5 mm and lose 4e-6 of the area.
func TestTwoCircles(t *testing.T) {
	for _, c := range []struct{ r, s, d, remove, past, removeStep, pastStep float64 }{
		{20, 20, 2, 79.966654, 79.966654, 2, 2},
		{20, 19, 3, 184.726563, 62.204450, 4, 2},
		{20, 19, 0.7, 122.522113, 0, 1.7, 0},
		{20, 20, 0, 0, 0, 0, 0},
		{20, 21, 0.4, 0, math.Pi * (441 - 400), 0, 1.4},
	} {
		target, work := twoCircles(c.r, c.s, c.d)
		p := mustMatch(t, target, work)
		near(t, "remove area", p.RemoveArea.Value, c.remove, 0.01)
		near(t, "past area", p.PastArea.Value, c.past, 0.01)
		near(t, "mismatch area", p.MismatchArea.Value, c.remove+c.past, 0.02)
		near(t, "remove step", p.RemoveStep.Value, c.removeStep, 1e-4)
		near(t, "past step", p.PastStep.Value, c.pastStep, 1e-4)
		// |T Δ W| = |T| + |W| - 2 |T ∩ W|, with |T ∩ W| = |T| - remove
		near(t, "areas a second way", p.MismatchArea.Value, p.TargetArea.Value+p.WorkArea.Value-2*(p.TargetArea.Value-p.RemoveArea.Value), 1e-9)
		near(t, "area ratio", p.AreaRatio, c.s*c.s/(c.r*c.r), 1e-5)
		// The job frame turns with the dowels; the offset keeps its length.
		near(t, "offset", math.Hypot(p.OffsetMM[0], p.OffsetMM[1]), c.d, 1e-6)
		checkProfile(t, &p)
	}
}

// checkProfile checks that the profile runs once round the target and holds the largest steps seen from it.
func checkProfile(t *testing.T, p *PortResult) {
	t.Helper()
	o := geom.Outline(pointsOf(p.TargetOutline))
	if o.Rightmost() != 0 || o.SignedAreaMM2() <= 0 {
		t.Errorf("the target outline does not start at its rightmost point and run anticlockwise")
	}
	s := o.ArcLengthsMM()
	last, most := -1.0, 0.0
	for _, q := range p.Profile {
		if q.AlongMM <= last {
			t.Fatalf("profile goes back at %.2f mm", q.AlongMM)
		}
		if d := o.At(o.PlaceAlong(s, q.AlongMM)).Dist(geom.PointMM{X: q.At[0], Y: q.At[1]}); d > 1e-6 {
			t.Fatalf("profile at %.2f mm lies %.4f off the outline", q.AlongMM, d)
		}
		last, most = q.AlongMM, max(most, q.StepMM)
	}
	if n := s[len(o)] / profileMM; float64(len(p.Profile)) < n-2 {
		t.Errorf("%d points of a profile of %.0f", len(p.Profile), n)
	}
	near(t, "largest of the profile", most, p.RemoveStep.Value, 1e-9)
}

func TestClock(t *testing.T) {
	for _, c := range []struct {
		d    geom.PointMM
		want string
	}{{geom.PointMM{X: 0, Y: 1}, "12:00"}, {geom.PointMM{X: 1, Y: 0}, "3:00"}, {geom.PointMM{X: 0, Y: -1}, "6:00"}, {geom.PointMM{X: -1, Y: 0}, "9:00"},
		{geom.PointMM{X: math.Sin(75 * math.Pi / 180), Y: math.Cos(75 * math.Pi / 180)}, "2:30"}, {geom.PointMM{X: -0.001, Y: 1}, "12:00"},
		{geom.PointMM{X: -math.Sin(7.5 * math.Pi / 180), Y: math.Cos(7.5 * math.Pi / 180)}, "11:45"}} {
		if got := clock(c.d); got != c.want {
			t.Errorf("%v: %s, want %s", c.d, got, c.want)
		}
	}
}

func TestReadingOrder(t *testing.T) {
	at := func(xy ...float64) (c []geom.PointMM, w []float64) {
		for i := 0; i < len(xy); i += 2 {
			c, w = append(c, geom.PointMM{X: xy[i], Y: xy[i+1]}), append(w, 40)
		}
		return c, w
	}
	for _, c := range []struct {
		name string
		xy   []float64
		want []int
	}{
		{"a row that climbs", []float64{164, 42, -14, -3, 75, 20, -104, -25}, []int{3, 1, 2, 0}},
		{"two rows", []float64{0, -30, 0, 30, 80, -29, 81, 31}, []int{1, 0, 3, 2}},
		{"one above the other, not quite", []float64{5, -30, -5, 30}, []int{1, 0}},
	} {
		centre, width := at(c.xy...)
		got := readingOrder(centre, width)
		for i := range c.want {
			if got[i] != c.want[i] {
				t.Errorf("%s: %v, want %v", c.name, got, c.want)
				break
			}
		}
	}
}

// unsee marks the part of an edge within half of the given angles, degrees, as not measured, and moves it off, as a bridge
// over a rag would be.
func unsee(e *face.Edge, centre geom.PointMM, fromDeg, toDeg, offMM float64) {
	e.Sure = make([]bool, len(e.Outline))
	for i, p := range e.Outline {
		d := p.Sub(centre)
		a := math.Atan2(d.Y, d.X) * 180 / math.Pi
		e.Sure[i] = a < fromDeg || a > toDeg
		if !e.Sure[i] {
			e.Outline[i] = p.Add(d.Scale(offMM / d.Norm()))
		}
	}
}

// A stretch that was not measured carries no figure, on whichever part it lies.
func TestUnsureArcs(t *testing.T) {
	for _, side := range []string{"target", "work"} {
		target, work := twoCircles(20, 19.9, 0) // 0.1 mm left all round: matched
		e := &work.Ports[0].Edge
		if side == "target" {
			e = &target.Ports[0].Edge
		}
		unsee(e, geom.PointMM{}, 30, 60, 1.5)
		p := mustMatch(t, target, work)
		near(t, side+": remove step", p.RemoveStep.Value, 0.1, 1e-3)
		near(t, side+": past step", p.PastStep.Value, 0, 1e-3)
		// The areas count the bridge as drawn, and doubt it: the truth, rings of 20 and 19.9, lies within U.
		near(t, side+": remove area", p.RemoveArea.Value, math.Pi*(400-19.9*19.9), p.RemoveArea.Uncertainty)
		near(t, side+": past area", p.PastArea.Value, 0, p.PastArea.Uncertainty)
		near(t, side+": target area", p.TargetArea.Value, math.Pi*400, p.TargetArea.Uncertainty)
		near(t, side+": work area", p.WorkArea.Value, math.Pi*19.9*19.9, p.WorkArea.Uncertainty)
		if p.MismatchArea.Uncertainty > 60 { // 2 · 1.6 mm · 14 mm, and a little
			t.Errorf("%s: mismatch area %.1f ± %.1f", side, p.MismatchArea.Value, p.MismatchArea.Uncertainty)
		}
		near(t, side+": share within tolerance", p.WithinTolerance, 1, 1e-9)
		var unsure float64
		for _, a := range p.UnsureArcs {
			unsure += a[1] - a[0]
		}
		// An arc of 30 degrees, with both walls of the bridge where it is the target's, and a mm beside either wall.
		near(t, side+": unsure length", unsure, 2*1+map[string]float64{"target": 21.5*math.Pi/6 + 2*1.5, "work": 20 * math.Pi / 6}[side], 0.5)
		// 10 mm can hide a ledge.
		if p.Verdict != TooClose || !strings.Contains(p.Why, "could not be measured") {
			t.Errorf("%s: %s, %q; a step may hide in the arc", side, p.Verdict, p.Why)
		}
	}
}

// A rag lies over both openings, and their edges were drawn along its straight one: the areas of the circles are within U.
func TestAreasHiddenByARag(t *testing.T) {
	for _, chordMM := range []float64{5, 20, 30} {
		target, work := twoCircles(20, 19.9, 0)
		for _, f := range []*face.Face{target, work} {
			e := &f.Ports[0].Edge
			fromMM := math.Sqrt(20*20 - chordMM*chordMM/4) // the rag's edge from the middle
			e.Sure = make([]bool, len(e.Outline))
			for i, p := range e.Outline {
				e.Sure[i] = p.X < fromMM
				e.Outline[i].X = min(p.X, fromMM)
			}
		}
		p := mustMatch(t, target, work)
		u := p.TargetArea.Uncertainty
		near(t, fmt.Sprintf("%g mm hidden: target area", chordMM), p.TargetArea.Value, math.Pi*20*20, u)
		near(t, fmt.Sprintf("%g mm hidden: work area", chordMM), p.WorkArea.Value, math.Pi*19.9*19.9, p.WorkArea.Uncertainty)
		turn := 2 * math.Asin(chordMM/2/20)
		if segment := (turn - math.Sin(turn)) / 2 * 20 * 20; u > segment+chordMM {
			t.Errorf("%g mm hidden, %.1f mm²: target area ± %.1f", chordMM, segment, u)
		}
	}
}

// Where it could not be measured more stands out, as drawn, than anywhere else: the user is told how much and where.
func TestMoreMayHaveToGo(t *testing.T) {
	for _, c := range []struct {
		offMM float64 // of the work's edge where it is not measured, outward
		want  bool
	}{{-0.8, true}, {0, false}, {0.5, false}} {
		target, work := twoCircles(20, 19, 0)
		unsee(&work.Ports[0].Edge, geom.PointMM{}, 60, 120, c.offMM)
		p := mustMatch(t, target, work)
		if got := strings.Contains(p.Why, "more may have to go there (1.8 mm as drawn, at "); got != c.want {
			t.Errorf("%+.1f mm: %q", c.offMM, p.Why)
		}
	}
}

// What is clear on the measured part stays clear.
func TestUnsureArcsLeaveGrind(t *testing.T) {
	target, work := twoCircles(20, 19, 0)
	unsee(&work.Ports[0].Edge, geom.PointMM{}, 30, 60, 0)
	if p := mustMatch(t, target, work); p.Verdict != Grind || p.Why == "" {
		t.Errorf("%s, %q", p.Verdict, p.Why)
	}
	target, work = twoCircles(20, 19.9, 0)
	unsee(&work.Ports[0].Edge, geom.PointMM{}, 30, 36, 0) // 2 mm
	if p := mustMatch(t, target, work); p.Verdict != Matched {
		t.Errorf("%s, %q; 2 mm hide nothing", p.Verdict, p.Why)
	}
	target, work = twoCircles(20, 19, 0)
	unsee(&work.Ports[0].Edge, geom.PointMM{}, -100, 100, 0)
	if p := mustMatch(t, target, work); p.Verdict != NotMeasured || !strings.Contains(p.Why, "%") {
		t.Errorf("%s, %q; most of the edge was not measured", p.Verdict, p.Why)
	}
}

// An edge of which a third is missing and the rest is known roughly was perhaps followed along something else: a step of 2.5 mm on it is no
// reason to grind. One of the two alone leaves the figures.
func TestRoughAndPartlyUnseen(t *testing.T) {
	for _, c := range []struct {
		unseenDeg, sigmaMM float64
		want               string
	}{{140, 0.3, NotMeasured}, {70, 0.3, Grind}, {140, 0.05, Grind}} {
		target, work := twoCircles(20, 17.5, 0)
		e := &target.Ports[0].Edge
		e.BiasMM, e.SigmaMM, e.CorrMM = make([]float64, len(e.Outline)), make([]float64, len(e.Outline)), 3
		for i := range e.BiasMM {
			e.BiasMM[i] = c.sigmaMM
		}
		unsee(e, geom.PointMM{}, 0, c.unseenDeg, 0)
		if p := mustMatch(t, target, work); p.Verdict != c.want || c.want == NotMeasured && (p.RemoveStep.Value != 0 || p.Why == "") {
			t.Errorf("%.0f degrees unseen, the rest to %.2f mm: %s, %q", c.unseenDeg, c.sigmaMM, p.Verdict, p.Why)
		}
	}
}

// A high spot 8 mm wide and 0.5 mm high stays in the figure under the noise of a good photo.
func TestHighSpotIsNotSmoothedAway(t *testing.T) {
	const seed = 21
	rng := rand.New(rand.NewPCG(seed, 0))
	holes := []face.Hole{hole(-40, 25, 8), hole(40, -25, 8), hole(-40, -22, 9), hole(38, 27, 9)}
	b := blob{radiusMM: 20}
	target := exactFace([]blob{b}, holes, 0.15)
	b.bumpMM, b.bumpAt = 0.5, 1
	work := exactFace([]blob{b}, holes, 0.15)
	e := errorsMM{edge: 0.02, corr: 1, hole: 0.001}
	const trials = 20
	var mean float64
	for range trials {
		res, err := Match(seen(rng, target, e), seen(rng, work, e), Options{ToleranceMM: 0.25})
		if err != nil {
			t.Fatal(err)
		}
		p := res.Ports[0]
		mean += p.RemoveStep.Value / trials
		// Twenty readings of sqrt(2) · 0.02 mm: three standard deviations.
		near(t, "remove step", p.RemoveStep.Value, 0.5, 3*math.Sqrt2*0.02)
		if p.Verdict != Grind {
			t.Errorf("%s", p.Verdict)
		}
	}
	near(t, "mean", mean, 0.5, 0.02)
}

// An outline of 100 000 points is compared like any other, and identical faces match.
func TestManyPoints(t *testing.T) {
	target, work := twoCircles(20, 19, 0)
	for _, f := range []*face.Face{target, work} {
		b := blob{radiusMM: 20}
		if f == work {
			b.radiusMM = 19
		}
		f.Ports[0].Outline = b.outline(2 * math.Pi * 20 / 100_000)
	}
	p := mustMatch(t, target, work)
	near(t, "remove step", p.RemoveStep.Value, 1, 1e-3)
	near(t, "remove area", p.RemoveArea.Value, math.Pi*39, 0.01)
	p = mustMatch(t, target, target)
	if p.Verdict != Matched || p.MismatchArea.Value > 1e-9 || p.RemoveStep.Value != 0 {
		t.Errorf("identical faces: %s, %g mm², %g mm", p.Verdict, p.MismatchArea.Value, p.RemoveStep.Value)
	}
}

// A port that one hardly seen place keeps from being called says which, and what may be there.
func TestDoubtfulPlaceIsNamed(t *testing.T) {
	target, work := twoCircles(20, 19.9, 0)
	e := &target.Ports[0].Edge
	e.BiasMM = make([]float64, len(e.Outline))
	for i, p := range e.Outline {
		e.BiasMM[i] = 0.01
		if a := math.Atan2(p.Y, p.X) * 180 / math.Pi; a > -55 && a < -35 {
			e.BiasMM[i] = 0.15
		}
	}
	p := mustMatch(t, target, work)
	near(t, "remove step", p.RemoveStep.Value, 0.1, 0.01)
	there := false // by the clock of the job's frame, which is turned
	for _, q := range p.Profile {
		there = there || q.UMM > 0.25 && strings.Contains(p.Why, "hard to see at "+clock(geom.PointMM{X: q.At[0], Y: q.At[1]})+",")
	}
	if p.Verdict != TooClose || !there || !strings.Contains(p.Why, "up to 0.40 mm") {
		t.Errorf("%s, %q", p.Verdict, p.Why)
	}
}

// A step is called rough where its expanded uncertainty passes the usual tolerance of 0.25 mm.
func TestRoughSteps(t *testing.T) {
	c := &portComparison{target: &ring{}}
	for u, want := range map[float64]bool{0.1: false, 0.25: false, 0.26: true} {
		if s := c.step(peak{valueMM: 1, uMM: u, at: &sample{}}); s.Rough() != want {
			t.Errorf("1 mm ± %.2f mm is rough: %v, want %v", u, s.Rough(), want)
		}
	}
}
