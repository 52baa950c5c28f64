package main

import (
	"math"
	"strings"
	"testing"

	"portmatch/internal/compare"
	"portmatch/internal/face"
	"portmatch/internal/geom"
	"portmatch/internal/synth"
)

// made is a scene with one round opening at (10, 0) of the part frame, target 2 mm larger in radius than the work, and the
// answer of a tool that is right to the last digit, in a job frame of its own.
func made() (*scene, *compare.Result) {
	s := &scene{class: "made", name: "made", workable: true, known: &known{pair: &synth.PairTruth{}, target: &synth.Truth{}, work: &synth.Truth{}}}
	s.known.pair.PairFromWork = &[6]float64{1, 0, 0, 0, 1, 0}
	s.known.pair.Ports = []synth.PairPort{{Port: "1", TargetAreaMM2: math.Pi * 484, PortAreaMM2: math.Pi * 400, RemoveAreaMM2: math.Pi * 84,
		RemoveStepMM: 2, RemoveAt: &[2]float64{32, 0}, TargetCentroid: [2]float64{10, 0}, PortCentroid: [2]float64{10, 0}}}
	s.known.work.Ports = []synth.TruthPort{{ID: "1", Centroid: [2]float64{10, 0}}}
	s.known.work.Strips = []synth.TruthStrip{{Strip: 3, Origin: [3]float64{-90, 40, 0}, RotDeg: 90}}
	// Face frame = strip 3's: the part's point p is at turn(-90°)(p - origin). Job = face moved by (5, 6).
	ring := func(r float64) [][2]float64 {
		var o [][2]float64
		for _, p := range synth.Circle(geom.PointMM{X: 10}, 2*r) {
			d := p.Sub(geom.PointMM{X: -90, Y: 40})
			o = append(o, [2]float64{d.Y + 5, -d.X + 6})
		}
		return o
	}
	u := func(v, u float64) compare.Quantity { return compare.Quantity{Value: v, Uncertainty: u} }
	return s, &compare.Result{ToleranceMM: 0.25, Alignment: compare.Alignment{JobFromWork: [6]float64{1, 0, 5, 0, 1, 6}},
		Calibration: []face.Calibration{{Photo: "work", Strips: []int{3}}},
		Ports: []compare.PortResult{{Port: 1, Verdict: compare.Grind, TargetArea: u(math.Pi*484, 3), WorkArea: u(math.Pi*400, 3), RemoveArea: u(math.Pi*84, 4),
			RemoveStep: compare.Step{Quantity: u(2, 0.05)}, TargetOutline: ring(22), WorkOutline: ring(20)}}}
}

// onOutline is the place of the part frame's point p along an outline of the job frame, from its rightmost point.
func onOutline(o [][2]float64, p geom.PointMM) float64 {
	d := p.Sub(geom.PointMM{X: -90, Y: 40})
	x, y := d.Y+5, -d.X+6
	start, best := 0, 0
	for i := range o {
		if o[i][0] > o[start][0] {
			start = i
		}
		if math.Hypot(o[i][0]-x, o[i][1]-y) < math.Hypot(o[best][0]-x, o[best][1]-y) {
			best = i
		}
	}
	step := math.Hypot(o[1][0]-o[0][0], o[1][1]-o[0][1])
	return step * float64((best-start+len(o))%len(o))
}

// Each kind of answer is recognized: right, off within U, marked, wrong, in the wrong place, missing, invented, false verdict.
func TestJudge(t *testing.T) {
	for _, c := range []struct {
		name   string
		edit   func(*compare.Result)
		want   string
		reason string
	}{
		{"right", func(*compare.Result) {}, right, ""},
		{"off by 0.09", func(r *compare.Result) { r.Ports[0].RemoveStep.Value = 2.09 }, right, ""},
		{"off by 0.2, U 0.3", func(r *compare.Result) {
			r.Ports[0].RemoveStep.Quantity = compare.Quantity{Value: 2.2, Uncertainty: 0.3}
		}, honest, "remove step"},
		{"off by 0.2", func(r *compare.Result) { r.Ports[0].RemoveStep.Value = 2.2 }, silent, "remove step"},
		{"not a number", func(r *compare.Result) { r.Ports[0].RemoveStep.Value = math.NaN() }, silent, "not a number"},
		{"area off by 2 %", func(r *compare.Result) { r.Ports[0].WorkArea.Value += 0.02 * math.Pi * 484 }, silent, "work area"},
		{"not measured", func(r *compare.Result) {
			r.Ports[0].Verdict = compare.NotMeasured
			r.Ports[0].RemoveStep.Value = 0
		}, honest, "not measured"},
		{"too small, at an unsure place", func(r *compare.Result) {
			r.Ports[0].RemoveStep.Value = 1
			at := onOutline(r.Ports[0].TargetOutline, geom.PointMM{X: 32})
			r.Ports[0].UnsureArcs = [][2]float64{{at - 3, at + 3}}
		}, honest, "marked unsure"},
		{"too small, unsure elsewhere", func(r *compare.Result) {
			r.Ports[0].RemoveStep.Value = 1
			at := onOutline(r.Ports[0].TargetOutline, geom.PointMM{X: -12})
			r.Ports[0].UnsureArcs = [][2]float64{{at - 3, at + 3}}
		}, silent, "remove step"},
		{"called matched", func(r *compare.Result) { r.Ports[0].Verdict = compare.Matched }, silent, "matched"},
		{"called past", func(r *compare.Result) { r.Ports[0].Verdict = compare.GrindPast }, silent, "past the line"},
		{"elsewhere", func(r *compare.Result) { r.Alignment.JobFromWork[2] += 60 }, silent, "left out"},
		{"missing", func(r *compare.Result) { r.Ports = nil }, silent, "left out"},
		{"missing, with a word", func(r *compare.Result) {
			r.Ports = nil
			r.Warnings = append(r.Warnings, face.Warning{Photo: "work", What: "port 1 could not be measured"})
		}, honest, "left out"},
		{"one too many", func(r *compare.Result) { r.Ports = append(r.Ports, r.Ports[0]) }, silent, "no opening there"},
	} {
		s, r := made()
		c.edit(r)
		row := s.judge(answer{result: r})
		if row.outcome != c.want || !strings.Contains(row.reason+" ", c.reason) {
			t.Errorf("%s: %s (%s), want %s (%s)", c.name, row.outcome, row.reason, c.want, c.reason)
		}
	}
}

func TestJudgeExits(t *testing.T) {
	for _, c := range []struct {
		a    answer
		want string
	}{
		{answer{status: 3, said: "progress\nno strip found"}, refused},
		{answer{status: 3}, broken},
		{answer{status: 1, said: "boom"}, broken},
		{answer{status: 2, said: "panic: runtime error\ngoroutine 1 [running]"}, broken},
		{answer{status: -1}, broken},
	} {
		s, _ := made()
		if row := s.judge(c.a); row.outcome != c.want {
			t.Errorf("exit %d, %q: %s, want %s", c.a.status, c.a.said, row.outcome, c.want)
		}
	}
	s, r := made()
	s.unrelated = true
	if row := s.judge(answer{result: r}); row.outcome != silent {
		t.Errorf("figures for unrelated parts: %s, want %s", row.outcome, silent)
	}
}

// Truth without the map of frames: it follows from the middles of the openings, also for a mirrored picture.
func TestFrameFromMiddlesOfOpenings(t *testing.T) {
	for _, mirrored := range []bool{false, true} {
		k := &known{pair: &synth.PairTruth{}, work: &synth.Truth{Mirrored: mirrored}}
		want := geom.Rigid{A: math.Cos(0.3), B: -math.Sin(0.3), C: math.Sin(0.3), D: math.Cos(0.3), Tx: 7, Ty: -2}
		if mirrored {
			want = want.After(geom.Rigid{A: -1, D: 1})
		}
		for i, p := range []geom.PointMM{{X: -50, Y: 3}, {X: 2, Y: -8}, {X: 61, Y: 12}} {
			q := want.Apply(p)
			id := string(rune('1' + i))
			k.pair.Ports = append(k.pair.Ports, synth.PairPort{Port: id, PortCentroid: [2]float64{p.X, p.Y}})
			k.work.Ports = append(k.work.Ports, synth.TruthPort{ID: id, Centroid: [2]float64{q.X, q.Y}})
		}
		p := geom.PointMM{X: 20, Y: 30}
		if got := k.partFromPair().Apply(p); got.Dist(want.Apply(p)) > 1e-9 {
			t.Errorf("mirrored %v: %v, want %v", mirrored, got, want.Apply(p))
		}
	}
}

func TestQuantile(t *testing.T) {
	v := []float64{5, 1, 4, 2, 3}
	for _, c := range []struct{ q, want float64 }{{0, 1}, {0.5, 3}, {0.8, 4}, {0.95, 5}, {1, 5}} {
		if got := quantile(v, c.q); got != c.want {
			t.Errorf("quantile %.2f: %g, want %g", c.q, got, c.want)
		}
	}
	if !math.IsNaN(quantile(nil, 0.5)) {
		t.Error("a quantile of nothing")
	}
}
