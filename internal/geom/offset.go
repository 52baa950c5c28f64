package geom

import (
	"errors"
	"fmt"
	"math"
)

// ErrVanished says that nothing is left of an outline after it was shrunk.
var ErrVanished = errors.New("nothing is left of the outline")

// offsetChordMM is how far the chords that stand for arcs may lie off them: a fiftieth of what a step is measured to.
const offsetChordMM = 0.001

// shrinkStepMM bounds one step of shrinking. Where an outline is rounder than the step, the ways through its points cross
// each other, as many as the square of their number; shrinking by little and often comes to the same and is cheap.
const shrinkStepMM = 2

// Offset returns the region of all points within dMM of the inside of the simple outline o (grown, dMM > 0), or inside it
// and farther than -dMM from its edge (shrunk), to within 0.002 mm. Corners that turn away are rounded, as by a ball of
// that radius rolling along. A shrunk outline may fall apart into several, a grown one may close on itself and leave holes.
// ErrVanished if nothing is left.
//
// The raw parallel curve, with every corner's way through the outline's own point, winds at least once round exactly the
// points wanted (Chen and McMains 2005); the arrangement picks them.
func Offset(o Outline, dMM float64) (Region, error) {
	if math.IsNaN(dMM) || math.Abs(dMM) > maxReachMM {
		return nil, fmt.Errorf("an offset of %g mm is no use", dMM)
	}
	o = withoutRepeats(o.Anticlockwise()).Simplified(offsetChordMM)
	if len(o) < 3 {
		return nil, ErrNoArea
	}
	if dMM == 0 {
		return RegionOf(o), nil
	}
	step := dMM
	if dMM < -shrinkStepMM {
		step = dMM / math.Ceil(-dMM/shrinkStepMM)
	}
	pieces := Region{{Outer: o}}
	for done := 0.0; math.Abs(done) < math.Abs(dMM)-math.Abs(step)/2; done += step {
		var next Region
		for _, p := range pieces {
			a, err := arrange([]Outline{parallel(p.Outer, step)})
			if err != nil {
				return nil, err
			}
			next = append(next, a.region(func(winding int) bool { return winding >= 1 })...)
		}
		if pieces = next; len(pieces) == 0 {
			return nil, ErrVanished
		}
	}
	return pieces, nil
}

// parallel returns the raw parallel curve at dMM to the right of o (outside, for an anticlockwise outline).
func parallel(o Outline, dMM float64) Outline {
	normal := func(i int) PointMM {
		d := o[o.next(i)].Sub(o[i])
		return PointMM{d.Y, -d.X}.Scale(1 / d.Norm())
	}
	var r Outline
	n0 := normal(len(o) - 1)
	for i, p := range o {
		n1 := normal(i)
		turn := math.Atan2(n0.Cross(n1), n0.Dot(n1))
		r = append(r, p.Add(n0.Scale(dMM)))
		if turn*dMM > 0 {
			r = append(r, arc(p, n0.Scale(dMM), turn)...)
		} else if turn != 0 {
			r = append(r, p)
		}
		r = append(r, p.Add(n1.Scale(dMM)))
		n0 = n1
	}
	return withoutRepeats(r)
}

// arc returns the points strictly between c + from and c + from turned by turn, so near to each other that their chords
// stay within offsetChordMM of the arc.
func arc(c, from PointMM, turn float64) []PointMM {
	radius := from.Norm()
	step := math.Pi / 4
	if q := offsetChordMM / radius; q < 0.25 {
		step = 2 * math.Acos(1-q)
	}
	n := int(math.Ceil(math.Abs(turn) / step))
	var r []PointMM
	for k := 1; k < n; k++ {
		r = append(r, c.Add(Rotation(turn*float64(k)/float64(n)).Apply(from)))
	}
	return r
}
