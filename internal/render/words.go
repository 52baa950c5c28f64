package render

import (
	"slices"

	"portmatch/internal/compare"
	"portmatch/internal/geom"
)

// callout is a step worth pointing at in a drawing.
type callout struct {
	past  bool // the work opening is beyond the target; otherwise metal to remove
	doubt bool // too close to the tolerance to call
	step  compare.Step
	at    geom.PointMM // job frame
}

// callouts returns the steps that the verdict rests on.
func callouts(p *compare.PortResult) []callout {
	remove := callout{false, p.Verdict == compare.TooClose, p.RemoveStep, geom.PointMM{X: p.RemoveStep.At[0], Y: p.RemoveStep.At[1]}}
	past := callout{true, p.Verdict == compare.TooClose, p.PastStep, geom.PointMM{X: p.PastStep.At[0], Y: p.PastStep.At[1]}}
	var all []callout
	switch p.Verdict {
	case compare.Grind:
		all = []callout{remove}
	case compare.PastLine:
		all = []callout{past}
	case compare.GrindPast:
		all = []callout{remove, past}
	case compare.TooClose:
		all = []callout{remove}
		if past.step.Value > remove.step.Value {
			all = []callout{past}
		}
	}
	// A step of no height has no place to point at.
	return slices.DeleteFunc(all, func(c callout) bool { return c.step.Value <= 0 })
}

// words says a callout in two short lines: what and how much, then how sure and, unless it is shown mirrored, where.
func (c callout) words(u Units, side Side) (string, string) {
	what := "remove "
	if c.past {
		what = "past by "
	}
	second := "± " + u.lengthU(c.step.Quantity)
	if at := stepClock(c.step); at != "" && side != GasketSide {
		second += " at " + at
	}
	first := what + u.LengthText(c.step.Value) + " " + u.Length()
	if c.doubt {
		first += "?"
	}
	return first, second
}

// The words of every legend.
const (
	wordRemove = "metal to remove"
	wordPast   = "already past the line"
	wordTarget = "target edge: grind to here"
	wordWork   = "edge of the port now"
	wordUnsure = "not sure here: no figure rests on it"
	wordHole   = "hole the faces are lined up on"
)

// The words over what a third face adds.
const (
	wordHeadShare  = "What to grind on the head"
	wordTargetHead = "The head's openings against the target's"
	wordHeadClock  = "Places by the clock as you look at the work face; looking at the head, left and right change places"
)

// safety returns the cautions, short, for wherever the work can hurt.
func safety() []string {
	return []string{
		"Eye protection, mask and hearing protection. No gloves near a spinning burr.",
		"Magnesium dust burns and water makes it worse: class D powder or dry sand at hand.",
		"Plug every port; wash all chips out before assembly.",
		"Wall thickness is unknown: this tool can't see water passages or thin spots behind the face.",
		"Your workshop's and local rules come first.",
	}
}

// verdictWords says a port's verdict in full.
func verdictWords(p *compare.PortResult, toleranceMM float64, u Units) string {
	say := func(s compare.Step) string {
		words := u.LengthPM(s.Quantity) + " " + u.Length()
		if at := stepClock(s); at != "" {
			words += " at " + at
		}
		return words
	}
	tolerance := u.LengthText(toleranceMM) + " " + u.Length()
	remove := "Metal stands in the way, up to " + say(p.RemoveStep) + "."
	past := "The opening is already past the line, by up to " + say(p.PastStep) + ": take nothing more there."
	switch p.Verdict {
	case compare.Matched:
		return "No step passes the tolerance of " + tolerance + "."
	case compare.Grind:
		return remove
	case compare.PastLine:
		return past
	case compare.GrindPast:
		return remove + " " + past
	case compare.TooClose:
		largest := p.RemoveStep
		if p.PastStep.Value > largest.Value {
			largest = p.PastStep
		}
		return "The largest step, " + say(largest) + ", can't be told from the tolerance of " + tolerance +
			". Take a closer, sharper photo before you decide."
	}
	if p.Why != "" {
		return "No figure can be given: " + u.Prose(p.WhyText()) + "."
	}
	return "No figure can be given."
}
