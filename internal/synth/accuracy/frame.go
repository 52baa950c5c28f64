package main

import (
	"math"
	"slices"

	"portmatch/internal/compare"
	"portmatch/internal/geom"
	"portmatch/internal/synth"
)

// frame ties a picture's part frame to the job frame: the result says where the face lies in the job frame, and the face frame
// is that of the picture's lowest-numbered strip, whose place in the part frame is known. A result whose every length is
// scale times too long is scaled about that strip's corner.
type frame struct {
	partFromStrip, jobFromStrip geom.Rigid
	scale                       float64
}

// newFrame returns false where no strip ties the two together.
func newFrame(picture *synth.Truth, jobFromFace [6]float64, strips []int, scale float64) (frame, bool) {
	j := jobFromFace
	f := frame{geom.Identity(), geom.Rigid{A: j[0], B: j[1], Tx: j[2], C: j[3], D: j[4], Ty: j[5]}, scale}
	if scale == 0 {
		f.scale = 1
	}
	if len(strips) == 0 {
		return f, false
	}
	low := slices.Min(strips)
	for _, s := range picture.Strips {
		if s.Strip == low {
			a := s.RotDeg * math.Pi / 180
			f.partFromStrip = geom.Rigid{A: math.Cos(a), B: -math.Sin(a), Tx: s.Origin[0], C: math.Sin(a), D: math.Cos(a), Ty: s.Origin[1]}
			return f, true
		}
	}
	return f, false
}

func (f *frame) part(job geom.PointMM) geom.PointMM {
	return f.partFromStrip.Apply(f.jobFromStrip.Inverse().Apply(job).Scale(1 / f.scale))
}

func (f *frame) job(part geom.PointMM) geom.PointMM {
	return f.jobFromStrip.Apply(f.partFromStrip.Inverse().Apply(part).Scale(f.scale))
}

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
