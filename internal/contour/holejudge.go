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
	for q, p := range f.p {
		if math.Abs(f.at[q].depth-f.at[k].depth) <= together {
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
	if v.thin {
		d := h.lean.Norm() * 0.05
		sigma2 += d * d / 2
	} else {
		d := h.lean.Norm() * depthStep / 4
		sigma2 += d * d / 2
	}
	bias := 0.03 * px
	j := h.judge(f.at[k].twin)
	if !j.isHole() || 2*r < minHoleMM {
		return nil
	}
	return &face.Hole{Centre: h.mid.Add(e), DiameterMM: 2 * r,
		SigmaCentreMM:   math.Sqrt(sigma2 + bias*bias),
		SigmaDiameterMM: 2 * math.Sqrt(spreadR+cov[2][2]+4*bias*bias)}
}

// judgement says how much of a hole a candidate is.
type judgement struct {
	agree float64 // share of the circle where the edge, sought for itself, is where the circles are
	off   float64 // RMS distance of the edge, sought for itself, from the circles where it agrees, mm
	steps float64 // share of the circle where the brightness changes enough
}

func (j judgement) isHole() bool { return j.agree > 0.5 && j.off < 0.12 }

// judge looks at every sector for itself.
func (h *holeBand) judge(t twin) judgement {
	s1, s2 := make([]float64, len(h.u)), make([]float64, len(h.u))
	h.edges(t, s1, s2)
	var j judgement
	near := math.Max(0.15, 1.5*h.pxMM)
	step := 0.5 * h.pxMM
	n := int(0.8 / step)
	var off2 float64
	for k := range h.sectors {
		best, at := math.Inf(1), 0.0
		var x levels
		for q := -n; q <= n; q++ {
			f := h.fitSector(k, s1, s2, float64(q)*step, anyLook)
			if f.cost < best {
				best, at, x = f.cost, float64(q)*step, f
			}
		}
		if math.Abs(at) < near {
			j.agree++
			off2 += at * at
		}
		if math.Max(math.Abs(x.x[1]), math.Abs(x.x[1]+x.x[2])) > leastStep*h.spread[k] {
			j.steps++
		}
	}
	j.off = math.Sqrt(off2 / math.Max(j.agree, 1))
	j.agree /= float64(h.sectors)
	j.steps /= float64(h.sectors)
	return j
}
