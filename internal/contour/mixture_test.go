package contour

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"portmatch/internal/geom"
)

func circleOf(r float64, places int) (out []geom.PointMM) {
	for k := range places {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(places))
		out = append(out, geom.PointMM{X: r * cos, Y: r * sin})
	}
	return out
}

// Gaskets as bright as their bench, in part or all over, are drawn; no curve of brightness closes round every opening of theirs.
func TestOpeningsSeenByTheirColour(t *testing.T) {
	for _, c := range []struct {
		class string
		seed  uint64
	}{{"glare", 7001}} {
		t.Run(fmt.Sprint(c.class, c.seed), func(t *testing.T) {
			t.Parallel()
			v, ports := surveyOf(t, c.class, c.seed, false)
			for i, want := range ports {
				seen := 0
				for _, l := range v.open.ports {
					if alike(l.pts, want) {
						seen++
					}
				}
				if seen != 1 {
					t.Errorf("opening %d of %d is seen %d times", i+1, len(ports), seen)
				}
			}
		})
	}
}

// Fisher's discriminant of two classes with the same covariance: the squared distance of their means is d' S⁻¹ d. Here the hues differ
// by 16 and -8 levels at a standard deviation of 3, brightness not at all at one of 15: (16² + 8²) / (3² + 2), with the least grain of 2.
func TestDiscriminant(t *testing.T) {
	const r, side = 20.0, 300
	rng := rand.New(rand.NewPCG(3, 1))
	var plans [3]*plan
	for c, spread := range []float64{3, 3, 15} {
		p := &plan{w: side, h: side, lo: geom.PointMM{X: -30, Y: -30}, stepMM: 0.2, level: make([]float32, side*side), valid: make([]bool, side*side)}
		for k := range p.level {
			at := p.lo.Add(geom.PointMM{X: float64(k % side), Y: float64(k / side)}.Scale(p.stepMM))
			v := 100.0
			if at.Norm() < r {
				v += []float64{16, -8, 0}[c]
			}
			p.level[k], p.valid[k] = float32(v+spread*rng.NormFloat64()), true
		}
		plans[c] = p
	}
	m := discriminant([]*loop{{pts: circleOf(r, 400), areaMM2: math.Pi * r * r, perimeter: 2 * math.Pi * r}}, plans)
	if m == nil {
		t.Fatal("no mixture")
	}
	// Bilinear interpolation leaves four ninths of independent noise's variance.
	const left = 4.0 / 9
	if want := math.Sqrt((16*16 + 8*8) / (left*9 + 2)); math.Abs(m.apart-want) > 0.1*want {
		t.Errorf("the classes are %.2f apart, want %.2f", m.apart, want)
	}
	if math.Abs(m.weight[2]) > 0.05*math.Abs(m.weight[0]) {
		t.Errorf("brightness that tells nothing has a weight of %.3f beside %.3f", m.weight[2], m.weight[0])
	}
	level := func(warm, purple float64) float64 {
		return m.offset + m.weight[0]*warm + m.weight[1]*purple + m.weight[2]*100
	}
	if out, in := level(100, 100), level(116, 92); math.Abs(out-88) > 4 || math.Abs(in-168) > 4 {
		t.Errorf("outside is at level %.0f and inside at %.0f, want 88 and 168", out, in)
	}
}
