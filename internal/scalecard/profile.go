package scalecard

import "math"

// profile is the shape of an edge in the photo, in linear light: 0 far on the black side, 1 far on the white, as a
// function of the distance in px towards white. It holds all that lies between print and pixel: lens, pixel, sharpening
// and what is left of the tone curve.
type profile struct {
	level [2*profileReach*profileSteps + 2]float64
	slope [2*profileReach*profileSteps + 2]float64
}

const (
	profileReach = 10 // px either side, past three times the largest blur
	profileSteps = 16 // entries a px

	// Half-width of the smoothing, at least: sharper than a pixel's own width the shape differs from edge to edge, by how
	// each falls on the pixels.
	profileSmoothPx = 0.6
)

func (p *profile) at(t float64) (level, slope float64) {
	z := (t + profileReach) * profileSteps
	if z <= 0 {
		return 0, 0
	}
	if z >= 2*profileReach*profileSteps {
		return 1, 0
	}
	i := int(z)
	f := z - float64(i)
	return p.level[i] + f*(p.level[i+1]-p.level[i]), p.slope[i] + f*(p.slope[i+1]-p.slope[i])
}

// gaussProfile is the edge blurred by a Gaussian.
func gaussProfile(blur float64) *profile {
	p := new(profile)
	for i := range p.level {
		z := (float64(i)/profileSteps - profileReach) / blur
		p.level[i] = 0.5 * math.Erfc(-z/math.Sqrt2)
		p.slope[i] = math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) / blur
	}
	return p
}

// profileSum gathers pixels of many edges by their distance from the edge.
type profileSum struct {
	n, sum [2 * profileReach * profileSteps]float64
}

// add puts in a pixel of the given level between black (0) and white (1).
func (s *profileSum) add(t, level float64) {
	i := int(math.Floor((t + profileReach) * profileSteps))
	if i >= 0 && i < len(s.n) {
		s.n[i]++
		s.sum[i] += level
	}
}

func (s *profileSum) merge(o *profileSum) {
	for i := range s.n {
		s.n[i] += o.n[i]
		s.sum[i] += o.sum[i]
	}
}

// profile smooths the gathered pixels by local parabolas over half-width px either side; nil if there are too few.
// Beyond the reach of the data the shape is flat.
func (s *profileSum) profile(halfWidth, reach float64) *profile {
	p := new(profile)
	h := halfWidth * profileSteps
	for i := range p.level {
		t := float64(i)/profileSteps - profileReach
		if t < -reach {
			continue
		}
		if t > reach {
			p.level[i] = 1
			continue
		}
		var N [4][4]float64
		var g [4]float64
		for j := max(0, int(float64(i)-h)); j <= min(len(s.n)-1, int(float64(i)+h)); j++ {
			x := (float64(j) + 0.5 - float64(i)) / h
			w := s.n[j] * (1 - x*x)
			if w <= 0 {
				continue
			}
			y := s.sum[j] / s.n[j]
			N[0][0] += w
			N[0][1] += w * x
			N[0][2] += w * x * x
			N[1][2] += w * x * x * x
			N[2][2] += w * x * x * x * x
			g[0] += w * y
			g[1] += w * y * x
			g[2] += w * y * x * x
		}
		N[1][1] = N[0][2]
		if N[0][0] < 12 || !solve4(&N, &g, 3) {
			return nil
		}
		p.level[i] = g[0]
		p.slope[i] = g[1] / halfWidth
	}
	return p
}
