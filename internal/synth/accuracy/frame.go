package main

import (
	"math"

	"portmatch/internal/compare"
	"portmatch/internal/geom"
)

// partFromPair takes the pair's frame to the work picture's part frame. Truth from elsewhere doesn't hold the map: it follows
// from the middles of the work openings, which stand in both; with one opening the axes are those of the design.
func (k *known) partFromPair() geom.Rigid {
	if m := k.pair.PairFromWork; m != nil {
		return geom.Rigid{A: m[0], B: m[1], Tx: m[2], C: m[3], D: m[4], Ty: m[5]}.Inverse()
	}
	centres := k.centres()
	var a, b []geom.PointMM
	for _, p := range k.pair.Ports {
		if c, ok := centres[p.Port]; ok {
			a, b = append(a, geom.PointMM{X: p.PortCentroid[0], Y: p.PortCentroid[1]}), append(b, c)
		}
	}
	hand := geom.Identity()
	if k.work.Mirrored {
		hand.A = -1
	}
	for i := range a {
		a[i] = hand.Apply(a[i])
	}
	return rigid(a, b).After(hand)
}

// rigid is the proper map that takes a to b in the least-squares sense; one point moves without turning.
func rigid(a, b []geom.PointMM) geom.Rigid {
	var ca, cb geom.PointMM
	for i := range a {
		ca, cb = ca.Add(a[i].Scale(1/float64(len(a)))), cb.Add(b[i].Scale(1/float64(len(a))))
	}
	dot, cross := 0.0, 0.0
	for i := range a {
		p, q := a[i].Sub(ca), b[i].Sub(cb)
		dot, cross = dot+p.Dot(q), cross+p.Cross(q)
	}
	t := math.Atan2(cross, dot)
	m := geom.Rigid{A: math.Cos(t), B: -math.Sin(t), C: math.Sin(t), D: math.Cos(t)}
	d := cb.Sub(m.Turn(ca))
	m.Tx, m.Ty = d.X, d.Y
	return m
}

// fitCentres lays the result's openings on the truth's where no strip ties the frames together: of all maps that take two
// openings to two, the one that leaves the others nearest.
func fitCentres(r *compare.Result, centres map[string]geom.PointMM) geom.Rigid {
	var got, want []geom.PointMM
	for _, p := range r.Ports {
		if len(p.WorkOutline) > 2 {
			c, _ := middle(p.WorkOutline)
			got = append(got, c)
		}
	}
	for _, c := range centres {
		want = append(want, c)
	}
	if len(got) == 0 || len(want) == 0 {
		return geom.Identity()
	}
	if len(got) == 1 || len(want) == 1 {
		return rigid(got[:1], want[:1])
	}
	best, bestMap := math.Inf(1), geom.Identity()
	for i := range want {
		for j := range want {
			if i == j {
				continue
			}
			m := rigid([]geom.PointMM{got[0], got[len(got)-1]}, []geom.PointMM{want[i], want[j]})
			sum := 0.0
			for _, g := range got {
				d := math.Inf(1)
				for _, w := range want {
					d = math.Min(d, m.Apply(g).Dist(w))
				}
				sum += d * d
			}
			if sum < best {
				best, bestMap = sum, m
			}
		}
	}
	return bestMap
}
