package contour

import (
	"math"

	"portmatch/internal/geom"
)

// Where a bench is as bright as the part, or a bead as bright as the bench, no curve of brightness closes round an opening, but one of hue
// may. A first look knows both; curves of brightness, which are sharper, come first.

const (
	tintStep  = 2    // steps of the plan of brightness to one of hue: a photo stores colour at half its size
	tintFloor = 40.0 // grey levels; keeps the noise of dark places down
	tintScale = 160  // levels of the plan of hue for chroma as strong as brightness
)

// tints returns two plans whose levels are hues: Cb and Cr over brightness, which a shadow changes little. It returns nil for a grey
// photo. p is the plan of brightness.
func (s *surface) tints(p *plan) []*plan {
	if !s.photo.HasColour() {
		return nil
	}
	w, h := (p.w+tintStep-1)/tintStep, (p.h+tintStep-1)/tintStep
	var out [2]*plan
	for c := range out {
		out[c] = &plan{w: w, h: h, lo: p.lo, stepMM: tintStep * p.stepMM, level: make([]float32, w*h), valid: make([]bool, w*h)}
	}
	const stride = 8 // see plan
	parallelRows(h, func(j int) {
		at := func(i int) geom.PointPx {
			return s.pixel(p.lo.Add(geom.PointMM{X: float64(i) * out[0].stepMM, Y: float64(j) * out[0].stepMM}))
		}
		q0 := at(0)
		for i0 := 0; i0 < w; i0 += stride {
			q1 := at(i0 + stride)
			for i := i0; i < min(i0+stride, w); i++ {
				k := tintStep * (j*p.w + i)
				if !p.valid[k] {
					continue
				}
				f := float64(i-i0) / stride
				cb, cr := s.photo.ChromaAt(q0.U+f*(q1.U-q0.U), q0.V+f*(q1.V-q0.V))
				scale := tintScale / (p.level[k] + tintFloor)
				n := j*w + i
				out[0].level[n], out[1].level[n] = 128+scale*cb, 128+scale*cr
				out[0].valid[n], out[1].valid[n] = true, true
			}
			q0 = q1
		}
	})
	for _, t := range out {
		t.blur()
	}
	return out[:]
}

// tinted adds to the curves of brightness those of hue that run elsewhere.
func (p *plan) tinted(cands []*loop, tints []*plan, skip func(geom.PointMM) bool) []*loop {
	for _, t := range tints {
		for _, l := range t.candidates(skip) {
			l.tint = t
			if p.acrossIn(l); !sameEdge(cands, l) {
				cands = append(cands, l)
			}
		}
	}
	return cands
}

// acrossIn sets the brightness of a curve of hue to either side, on the plan p of brightness.
func (p *plan) acrossIn(l *loop) {
	l.outside, l.inside = p.across(l)
	l.darkInside = l.inside < l.outside
}

// across returns the median levels of the plan as far to either side of the curve as judge looks.
func (p *plan) across(l *loop) (outside, inside float64) {
	ring := resampleClosed(l.pts, math.Max(2*p.stepMM, l.perimeter/240))
	outward := inwardNormals(ring)
	for i, d := range outward {
		outward[i] = d.Scale(-1)
	}
	outer, inner := p.either(ring, outward, l.wideMM())
	return quantile(outer, 0.5), quantile(inner, 0.5)
}

func sameEdge(all []*loop, l *loop) bool {
	for _, k := range all {
		if math.Abs(k.areaMM2-l.areaMM2) < sameEdgeMM*math.Max(k.perimeter, l.perimeter) && boxesAgree(k, l, 3) {
			return true
		}
	}
	return false
}

// inTint tells whether the curve of hue c, inside the opening l, is the inner edge of a ring of another hue: what lies just inside l has
// the hue of what lies just outside c.
func (c *loop) inTint(l *loop, even float64) bool {
	beyond, ring := c.tint.across(l)
	outer, inner := c.tint.across(c)
	return math.Abs(ring-outer) <= even*math.Min(math.Abs(beyond-ring), math.Abs(outer-inner))
}
