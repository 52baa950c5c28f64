package contour

import (
	"math"
	"slices"

	"portmatch/internal/geom"
)

// bores tells whether the openings of what would be a gasket by its height are far darker than the bench: then it is a casting whose
// face stands as little above its strips. Of 38 drawn and ray-traced photos gaskets' openings, also with a shadow across
// them, have 0.4 times the bench's light and more, castings' 0.05 times at most.
func (v *Survey) bores() bool {
	const dark = 0.2
	behind := v.behindPorts()
	beside, around := v.besideStrips(), v.aroundPart()
	if len(behind) == 0 || len(beside) == 0 || len(around) == 0 {
		return false
	}
	// Strips may lie on a sheet of paper, and anything round the part: the darker of the two is the bench.
	bench := min(quantile(beside, 0.5), quantile(around, 0.5))
	return quantile(behind, 0.5) < dark*bench
}

// behindPorts returns the light, linear, of what shows in the openings, clear of their walls and of those walls' shadows.
func (v *Survey) behindPorts() (light []float64) {
	for _, l := range v.open.ports {
		c := centroid(l.pts)
		for _, share := range []float64{0.1, 0.3, 0.5} { // of the way to the edge
			for _, p := range l.pts {
				light = v.plan.addLight(light, c.Add(p.Sub(c).Scale(share)))
			}
		}
	}
	return light
}

// besideStrips returns the light of what lies a few mm beside the strips.
func (v *Survey) besideStrips() (light []float64) {
	const fromMM, toMM, everyMM = 2.0, 9.0, 5.0
	onStrip := v.s.onStrip(v.sol.StripQuadsPx)
	for _, q := range v.s.stripCurves(v.sol.StripQuadsPx) {
		round := resampleClosed(q, everyMM)
		inward := inwardNormals(round)
		for i, p := range round {
			for _, mm := range []float64{fromMM, (fromMM + toMM) / 2, toMM} {
				if out := p.Add(inward[i].Scale(-mm)); !onStrip(out) {
					light = v.plan.addLight(light, out)
				}
			}
		}
	}
	return light
}

// aroundPart returns the light of what lies round the part, farther from its openings than a part reaches (common practice, no source).
func (v *Survey) aroundPart() (light []float64) {
	const fromMM, toMM, everyMM, offStripMM = 25.0, 50.0, 4.0, 8.0
	var part []geom.PointMM
	for _, l := range v.open.ports {
		part = append(part, l.pts...)
	}
	for _, h := range v.holes {
		part = append(part, h.Centre)
	}
	if len(part) == 0 {
		return nil
	}
	hull, strips := convexHull(part), v.s.stripCurves(v.sol.StripQuadsPx)
	lo, hi := part[0], part[0]
	for _, p := range hull {
		lo.X, lo.Y = math.Min(lo.X, p.X), math.Min(lo.Y, p.Y)
		hi.X, hi.Y = math.Max(hi.X, p.X), math.Max(hi.Y, p.Y)
	}
	for y := lo.Y - toMM; y <= hi.Y+toMM; y += everyMM {
		for x := lo.X - toMM; x <= hi.X+toMM; x += everyMM {
			p := geom.PointMM{X: x, Y: y}
			if d := beyondMM(hull, p); d < fromMM || d > toMM {
				continue
			}
			if !slices.ContainsFunc(strips, func(q []geom.PointMM) bool { return beyondMM(q, p) < offStripMM }) {
				light = v.plan.addLight(light, p)
			}
		}
	}
	return light
}

// addLight adds the plan's light at q to light; nothing outside the photo.
func (p *plan) addLight(light []float64, q geom.PointMM) []float64 {
	const gamma = 2.2 // near enough to compare light with light
	if v, ok := p.at(q); ok {
		light = append(light, math.Pow(float64(v)/255, gamma))
	}
	return light
}
