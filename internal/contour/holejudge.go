package contour

import (
	"math"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// accept returns the hole, or nil where the candidate is none.
func (v *Survey) accept(f *holeFit) *face.Hole {
	h := f.h
	// The depth that is most likely, and what lies close to it.
	k := 0
	for q, p := range f.p {
		if p > f.p[k] {
			k = q
		}
	}
	const together = 0.15
	var e geom.PointMM
	var r, w float64
	like := func(t twin) bool {
		return math.Abs(t.depth-f.at[k].depth) <= together && math.Abs(t.r-f.at[k].r) < 0.05 && t.b.Dist(f.at[k].b) < 0.05
	}
	for q, p := range f.p {
		if like(f.at[q].twin) {
			c, rad := h.first(f.at[q].twin)
			e = e.Add(c.Scale(p))
			r += p * rad
			w += p
		}
	}
	e, r = e.Scale(1/w), r/w
	var spread, spreadR float64
	for q, p := range f.p {
		c, rad := h.first(f.at[q].twin)
		d := c.Sub(e)
		spread += p * d.Dot(d) / 2
		spreadR += p * (rad - r) * (rad - r)
	}
	px := h.pxMM
	cov := f.at[k].cov
	sigma2 := spread + (cov[0][0]+cov[1][1])/2
	if !v.thin {
		d := h.lean.Norm() * depthStep / 4
		if f.at[k].depth == 0 {
			// A broken edge too narrow to be seen puts what is measured that much below the face: every second one has it, say.
			d = h.lean.Norm() * leastChamferPx / math.Sqrt(12) / 2 * px
		}
		sigma2 += d * d / 2
	}
	// What is left of tone curve and lens; and next to a gasket's edge the shadow has a shape of its own (ray-traced photos: 0.1 px
	// in a hole's centre).
	bias := 0.04 * px
	if v.thin {
		bias = 0.1 * px
	}
	// Where the sectors contradict each other more than their noise allows, the model lacks something.
	bias *= math.Max(1, f.at[k].excess)
	j := h.judge(f.at[k].twin)
	if !h.isHole(j) || 2*r < minHoleMM {
		return nil
	}
	return &face.Hole{Centre: h.mid.Add(e), DiameterMM: 2 * r,
		SigmaCentreMM:   math.Sqrt(sigma2 + bias*bias),
		SigmaDiameterMM: 2 * math.Sqrt(spreadR+cov[2][2]+4*bias*bias)}
}

// judgement says how much of a hole a candidate is.
type judgement struct {
	seen  float64 // share of the circle where an edge is there at all
	agree float64 // share of the circle where it also lies on the circle
	off   float64 // RMS distance of what agrees from the circle, mm
	dark  float64 // brightness behind the edge over that of the face, the median round the circle
}

// brightBore is how bright a bore may be, of the face: those seen in ray-traced photos have up to 0.25, stains 0.65 and more.
const brightBore = 0.6

// isHole decides. Behind a gasket's holes lies a bench that may look like the gasket on one side: half the circle will do, if it
// fits well. A bore is dark all round.
func (h *holeBand) isHole(j judgement) bool {
	if h.wall {
		return j.agree > 0.65 || j.agree >= 0.5 && j.agree >= 0.8*j.seen && j.off < 0.01+0.3*h.pxMM
	}
	return j.agree > 0.65 && j.dark < brightBore
}

// judge looks at every sector for itself.
func (h *holeBand) judge(t twin) judgement {
	// An edge is there if it is this much likelier than none, log likelihood; on the circle, if it is within so much of it.
	const likelier = 5.0
	near := math.Max(0.1, 0.7*h.pxMM)
	s1, s2 := make([]float64, len(h.u)), make([]float64, len(h.u))
	fits, _ := h.all(t, s1, s2)
	step := 0.35 * h.pxMM * math.Max(h.shape.sigmaPx, 0.5)
	var j judgement
	var off2 float64
	var dark []float64
	for k, f := range fits {
		dark = append(dark, (f.x[0]+f.x[1]+f.x[2])/(f.x[0]+1e-6))
		if h.plain(k)-f.cost < likelier {
			continue
		}
		j.seen++
		fm, fp := h.fitSector(k, s1, s2, -step, f.as), h.fitSector(k, s1, s2, step, f.as)
		curve := fp.sse - 2*f.sse + fm.sse
		if curve <= 0 {
			continue
		}
		if d := -(fp.sse - fm.sse) / 2 / curve * step; math.Abs(d) < near {
			j.agree++
			off2 += d * d
		}
	}
	j.off = math.Sqrt(off2 / math.Max(j.agree, 1))
	j.agree /= float64(h.sectors)
	j.seen /= float64(h.sectors)
	j.dark = quantile(dark, 0.5)
	return j
}

// plain is what sector k costs with no edge in it: one level all over.
func (h *holeBand) plain(k int) float64 {
	var w, s, q float64
	for i := k * h.rays; i < (k+1)*h.rays; i++ {
		all := h.cum[i*(h.n+1)+h.n]
		w, s, q = w+all.w, s+all.y, q+all.yy
	}
	return h.cost(q - s*s/w)
}
