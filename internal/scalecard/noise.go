package scalecard

import (
	"math"

	"portmatch/internal/geom"
	"portmatch/internal/scalecard/strip"
)

// levels are mean and variance of pixels in the black and in the white of the strips, in linear light.
type levels struct{ black, white, blackVar, whiteVar float64 }

// levels measures the flat insides of a tag's cells; ok is false where cells are too small to have any.
func (m *measurer) levels(id int, c [4]geom.PointPx, blur float64) (l levels, ok bool) {
	if !m.cut(id, c) {
		return l, false
	}
	to := homographyOf(c)
	inset := (2*blur + 1) * strip.TagMM / sidePx(c) // mm
	half := strip.CellMM/2 - inset
	if half*sidePx(c)/strip.TagMM < 1.5 {
		return l, false
	}
	var mean, variance [2][]float64
	for col := range strip.Cells {
		for row := range strip.Cells {
			k := 1
			if strip.Black(id, col, row) {
				k = 0
			}
			mid := to(geom.PointMM{X: (float64(col)+0.5)*strip.CellMM - strip.TagMM/2, Y: (float64(row)+0.5)*strip.CellMM - strip.TagMM/2})
			// A square about the middle that stays inside the cell however the tag is turned.
			r := half * sidePx(c) / strip.TagMM / math.Sqrt2
			var n, sum, sum2 float64
			for v := int(math.Ceil(mid.V - r)); v <= int(mid.V+r); v++ {
				for u := int(math.Ceil(mid.U - r)); u <= int(mid.U+r); u++ {
					g := float64(m.patch.px[(v-m.patch.v0)*m.patch.w+u-m.patch.u0])
					n++
					sum += g
					sum2 += g * g
				}
			}
			if n >= 9 {
				mean[k] = append(mean[k], sum/n)
				variance[k] = append(variance[k], max(0, (sum2-sum*sum/n)/(n-1)))
			}
		}
	}
	if len(mean[0]) < 4 || len(mean[1]) < 4 {
		return l, false
	}
	return levels{median(mean[0]), median(mean[1]), median(variance[0]), median(variance[1])}, true
}

// midGrey is the reflectance of a grey card, where noise is reported.
const midGrey = 0.18

// noiseAt returns the standard deviation of a pixel at a level of linear light, its variance taken as a straight line
// through black and white, as shot noise makes it.
func (l levels) noiseAt(level float64) float64 {
	v := l.blackVar + (l.whiteVar-l.blackVar)*(level-l.black)/(l.white-l.black)
	return math.Sqrt(max(v, min(l.blackVar, l.whiteVar)))
}

// typical returns the medians over many tags.
func typical(all []levels) levels {
	column := func(get func(levels) float64) float64 {
		v := make([]float64, len(all))
		for i, l := range all {
			v[i] = get(l)
		}
		return median(v)
	}
	return levels{
		black: column(func(l levels) float64 { return l.black }), white: column(func(l levels) float64 { return l.white }),
		blackVar: column(func(l levels) float64 { return l.blackVar }), whiteVar: column(func(l levels) float64 { return l.whiteVar }),
	}
}

// levelsByEdges takes the levels from the fits of edges, whose residuals hold both sides' noise: for cells too small to
// have an inside.
func levelsByEdges(tags []tagReading) levels {
	var dark, light, variance []float64
	for i := range tags {
		for _, e := range tags[i].edges {
			dark, light, variance = append(dark, e.dark), append(light, e.light), append(variance, e.rms*e.rms)
		}
	}
	if len(dark) == 0 {
		return levels{}
	}
	v := median(variance)
	return levels{median(dark), median(light), v, v}
}
