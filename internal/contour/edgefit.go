package contour

import (
	"math"
)

// edgeModel says what lies behind the face's edge, for a whole opening.
//
// Going inward across the edge, linear light is
//
//	y(s) = a + c1 Φ((s - s1)/σ) + c2 Φ((s - s1 - w)/σ) + d ramp(s - s1 - w)
//
// with the face at level a, then a wall or rim of width w, then whatever is behind it with a slow rise or fall (contact
// shadow, tunnel). Φ is the normal distribution function, the response of a blurred straight edge. s1 is the edge that is wanted: the
// place where the flat face ends. w follows from geometry: what is lower by z is seen displaced by lean z.
type edgeModel struct {
	wallMM float64 // depth of the cut wall of a thin part, down to the bench; 0 for a thick part
	shadow bool    // the wall is none, but the lamp's shadow on what lies behind, in a flat-bed scan
	// punched is set where the part can have neither rounded nor chamfered edges: what lies on a scanner's glass is a gasket.
	punched    bool
	rimMM      float64 // size of a rounding or chamfer of the edge; 0 for a sharp one
	rimSigmaMM float64 // standard uncertainty of rimMM
	chamfer    bool    // the rim is as wide as it looks
	// rimLight is how bright the rim is by the angle of the edge's inward normal, rad: less the face and over it; nil where it is not known.
	rimLight *wave
	// wall is what the walls of a thin part look like; nil where too little of them is seen.
	wall *wallLooks
	// maybeRimMM is the size of a rim that the profiles neither show nor rule out; 0 where there is no such doubt.
	maybeRimMM float64
	// rounded: the rim turns away from the face little by little, so that the first transition is a slope as wide as the rim.
	rounded bool
	sigmaMM float64 // blur, standard deviation
	blurMM  float64 // the same of the photo, as its strips show it; 0 where it is not known
	halo    float64 // share of a step that sharpening adds on either side of it, over haloMM; see edgeModel.step
	haloMM  float64 // blur of what sharpening takes away, standard deviation
	// doubt: the rim is on a rusty face, whose patches look like rims, or like parts of one. The edge is put midway.
	doubt bool
	// dyed: the face is covered with layout dye.
	dyed bool
	// rusty: the face is not dyed and strongly coloured all the same, by rust mostly.
	rusty bool
	// bareRimMM is about how wide a rim of a dyed face's openings is that shows no dye; 0 where there is none.
	bareRimMM float64
	// softMM is by how much more the edge is blurred than the photo; see Survey.soft.
	softMM float64
	// lookMM is how far behind the edge of a level part its second transition may lie, as far as the same samples are to be seen; 0 for
	// where it does lie.
	lookMM float64
	// landMM is how wide the face beside the edge is before it changes its looks, where a ring lines the opening; 0 for wide.
	landMM float64
	// beaded: a bead or a printed line runs all along the edge, a little outside it. Beyond it the face goes on.
	beaded bool
	// shades are of a thin part's shadows that look like it, as its holes show them; nil where nothing is known of them.
	shades *shades
	// cast is the shadow of a thin part that its holes show and that may be taken for it, its light known; nil for none.
	cast *castShadow
	// lined: a ring lines the opening that is much like what is behind it.
	lined bool
}

// on returns the model for an edge beside which the face is landMM wide; 0 for wide.
func (m edgeModel) on(landMM float64) edgeModel {
	m.landMM = landMM
	return m
}

// within returns the most of mm beside the edge that lies on the face there.
func (m edgeModel) within(mm float64) float64 {
	const clearMM = 0.2
	if m.landMM > 0 {
		return math.Min(mm, m.landMM-clearMM)
	}
	return mm
}

// step is the picture of a straight edge that rises from 0 to 1, at a distance in mm: blurred, and then sharpened by taking away a
// share of what is blurred further (unsharp masking), as most cameras and scanners do.
func (m edgeModel) step(mm float64) float64 {
	y := phi(mm / m.sigmaMM)
	if m.halo == 0 {
		return y
	}
	return y + m.halo*(y-phi(mm/m.haloMM))
}

// first is the picture of the first transition, at a distance in mm: a step, or a slope over the rim's width.
func (m edgeModel) first(mm float64) float64 {
	if !m.rounded {
		return m.step(mm)
	}
	// The integral of the normal distribution function.
	integral := func(mm float64) float64 {
		x := mm / m.sigmaMM
		return mm*phi(x) + m.sigmaMM*math.Exp(-x*x/2)/math.Sqrt(2*math.Pi)
	}
	return (integral(mm) - integral(mm-m.rimMM)) / m.rimMM
}

// width returns w at a vertex with the given lean, and whether there is a second transition at all.
func (m edgeModel) width(lean float64) float64 {
	if m.rimMM > 0 {
		return max(0, m.rimMM*(1+lean))
	}
	return max(0, m.wallMM*lean)
}

// profileFit is the best fit of the model at one vertex, as a function of the edge's place.
type profileFit struct {
	// sse[k] is the residual sum of squares with the edge at s = lo + k step, after all levels are fitted.
	sse []float64
	// first[k], second[k] are the fitted c1 and c2.
	first, second []float64
	level         []float64
	footMM        []float64 // how far the second transition lies behind where geometry has it
	samples       int
}

// edgeScan fits the model at every place in [lo, hi] mm and every vertex.
type edgeScan struct {
	lo, step float64
	k        int
	fits     []profileFit
	hueMM    []float64 // where hue alone has the edge, mm; NaN where it does not tell, nil if none was looked at
	hueOffMM []float64 // its standard uncertainty, but for noise
	hueTells []bool    // the face's hue differs clearly from that of what is behind it; nil if no hue was looked at
}

const (
	outsideMM = 1.0 // how much face is looked at outside the edge
	insideMM  = 0.6 // how much of what lies behind it
	// Behind a thin part its shadow lies on the bench, whose far rim may be the largest step of all: little is looked at beyond the
	// wall's foot.
	insideThinMM = 0.4
	rampMM       = 0.8 // over which length a shadow or a wall may fade
)

// scan evaluates the model along the band for edges from -half to half mm, step apart.
func (m edgeModel) scan(b *band, half, step float64, level, spread []float64) *edgeScan {
	k := 2*int(half/step) + 1
	e := &edgeScan{lo: -float64(k/2) * step, step: step, k: k, fits: make([]profileFit, len(b.base))}
	first := make([]float64, k*b.n)
	for q := range k {
		for j := range b.n {
			first[q*b.n+j] = m.first(b.s0 + float64(j)*b.ds - e.lo - float64(q)*step)
		}
	}
	buf := make([]float64, 5*k*len(b.base))
	var bench []float64
	if m.thin() {
		bench = b.medians(benchFromMM, b.s0+float64(b.n-1)*b.ds)
	}
	parallelRowsWith(len(b.base), func(i int, p *profile) {
		f := &e.fits[i]
		o := buf[5*k*i:]
		f.sse, f.first, f.second, f.level, f.footMM = o[:k:k], o[k:2*k:2*k], o[2*k:3*k:3*k], o[3*k:4*k:4*k], o[4*k:5*k:5*k]
		p.bench = 0
		if bench != nil {
			p.bench = bench[i]
		}
		m.fitRow(b, i, e, first, level[i], spread[i], p)
	})
	return e
}

// profile is scratch space for one row of a band: the samples that take part in a fit, with their weights.
type profile struct {
	n     int
	y, g  [512]float64 // brightness and weight; both 0 where a sample does not count
	bench float64      // linear light of what lies further in; 0 where that is not known
	// from[t] sums up samples t to n-1: where the model's columns are constant or straight, their products follow.
	from [513]tailSums
}

// tailSums are weighted sums over samples, at s mm from the first one, of brightness y.
type tailSums struct{ g, gs, gss, gy, gsy float64 }

// take reads samples j0 to j1 of row i, and returns the weighted sum of y².
func (m edgeModel) take(p *profile, b *band, row []float32, j0, j1, clear int, faceLevel, spread float64) (yy float64) {
	p.n = max(0, min(j1-j0+1, len(p.y)))
	const grain = 0.06 // of the brightness
	face2 := spread*spread + grain*grain*faceLevel*faceLevel
	for t := range p.n {
		y, g := float64(row[j0+t]), 1.0
		// Lines and marks on the face, clear of the edge, are not the model's business.
		if y != y || j0+t < clear && math.Abs(y-faceLevel) > 3*spread {
			y, g = 0, 0
		}
		// Behind a thin part lies a bench, whose grain and shadows grow with its brightness and are none of the model's business.
		if m.wallMM > 0 {
			g *= min(1, face2/(spread*spread+grain*grain*y*y))
		}
		p.y[t], p.g[t] = y, g
	}
	p.from[p.n] = tailSums{}
	for t := p.n - 1; t >= 0; t-- {
		s, g, y, o := float64(t)*b.ds, p.g[t], p.y[t], &p.from[t+1]
		p.from[t] = tailSums{o.g + g, o.gs + g*s, o.gss + g*s*s, o.gy + g*y, o.gsy + g*s*y}
		yy += g * y * y
	}
	return yy
}

// leastLightScatter is how far a rim's brightness, over the face's, may be from the wave that the light makes round the openings.
const leastLightScatter = 0.15

// fitRow solves the linear levels for every place of the edge at vertex i. first holds Φ for every place and sample.
func (m edgeModel) fitRow(b *band, i int, e *edgeScan, first []float64, faceLevel, spread float64, p *profile) {
	f := &e.fits[i]
	w, past, inShadow := m.zone(b, i)
	pad := m.within(math.Max(outsideMM, 6*b.pxMM))
	in := math.Max(insideMM, 5*b.pxMM)
	if m.thin() {
		in = math.Max(insideThinMM, 3*b.pxMM)
	}
	look := w + past
	if m.lookMM > 0 {
		look = m.lookMM * (1 + b.lean[i])
	}
	middle := e.lo + 0.5*float64(e.k)*e.step
	// The same samples for every place, so that the sums of squares compare.
	j0 := max(0, int(math.Ceil(b.index(middle-pad))))
	j1 := min(b.n-1, int(b.index(middle+look+in)))
	clear := int(math.Ceil(b.index(middle - math.Max(0.45, 4*b.pxMM))))
	yy := m.take(p, b, b.row(i), j0, j1, clear, faceLevel, spread)
	n := p.n
	f.samples = n
	two := w > 0.05*b.pxMM

	// Priors, in units of the spread of the face: the level of the face is known from further out, a wall is rarely
	// brighter than the face it belongs to, and ramps are not steps.
	weight := func(sigma float64) float64 { return spread * spread / (sigma * sigma) }
	w0, w1, w2, w3 := weight(3*spread), weight(10), weight(10), weight(0.5*faceLevel+0.2)
	var mean1 float64
	light, sigma, known := m.wall.at(b.inward[i])
	if inShadow {
		light, sigma, known = m.cast.light, m.cast.sigma, true
	}
	if two && m.thin() {
		mean1, w1 = -0.45*faceLevel, weight(0.35*faceLevel+spread)
		if known {
			// Samples lie half a pixel apart: twice as many as there is news in them.
			mean1, w1 = faceLevel*light, 2*weight(faceLevel*sigma)
		}
	} else if two && m.rimLight != nil {
		mean1, w1 = faceLevel*m.rimLight.at(math.Atan2(b.inward[i].Y, b.inward[i].X)), weight(faceLevel*max(m.rimLight.scatter, leastLightScatter))
	} else if two && !m.shadow {
		w1 = weight(1)
	}
	yy += w0 * faceLevel * faceLevel

	reach, slope := phiReach*m.sigmaMM, 0.0
	if m.rounded {
		slope = m.rimMM
	}
	// at is the first sample beyond s mm, from the first one.
	perMM := 1 / b.ds
	at := func(s float64) int {
		if s < 0 {
			return 0
		}
		return min(int(s*perMM)+1, n)
	}
	var room [7]footShift
	var shifts []footShift
	if inShadow {
		shifts = castShifts(room[:0], w, b.pxMM)
	} else {
		shifts = m.footShifts(room[:0], known, b.lean[i], w, b.pxMM)
	}
	y, g := p.y[:n], p.g[:n]
	for q := range e.k {
		f.sse[q] = math.Inf(1)
		s1 := e.lo + float64(q)*e.step - (b.s0 + float64(j0)*b.ds)
		c1 := first[q*b.n+min(j0, b.n-1):][:n]
		mean1, w1 := mean1, w1
		if two && !known && m.mayBeShaded(w, b.pxMM) {
			if lit, deep := b.inDeepShadow(i, e.lo+float64(q)*e.step+w, p.bench); deep {
				mean1, w1 = faceLevel*(shadedWall*lit-1), 2*weight(faceLevel*shadedScatter)
			}
		}
		yy := yy + w1*mean1*mean1
		ta, tb := at(s1-reach), at(s1+reach+slope)
		beyond := &p.from[tb]
		near := levelSums{a00: p.from[0].g + w0, b0: p.from[0].gy + w0*faceLevel,
			a01: beyond.g, a11: beyond.g + w1, b1: beyond.gy + w1*mean1, a22: 1}
		for t := ta; t < tb; t++ {
			g1 := g[t] * c1[t]
			near.a01 += g1
			near.a11 += g1 * c1[t]
			near.b1 += g1 * y[t]
		}
		if past > 0 || inShadow {
			soft := math.Hypot(m.sigmaMM, m.cast.blurMM)
			for _, sh := range shifts {
				a := levelSums{a00: near.a00, b0: near.b0, a11: w1, b1: w1 * mean1, a22: w2, a33: w3}
				if foot := s1 + w + sh.byMM; inShadow {
					a.addRim(p, c1, foot, soft, b.ds)
				} else {
					a.a33 = w2
					a.addThree(p, c1, foot, foot+past, m.sigmaMM, soft, b.ds)
				}
				a.seek(f, q, sh, yy+sh.cost*spread*spread)
			}
			continue
		}
		for _, sh := range shifts {
			a, last, end := near, s1, tb
			if two {
				last += w + sh.byMM
				end = at(last + reach)
				a.addFoot(p, c1, last, m.sigmaMM, b.ds, at(last-reach), at(last), end)
				a.a22 += w2 - 1
			} else {
				for t := at(last); t < end; t++ {
					r := min((float64(t)*b.ds-last)/rampMM, 1)
					gr := g[t] * r
					a.a03 += gr
					a.a13 += gr * c1[t]
					a.a33 += gr * r
					a.b3 += gr * y[t]
				}
			}
			a.addTail(p, last, end, max(end, at(last+rampMM)), two)
			a.a33 += w3
			a.seek(f, q, sh, yy+sh.cost*spread*spread)
		}
	}
}

// levelSums are the normal equations for the levels a, c1, c2, d of the model: the upper triangle and the right side. Without
// a second transition its row is that of the identity.
type levelSums struct {
	a00, a01, a02, a03, b0 float64
	a11, a12, a13, b1      float64
	a22, a23, b2           float64
	a33, b3                float64
	// After reduce: L D L' in place of the triangle.
	l10, l20, l30, l21, l31, l32 float64
}

// addFoot adds the products of the second transition and the ramp, for samples from, where the transition begins, to to, where it is
// done; the ramp begins at foot.
func (a *levelSums) addFoot(p *profile, c1 []float64, last, sigma, ds float64, from, foot, to int) {
	scale := phiSteps / sigma
	x, dx := (float64(from)*ds-last)*scale+phiReach*phiSteps, ds*scale
	y, g, c1 := p.y[:to], p.g[:to], c1[:to]
	for t := from; t < foot; t++ {
		k := min(int(x), len(phiTable)-2)
		c2 := phiTable[k] + (x-float64(k))*(phiTable[k+1]-phiTable[k])
		x += dx
		g2 := g[t] * c2
		a.a02 += g2
		a.a12 += g2 * c1[t]
		a.a22 += g2 * c2
		a.b2 += g2 * y[t]
	}
	for t := foot; t < to; t++ {
		k := min(int(x), len(phiTable)-2)
		c2 := phiTable[k] + (x-float64(k))*(phiTable[k+1]-phiTable[k])
		x += dx
		r := min((float64(t)*ds-last)*(1/rampMM), 1)
		g2, gr := g[t]*c2, g[t]*r
		a.a02 += g2
		a.a12 += g2 * c1[t]
		a.a22 += g2 * c2
		a.b2 += g2 * y[t]
		a.a03 += gr
		a.a13 += gr * c1[t]
		a.a23 += gr * c2
		a.a33 += gr * r
		a.b3 += gr * y[t]
	}
}

// addTail adds the samples beyond all transitions: the ramp rises from sample t and is at its full height from sample full.
func (a *levelSums) addTail(p *profile, last float64, t, full int, two bool) {
	all, top := &p.from[t], &p.from[full]
	g, gs, gss, gy, gsy := all.g-top.g, all.gs-top.gs, all.gss-top.gss, all.gy-top.gy, all.gsy-top.gsy
	r := (gs-last*g)/rampMM + top.g
	a.a03 += r
	a.a13 += r
	a.a33 += (gss-2*last*gs+last*last*g)/(rampMM*rampMM) + top.g
	a.b3 += (gsy-last*gy)/rampMM + top.gy
	if two {
		a.a02 += all.g
		a.a12 += all.g
		a.a22 += all.g
		a.b2 += all.gy
		a.a23 += r
	}
}

// addThree adds the products of all samples where a shadow's rim past the wall's foot takes the place of the ramp. foot and rim are mm from the
// first one, the sigmas how much they are blurred.
func (a *levelSums) addThree(p *profile, c1 []float64, foot, rim, footSigma, rimSigma, ds float64) {
	inv, soft := 1/footSigma, 1/rimSigma
	for t, x1 := range c1 {
		s := float64(t) * ds
		a.add(p.g[t], p.y[t], x1, phi((s-foot)*inv), phi((s-rim)*soft))
	}
}

// addRim does so where nothing is seen of the wall: the shadow's rim is the second transition.
func (a *levelSums) addRim(p *profile, c1 []float64, rim, rimSigma, ds float64) {
	soft := 1 / rimSigma
	for t, x1 := range c1 {
		s := float64(t) * ds
		a.add(p.g[t], p.y[t], x1, phi((s-rim)*soft), min(max(s-rim, 0)/rampMM, 1))
	}
}

// add adds the products of a sample of weight g and brightness y with the columns' values x1 to x3 there, but for those that the sums of g
// and gy make up.
func (a *levelSums) add(g, y, x1, x2, x3 float64) {
	g1, g2, g3 := g*x1, g*x2, g*x3
	a.a01 += g1
	a.a11 += g1 * x1
	a.b1 += g1 * y
	a.a02 += g2
	a.a12 += g2 * x1
	a.a22 += g2 * x2
	a.b2 += g2 * y
	a.a03 += g3
	a.a13 += g3 * x1
	a.a23 += g3 * x2
	a.a33 += g3 * x3
	a.b3 += g3 * y
}

// seek solves the equations and takes the fit for the one at place q, if it is better than what stands there. sum is the sum of squares without it.
func (a *levelSums) seek(f *profileFit, q int, sh footShift, sum float64) {
	fall, ok := a.reduce()
	if sse := max(sum-fall, 0); ok && sse < f.sse[q] {
		f.sse[q], f.footMM[q] = sse, sh.byMM
		f.level[q], f.first[q], f.second[q] = a.solve()
	}
}

// reduce factors the equations and returns by how much the fit lowers the sum of squares.
func (a *levelSums) reduce() (fall float64, ok bool) {
	const least = 1e-12
	if a.a00 <= least {
		return 0, false
	}
	i0 := 1 / a.a00
	a.l10, a.l20, a.l30 = a.a01*i0, a.a02*i0, a.a03*i0
	if a.a11 -= a.l10 * a.a01; a.a11 <= least {
		return 0, false
	}
	a.a12 -= a.l10 * a.a02
	a.a13 -= a.l10 * a.a03
	i1 := 1 / a.a11
	a.l21, a.l31 = a.a12*i1, a.a13*i1
	if a.a22 -= a.l20*a.a02 + a.l21*a.a12; a.a22 <= least {
		return 0, false
	}
	a.a23 -= a.l20*a.a03 + a.l21*a.a13
	i2 := 1 / a.a22
	a.l32 = a.a23 * i2
	if a.a33 -= a.l30*a.a03 + a.l31*a.a13 + a.l32*a.a23; a.a33 <= least {
		return 0, false
	}
	a.b1 -= a.l10 * a.b0
	a.b2 -= a.l20*a.b0 + a.l21*a.b1
	a.b3 -= a.l30*a.b0 + a.l31*a.b1 + a.l32*a.b2
	return a.b0*a.b0*i0 + a.b1*a.b1*i1 + a.b2*a.b2*i2 + a.b3*a.b3/a.a33, true
}

// solve returns the level of the face and the heights of both transitions, after reduce.
func (a *levelSums) solve() (level, first, second float64) {
	ramp := a.b3 / a.a33
	second = a.b2/a.a22 - a.l32*ramp
	first = a.b1/a.a11 - a.l21*second - a.l31*ramp
	return a.b0/a.a00 - a.l10*first - a.l20*second - a.l30*ramp, first, second
}

// footShift is a place of the wall's foot beside the one that geometry gives, with the cost of the departure in units of the
// spread's square.
type footShift struct{ byMM, cost float64 }

// footShifts are the places tried for the second transition. A wall's foot may lie deeper or less deep than the height says
// (the bench is a paper's thickness below the print, a gasket lifts a little, calipers squeeze it) and its shadow
// blurs it, so it may move by its uncertainty without dragging the first transition along. A rim's width is one for all.
// They are appended to out. known is set where m.wall says how deep feet lie.
func (m edgeModel) footShifts(out []footShift, known bool, lean, w, px float64) []footShift {
	if m.wallMM == 0 || w < 1.5*px {
		return append(out, footShift{})
	}
	sigma, middle := lean*(0.08+0.08*m.wallMM)+0.25*px, 0.0
	if known {
		middle, sigma = lean*m.wall.footMM, min(sigma, lean*m.wall.footSigmaMM+0.25*px)
	}
	return shiftsAbout(out, middle, sigma, 0.5*px-w)
}

// castShifts are the places tried for a shadow's rim, in place of footShifts.
func castShifts(out []footShift, w, px float64) []footShift {
	const share = 0.1 // how far the widths of one shadow differ
	return shiftsAbout(out, 0, share*w+0.25*px, seenPx*px-w)
}

// shiftsAbout appends to out the places up to two standard deviations about the middle that are more than leastMM.
func shiftsAbout(out []footShift, middleMM, sigmaMM, leastMM float64) []footShift {
	for _, z := range []float64{-2, -1.33, -0.67, 0, 0.67, 1.33, 2} {
		if by := middleMM + z*sigmaMM; by > leastMM {
			out = append(out, footShift{by, z * z})
		}
	}
	return out
}

// phi is the normal distribution function, from a table; error under 1e-5.
func phi(x float64) float64 {
	if x <= -phiReach {
		return 0
	}
	if x >= phiReach {
		return 1
	}
	t := (x + phiReach) * phiSteps
	i := int(t)
	return phiTable[i] + (t-float64(i))*(phiTable[i+1]-phiTable[i])
}

const (
	phiReach = 5
	phiSteps = 128
)

var phiTable = func() (t [2*phiReach*phiSteps + 2]float64) {
	for i := range t {
		t[i] = 0.5 * math.Erfc(-(float64(i)/phiSteps-phiReach)/math.Sqrt2)
	}
	return t
}()
