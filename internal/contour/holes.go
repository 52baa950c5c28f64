package contour

import (
	"math"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// measureHoles fits circles to the edges of the round candidates; what does not turn out round is none.
func (v *Survey) measureHoles() {
	found := make([]*face.Hole, len(v.open.holes))
	parallelItems(len(found), func(i int) { found[i] = v.measureHole(v.open.holes[i]) })
	v.holes = nil
	for _, h := range found {
		if h != nil {
			v.holes = append(v.holes, *h)
		}
	}
}

// measureHole returns nil where the candidate is not a round hole.
func (v *Survey) measureHole(l *loop) *face.Hole {
	const (
		roundMM  = 0.12 // RMS deviation from a circle that a drilled or punched hole may show
		roundRel = 0.02 // or this share of its radius
	)
	centre, d, _ := roundness(l)
	px := v.s.mmPerPx(centre)
	m := edgeModel{sigmaMM: math.Max(0.4, 0.8*v.sol.BlurPx) * px}
	if v.thin {
		m.wallMM = v.opt.HeightMM + 0.15
	}
	far := reach{math.Min(2, 0.4*d), math.Min(2, 0.35*d)}
	base := v.s.locate(l.pts, m, far, false)
	m = v.s.settle([][]geom.PointMM{base}, m)
	r := v.s.refine(base, m)
	var pts []geom.PointMM
	for i, p := range r.outline {
		if r.sure[i] {
			pts = append(pts, p)
		}
	}
	if len(pts) < max(12, len(r.outline)/3) {
		return nil
	}
	c, err := geom.FitCircle(pts, nil)
	if err != nil || c.RMSMM > math.Max(roundMM, roundRel*c.RadiusMM) || 2*c.RadiusMM < minHoleMM || c.Centre.Dist(centre) > 0.4*d {
		return nil
	}
	// Neighbouring readings hang together over corrMM: that many independent ones there are round the circle. The centre of a circle
	// fitted to n readings has a variance of 2/n theirs, its radius 1/n.
	n := math.Max(3, float64(len(pts))/float64(len(r.outline))*2*math.Pi*c.RadiusMM/corrMM)
	bias := math.Hypot(0.05*px, 0.15*m.rimMM)
	return &face.Hole{Centre: c.Centre, DiameterMM: 2 * c.RadiusMM,
		SigmaCentreMM:   math.Hypot(c.RMSMM*math.Sqrt(2/n), 0.5*bias),
		SigmaDiameterMM: 2 * math.Hypot(c.RMSMM/math.Sqrt(n), bias)}
}
