package compare

import (
	"fmt"
	"math"

	"portmatch/internal/geom"
)

// Blend says how the cut is to fade out inside the runner: over a depth, the same all round, or at an angle to the wall, so
// that a larger step reaches deeper. Exactly one of them is above 0.
type Blend struct {
	DepthMM  float64
	AngleDeg float64 // less than 90
}

// Validate says what is wrong with the setting.
func (b Blend) Validate() error {
	switch {
	case b.DepthMM != 0 && b.AngleDeg != 0:
		return fmt.Errorf("a blend has a depth or an angle, not both")
	case b.DepthMM < 0 || b.DepthMM > 1000 || math.IsNaN(b.DepthMM):
		return fmt.Errorf("a blend of %g mm depth is no use", b.DepthMM)
	case b.AngleDeg < 0 || b.AngleDeg >= 90 || math.IsNaN(b.AngleDeg):
		return fmt.Errorf("a blend at %g degrees is no use: it lies between 0 and 90", b.AngleDeg)
	}
	return nil
}

// BlendResult is the blend of one port. The runner is taken to go straight in, square to the face, as it cannot be seen.
type BlendResult struct {
	DepthMM float64  `json:"depth_mm"`   // at the deepest place
	Volume  Quantity `json:"volume_mm3"` // of metal to remove, mm³
	// Line is where the cut fades out, along the wall as it is now: places with nothing to remove are left out.
	Line []BlendPoint `json:"line"`
}

// BlendPoint is one place of the line.
type BlendPoint struct {
	AlongMM float64    `json:"along_mm"` // along the target outline from its rightmost point, anticlockwise
	At      [2]float64 `json:"at"`       // on the work's edge, job frame
	DepthMM float64    `json:"depth_mm"` // below the face
}

// blendLineMM is the spacing of the line's points.
const blendLineMM = 1

// blend computes the volume between the present wall and a cut that starts at the target's edge and reaches the wall at a
// depth D. At depth z the cut has moved from the wall by the share 1 - z/D of the step, so that over a curved edge the area
// left is λ(A - Q) + λ²Q with λ = 1 - z/D, where A is the area to remove at the face and Q the half of what the target's edge
// is longer by than the wall, times the step. Integrated over the depth that is D (A/2 - Q/6). Every strip between two
// samples is taken for itself.
func (c *portComparison) blend(b Blend) *BlendResult {
	r := &BlendResult{Line: []BlendPoint{}}
	n := len(c.onTarget)
	perMM := 0.0 // depth for a mm of step
	if b.AngleDeg > 0 {
		perMM = 1 / math.Tan(b.AngleDeg*math.Pi/180)
	}
	depth := func(step float64) float64 {
		if perMM > 0 {
			return step * perMM
		}
		return b.DepthMM
	}
	slope := make([]float64, n) // what a mm more of step at a sample adds to the volume
	last := math.Inf(-1)
	for i := range c.onTarget {
		s, t := &c.onTarget[i], &c.onTarget[(i+1)%n]
		if s.sure && s.stepMM > 0 && s.alongMM-last >= blendLineMM {
			last = s.alongMM
			r.Line = append(r.Line, BlendPoint{s.alongMM, [2]float64{s.q.X, s.q.Y}, depth(s.stepMM)})
		}
		if !s.sure || !t.sure {
			continue
		}
		step := (max(0, s.stepMM) + max(0, t.stepMM)) / 2
		if step == 0 {
			continue
		}
		strip := math.Abs(geom.Outline{s.p, t.p, t.q, s.q}.SignedAreaMM2())
		along := s.p.Dist(t.p)
		q := step*along - strip // half the difference of the lengths, times the step
		d := depth(step)
		r.DepthMM = max(r.DepthMM, depth(max(s.stepMM, t.stepMM)))
		r.Volume.Value += d * (strip/2 - q/6)
		each := d * along / 2
		if perMM > 0 {
			each *= 2 // the depth grows too
		}
		slope[i] += each / 2
		slope[(i+1)%n] += each / 2
	}
	var u linear
	for k := range c.modeCount() {
		var v float64
		for i := range c.onTarget {
			if slope[i] > 0 {
				v += slope[i] * c.targetEffect(k, &c.onTarget[i])
			}
		}
		u.add(v)
	}
	corr := c.corrMM()
	for i := range c.onTarget {
		if s := &c.onTarget[i]; slope[i] > 0 {
			u.sum2 += slope[i] * slope[i] * s.varMM2 * corr / max(s.lenMM, 1e-9)
		}
	}
	r.Volume.Uncertainty = u.expanded()
	return r
}
