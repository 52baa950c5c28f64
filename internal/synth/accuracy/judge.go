package main

import (
	"fmt"
	"math"
	"strings"

	"portmatch/internal/compare"
	"portmatch/internal/geom"
	"portmatch/internal/synth"
)

// The bars of the design: steps within 0.10 mm and areas within 1 % of the target's are right on any picture.
const (
	rightStepMM  = 0.10
	rightAreaPct = 1.0
)

// Outcomes of a scene, from best to worst.
const (
	right   = "right"        // figures are right, whatever is stated
	honest  = "honest"       // off, but within the stated uncertainty, or marked
	refused = "refused"      // exit 3 or 4 with a message
	silent  = "SILENT WRONG" // wrong figures without a word
	broken  = "BROKEN"       // crash, no result, other exit
)

// portRow is one port of one scene against its truth. Errors: value minus truth; U: stated, k = 2.
type portRow struct {
	port                 string
	verdict, why         string
	missed, invented     bool
	marked               bool // the tool says itself that it isn't sure of part or all of it
	touched              bool
	removeErr, removeU   float64
	pastErr, pastU       float64
	removeTrue, pastTrue float64
	areaErrPct           [4]float64 // target, work, remove, past, in % of the target's area
	areaCovered          [4]bool
	falseVerdict         bool
	outcome              string
	reason               string
	measured             bool
	target, work         outlineError
}

// sceneRow is the judgement of one scene.
type sceneRow struct {
	*scene
	outcome  string
	reason   string
	ports    []portRow
	warnings []string
	tookS    float64
}

func (s *scene) judge(a answer) sceneRow {
	row := sceneRow{scene: s, tookS: a.took.Seconds()}
	switch {
	case a.err != nil:
		row.outcome, row.reason = broken, a.err.Error()
		return row
	case strings.Contains(a.said, "panic:") || strings.Contains(a.said, "goroutine 1 ["):
		row.outcome, row.reason = broken, "panic"
		return row
	case a.status == 3 || a.status == 4:
		row.outcome, row.reason = refused, lastLine(a.said)
		if row.reason == "" {
			row.outcome, row.reason = broken, "refused without a word"
		}
		return row
	case a.status != 0:
		row.outcome, row.reason = broken, fmt.Sprintf("exit %d: %s", a.status, lastLine(a.said))
		return row
	}
	for _, w := range a.result.Warnings {
		row.warnings = append(row.warnings, w.Photo+": "+w.What)
	}
	row.outcome = right
	if s.unrelated {
		for _, p := range a.result.Ports {
			if p.Verdict != compare.NotMeasured {
				row.outcome, row.reason = silent, "figures for parts that don't belong together"
			}
		}
		return row
	}
	s.pairUp(&row, a.result)
	rank := map[string]int{right: 0, honest: 1, silent: 2}
	for _, p := range row.ports {
		if rank[p.outcome] > rank[row.outcome] {
			row.outcome = p.outcome
		}
		if p.outcome == silent || p.outcome == honest {
			row.reason = strings.TrimSpace(row.reason + " port " + p.port + ": " + p.reason + ";")
		}
	}
	return row
}

// pairUp finds for every port of the result the opening of the truth it lies on.
func (s *scene) pairUp(row *sceneRow, r *compare.Result) {
	strips := map[string][]int{}
	for _, c := range r.Calibration {
		strips[c.Photo] = c.Strips
	}
	scale := s.known.pair.Scale
	work, ok := newFrame(s.known.work, r.Alignment.JobFromWork, strips["work"], scale)
	centres := s.known.centres()
	if !ok {
		work.jobFromStrip = fitCentres(r, centres).Inverse()
	}
	target, targetOK := newFrame(s.known.target, r.Alignment.JobFromTarget, strips["target"], scale)
	partFromPair := s.known.partFromPair()
	jobFromPair := func(at [2]float64) geom.PointMM {
		return work.job(partFromPair.Apply(geom.PointMM{X: at[0], Y: at[1]}.Scale(1 / work.scale)))
	}
	found := map[string]bool{}
	said := strings.Join(row.warnings, " ")
	for i := range r.Ports {
		p := &r.Ports[i]
		o := p.WorkOutline
		if len(o) < 3 {
			o = p.TargetOutline
		}
		if len(o) < 3 {
			if p.Verdict != compare.NotMeasured {
				row.ports = append(row.ports, portRow{port: fmt.Sprint(p.Port), invented: true, outcome: silent, reason: "figures without an outline"})
			}
			continue
		}
		c, area := middle(o)
		c = work.part(c)
		id, best := "", math.Inf(1)
		for k, q := range centres {
			if d := q.Dist(c); d < best {
				id, best = k, d
			}
		}
		// An opening is the one meant if its middle lies within a quarter of its width.
		if best > math.Sqrt(area)/4 || found[id] {
			pr := portRow{port: fmt.Sprint(p.Port), verdict: p.Verdict, invented: true, outcome: silent, reason: fmt.Sprintf("no opening there (nearest %.1f mm off)", best)}
			if p.Verdict == compare.NotMeasured {
				pr.outcome = honest
			}
			row.ports = append(row.ports, pr)
			continue
		}
		found[id] = true
		for _, q := range s.known.pair.Ports {
			if q.Port != id {
				continue
			}
			pr := s.judgePort(p, &q, r.ToleranceMM, jobFromPair)
			if ok {
				pr.work = outlineErrorOf(p.WorkOutline, &work, s.known.work, id)
			}
			if targetOK {
				pr.target = outlineErrorOf(p.TargetOutline, &target, s.known.target, id)
			}
			row.ports = append(row.ports, pr)
		}
	}
	for _, q := range s.known.pair.Ports {
		if !found[q.Port] {
			pr := portRow{port: q.Port, missed: true, touched: s.isTouched(q.Port), outcome: silent, reason: "left out without a word"}
			if strings.Contains(said, "port") || strings.Contains(said, "opening") {
				pr.outcome, pr.reason = honest, "left out, with a warning"
			}
			row.ports = append(row.ports, pr)
		}
	}
}

func (s *scene) isTouched(id string) bool {
	for _, t := range s.touched {
		if t == id {
			return true
		}
	}
	return false
}

// outlineError is how far a traced outline stands from the truth in its own picture, camera and all: mm, positive outwards.
type outlineError struct {
	known                bool
	mean, rms, p95, most float64
}

func outlineErrorOf(o [][2]float64, f *frame, truth *synth.Truth, id string) outlineError {
	for _, p := range truth.Ports {
		if p.ID != id || len(o) < 3 {
			continue
		}
		e := outlineError{known: true}
		var far []float64
		for _, q := range o {
			d := signedDistance(f.part(geom.PointMM{X: q[0], Y: q[1]}), p.Outline)
			e.mean += d / float64(len(o))
			e.rms += d * d / float64(len(o))
			far = append(far, math.Abs(d))
		}
		e.rms, e.p95, e.most = math.Sqrt(e.rms), quantile(far, 0.95), quantile(far, 1)
		return e
	}
	return outlineError{}
}

// signedDistance of p to an anticlockwise outline, positive outside.
func signedDistance(p geom.PointMM, o [][2]float64) float64 {
	best, in := math.Inf(1), false
	for i := range o {
		a, b := geom.PointMM{X: o[i][0], Y: o[i][1]}, geom.PointMM{X: o[(i+1)%len(o)][0], Y: o[(i+1)%len(o)][1]}
		d := b.Sub(a)
		t := max(0, min(1, p.Sub(a).Dot(d)/d.Dot(d)))
		best = min(best, p.Dist(a.Add(d.Scale(t))))
		if (a.Y > p.Y) != (b.Y > p.Y) && p.X < a.X+(p.Y-a.Y)/(b.Y-a.Y)*d.X {
			in = !in
		}
	}
	if in {
		return -best
	}
	return best
}

// middle of a closed polyline, and its area.
func middle(o [][2]float64) (geom.PointMM, float64) {
	var c geom.PointMM
	a := 0.0
	for i := range o {
		j := (i + 1) % len(o)
		w := o[i][0]*o[j][1] - o[j][0]*o[i][1]
		a += w
		c.X += (o[i][0] + o[j][0]) * w
		c.Y += (o[i][1] + o[j][1]) * w
	}
	return c.Scale(1 / (3 * a)), math.Abs(a / 2)
}

func (s *scene) judgePort(p *compare.PortResult, q *synth.PairPort, tolMM float64, jobFromPair func([2]float64) geom.PointMM) portRow {
	row := portRow{port: q.Port, verdict: p.Verdict, why: p.Why, touched: s.isTouched(q.Port), removeTrue: q.RemoveStepMM, pastTrue: q.PastStepMM,
		marked: p.Verdict == compare.NotMeasured || len(p.UnsureArcs) > 0 || p.RemoveStep.Rough() || p.PastStep.Rough()}
	rem, past := q.RemoveStepMM, q.PastStepMM
	row.outcome = right
	worse := func(to, why string, args ...any) {
		if to == silent || row.outcome == right {
			row.outcome = to
		}
		row.reason = strings.TrimSpace(row.reason + " " + fmt.Sprintf(why, args...))
	}
	// A step within 2 µm of the tolerance may be called either way.
	const hair = 0.002
	switch {
	case p.Verdict == compare.NotMeasured:
		worse(honest, "not measured")
		return row
	case p.Verdict == compare.Matched && math.Max(rem, past) > tolMM+hair,
		strings.Contains(p.Verdict, compare.Grind) && rem < tolMM-hair,
		strings.Contains(p.Verdict, compare.PastLine) && past < tolMM-hair:
		row.falseVerdict = true
		worse(silent, "%q, true steps %.3f and %.3f", p.Verdict, rem, past)
	}
	row.measured = true
	row.removeErr, row.removeU = p.RemoveStep.Value-rem, p.RemoveStep.Uncertainty
	row.pastErr, row.pastU = p.PastStep.Value-past, p.PastStep.Uncertainty
	unsure := func(at *[2]float64) bool {
		return at != nil && onUnsureArc(p, jobFromPair(*at))
	}
	for _, c := range []struct {
		what      string
		err, u    float64
		place     bool
		trueValue float64
	}{{"remove step", row.removeErr, row.removeU, unsure(q.RemoveAt), rem}, {"past step", row.pastErr, row.pastU, unsure(q.PastAt), past}} {
		switch {
		case math.IsNaN(c.err):
			worse(silent, "%s is not a number", c.what)
		case math.Abs(c.err) <= rightStepMM:
		case math.Abs(c.err) <= c.u:
			worse(honest, "%s %+.3f off, U %.3f", c.what, c.err, c.u)
		case p.Verdict == compare.TooClose:
			worse(honest, "%s %+.3f off, too close to call", c.what, c.err)
		case c.err < 0 && c.place:
			worse(honest, "%s %+.3f off, its place is marked unsure", c.what, c.err)
		default:
			worse(silent, "%s %+.3f off, U %.3f", c.what, c.err, c.u)
		}
	}
	unsureMM := 0.0
	for _, a := range p.UnsureArcs {
		unsureMM += math.Max(0, a[1]-a[0])
	}
	for i, c := range []struct {
		what string
		got  compare.Quantity
		want float64
	}{{"target area", p.TargetArea, q.TargetAreaMM2}, {"work area", p.WorkArea, q.PortAreaMM2}, {"remove area", p.RemoveArea, q.RemoveAreaMM2}, {"past area", p.PastArea, q.PastAreaMM2}} {
		e := c.got.Value - c.want
		row.areaErrPct[i] = 100 * e / q.TargetAreaMM2
		row.areaCovered[i] = math.Abs(e) <= c.got.Uncertainty+1e-9
		switch {
		case math.Abs(row.areaErrPct[i]) <= rightAreaPct:
		case math.Abs(e) <= c.got.Uncertainty+unsureMM*math.Max(rem, past):
			worse(honest, "%s %+.1f mm² off, U %.1f", c.what, e, c.got.Uncertainty)
		case p.Verdict == compare.TooClose:
			worse(honest, "%s %+.1f mm² off, too close to call", c.what, e)
		default:
			worse(silent, "%s %+.1f mm² off, U %.1f", c.what, e, c.got.Uncertainty)
		}
	}
	return row
}

// onUnsureArc tells whether q, job frame, lies on a stretch that is marked unsure, 2 mm of slack.
func onUnsureArc(p *compare.PortResult, q geom.PointMM) bool {
	if len(p.UnsureArcs) == 0 || len(p.TargetOutline) < 3 {
		return false
	}
	o := p.TargetOutline
	start := 0
	for i := range o {
		if o[i][0] > o[start][0] {
			start = i
		}
	}
	along, best, place := 0.0, math.Inf(1), 0.0
	for i := range o {
		a, b := o[(start+i)%len(o)], o[(start+i+1)%len(o)]
		if d := math.Hypot(a[0]-q.X, a[1]-q.Y); d < best {
			best, place = d, along
		}
		along += math.Hypot(b[0]-a[0], b[1]-a[1])
	}
	for _, u := range p.UnsureArcs {
		for _, turn := range []float64{-along, 0, along} {
			if place+turn >= u[0]-2 && place+turn <= u[1]+2 {
				return true
			}
		}
	}
	return false
}
