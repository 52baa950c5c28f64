package contour

import (
	"math"
	"sort"

	"portmatch/internal/geom"
)

// sharp is what total is, with edges that are not blurred: a sector has one level for the face, one for what lies between the
// circles and one for what is behind them. It takes constant time a ray.
func (h *holeBand) sharp(t twin) float64 {
	m := h.n + 1
	e, r := h.first(t)
	if r <= 0 || t.r <= 0 {
		return math.Inf(1)
	}
	n := float64(h.n * h.rays)
	// One more level to choose: Schwarz's price of a parameter.
	price := 0.5 * math.Log(1+n*news)
	var total float64
	inv := 1 / h.ds
	for k := range h.sectors {
		wide := 0
		var yy, na, nb, nc, sa, sb, sc float64
		for i := k * h.rays; i < (k+1)*h.rays; i++ {
			u := h.u[i]
			s1 := h.radius - reachOf(e, r, u)
			s2 := math.Max(s1, h.radius-reachOf(t.b, t.r, u))
			a := min(max(int((s1-h.s0)*inv+0.5), 1), h.n)
			b := min(max(int((s2-h.s0)*inv+0.5), a), h.n)
			s, w := h.sum[i*m:(i+1)*m], h.wsum[i*m:(i+1)*m]
			yy += h.sq[i*m+h.n]
			na, nb, nc = na+w[a], nb+w[b]-w[a], nc+w[h.n]-w[b]
			sa, sb, sc = sa+s[a], sb+s[b]-s[a], sc+s[h.n]-s[b]
			wide += b - a
		}
		sse := yy - sa*sa/na
		if nb > 0 {
			sse -= sb * sb / nb
		}
		if nc > 0 {
			sse -= sc * sc / nc
		}
		total += 0.5 * n * news * math.Log(math.Max(sse, 0)/n+fair)
		if wide > h.rays {
			total += price
		}
	}
	return total
}

// search returns the best few places of the circles whose face edge lies within far mm of one of those given, with a radius
// larger by dr0 to dr1, for the depths offered, best first.
func (h *holeBand) search(from []twin, far, dr0, dr1 float64, depths []float64) []twin {
	type scored struct {
		t twin
		c float64
	}
	var all []scored
	const stepMM, stepR = 0.35, 0.2
	for _, f := range from {
		e, r := h.first(f)
		k := int(math.Ceil(far / stepMM))
		for x := -k; x <= k; x++ {
			for y := -k; y <= k; y++ {
				if x*x+y*y > k*k {
					continue
				}
				for g := dr0; g <= dr1+1e-9; g += stepR {
					for _, d := range depths {
						t := h.second(e.Add(geom.PointMM{X: float64(x) * stepMM, Y: float64(y) * stepMM}), r+g, d)
						all = append(all, scored{t, h.sharp(t)})
					}
				}
			}
		}
	}
	sort.Slice(all, func(i, j int) bool { return all[i].c < all[j].c })
	var picked []scored
	for _, a := range all {
		if len(picked) == 5 {
			break
		}
		near := false
		for _, p := range picked {
			if p.t.depth == a.t.depth && p.t.b.Dist(a.t.b) < 1.5*stepMM && math.Abs(p.t.r-a.t.r) < 1.5*stepR {
				near = true
			}
		}
		if !near {
			picked = append(picked, a)
		}
	}
	free := len(depths) > 1
	for i := range picked {
		p := &picked[i]
		for _, step := range []float64{0.15, 0.07, 0.03} {
			h.descend(&p.t, &p.c, step, free)
		}
	}
	sort.Slice(picked, func(i, j int) bool { return picked[i].c < picked[j].c })
	var out []twin
	for _, p := range picked {
		out = append(out, p.t)
	}
	return out
}

// descend lowers cost c at t by steps along the parameters.
func (h *holeBand) descend(t *twin, c *float64, step float64, free bool) {
	params := 3
	if free {
		params = 4
	}
	for moved, rounds := true, 0; moved && rounds < 12; rounds++ {
		moved = false
		for k := range 2 * params {
			q := *t
			d := step * float64(1-2*(k%2))
			switch k / 2 {
			case 0:
				q.b.X += d
			case 1:
				q.b.Y += d
			case 2:
				q.r += d
			case 3:
				if q.depth+d < 0 || q.depth+d > chamferMaxMM {
					continue
				}
				q.depth += d
			}
			if v := h.sharp(q); v < *c-1e-6 {
				*t, *c, moved = q, v, true
			}
		}
	}
}

// atDepth returns the best place at one depth, starting from a good one at another: the bore may be the same, or the outer edge.
func (h *holeBand) atDepth(near twin, depth float64) twinFit {
	bore := near
	bore.depth = depth
	e, r := h.first(near)
	outer := h.second(e, r, depth)
	best := twinFit{cost: math.Inf(1)}
	for k, t := range []twin{bore, outer} {
		if k == 1 && math.Abs(depth-near.depth) < 0.05 {
			continue
		}
		c := h.sharp(t)
		for _, step := range []float64{0.15, 0.07, 0.03} {
			h.descend(&t, &c, step, false)
		}
		if f := h.settle(t, 3); f.cost < best.cost {
			best = f
		}
	}
	return best
}
