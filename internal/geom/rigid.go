package geom

// Rigid is a rigid map of the plane, of either hand: q = [A B; C D] p + (Tx, Ty), with [A B; C D] orthogonal. The zero
// value is not a map; use Identity.
type Rigid struct{ A, B, Tx, C, D, Ty float64 }

// Identity returns the map that moves nothing.
func Identity() Rigid { return Rigid{A: 1, D: 1} }

// Apply maps p.
func (r Rigid) Apply(p PointMM) PointMM {
	return PointMM{r.A*p.X + r.B*p.Y + r.Tx, r.C*p.X + r.D*p.Y + r.Ty}
}

// Turn maps a displacement: Apply without the translation.
func (r Rigid) Turn(d PointMM) PointMM { return PointMM{r.A*d.X + r.B*d.Y, r.C*d.X + r.D*d.Y} }

// Mirrored tells whether the map changes hand.
func (r Rigid) Mirrored() bool { return r.A*r.D-r.B*r.C < 0 }

// After returns the map that applies first, then r: c_from_a = c_from_b.After(b_from_a).
func (r Rigid) After(first Rigid) Rigid {
	return Rigid{
		A: r.A*first.A + r.B*first.C, B: r.A*first.B + r.B*first.D, Tx: r.A*first.Tx + r.B*first.Ty + r.Tx,
		C: r.C*first.A + r.D*first.C, D: r.C*first.B + r.D*first.D, Ty: r.C*first.Tx + r.D*first.Ty + r.Ty,
	}
}

// Inverse returns the map back.
func (r Rigid) Inverse() Rigid {
	return Rigid{A: r.A, B: r.C, C: r.B, D: r.D,
		Tx: -(r.A*r.Tx + r.C*r.Ty), Ty: -(r.B*r.Tx + r.D*r.Ty)}
}
