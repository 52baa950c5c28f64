package contour

import (
	"math"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// measureGasketHoles fits circles to the edges of the round candidates of a gasket; what does not turn out round is none.
func (v *Survey) measureGasketHoles() {
	found := make([]*face.Hole, len(v.open.holes))
	parallelItems(len(found), func(i int) {
		f := v.startGasketHole(v.open.holes[i])
		if c, d, _ := roundness(v.open.holes[i]); f.centre.Dist(c) < 0.35*d+0.5 {
			found[i] = v.finishHole(f)
		}
	})
	for _, h := range found {
		if h != nil {
			v.holes = append(v.holes, *h)
		}
	}
}

// holeModel is what is known of a hole's edge beforehand.
func (v *Survey) holeModel(px float64) edgeModel {
	m := edgeModel{sigmaMM: math.Max(0.4, 0.7*v.sol.BlurPx) * px}
	if v.thin {
		m.wallMM = v.opt.HeightMM + benchDropMM
	}
	return m
}

// startGasketHole finds the circle by regions, to a few tenths of a mm.
func (v *Survey) startGasketHole(l *loop) circleFit {
	centre, d, _ := roundness(l)
	m := v.holeModel(v.s.mmPerPx(centre))
	f := circleFit{centre: centre, radiusMM: d / 2, model: m}
	for _, half := range []float64{math.Min(2, 0.35*d), 1} {
		f = v.s.circleEnd(f, m, half)
	}
	return f
}

// refit fits the circle anew from the place of an earlier one.
func (v *Survey) refit(from circleFit, m edgeModel, half, stepPx float64) circleFit {
	px := v.s.mmPerPx(from.centre)
	return v.s.fitCircle(geomCircle(from.centre, from.radiusMM, vertexSpacing(px)), from.centre, from.radiusMM, m, half, stepPx*px)
}

// finishHole returns nil where the candidate is not a round hole.
func (v *Survey) finishHole(start circleFit) *face.Hole {
	m := start.model
	c := v.refit(start, m, 0.5, 0.5)
	// Once more from close by, for the profiles to run straight across the edge.
	c = v.refit(c, m, 0.3, 0.25)
	if c.agree < leastRound || 2*c.radiusMM < minHoleMM {
		return nil
	}
	bias := 0.05 * v.s.mmPerPx(c.centre)
	return &face.Hole{Centre: c.centre, DiameterMM: 2 * c.radiusMM,
		SigmaCentreMM:   math.Hypot(math.Sqrt((c.cov[0][0]+c.cov[1][1])/2), 0.5*bias),
		SigmaDiameterMM: 2 * math.Hypot(math.Sqrt(c.cov[2][2]), bias)}
}

// circleFit is a circle laid through the misfit curves of its profiles: the model of the edge, with its rim or wall, and the
// roundness of the hole are used at once, so that the bright and the dark side of a chamfer pull at one circle.
type circleFit struct {
	centre   geom.PointMM
	radiusMM float64
	model    edgeModel
	misfit   float64       // mean over the circle, robust, in noise variances
	agree    float64       // share of the circle where the profile's own best place lies near the circle
	cov      [3][3]float64 // of centre and radius, mm²
	offMM    float64       // RMS distance of the profiles' own best places from the circle
}

// leastRound of the circle must agree with its profiles for a hole to be one.
const leastRound = 0.55

// circleEnd finds the circle, within half mm of the given one, where the face ends by regions: see faceEnd. A circle decides for
// the whole hole whether the chamfer's outer edge or the bore is meant, where a free path would change from one to the
// other with the light.
func (s *surface) circleEnd(from circleFit, m edgeModel, half float64) circleFit {
	px := s.mmPerPx(from.centre)
	ring := geomCircle(from.centre, from.radiusMM, vertexSpacing(px))
	b := s.unroll(ring, -half-3.2, math.Min(half+1.5+m.wallMM/2, 0.9*from.radiusMM), 0.5*px, math.Min(profileAverageMM, 0.25*from.radiusMM), true)
	cost := m.regionCost(b, -half-2.8, -0.6, math.Min(0.6, 0.5*from.radiusMM))
	at := func(i int, off float64) float64 {
		j := b.index(off)
		if j < 0 || j > float64(b.n-1) {
			return math.Inf(1)
		}
		k := min(int(j), b.n-2)
		v := cost[i*b.n+k]
		return v + (j-float64(k))*(cost[i*b.n+k+1]-v)
	}
	d := searchCircle(b, half, px/4, at)
	offs := make([]float64, len(ring))
	for i := range offs {
		offs[i] = d[0]*b.inward[i].X + d[1]*b.inward[i].Y - d[2]
	}
	return circleFit{centre: from.centre.Add(geom.PointMM{X: d[0], Y: d[1]}), radiusMM: from.radiusMM + d[2], model: m}
}

// searchCircle minimises the sum over the band's vertices of cost(i, offset of the circle's edge there) over the shift of the
// centre and the growth of the radius, to step mm, and returns (dx, dy, dr).
func searchCircle(b *band, half, step float64, cost func(i int, off float64) float64) [3]float64 {
	total := func(d [3]float64) float64 {
		var t float64
		for i, n := range b.inward {
			// Moving the circle by d moves its edge inward by d·inward; growing it moves the edge outward.
			t += cost(i, d[0]*n.X+d[1]*n.Y-d[2])
		}
		return t
	}
	var at [3]float64
	best := math.Inf(1)
	for r := -half; r <= half; r += math.Max(2*step, half/20) {
		for _, x := range []float64{-half / 3, 0, half / 3} {
			for _, y := range []float64{-half / 3, 0, half / 3} {
				if t := total([3]float64{x, y, r}); t < best {
					best, at = t, [3]float64{x, y, r}
				}
			}
		}
	}
	for h := half / 6; h > step; h /= 2 {
		for moved, rounds := true, 0; moved && rounds < 20; rounds++ {
			moved = false
			for k := range 6 {
				d := at
				d[k/2] += h * float64(1-2*(k%2))
				if math.Hypot(d[0], d[1])+math.Abs(d[2]) > 1.6*half {
					continue
				}
				if t := total(d); t < best-1e-9 {
					best, at, moved = t, d, true
				}
			}
		}
	}
	return at
}

func geomCircle(c geom.PointMM, r, spacing float64) []geom.PointMM {
	n := max(24, int(2*math.Pi*r/spacing))
	out := make([]geom.PointMM, n)
	for i := range out {
		s, co := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		out[i] = c.Add(geom.PointMM{X: r * co, Y: r * s})
	}
	return out
}

// fitCircle finds the circle within half mm of the given one that fits the profiles best. step is the grid of the scan, mm.
func (s *surface) fitCircle(ring []geom.PointMM, centre geom.PointMM, radius float64, m edgeModel, half, step float64) circleFit {
	px := s.mmPerPx(centre)
	b := s.unroll(ring, -(half + 2.6), half+1.2+0.8*m.wallMM+1.3*m.rimMM, 0.5*px, math.Min(profileAverageMM, 0.25*radius), false)
	inner := -0.5
	if half > 1 {
		inner = -1.0
	}
	level, spread := faceLevels(b, -2.6, inner)
	e := m.scan(b, make([]float64, len(ring)), half, step, level, spread)
	tau2 := e.noise()
	n := len(ring)
	// The excess misfit of every profile over its own best, capped: what lies across part of a hole's edge (a washer's mark,
	// glare) has no more to say than "not here".
	const most = 60
	own := make([]float64, n)
	floor := make([]float64, n)
	for i := range e.fits {
		f := e.fits[i].sse
		k := 0
		for q, x := range f {
			if x < f[k] {
				k = q
			}
		}
		own[i] = e.lo + float64(k)*e.step
		floor[i] = f[k]
	}
	at := func(i int, off float64) float64 {
		x := (off - e.lo) / e.step
		if x < 0 || x > float64(e.k-1) {
			return most
		}
		q := min(int(x), e.k-2)
		f := e.fits[i].sse
		v := f[q] + (x-float64(q))*(f[q+1]-f[q])
		return math.Min((v-floor[i])/tau2, most)
	}
	d := searchCircle(b, half, step/40, at)
	dx, dy, dr := d[0], d[1], d[2]
	if half < 0.35 {
		offs := make([]float64, n)
		for i := range offs {
			offs[i] = dx*b.inward[i].X + dy*b.inward[i].Y - dr
		}
	}
	c := circleFit{centre: centre.Add(geom.PointMM{X: dx, Y: dy}), radiusMM: radius + dr, model: m}
	var agree, sum, off2 float64
	for i := range ring {
		off := dx*b.inward[i].X + dy*b.inward[i].Y - dr
		sum += math.Min((at(i, off)*tau2+floor[i])/(spread[i]*spread[i]), 1e4)
		k := min(max(int((off-e.lo)/e.step+0.5), 0), e.k-1)
		f := &e.fits[i]
		contrast := math.Max(math.Abs(f.first[k]), math.Abs(f.first[k]+f.second[k])) / spread[i]
		d := own[i] - off
		if math.Abs(d) < math.Max(0.15, 1.5*px) && contrast > leastStep {
			agree++
			off2 += d * d
		}
	}
	c.misfit = sum / float64(n)
	c.agree = agree / float64(n)
	c.offMM = math.Sqrt(off2 / math.Max(agree, 1))
	// Independent readings round the circle, see corrMM; the centre of a circle fitted to k readings has a variance of 2/k
	// theirs in each direction, the radius 1/k.
	k := math.Max(3, agree*b.spacing/math.Min(corrMM, 0.5*radius))
	c.cov[0][0], c.cov[1][1], c.cov[2][2] = off2/math.Max(agree, 1)*2/k, off2/math.Max(agree, 1)*2/k, off2/math.Max(agree, 1)/k
	return c
}
