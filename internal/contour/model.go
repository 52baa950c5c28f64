package contour

import (
	"math"

	"portmatch/internal/geom"
)

// settle decides for the whole face what its edges are like: how blurred, and whether they are rounded or chamfered and how
// much. One answer for all ports: they are cut and lit alike, and no single profile can tell. lands are the ports' widths of face (see
// edgeModel.landMM).
func (s *surface) settle(bases [][]geom.PointMM, lands []float64, m edgeModel) edgeModel {
	type sample struct {
		b             *band
		level, spread []float64
		landMM        float64
		tau2          float64 // of the noise, where the dye is asked
	}
	all := make([]sample, len(bases))
	parallelItems(len(bases), func(i int) {
		b, level, spread := s.profiles(bases[i], edgeModel{wallMM: m.wallMM, rimMM: 1, landMM: lands[i]}, 0.5)
		all[i] = sample{b.every(4), everyOf(level, 4), everyOf(spread, 4), lands[i], 0}
	})
	if m.bareRimMM > 0 {
		for i, a := range all {
			all[i].tau2 = m.scan(a.b, 0.5, 0.25*a.b.pxMM, a.level, a.spread).noise()
		}
	}
	half := 0.5
	if m.bareRimMM > 0 {
		half = 0.75 // regions may have either side of the rim
	}
	misfit := func(m edgeModel) float64 {
		cost := make([]float64, len(all))
		parallelItems(len(all), func(i int) {
			a := all[i]
			e := m.on(a.landMM).scan(a.b, half, 0.25*a.b.pxMM, a.level, a.spread)
			if m.bareRimMM > 0 {
				m.addDye(a.b, e, a.tau2)
			}
			for k := range e.fits {
				v := math.Inf(1)
				for _, x := range e.fits[k].sse {
					v = math.Min(v, x)
				}
				if !math.IsInf(v, 1) {
					// In units of the face's spread there, so that every port has its say.
					cost[i] += v / (a.spread[k] * a.spread[k]) / float64(len(e.fits))
				}
			}
		})
		var sum float64
		for _, c := range cost {
			sum += c
		}
		return sum
	}
	px := all[0].b.pxMM
	m.sigmaMM = least(geometricSteps(0.4*px, 2.6*px, 1.3), func(x float64) float64 { t := m; t.sigmaMM = x; return misfit(t) })
	if m.wallMM > 0 || m.punched {
		return m
	}
	if m.dyed = s.dyeHue > 0; m.dyed {
		return m
	}
	if m.bareRimMM > 0 {
		const near = 1.6 // times as wide as it looked at first, or as narrow
		m.dyed, m.chamfer = true, true
		m.rimMM = least(geometricSteps(m.bareRimMM/near, m.bareRimMM*near, 1.1), func(x float64) float64 { t := m; t.rimMM = x; return misfit(t) })
		m.rimSigmaMM = 0.12 * m.rimMM
		m.sigmaMM = least(geometricSteps(0.4*px, 2.6*px, 1.3), func(x float64) float64 { t := m; t.sigmaMM = x; return misfit(t) })
		return m
	}
	found := s.newArcs(bases, m).rim(m)
	// How blurred a photo is, burnt-out paper doesn't tell, and blur passes for a narrow rim.
	const narrowPx = 1.6
	if s.whiteBurnt && found.mm < narrowPx*px {
		found = rim{maybeMM: max(found.mm, found.maybeMM), light: found.light}
	}
	m.rimMM, m.rimSigmaMM, m.chamfer, m.maybeRimMM, m.rimLight = found.mm, found.sigmaMM, found.chamfer, found.maybeMM, found.light
	m.rusty = s.rusty(bases)
	if m.rimMM > 0 {
		m.doubt = m.rusty
		m.sigmaMM = least(geometricSteps(0.4*px, 2.6*px, 1.3), func(x float64) float64 { t := m; t.sigmaMM = x; return misfit(t) })
	}
	return m
}

// sharpened returns models of a sharp edge in a picture that was sharpened: more blurred, with a halo.
func (m edgeModel) sharpened() []edgeModel {
	var out []edgeModel
	for _, halo := range []float64{0.25, 0.5, 1, 2} {
		for _, wider := range []float64{1, 1.25, 1.6} {
			for _, further := range []float64{1.6, 2.5, 4} {
				t := m
				t.halo, t.sigmaMM, t.haloMM = halo, wider*m.sigmaMM, further*wider*m.sigmaMM
				out = append(out, t)
			}
		}
	}
	return out
}

func geometricSteps(from, to, ratio float64) []float64 {
	var out []float64
	for x := from; x < to; x *= ratio {
		out = append(out, x)
	}
	return out
}

// least returns the place of the least value of f over the places x, by a parabola in log x through the best three. It looks
// no further once f has risen clearly: misfits have one minimum (on all ray-traced photos), and the widest shapes take
// longest to fit.
func least(x []float64, f func(float64) float64) float64 {
	const clearly = 1.25
	v := make([]float64, len(x))
	k := 0
	for i := range x {
		v[i] = f(x[i])
		if v[i] < v[k] {
			k = i
		}
		if i > k+1 && v[i] > clearly*v[k] {
			break
		}
	}
	if k == 0 || k == len(x)-1 {
		return x[k]
	}
	a, c := v[k-1]-v[k], v[k+1]-v[k]
	if a+c <= 0 {
		return x[k]
	}
	return x[k] * math.Exp(0.5*(a-c)/(a+c)*math.Log(x[k+1]/x[k]))
}

func everyOf(v []float64, k int) []float64 {
	var out []float64
	for i := 0; i+k <= len(v); i += k {
		out = append(out, v[i])
	}
	return out
}

// soft is by how much more an edge is blurred, mm, than the photo's blur accounts for, as the strips and the holes show it: the standard
// deviation of a rounding or chamfer that is too narrow, or too much like the face, to be seen as a rim, or of what such a rim is wider
// than it looks. px is the size of a pixel, mm. On 32 drawn and ray-traced faces with sharp edges it was under 0.02 mm; on 10 of
// 24 with roundings and chamfers it was 0.04 to 0.14 mm, and the edge as far out as it says and a fifth more.
func (v *Survey) soft(m edgeModel, px float64) float64 {
	const alike = 1.07 // how far two measures of one blur differ
	blur := alike * v.sampledBlur()
	if v.holeShape != nil {
		blur = math.Max(blur, v.holeShape.sigmaPx)
	}
	return px * math.Sqrt(math.Max(0, math.Pow(m.sigmaMM/px, 2)-blur*blur))
}
