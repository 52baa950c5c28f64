package contour

import "slices"

// gridCut finds the cheapest division of a grid of cells into inside and outside: the sum of what each cell costs on its
// side and of the links that are cut between neighbours (8 of them). It is the largest flow from inside to outside, found by
// growing a tree from either end and joining them (Boykov and Kolmogorov 2004).
type gridCut struct {
	w, h int
	// terminal is, for every cell, what it costs more to be outside than inside; negative if it is the other way.
	terminal []float32
	// link[d] is what it costs to cut cell i from its neighbour in direction d.
	link [8][]float32
	step [8]int

	tree   []int8 // of the cell: none, inner, outer
	parent []int8 // direction of the parent, or root, or none
	stamp  []int32
	depth  []int32
	now    int32
	active []int32
	queued []bool
	orphan []int32
}

const (
	noTree int8 = iota
	innerTree
	outerTree
)

const (
	noParent int8 = -1
	rootCell int8 = 8
)

// linkDirs are the directions of links; d^1 is opposite to d.
var linkDirs = [8][2]int{{1, 0}, {-1, 0}, {0, 1}, {0, -1}, {1, 1}, {-1, -1}, {1, -1}, {-1, 1}}

func newGridCut(w, h int) *gridCut {
	g := &gridCut{w: w, h: h, terminal: make([]float32, w*h)}
	for d, v := range linkDirs {
		g.link[d] = make([]float32, w*h)
		g.step[d] = v[1]*w + v[0]
	}
	return g
}

// join sets the cost of cutting cell i from its neighbour in direction d; there must be one.
func (g *gridCut) join(i, d int, cost float32) {
	g.link[d][i] = cost
	g.link[d^1][i+g.step[d]] = cost
}

// solve returns which cells are inside. It leaves the links and terminals as they are, so that it can be asked again.
func (g *gridCut) solve() []bool {
	saved := *g
	defer func() { *g = saved }()
	g.terminal = slices.Clone(g.terminal)
	for d := range g.link {
		g.link[d] = slices.Clone(g.link[d])
	}
	g.now, g.active, g.orphan = 0, nil, nil
	n := g.w * g.h
	g.tree, g.parent = make([]int8, n), make([]int8, n)
	g.stamp, g.depth, g.queued = make([]int32, n), make([]int32, n), make([]bool, n)
	for i, t := range g.terminal {
		g.parent[i] = noParent
		if t != 0 {
			g.tree[i], g.parent[i], g.depth[i] = outerTree, rootCell, 1
			if t > 0 {
				g.tree[i] = innerTree
			}
			g.wake(int32(i))
		}
	}
	for head := 0; head < len(g.active); {
		i := g.active[head]
		if g.parent[i] == noParent {
			g.queued[i] = false
			head++
			continue
		}
		from, d := g.grow(i)
		if d < 0 {
			g.queued[i] = false
			head++
			if head > 1<<16 && head > len(g.active)/2 {
				g.active = append(g.active[:0], g.active[head:]...)
				head = 0
			}
			continue
		}
		g.now++
		g.augment(from, d)
		g.adopt()
	}
	in := make([]bool, n)
	for i := range in {
		in[i] = g.tree[i] == innerTree
	}
	return in
}

func (g *gridCut) wake(i int32) {
	if !g.queued[i] {
		g.queued[i] = true
		g.active = append(g.active, i)
	}
}

// room is what still flows between cell i and its neighbour j in direction d: from i in the inner tree, to i in the outer.
func (g *gridCut) room(i int32, d int, j int32) float32 {
	if g.tree[i] == innerTree {
		return g.link[d][i]
	}
	return g.link[d^1][j]
}

// grow lets cell i take its free neighbours into its tree. Where it meets the other tree it returns the cell of the inner
// tree and the direction that leads into the outer, else -1.
func (g *gridCut) grow(i int32) (from int32, d int) {
	for d := range 8 {
		j := i + int32(g.step[d])
		if j < 0 || int(j) >= len(g.tree) || g.room(i, d, j) <= 0 {
			continue
		}
		switch g.tree[j] {
		case noTree:
			g.tree[j], g.parent[j] = g.tree[i], int8(d^1)
			g.stamp[j], g.depth[j] = g.stamp[i], g.depth[i]+1
			g.wake(j)
		case g.tree[i]:
			// A shorter way to the root.
			if g.stamp[j] <= g.stamp[i] && g.depth[j] > g.depth[i]+1 && g.parent[j] != rootCell {
				g.parent[j], g.stamp[j], g.depth[j] = int8(d^1), g.stamp[i], g.depth[i]+1
			}
		default:
			if g.tree[i] == innerTree {
				return i, d
			}
			return j, d ^ 1
		}
	}
	return 0, -1
}

// augment sends as much as fits along the path from the inner root through cell i, in direction d, to the outer root.
func (g *gridCut) augment(i int32, d int) {
	j := i + int32(g.step[d])
	flow := g.link[d][i]
	for k := i; ; {
		p := g.parent[k]
		if p == rootCell {
			flow = min(flow, g.terminal[k])
			break
		}
		up := k + int32(g.step[p])
		flow = min(flow, g.link[p^1][up])
		k = up
	}
	for k := j; ; {
		p := g.parent[k]
		if p == rootCell {
			flow = min(flow, -g.terminal[k])
			break
		}
		flow = min(flow, g.link[p][k])
		k += int32(g.step[p])
	}
	g.link[d][i] -= flow
	g.link[d^1][j] += flow
	for k := i; ; {
		p := g.parent[k]
		if p == rootCell {
			if g.terminal[k] -= flow; g.terminal[k] <= 0 {
				g.lose(k)
			}
			break
		}
		up := k + int32(g.step[p])
		g.link[p][k] += flow
		if g.link[p^1][up] -= flow; g.link[p^1][up] <= 0 {
			g.lose(k)
		}
		k = up
	}
	for k := j; ; {
		p := g.parent[k]
		if p == rootCell {
			if g.terminal[k] += flow; g.terminal[k] >= 0 {
				g.lose(k)
			}
			break
		}
		up := k + int32(g.step[p])
		g.link[p^1][up] += flow
		if g.link[p][k] -= flow; g.link[p][k] <= 0 {
			g.lose(k)
		}
		k = up
	}
}

// lose cuts cell i from its parent.
func (g *gridCut) lose(i int32) {
	g.parent[i] = noParent
	g.orphan = append(g.orphan, i)
}

// adopt finds a new parent in its own tree for every cell that lost its own, or sets it free.
func (g *gridCut) adopt() {
	for len(g.orphan) > 0 {
		i := g.orphan[0]
		g.orphan = g.orphan[1:]
		best, bestDepth := noParent, int32(1<<30)
		for d := range 8 {
			j := i + int32(g.step[d])
			if j < 0 || int(j) >= len(g.tree) || g.tree[j] != g.tree[i] || g.parent[j] == noParent {
				continue
			}
			room := g.link[d^1][j] // from j to i
			if g.tree[i] == outerTree {
				room = g.link[d][i]
			}
			if room <= 0 {
				continue
			}
			if k := g.origin(j); k < bestDepth {
				best, bestDepth = int8(d), k
			}
		}
		if best != noParent {
			g.parent[i], g.stamp[i], g.depth[i] = best, g.now, bestDepth+1
			continue
		}
		for d := range 8 {
			j := i + int32(g.step[d])
			if j < 0 || int(j) >= len(g.tree) || g.tree[j] != g.tree[i] {
				continue
			}
			room := g.link[d^1][j]
			if g.tree[i] == outerTree {
				room = g.link[d][i]
			}
			if room > 0 {
				g.wake(j)
			}
			if g.parent[j] == int8(d^1) {
				g.lose(j)
			}
		}
		g.tree[i] = noTree
	}
	g.orphan = g.orphan[:0]
}

// origin returns how many steps cell j is from its root, or a huge number if it hangs on an orphan; and notes it along the
// way.
func (g *gridCut) origin(j int32) int32 {
	const lost = 1 << 30
	var steps int32
	k := j
	for {
		if g.stamp[k] == g.now && g.parent[k] != noParent {
			steps += g.depth[k]
			break
		}
		p := g.parent[k]
		if p == noParent {
			return lost
		}
		steps++
		if p == rootCell {
			g.stamp[k], g.depth[k] = g.now, 1
			break
		}
		k += int32(g.step[p])
	}
	total := steps
	for k = j; g.stamp[k] != g.now; {
		g.stamp[k], g.depth[k] = g.now, steps
		steps--
		k += int32(g.step[g.parent[k]])
	}
	return total
}
