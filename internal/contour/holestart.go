package contour

import (
	"math"
	"slices"
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
	total, product := 0.0, 1.0
	inv := 1 / h.ds
	shade := int(0.6 * inv)
	for k := range h.sectors {
		wide := 0
		var yy, na, nb, nc, sa, sb, sc, nd, sd float64
		for i := k * h.rays; i < (k+1)*h.rays; i++ {
			u := h.u[i]
			s1 := h.radius - reachOf(e, r, u)
			s2 := max(s1, h.radius-reachOf(t.b, t.r, u))
			a := min(max(int((s1-h.s0)*inv+0.5), 1), h.n)
			b := min(max(int((s2-h.s0)*inv+0.5), a), h.n)
			q := h.cum[i*m : (i+1)*m]
			yy += q[h.n].yy
			c := h.n
			if h.wall {
				// The bench is in shadow next to the wall.
				c = min(b+shade, h.n)
				nd, sd = nd+q[h.n].w-q[c].w, sd+q[h.n].y-q[c].y
			}
			na, nb, nc = na+q[a].w, nb+q[b].w-q[a].w, nc+q[c].w-q[b].w
			sa, sb, sc = sa+q[a].y, sb+q[b].y-q[a].y, sc+q[c].y-q[b].y
			wide += b - a
		}
		sse := yy - sa*sa/na
		if nb > 0 {
			sse -= sb * sb / nb
		}
		if nc > 0 {
			sse -= sc * sc / nc
		}
		if nd > 0 {
			sse -= sd * sd / nd
		}
		// The logarithm of a product costs one logarithm; eight factors are far from what a number can hold.
		if product *= max(sse, 0)/n + fair; k%8 == 7 || k == h.sectors-1 {
			total += 0.5 * n * news * math.Log(product)
			product = 1
		}
		if wide > h.rays {
			total += price
		}
	}
	return total
}

// search returns good places of the circles whose face edge lies near one of those given: the best few, apart from each other, for each of the depths offered.
func (h *holeBand) search(from []twin, how holeSearch, depths []float64) []twin {
	type scored struct {
		t twin
		c float64
	}
	const stepMM, stepR = 0.35, 0.2
	var out []twin
	for _, d := range depths {
		var all []scored
		for _, f := range from {
			e, r := h.first(f)
			k := int(math.Ceil(how.far / stepMM))
			for x := -k; x <= k; x++ {
				for y := -k; y <= k; y++ {
					if x*x+y*y > k*k {
						continue
					}
					for g := -how.smaller; g <= how.wider+1e-9; g += stepR {
						t := h.second(e.Add(geom.PointMM{X: float64(x) * stepMM, Y: float64(y) * stepMM}), r+g, d)
						all = append(all, scored{t, h.sharp(t)})
					}
				}
			}
		}
		sort.Slice(all, func(i, j int) bool { return all[i].c < all[j].c })
		n := len(out)
		for i, a := range all {
			// In a thick part the steps are large and a sharp step's cost has its minima where the true one has. On a gasket the
			// face's edge may be the faintest of all, beside a shadow: many places are left for the true cost to choose from.
			rivals := all[:i]
			if h.wall {
				rivals = nil
			}
			near := slices.ContainsFunc(rivals, func(b scored) bool {
				return b.t.b.Dist(a.t.b) < 1.5*stepMM && math.Abs(b.t.r-a.t.r) < 1.5*stepR
			})
			near = near || slices.ContainsFunc(out[n:], func(b twin) bool {
				return a.t.apart(b) < 0.3
			})
			if near {
				continue
			}
			if !h.wall {
				h.descend(&a.t, &a.c, 0.15)
				h.descend(&a.t, &a.c, 0.07)
			}
			out = append(out, a.t)
			if len(out) == n+2 && !h.wall || len(out) == n+40 {
				break
			}
		}
	}
	return out
}

// descend lowers cost c at t by steps along the centre and the radius.
func (h *holeBand) descend(t *twin, c *float64, step float64) {
	for moved, rounds := true, 0; moved && rounds < 12; rounds++ {
		moved = false
		for k := range 6 {
			q := *t
			d := step * float64(1-2*(k%2))
			switch k / 2 {
			case 0:
				q.b.X += d
			case 1:
				q.b.Y += d
			case 2:
				q.r += d
			}
			if v := h.sharp(q); v < *c-1e-6 {
				*t, *c, moved = q, v, true
			}
		}
	}
}

// places returns good places of the circles at one depth, a few, starting from good ones at others: the bore may be the same, or
// the outer edge.
func (h *holeBand) places(near []twin, depth float64) []twin {
	type scored struct {
		t twin
		c float64
	}
	var all []scored
	for _, n := range near {
		bore := n
		bore.depth = depth
		all = append(all, scored{bore, h.sharp(bore)})
		if n.depth != depth {
			e, r := h.first(n)
			t := h.second(e, r, depth)
			all = append(all, scored{t, h.sharp(t)})
		}
	}
	sort.Slice(all, func(i, j int) bool { return all[i].c < all[j].c })
	var out []twin
	for i, a := range all {
		twice := slices.ContainsFunc(all[:i], func(b scored) bool { return a.t.apart(b.t) < 0.1 })
		if twice {
			continue
		}
		h.descend(&a.t, &a.c, 0.07)
		h.descend(&a.t, &a.c, 0.03)
		if !slices.ContainsFunc(out, func(b twin) bool { return a.t.apart(b) < 0.05 }) {
			out = append(out, a.t)
		}
		if len(out) == 3 {
			break
		}
	}
	return out
}

// apart is how far two places of circles are from each other, mm.
func (t twin) apart(o twin) float64 { return t.b.Dist(o.b) + math.Abs(t.r-o.r) }

// leastChamferPx is the narrowest chamfer that can be told from the blur of a sharp edge.
const leastChamferPx = 1.5

// hopeless is how much more than the best a second place at one depth may cost, log likelihood, to be fitted too: fitting gains
// some tens where edges are clear.
const hopeless = 80

// depths fits the circles at every depth where they may be, a few times where there are a few places.
func (h *holeBand) depths(near []twin) []twinFit {
	depth := []float64{0}
	for k := 1; k <= int(math.Round(chamferMaxMM/depthStep)); k++ {
		if d := float64(k) * depthStep; d >= leastChamferPx*h.pxMM {
			depth = append(depth, d)
		}
	}
	at := make([][]twinFit, len(depth))
	start := make([][]twinFit, len(depth))
	least := math.Inf(1)
	for k, d := range depth {
		for _, t := range h.places(near, d) {
			c := h.total(t)
			start[k] = append(start[k], twinFit{twin: t, cost: c})
			least = math.Min(least, c)
		}
	}
	for k := range depth {
		sort.Slice(start[k], func(i, j int) bool { return start[k][i].cost < start[k][j].cost })
		for i, s := range start[k] {
			if i == 0 || s.cost < least+hopeless {
				at[k] = addFit(at[k], h.settle(s.twin, 3))
			}
		}
	}
	for _, fits := range at {
		for _, f := range fits {
			least = math.Min(least, f.cost)
		}
	}
	// A fit may have stopped at a poor place where its neighbour found a good one.
	learn := func(k, from int) {
		for _, f := range at[from][:min(2, len(at[from]))] {
			t := f.twin
			t.depth = depth[k]
			known := slices.ContainsFunc(at[k], func(g twinFit) bool { return g.apart(t) < 0.06 })
			if !known && h.total(t) < least+hopeless {
				at[k] = addFit(at[k], h.settle(t, 3))
			}
		}
	}
	for k := 1; k < len(depth); k++ {
		learn(k, k-1)
	}
	for k := len(depth) - 2; k >= 0; k-- {
		learn(k, k+1)
	}
	return slices.Concat(at...)
}

// addFit adds a fit to the best three of the same depth, best first, unless it is one of them already.
func addFit(fits []twinFit, f twinFit) []twinFit {
	for i, g := range fits {
		if f.apart(g.twin) < 0.03 {
			if f.cost >= g.cost {
				return fits
			}
			fits = slices.Delete(fits, i, i+1)
			break
		}
	}
	i := 0
	for i < len(fits) && fits[i].cost < f.cost {
		i++
	}
	fits = slices.Insert(fits, i, f)
	return fits[:min(3, len(fits))]
}

// likeliest returns the n of the places that cost least, edges blurred and all.
func (h *holeBand) likeliest(t []twin, n int) []twin {
	cost := make(map[twin]float64, len(t))
	for _, x := range t {
		cost[x] = h.total(x)
	}
	sort.Slice(t, func(i, j int) bool { return cost[t[i]] < cost[t[j]] })
	return t[:min(n, len(t))]
}
