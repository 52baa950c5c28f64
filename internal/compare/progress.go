package compare

import (
	"fmt"
	"math"
	"slices"

	"portmatch/internal/geom"
)

// Progress is what one pass of grinding did to one port, from the results of the pass before and of this one. Both stand in
// one job frame and on one target, so that places round the port are the same in both.
type Progress struct {
	Port  int      `json:"port"`
	Since int      `json:"since_pass"`
	Why   string   `json:"why,omitempty"` // why nothing can be said
	Taken Quantity `json:"taken_area"`    // metal taken off, mm²
	// MostTaken is the place where most was taken off, and how deep.
	MostTaken Step `json:"most_taken"`
	// Ground are the stretches where more came off than the uncertainty of both passes, deepest first.
	Ground []Spot `json:"ground_spots"`
	// Past are the spots that lie past the target's edge by more than their uncertainty, deepest first.
	Past []Spot `json:"past_spots"`
	// Unmoved are the spots that still stand in the way by more than the tolerance and have not moved since the pass before.
	Unmoved []Spot `json:"unmoved_spots"`
}

// Spot is a stretch of the joint, by lengths along the target outline from its rightmost point anticlockwise, with its
// largest step.
type Spot struct {
	FromMM float64 `json:"from_mm"`
	ToMM   float64 `json:"to_mm"` // less than FromMM if the stretch runs past the rightmost point
	Step
}

// ProgressSince compares a pass with one before it, port by port. before must be of the same job: a port whose target is
// not the same in both is left out with the reason.
func ProgressSince(before, now *Result) []Progress {
	var out []Progress
	for i := range now.Ports {
		p := &now.Ports[i]
		g := Progress{Port: p.Port, Since: before.Pass, Ground: []Spot{}, Past: []Spot{}, Unmoved: []Spot{}}
		k := slices.IndexFunc(before.Ports, func(b PortResult) bool { return b.Port == p.Port })
		switch {
		case p.Verdict == NotMeasured:
			g.Why = "not measured in this pass"
		case k < 0 || before.Ports[k].Verdict == NotMeasured:
			g.Why = fmt.Sprintf("not measured in pass %d", before.Pass)
		case !sameTarget(&before.Ports[k], p):
			g.Why = fmt.Sprintf("pass %d had another target here", before.Pass)
		default:
			g.measure(&before.Ports[k], p, now.ToleranceMM)
		}
		out = append(out, g)
	}
	return out
}

// sameTargetMM: the target of a job is kept, rounded to 1e-5 mm.
const sameTargetMM = 0.001

func sameTarget(a, b *PortResult) bool {
	if len(a.TargetOutline) != len(b.TargetOutline) {
		return false
	}
	for i, p := range a.TargetOutline {
		q := b.TargetOutline[i]
		if math.Hypot(p[0]-q[0], p[1]-q[1]) > sameTargetMM {
			return false
		}
	}
	return true
}

func (g *Progress) measure(before, now *PortResult, tolMM float64) {
	was, is := asOutline(before.WorkOutline), asOutline(now.WorkOutline)
	target := asOutline(now.TargetOutline)
	taken, err := geom.Difference(geom.RegionOf(is), geom.RegionOf(was))
	if err != nil {
		g.Why = err.Error()
		return
	}
	// Metal does not grow back: what the opening seems to have lost is the two passes' disagreement, and goes the other way as
	// often as not. So the difference of the areas is the better figure where little was taken, and the same where much was.
	g.Taken = Quantity{max(0, is.AreaMM2()-was.AreaMM2()), math.Hypot(before.WorkArea.Uncertainty, now.WorkArea.Uncertainty)}
	if len(taken) > 0 {
		g.MostTaken = mostTaken(taken, was, target, before, now)
	}
	total := target.PerimeterMM()
	g.Ground = spots(now.Profile, total, target, func(p ProfilePoint) (float64, bool) {
		q, ok := profileAt(before.Profile, p.AlongMM)
		off := q.StepMM - p.StepMM
		return off, ok && q.Sure && off > math.Hypot(p.UMM, q.UMM)
	})
	g.Past = spots(now.Profile, total, target, func(p ProfilePoint) (float64, bool) { return -p.StepMM, -p.StepMM > p.UMM })
	g.Unmoved = spots(now.Profile, total, target, func(p ProfilePoint) (float64, bool) {
		q, ok := profileAt(before.Profile, p.AlongMM)
		still := ok && q.Sure && math.Abs(q.StepMM-p.StepMM) <= math.Hypot(p.UMM, q.UMM)
		return p.StepMM, p.StepMM > tolMM && still
	})
	deepestFirst(g.Ground)
	deepestFirst(g.Past)
	deepestFirst(g.Unmoved)
	nameLargest(g.Past, now.PastStep)
	nameLargest(g.Unmoved, now.RemoveStep)
	// The port's own step carries the doubt of having been picked as the largest.
	g.Past = slices.DeleteFunc(g.Past, func(s Spot) bool { return s.Value <= s.Uncertainty })
}

func deepestFirst(list []Spot) {
	slices.SortStableFunc(list, func(a, b Spot) int { return compareFloats(b.Value, a.Value) })
}

// nameLargest gives the deepest of the spots the port's own largest step where that lies in it, so that one place has one figure.
func nameLargest(spots []Spot, largest Step) {
	if len(spots) == 0 {
		return
	}
	s := &spots[0]
	apart := math.Hypot(s.At[0]-largest.At[0], s.At[1]-largest.At[1])
	if math.Abs(s.Value-largest.Value) <= largest.Uncertainty && apart <= joinMM+math.Abs(s.ToMM-s.FromMM) {
		s.Step = largest
		deepestFirst(spots)
	}
}

func asOutline(o [][2]float64) geom.Outline {
	out := make(geom.Outline, len(o))
	for i, p := range o {
		out[i] = geom.PointMM{X: p[0], Y: p[1]}
	}
	return out
}

// mostTaken is the point of the new edge that lies farthest outside the old one.
func mostTaken(taken geom.Region, was, target geom.Outline, before, now *PortResult) Step {
	ix := geom.NewIndex(was)
	var s Step
	for _, p := range taken {
		for _, q := range p.Outer {
			if d, _, _ := ix.SignedDistMM(q); d > s.Value {
				s.Value, s.At = d, [2]float64{q.X, q.Y}
			}
		}
	}
	at := geom.PointMM{X: s.At[0], Y: s.At[1]}
	_, pl, _ := geom.NewIndex(target).Nearest(at)
	arc := target.ArcLengthsMM()
	along := arc[pl.Side] + pl.Fraction*(arc[pl.Side+1]-arc[pl.Side])
	a, _ := profileAt(before.Profile, along)
	b, _ := profileAt(now.Profile, along)
	s.Uncertainty = math.Hypot(a.UMM, b.UMM)
	s.Clock = clock(at.Sub(target.CentroidMM()))
	return s
}

// profileAt returns the profile's point nearest to the given length.
func profileAt(profile []ProfilePoint, alongMM float64) (ProfilePoint, bool) {
	if len(profile) == 0 {
		return ProfilePoint{}, false
	}
	i, _ := slices.BinarySearchFunc(profile, alongMM, func(p ProfilePoint, s float64) int { return compareFloats(p.AlongMM, s) })
	if i == len(profile) || i > 0 && alongMM-profile[i-1].AlongMM < profile[i].AlongMM-alongMM {
		i--
	}
	return profile[i], true
}

// joinMM: two spots with less than this between them are one.
const joinMM = 2

// spots gathers the points of a profile that belong, with a depth each, into stretches.
func spots(profile []ProfilePoint, totalMM float64, target geom.Outline, belongs func(ProfilePoint) (depthMM float64, ok bool)) []Spot {
	out := []Spot{}
	c := target.CentroidMM()
	for _, p := range profile {
		d, ok := belongs(p)
		if !p.Sure || !ok {
			continue
		}
		n := len(out)
		if n == 0 || p.AlongMM-out[n-1].ToMM > joinMM {
			out = append(out, Spot{FromMM: p.AlongMM})
			n++
		}
		s := &out[n-1]
		s.ToMM = p.AlongMM
		if d > s.Value {
			s.Step = Step{Quantity{d, p.UMM}, p.At, clock(geom.PointMM{X: p.At[0], Y: p.At[1]}.Sub(c))}
		}
	}
	if n := len(out); n > 1 && out[0].FromMM+totalMM-out[n-1].ToMM <= joinMM {
		last := out[n-1]
		last.ToMM = out[0].ToMM
		if out[0].Value > last.Value {
			last.Step = out[0].Step
		}
		out = append(out[1:n-1], last)
	}
	return out
}
