package contour

import (
	"math"
	"math/bits"
	"slices"

	"portmatch/internal/geom"
)

// ring is a place where the plan's brightness falls inward along a good part of a circle.
type ring struct {
	centre geom.PointMM
	radius float64
	arcs   int // sixteenths of the circle where it does
}

// rings looks for circles that are darker just inside, most distinct first: the shaded side of a gasket's hole shows, where the other side is as
// bright as the gasket and no curve of one brightness closes. Every place of some slope votes for the centres that it may
// belong to, one for each radius (Duda and Hart, 1972), with its direction; what many directions agree on is a ring.
func (p *plan) rings(skip func(geom.PointMM) bool) []ring {
	const (
		cellMM  = 0.5
		stepMM  = 0.25 // of the radii
		sectors = 16
		// Half a circle. Chance and the corners of ports make up to seven in ray-traced photos, holes nine and more.
		leastArcs = 8
		// Grey levels of 255 a mm: noise of the plan makes 10 at most, a faint shadow 20.
		leastSlope = 18.0
	)
	w, h := int(float64(p.w)*p.stepMM/cellMM)+1, int(float64(p.h)*p.stepMM/cellMM)+1
	const radii = int((maxHoleMM/2-minHoleMM/2)/2/stepMM) + 1              // up to 14 mm across: larger holes close by themselves
	const farthest = int((minHoleMM/2+stepMM*float64(radii-1))/cellMM) + 1 // cells
	// The plan's rows come in order, so that a row of cells has all its votes once the rows within reach of it are done: only the
	// rows that may still get votes are kept, in turns. Four radii share a word.
	const rows, words = 32, (radii + 3) / 4
	const _ = uint(rows - 2*farthest - 2) // does not compile if they are too few
	votes := make([][words]uint64, rows*w)
	var found []ring
	// count looks for rings in a row of cells and wipes it.
	count := func(b int) {
		row := votes[b%rows*w:][:w]
		for a := range row {
			cell := &row[a]
			var any uint64
			for _, v := range cell {
				any |= v
			}
			if any == 0 {
				continue
			}
			any |= any >> 32
			if bits.OnesCount16(uint16(any|any>>16)) >= leastArcs {
				best, at := leastArcs-1, -1
				for k := range radii {
					if c := bits.OnesCount16(uint16(cell[k/4] >> (k % 4 * 16))); c > best {
						best, at = c, k
					}
				}
				if c := (geom.PointMM{X: p.lo.X + float64(a)*cellMM, Y: p.lo.Y + float64(b)*cellMM}); at >= 0 && !skip(c) {
					found = append(found, ring{c, minHoleMM/2 + float64(at)*stepMM, best})
				}
			}
			*cell = [words]uint64{}
		}
	}
	counted := 0
	least := float32(leastSlope * 2 * p.stepMM)
	for j := 1; j < p.h-1; j++ {
		y := float64(j) * p.stepMM
		for ; counted < min(int(y/cellMM)-farthest, h); counted++ {
			count(counted)
		}
		for i := 1; i < p.w-1; i++ {
			n := j*p.w + i
			dx, dy := p.level[n+1]-p.level[n-1], p.level[n+p.w]-p.level[n-p.w]
			g := dx*dx + dy*dy
			if g < least*least || !p.valid[n-1] || !p.valid[n+1] || !p.valid[n-p.w] || !p.valid[n+p.w] {
				continue
			}
			// Uphill is outward.
			s := 1 / math.Sqrt(float64(g))
			ux, uy := float64(dx)*s, float64(dy)*s
			bit := uint64(1) << (int((math.Atan2(uy, ux)/(2*math.Pi)+1)*sectors) % sectors)
			x := float64(i) * p.stepMM
			for k := range radii {
				r := minHoleMM/2 + float64(k)*stepMM
				a, b := int((x-r*ux)/cellMM+0.5), int((y-r*uy)/cellMM+0.5)
				if a >= 0 && b >= 0 && a < w && b < h {
					votes[b%rows*w+a][k/4] |= bit << (k % 4 * 16)
				}
			}
		}
	}
	for ; counted < h; counted++ {
		count(counted)
	}
	slices.SortStableFunc(found, func(x, y ring) int { return y.arcs - x.arcs })
	var out []ring
	for _, f := range found {
		if !slices.ContainsFunc(out, func(o ring) bool { return o.centre.Dist(f.centre) < math.Max(o.radius, f.radius) }) {
			out = append(out, f)
		}
	}
	return out
}
