package render

import (
	"fmt"
	"math"
	"strconv"

	"portmatch/internal/compare"
)

// mostSpots is how many spots of one kind are named of a port; the rest are counted.
const mostSpots = 4

// portRemarks are what a result says of one port beyond its steps and areas: which steps are known roughly, what the last grinding did, what the flow meets
// there, where the cut fades out, what the play of the bolts can do. One sentence each.
func portRemarks(r *compare.Result, p *compare.PortResult, u Units) []string {
	var out []string
	for _, s := range []struct {
		name string
		step *compare.Step
	}{{"to remove", &p.RemoveStep}, {"past the line", &p.PastStep}} {
		if p.Verdict != compare.NotMeasured && s.step.Rough() {
			out = append(out, fmt.Sprintf("The step %s is known only roughly, ± %s %s: its edge is hard to see at %s. Look there yourself, or take a photo from nearer or with other light.",
				s.name, u.LengthText(s.step.Uncertainty), u.Length(), s.step.Clock))
		}
	}
	for i := range r.Progress {
		if g := &r.Progress[i]; g.Port == p.Port {
			out = append(out, progressRemarks(g, u)...)
		}
	}
	if f := p.Flow; f != nil {
		s := fmt.Sprintf("A step to remove is a %s to the flow, a step past the line a %s; the area behind the joint is %s times that before it",
			f.RemoveStep, f.PastStep, decimal(f.AreaRatio, 3))
		if f.Change != "none" {
			s += fmt.Sprintf(" (%s, loss coefficient %s)", f.Change, lossText(f.Loss))
		}
		out = append(out, s+".")
	}
	if b := p.Blend; b != nil && b.Volume.Value > 0 {
		out = append(out, fmt.Sprintf("The cut fades out %s %s down the runner at the deepest: %s %s³ of metal.",
			u.LengthText(b.DepthMM), u.Length(), u.volumePM(b.Volume), string(u)))
	}
	if r.Float != nil {
		for _, f := range r.Float.Ports {
			if f.Port == p.Port {
				out = append(out, fmt.Sprintf("However the bolts let it lie, the step to remove is at most %s and the step past the line at most %s %s.",
					u.LengthPM(f.WorstRemove), u.LengthPM(f.WorstPast), u.Length()))
			}
		}
	}
	return out
}

func progressRemarks(g *compare.Progress, u Units) []string {
	if g.Why != "" {
		return []string{fmt.Sprintf("Since pass %d: nothing can be said, %s.", g.Since, g.Why)}
	}
	s := fmt.Sprintf("Since pass %d: %s %s taken off", g.Since, u.AreaPM(g.Taken), u.Area())
	if g.MostTaken.Value > g.MostTaken.Uncertainty {
		s += fmt.Sprintf(", most at %s (%s %s deep)", g.MostTaken.Clock, u.LengthPM(g.MostTaken.Quantity), u.Length())
	}
	out := []string{s + "."}
	if len(g.Past) > 0 {
		out = append(out, "Past the line: "+spots(g.Past, u)+".")
	}
	if len(g.Unmoved) > 0 {
		out = append(out, "Still in the way and not moved: "+spots(g.Unmoved, u)+".")
	}
	return out
}

func spots(list []compare.Spot, u Units) string {
	s := ""
	for i, spot := range list {
		if i == mostSpots {
			return s + fmt.Sprintf(" and %s more", plural(len(list)-i, "spot", "spots"))
		}
		if i > 0 {
			s += ", "
		}
		s += fmt.Sprintf("%s by %s %s", spot.Clock, u.LengthPM(spot.Quantity), u.Length())
	}
	return s
}

// faceRemarks are what a result says of the joint as a whole.
func faceRemarks(r *compare.Result, u Units) []string {
	var out []string
	if f := r.Float; f != nil {
		switch {
		case f.Why != "" && f.Fixed:
			out = append(out, "The parts can't move on their bolts: "+u.Prose(f.WhyText())+".")
		case f.Why != "":
			out = append(out, "What the bolts let the parts do can't be told: "+u.Prose(f.WhyText())+".")
		default:
			out = append(out, fmt.Sprintf("The bolts let the work move %s %s each way along, %s %s across, and turn %s° each way.",
				u.LengthText(f.PlayMM[0]), u.Length(), u.LengthText(f.PlayMM[1]), u.Length(), decimal(f.TurnDeg, 3)))
			if saved := f.RemoveArea - f.RemoveAreaBest; saved > 0 {
				out = append(out, fmt.Sprintf("Least is left to grind, %s instead of %s %s, with the work pushed %s and turned %s.",
					u.AreaText(f.RemoveAreaBest), u.AreaText(f.RemoveArea), u.Area(), pushText(f.Push, u), turnText(f.PushTurnDeg)))
			}
		}
	}
	for _, p := range r.Ports {
		if p.Flow != nil {
			return append(out, compare.FlowLimits)
		}
	}
	return out
}

// pushText says a push in words: "0.30 mm right and 0.10 mm down".
func pushText(push [2]float64, u Units) string {
	side := func(v float64, plus, minus string) string {
		if v < 0 {
			plus = minus
		}
		return fmt.Sprintf("%s %s %s", u.LengthText(math.Abs(v)), u.Length(), plus)
	}
	return side(push[0], "right", "left") + " and " + side(push[1], "up", "down")
}

// turnText says a turn in words: "0.120° clockwise".
func turnText(anticlockwiseDeg float64) string {
	way := "anticlockwise"
	if anticlockwiseDeg < 0 {
		way = "clockwise"
	}
	return decimal(math.Abs(anticlockwiseDeg), 3) + "° " + way
}

// leastLoss is the least loss coefficient that is told: a joint that fits to a hundredth of its area has a tenth of it.
const leastLoss = 0.001

// lossText shows a loss coefficient, or the range that the published formulas span.
func lossText(k [2]float64) string {
	lo, hi := min(k[0], k[1]), max(k[0], k[1])
	if hi < leastLoss {
		return fmt.Sprintf("under %g", leastLoss)
	}
	a, b := strconv.FormatFloat(lo, 'g', 2, 64), strconv.FormatFloat(hi, 'g', 2, 64)
	if a == b {
		return a
	}
	return a + " to " + b
}

// volumePM shows a volume given in mm³ with its uncertainty, in the cube of the unit.
func (u Units) volumePM(q compare.Quantity) string {
	k := u.perUnit() * u.perUnit() * u.perUnit()
	decimals := 0
	if u == Inch {
		decimals = 4
	}
	return decimal(q.Value/k, decimals) + " ± " + upward(q.Uncertainty/k, decimals)
}
