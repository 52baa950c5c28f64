package compare

import (
	"math"

	"portmatch/internal/geom"
)

// sample is one place on an edge, and the step there to the other edge.
type sample struct {
	p       geom.PointMM // on this edge
	q       geom.PointMM // nearest on the other
	own     geom.Place
	other   geom.Place
	alongMM float64      // along this edge
	stepMM  float64      // distance from p to the other edge, positive if p lies outside the other opening
	n       geom.PointMM // the other opening's outward normal: the direction in which p moves for the step to grow
	lenMM   float64      // length of edge this sample stands for
	sure    bool         // both edges were measured here
	varMM2  float64      // of the step, from noise that is independent beyond the correlation length
}

// sampleMM is the spacing of samples: at a radius of 1 mm, the sharpest corner of a port worth the name, a maximum between
// two samples is missed by 0.05²/2 = 0.00125 mm.
const sampleMM = 0.1

// samplesOn walks along a and measures the step to b at all of a's points and between them no wider than spacingMM apart.
func samplesOn(a, b *ring, spacingMM float64) []sample {
	var out []sample
	for i := range a.outline {
		l := a.arcMM[i+1] - a.arcMM[i]
		k := max(1, int(math.Ceil(l/spacingMM)))
		for j := range k {
			own := geom.Place{Side: i, Fraction: float64(j) / float64(k)}
			s := sampleAt(a, b, own)
			s.lenMM = l / float64(k)
			out = append(out, s)
		}
	}
	// Each sample was given the stretch ahead of it; half of it belongs to the next.
	last := out[len(out)-1].lenMM
	for i := range out {
		out[i].lenMM, last = (out[i].lenMM+last)/2, out[i].lenMM
	}
	return out
}

func sampleAt(a, b *ring, own geom.Place) sample {
	s := sample{p: a.outline.At(own), own: own, alongMM: a.alongMM(own)}
	s.stepMM, s.q, s.other = b.index.SignedDistMM(s.p)
	// Between edges that touch, the direction from one to the other is lost in rounding.
	if d := s.p.Sub(s.q); math.Abs(s.stepMM) > 1e-6 {
		s.n = d.Scale(1 / s.stepMM)
	} else {
		s.n = b.outward(s.other)
	}
	own0 := a.sure[own.Side] && (own.Fraction == 0 || a.sure[a.next(own.Side)])
	s.sure = own0 && b.sureAt(s.other)
	sa, sb := a.between(a.sigma, own), b.between(b.sigma, s.other)
	s.varMM2 = sa*sa + sb*sb
	return s
}
