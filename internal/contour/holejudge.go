package contour

import (
	"math"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// accept returns the hole, or nil where the candidate is none.
func (v *Survey) accept(f *holeFit) *face.Hole {
	h := f.h
	k := f.likeliest()
	c := f.settled(k)
	px := h.pxMM
	cov := f.at[k].cov
	variance := c.variance + (cov[0][0]+cov[1][1])/2
	if !v.through() && !f.at[k].shown {
		// A broken edge too narrow to be seen puts what is measured that much below the face: three in ten have one, say, anything
		// up to what would be seen.
		d := h.lean.Norm() * leastChamferPx * px
		variance += 0.3 * d * d / 3 / 2
	}
	// What is left of tone curve and lens; and next to a gasket's edge the shadow has a shape of its own (ray-traced photos: 0.1 px
	// in a hole's centre).
	bias := 0.04 * px
	if v.through() {
		bias = 0.1 * px
	}
	// Where the sectors contradict each other more than their noise allows, the model lacks something.
	bias *= math.Max(1, f.at[k].excess)
	j := h.judge(f.at[k].twin)
	if !h.isHole(j) || 2*c.radius < minHoleMM {
		return nil
	}
	return &face.Hole{Centre: h.mid.Add(c.centre), DiameterMM: 2 * c.radius,
		SigmaCentreMM:   math.Sqrt(variance + bias*bias),
		SigmaDiameterMM: 2 * math.Sqrt(c.varianceR+cov[2][2]+4*bias*bias)}
}

// likeliest returns the fit of the highest probability.
func (f *holeFit) likeliest() int {
	k := 0
	for q, p := range f.p {
		if p > f.p[k] {
			k = q
		}
	}
	return k
}

// settledCircle is the edge of the face by the fit chosen and those next to it in depth.
type settledCircle struct {
	centre   geom.PointMM // from the band's middle
	radius   float64
	variance float64 // of each coordinate of the centre, for not knowing the depth, mm²
	// varianceR is that of the radius.
	varianceR float64
}

// settled places the depth between the steps that were tried, by a parabola through the logarithms of the probabilities at fit k and
// its neighbours, where there are both.
func (f *holeFit) settled(k int) settledCircle {
	h := f.h
	var c settledCircle
	c.centre, c.radius = h.first(f.at[k].twin)
	below, above := f.next(k, -depthStep), f.next(k, depthStep)
	local := func(q int) bool { return q == k }
	if below >= 0 && above >= 0 {
		lb, l, la := math.Log(f.p[below]+1e-300), math.Log(f.p[k]), math.Log(f.p[above]+1e-300)
		if curve := 2*l - lb - la; curve > 0 {
			at := math.Max(-1, math.Min((la-lb)/2/curve, 1)) // in steps
			side := above
			if at < 0 {
				side = below
			}
			e, r := h.first(f.at[side].twin)
			dc, dr := e.Sub(c.centre), r-c.radius
			c.centre, c.radius = c.centre.Add(dc.Scale(math.Abs(at))), c.radius+dr*math.Abs(at)
			c.variance, c.varianceR = dc.Dot(dc)/curve/2, dr*dr/curve
			local = func(q int) bool { return q == k || q == below || q == above }
		}
	}
	for q, p := range f.p {
		if !local(q) {
			e, r := h.first(f.at[q].twin)
			d := e.Sub(c.centre)
			c.variance += p * d.Dot(d) / 2
			c.varianceR += p * (r - c.radius) * (r - c.radius)
		}
	}
	return c
}

// next returns the fit that is fit k's own at a depth larger by step, or -1.
func (f *holeFit) next(k int, step float64) int {
	for q, a := range f.at {
		if math.Abs(a.depth-f.at[k].depth-step) < 1e-6 && a.apart(f.at[k].twin) < 0.08 {
			return q
		}
	}
	return -1
}

// judgement says how much of a hole a candidate is.
type judgement struct {
	seen  float64 // share of the circle where an edge is there at all
	agree float64 // share of the circle where it also lies on the circle
	off   float64 // RMS distance of what agrees from the circle, mm
	dark  float64 // brightness behind the edge over that of the face, the median round the circle
	step  float64 // change of brightness at the edge, of the face's; a quarter of the circle shows more
}

// brightBore is how bright a bore may be, of the face: those seen in ray-traced photos have up to 0.25, stains 0.65 and more.
const brightBore = 0.6

// isHole decides. Behind a gasket's holes lies a bench that may look like the gasket on one side: half the circle will do, if it
// fits well. A bore is dark all round.
func (h *holeBand) isHole(j judgement) bool {
	if h.wall {
		// A stain differs from the bench round it by 0.4 of it at most, wall or shadow or bench from a gasket by 0.55 and more somewhere
		// (ray-traced photos). Under the lid of a scanner there are no stains.
		return j.step > h.leastStep && (j.agree > h.leastAgree || j.agree >= 0.5 && j.agree >= 0.8*j.seen && j.off < 0.01+0.3*h.pxMM)
	}
	return j.agree > 0.65 && j.dark < brightBore
}

// judge looks at every sector for itself.
func (h *holeBand) judge(t twin) judgement {
	// An edge is there if it is this much likelier than none, log likelihood; on the circle, if it is within so much of it.
	const likelier = 5.0
	near := math.Max(0.1, 0.7*h.pxMM)
	at := h.newCrossings()
	fits, _, _ := h.all(t, at)
	step := 0.35 * h.pxMM * math.Max(h.shape.sigmaPx, 0.5)
	var j judgement
	var off2 float64
	var dark, steps []float64
	for k, f := range fits {
		dark = append(dark, (f.x[0]+f.x[1]+f.x[2])/(f.x[0]+1e-6))
		steps = append(steps, math.Max(math.Abs(f.x[1]), math.Abs(f.x[1]+f.x[2]))/(f.x[0]+1e-6))
		if h.plain(k)-f.cost < likelier {
			continue
		}
		j.seen++
		fm, fp := h.fitSector(k, at, -step, f.as), h.fitSector(k, at, step, f.as)
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
	j.dark, j.step = quantile(dark, 0.5), quantile(steps, 0.75)
	return j
}

// mostChange is by how much the mean of three neighbouring samples of a sector differs from the face's brightness at most, of the
// face's; a quarter of the sectors have more. No edge that is seen there changes the brightness by more.
func (h *holeBand) mostChange() float64 {
	most := make([]float64, h.sectors)
	for k := range most {
		var last [3]float64
		for j := range h.n {
			var sum float64
			for i := k * h.rays; i < (k+1)*h.rays; i++ {
				sum += float64(h.rows[i*h.n+j])
			}
			last[j%3] = sum / float64(h.rays)
			if j >= 2 {
				most[k] = max(most[k], math.Abs((last[0]+last[1]+last[2])/3-h.level[k])/(h.level[k]+1e-6))
			}
		}
	}
	return quantile(most, 0.75)
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
