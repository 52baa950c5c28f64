package geom

import (
	"errors"
	"fmt"
	"math"
)

// ErrTooFewPoints says that a fit was asked of fewer points than fix it.
var ErrTooFewPoints = errors.New("too few points for the fit")

// Hand says which maps a rigid fit may use.
type Hand int

const (
	SameHand  Hand = iota // rotations
	OtherHand             // reflections
	EitherHand
)

// RigidFit is a least-squares map to from from, and how well it fits.
type RigidFit struct {
	ToFromFrom Rigid
	RMSMM      float64 // weighted root mean square of the distances that remain
	// Scale is the factor that would fit best were it free: a check, not applied.
	Scale float64
}

// FitRigid returns the rigid map that takes from to to with the least weighted sum of squared distances (Umeyama 1991 in
// two dimensions, where the singular values are known in closed form). A nil weight counts every pair equally. Fewer than
// two distinct points give ErrTooFewPoints.
func FitRigid(from, to []PointMM, weight []float64, hand Hand) (RigidFit, error) {
	if len(from) != len(to) || len(from) < 2 {
		return RigidFit{}, fmt.Errorf("%w: %d and %d points, at least two pairs needed", ErrTooFewPoints, len(from), len(to))
	}
	w := func(i int) float64 {
		if weight == nil {
			return 1
		}
		return weight[i]
	}
	var sw float64
	var cf, ct PointMM
	for i := range from {
		sw += w(i)
		cf = cf.Add(from[i].Scale(w(i)))
		ct = ct.Add(to[i].Scale(w(i)))
	}
	cf, ct = cf.Scale(1/sw), ct.Scale(1/sw)
	// Turning from by θ gives Σ w to·R from = C cos θ + S sin θ, the largest at θ = atan2(S, C), where it is hypot(S, C);
	// likewise after mirroring x.
	var c, s, cm, sm, vf, vt float64
	for i := range from {
		p, q := from[i].Sub(cf), to[i].Sub(ct)
		m := PointMM{-p.X, p.Y}
		c += w(i) * p.Dot(q)
		s += w(i) * p.Cross(q)
		cm += w(i) * m.Dot(q)
		sm += w(i) * m.Cross(q)
		vf += w(i) * p.Dot(p)
		vt += w(i) * q.Dot(q)
	}
	if vf == 0 {
		return RigidFit{}, fmt.Errorf("%w: all points coincide", ErrTooFewPoints)
	}
	mirror := hand == OtherHand || hand == EitherHand && math.Hypot(cm, sm) > math.Hypot(c, s)
	r := Identity()
	if mirror {
		c, s = cm, sm
		r.A = -1
	}
	if c == 0 && s == 0 {
		c = 1 // to is one point: any turn fits as well
	}
	l := math.Hypot(c, s)
	r = Rigid{A: c / l, B: -s / l, C: s / l, D: c / l}.After(r)
	t := ct.Sub(r.Turn(cf))
	r.Tx, r.Ty = t.X, t.Y
	left := math.Max(0, vf+vt-2*l)
	return RigidFit{ToFromFrom: r, RMSMM: math.Sqrt(left / sw), Scale: l / vf}, nil
}

// AngleRad returns the angle by which r turns; for a map of the other hand, the angle after x was mirrored. In (-π, π].
func (r Rigid) AngleRad() float64 { return math.Atan2(-r.B, r.D) }

// Rotation returns the map that turns by angleRad, anticlockwise, about the origin.
func Rotation(angleRad float64) Rigid {
	s, c := math.Sincos(angleRad)
	return Rigid{A: c, B: -s, C: s, D: c}
}

// Translation returns the map that shifts by d.
func Translation(d PointMM) Rigid { return Rigid{A: 1, D: 1, Tx: d.X, Ty: d.Y} }
