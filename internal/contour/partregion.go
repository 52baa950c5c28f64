package contour

import (
	"math"

	"portmatch/internal/geom"
)

// partRegion is the part as a coarse grid has it.
type partRegion struct {
	grid  *partGrid
	table *lookTable
	score [3][]float32 // by feature, tile and bin: log of how much likelier the face looks so than its surroundings
	in    []bool
	curve []geom.PointMM // round it, anticlockwise; nil where it does not hold the ports
}

const (
	sureCell = 1e6 // costs more than any cut
	// mostPerCell bounds the log likelihood ratio of one cell, so that no stain outweighs its surroundings.
	mostPerCell = 3.0
	// What is never seen near an opening may be the face all the same (glare, a stain), and what is never seen further out
	// may be there (a casting's wall, a shadow): the share of each that looks like anything.
	strangeOnFace, strangeBehind = 0.05, 0.3
	// A link costs smoothCut to cut anywhere, and sharpCut more where its cells look alike.
	smoothCut, sharpCut = 0.6, 6.0
	partRounds          = 3
)

// partRegion divides the grid into part and surroundings. openings[:ports] are ports, the rest holes.
//
// What the face looks like is learned next to openings and on the straight ways between them, once and for all; what lies
// round it from the rim of the photo, and then from what the first division left outside. Learning the face from the
// region as well was tried: it eats its way into a casting or bench that looks like it.
func (g *partGrid) partRegion(openings [][]geom.PointMM, ports int) *partRegion {
	r := &partRegion{grid: g, table: g.lookTable()}
	use := make([]bool, len(openings))
	for t := range use {
		use[t] = true
	}
	spine := make([]bool, g.w*g.h)
	ring := func(k int) bool { return g.nearMM[k] > seedFromMM && g.nearMM[k] < seedToMM && use[g.nearest[k]] }
	face := g.learn(r.table, ring)
	r.compare(face, g.learn(r.table, func(k int) bool { return g.nearMM[k] > 30 && g.fromRim(k) < 5 }))
	cut := g.newCut()
	for round := range partRounds {
		for k := range cut.terminal {
			cut.terminal[k] = r.cellScore(k, use, spine)
		}
		r.in = cut.solve()
		if round == 0 {
			use = g.together(r.in, openings, ports)
			spine = g.spine(openings, ports, func(t int) bool { return use[t] })
			// Both count alike: there may be dye round the ports and none between them.
			face = g.learn(r.table, ring)
			face.mix(g.learn(r.table, func(k int) bool { return spine[k] && g.nearMM[k] > seedFromMM }))
		}
		r.in = g.attached(r.in, use)
		r.compare(face, g.learn(r.table, func(k int) bool { return !r.in[k] && !spine[k] }))
	}
	if l := g.outer(r.in); l != nil {
		r.curve = l.pts
		for t, c := range openings[:ports] {
			if use[t] && !contains(l.pts, centroid(c)) {
				r.curve = nil
			}
		}
	}
	return r
}

// cellScore is by how much likelier cell k is the part's than not.
func (r *partRegion) cellScore(k int, use, spine []bool) float32 {
	g := r.grid
	near := float64(g.nearMM[k])
	switch {
	case !g.valid[k] || g.fromRim(k) == 0:
		return -sureCell
	case near < landMM && use[g.nearest[k]]:
		return sureCell
	case g.strip[k] > 0:
		return 0
	}
	s := nearScore(near) + r.look(int(r.table.tile[k]), [3]uint8{r.table.bin[0][k], r.table.bin[1][k], r.table.bin[2][k]})
	if spine[k] {
		s += mostPerCell
	}
	return float32(math.Max(-mostPerCell, math.Min(s, mostPerCell)))
}

// nearScore favours what is near openings: most of a part's edge is within 20 mm of one (common practice, no source), and
// hardly any beyond 60.
func nearScore(nearMM float64) float64 {
	return 0.7 - 1.4*math.Min(nearMM/20, 1) - math.Min(math.Max((nearMM-20)/40, 0), 1)
}

// compare fills in the scores.
func (r *partRegion) compare(face, behind *tileLooks) {
	const even = 1.0 / lookBins
	for f := range r.score {
		r.score[f] = make([]float32, len(face[f]))
		for i, v := range face[f] {
			r.score[f][i] = float32(math.Log(((1-strangeOnFace)*float64(v) + strangeOnFace*even) / ((1-strangeBehind)*float64(behind[f][i]) + strangeBehind*even)))
		}
	}
}

// look is the log of how much likelier something of these bins is the face than what lies round the part.
func (r *partRegion) look(tile int, bin [3]uint8) float64 {
	var s float32
	for f, b := range bin {
		s += r.score[f][tile*lookBins+int(b)]
	}
	return float64(s)
}

// fromRim returns how many cells k is from the grid's rim.
func (g *partGrid) fromRim(k int) int {
	i, j := k%g.w, k/g.w
	return min(i, j, g.w-1-i, g.h-1-j)
}

// together returns which openings hang together with most of the ports' area through cells inside.
func (g *partGrid) together(in []bool, openings [][]geom.PointMM, ports int) []bool {
	group := make([]int, len(openings))
	var area []float64
	var total float64
	done := make([]bool, len(in))
	for t := range openings {
		group[t] = -1
	}
	for k := range in {
		if !in[k] || done[k] || g.nearMM[k] >= landMM {
			continue
		}
		var sum float64
		g.flood(in, done, k, func(k int) {
			if t := g.nearest[k]; g.nearMM[k] < landMM && group[t] < 0 {
				group[t] = len(area)
				if int(t) < ports {
					sum += math.Abs(signedArea(openings[t]))
				}
			}
		})
		area = append(area, sum)
		total += sum
	}
	best := 0
	for i := range area {
		if area[i] > area[best] {
			best = i
		}
	}
	use := make([]bool, len(openings))
	for t := range use {
		use[t] = group[t] == best || area[best] < 0.6*total
	}
	return use
}

// flood visits the cells inside that hang together with cell k, once each.
func (g *partGrid) flood(in, done []bool, k int, visit func(k int)) {
	stack := []int{k}
	done[k] = true
	for len(stack) > 0 {
		k := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		visit(k)
		for _, o := range [4]int{k - 1, k + 1, k - g.w, k + g.w} {
			if in[o] && !done[o] {
				done[o] = true
				stack = append(stack, o)
			}
		}
	}
}

// attached keeps of the cells inside those that hang together with the openings in use.
func (g *partGrid) attached(in, use []bool) []bool {
	out := make([]bool, len(in))
	for k := range in {
		if in[k] && !out[k] && g.nearMM[k] < landMM && use[g.nearest[k]] {
			g.flood(in, out, k, func(int) {})
		}
	}
	return out
}

// newCut prepares the links between cells: cheap to cut where neighbours differ.
func (g *partGrid) newCut() *gridCut {
	c := newGridCut(g.w, g.h)
	noise := g.noise()
	parallelRows(g.h, func(j int) {
		for i := range g.w {
			k := j*g.w + i
			for d := 0; d < 8; d += 2 {
				v := linkDirs[d]
				if i+v[0] >= g.w || i+v[0] < 0 || j+v[1] >= g.h || j+v[1] < 0 {
					continue
				}
				o := k + v[1]*g.w + v[0]
				if g.strip[k] > 0 && g.strip[k] == g.strip[o] {
					c.join(k, d, sureCell)
					continue
				}
				var r2 float64
				for f := range 3 {
					x := float64(g.feature[f][k]-g.feature[f][o]) / noise[f]
					r2 += x * x
				}
				length := 1.0
				if d >= 4 {
					length = math.Sqrt2
				}
				c.join(k, d, float32((smoothCut+sharpCut*math.Exp(-r2/2))/length/2))
			}
		}
	})
	return c
}

// noise is by how much neighbouring cells differ in each feature where there is no edge.
func (g *partGrid) noise() [3]float64 {
	out := [3]float64{3, 0.005, 0.005} // a grey level or so, and what JPEG leaves of hue
	for f := range 3 {
		var d []float64
		for k := 0; k < g.w*g.h-1; k += 5 {
			if g.valid[k] && g.valid[k+1] && g.strip[k] == 0 && g.strip[k+1] == 0 {
				d = append(d, math.Abs(float64(g.feature[f][k]-g.feature[f][k+1])))
			}
		}
		out[f] = math.Max(out[f], 2.5*quantile(d, 0.5))
	}
	return out
}

// outer returns the curve round the cells inside, anticlockwise; nil where there is none.
func (g *partGrid) outer(in []bool) *loop {
	p := &plan{w: g.w, h: g.h, lo: g.lo, stepMM: g.cellMM, level: make([]float32, len(in)), valid: make([]bool, len(in))}
	for k := range in {
		p.valid[k] = true
		if in[k] {
			p.level[k] = levelSpacing
		}
	}
	p.blur()
	var best *loop
	for _, l := range p.terraces(0, 1, nil).loops(0, 100, func(*loop) bool { return false }, &walk{}) {
		if !l.darkInside && (best == nil || l.areaMM2 > best.areaMM2) {
			best = l
		}
	}
	return best
}

// end follows along a band the place where the face ends, by what face and surroundings look like along the whole part, and
// by what they look like just there (as for an opening); it returns the offset at every vertex, mm. Either alone is led
// astray: the first by glare, the second by patches of dye.
func (r *partRegion) end(b *band, m edgeModel) []float64 {
	const (
		reward  = 2.0 // an edge there, in mm of unlike samples; see regionCost
		usualMM = 0.6 // how far from the cells' edge the face's is as a rule
		lean    = 0.5
	)
	n := len(b.base)
	score := r.bandScore(b)
	weight := b.ds / b.pxMM * b.spacing
	cost := m.regionCost(b, b.s0, -0.7, 1)
	_, spread := faceLevels(b, b.s0, -0.7)
	parallelRowsWith(n, func(i int, room *costRow) {
		change := b.changes(room, b.row(i), math.Max(0.4, 3*b.pxMM))
		var sum float64
		for j := range b.n {
			away := (b.s0 + float64(j)*b.ds) / usualMM
			own := -weight*sum - 1.5*reward*b.spacing*edgeEvidence(change[j]/spread[i])
			cost[i*b.n+j] = 0.5 * (cost[i*b.n+j] + own + b.spacing*away*away)
			sum += float64(score[i*b.n+j])
		}
	})
	bend := math.Pow(b.ds/(lean*b.spacing), 2) / 2 * 0.3
	off := make([]float64, n)
	for i, j := range closedPath(cost, n, b.n, bend, max(1, int(1.5*b.spacing/b.ds))) {
		off[i] = b.s0 + float64(j)*b.ds
	}
	return off
}

// bandScore is by how much likelier each sample of a band is the face than not.
func (r *partRegion) bandScore(b *band) []float32 {
	g := r.grid
	out := make([]float32, len(b.base)*b.n)
	const mostPerSample = 2.5
	parallelRows(len(b.base), func(i int) {
		for j, y := range b.row(i) {
			at := i*b.n + j
			if y != y {
				out[at] = -0.3 // no evidence, and no wish to go there
				continue
			}
			p := b.base[i].Add(b.inward[i].Scale(b.s0 + float64(j)*b.ds))
			c := min(max(int((p.X-g.lo.X)/g.cellMM+0.5), 0), g.w-1)
			d := min(max(int((p.Y-g.lo.Y)/g.cellMM+0.5), 0), g.h-1)
			var f [3]float32
			f[0] = g.code(y)
			if b.hue != nil {
				f[1], f[2] = g.turned(b.hue[2*at], b.hue[2*at+1])
			}
			s := r.look(int(r.table.tile[d*g.w+c]), r.table.bins(f))
			out[at] = float32(math.Max(-mostPerSample, math.Min(s, mostPerSample)))
		}
	})
	return out
}
