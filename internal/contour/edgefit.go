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
	wallMM  float64 // depth of the cut wall of a thin part, down to the bench; 0 for a thick part
	rimMM   float64 // size of a rounding or chamfer of the edge; 0 for a sharp one
	sigmaMM float64 // blur, standard deviation
	// doubt: the rim may as well be a bare, flat band at the edge, where a file or a gasket has taken the dye off. The edge is then put
	// midway.
	doubt bool
}

// width returns w at a vertex with the given lean, and whether there is a second transition at all.
func (m edgeModel) width(lean float64) float64 {
	if m.rimMM > 0 {
		return math.Max(0, m.rimMM*(1+lean))
	}
	return math.Max(0, m.wallMM*lean)
}

// profileFit is the best fit of the model at one vertex, as a function of the edge's place.
type profileFit struct {
	// sse[k] is the residual sum of squares with the edge at s = lo + k step, after all levels are fitted.
	sse []float64
	// first[k], second[k] are the fitted c1 and c2.
	first, second []float64
	level         []float64
	samples       int
}

// edgeScan fits the model at every place in [lo, hi] mm and every vertex.
type edgeScan struct {
	lo, step float64
	k        int
	fits     []profileFit
	hueTells []bool // the face's hue differs clearly from that of what is behind it; nil if no hue was looked at
}

const (
	outsideMM = 1.0 // how much face is looked at outside the edge
	insideMM  = 0.6 // how much of what lies behind it
	rampMM    = 0.8 // over which length a shadow or a wall may fade
)

// scan evaluates the model along the band for edges between lo[i] and lo[i] + (k-1) step at vertex i.
func (m edgeModel) scan(b *band, centre []float64, half, step float64, level, spread []float64) *edgeScan {
	k := 2*int(half/step) + 1
	e := &edgeScan{lo: -float64(k/2) * step, step: step, k: k, fits: make([]profileFit, len(b.base))}
	buf := make([]float64, 4*k*len(b.base))
	parallelRows(len(b.base), func(i int) {
		f := &e.fits[i]
		o := buf[4*k*i:]
		f.sse, f.first, f.second, f.level = o[:k:k], o[k:2*k:2*k], o[2*k:3*k:3*k], o[3*k:4*k:4*k]
		m.fitRow(b, i, centre[i]+e.lo, step, k, level[i], spread[i], f)
	})
	return e
}

// fitRow solves the linear levels for every place of the edge at vertex i.
func (m edgeModel) fitRow(b *band, i int, lo, step float64, k int, faceLevel, spread float64, f *profileFit) {
	w := m.width(b.lean[i])
	row := b.row(i)
	pad := math.Max(outsideMM, 6*b.pxMM)
	in := math.Max(insideMM, 5*b.pxMM)
	// The same samples for every place, so that the sums of squares compare.
	j0 := max(0, int(math.Ceil(b.index(lo-pad+0.5*float64(k)*step))))
	j1 := min(b.n-1, int(b.index(lo+0.5*float64(k)*step+w+in)))
	var ys [512]float64
	n := 0
	// Lines and marks on the face, clear of the edge, are not the model's business.
	clear := b.index(lo + 0.5*float64(k)*step - math.Max(0.45, 4*b.pxMM))
	for j := j0; j <= j1 && n < len(ys); j++ {
		ys[n] = float64(row[j])
		if float64(j) < clear && math.Abs(ys[n]-faceLevel) > 3*spread {
			ys[n] = math.NaN()
		}
		n++
	}
	f.samples = n
	// Behind a thin part lies a bench, whose grain and shadows grow with its brightness and are none of the model's business.
	var ws [512]float64
	for t := range n {
		ws[t] = 1
		if m.wallMM > 0 {
			const grain = 0.06 // of the brightness
			face, here := math.Hypot(spread, grain*faceLevel), math.Hypot(spread, grain*ys[t])
			ws[t] = math.Min(1, face*face/(here*here))
		}
	}
	two := w > 0.05*b.pxMM
	shifts := m.footShifts(b.lean[i], w, b.pxMM)
	for q := range k {
		f.sse[q] = math.Inf(1)
		s1 := lo + float64(q)*step
		for _, sh := range shifts {
			// Columns: 1, Φ1, [Φ2], ramp.
			var ata [4][5]float64
			var yy float64
			last := s1
			if two {
				last = s1 + w + sh.byMM
			}
			for t := range n {
				y := ys[t]
				if y != y {
					continue
				}
				s := b.s0 + float64(j0+t)*b.ds
				c1 := phi((s - s1) / m.sigmaMM)
				c2 := 0.0
				if two {
					c2 = phi((s - last) / m.sigmaMM)
				}
				r := 0.0
				if s > last {
					r = math.Min((s-last)/rampMM, 1)
				}
				g := ws[t]
				g1, g2, gr := g*c1, g*c2, g*r
				ata[0][0] += g
				ata[0][1] += g1
				ata[0][2] += g2
				ata[0][3] += gr
				ata[0][4] += g * y
				ata[1][1] += g1 * c1
				ata[1][2] += g1 * c2
				ata[1][3] += g1 * r
				ata[1][4] += g1 * y
				ata[2][2] += g2 * c2
				ata[2][3] += g2 * r
				ata[2][4] += g2 * y
				ata[3][3] += gr * r
				ata[3][4] += gr * y
				yy += g * y * y
			}
			// Priors, in units of the spread of the face: the level of the face is known from further out, a wall is rarely
			// brighter than the face it belongs to, and ramps are not steps.
			var add float64
			prior := func(col int, mean, sigma float64) {
				wgt := spread * spread / (sigma * sigma)
				ata[col][col] += wgt
				ata[col][4] += wgt * mean
				add += wgt * mean * mean
			}
			prior(0, faceLevel, 3*spread)
			if two && m.wallMM > 0 {
				prior(1, -0.45*faceLevel, 0.35*faceLevel+spread)
			} else if two {
				prior(1, 0, 1)
			} else {
				prior(1, 0, 10)
			}
			prior(2, 0, 10)
			prior(3, 0, 0.5*faceLevel+0.2)
			x, ok := solve4(&ata, two)
			if !ok {
				continue
			}
			sse := yy + add + sh.cost*spread*spread
			for a := range 4 {
				sse -= x[a] * ata[a][4]
			}
			if sse = math.Max(sse, 0); sse < f.sse[q] {
				f.sse[q] = sse
				f.first[q], f.second[q], f.level[q] = x[1], x[2], x[0]
			}
		}
	}
}

// footShift is a place of the wall's foot beside the one that geometry gives, with the cost of the departure in units of the
// spread's square.
type footShift struct{ byMM, cost float64 }

// footShifts are the places tried for the second transition. A wall's foot may lie deeper or less deep than the height says
// (the bench is a paper's thickness below the print, a gasket lifts a little, calipers squeeze it) and its shadow
// blurs it, so it may move by its uncertainty without dragging the first transition along. A rim's width is one for all.
func (m edgeModel) footShifts(lean, w, px float64) []footShift {
	if m.wallMM == 0 || w < 1.5*px {
		return []footShift{{0, 0}}
	}
	sigma := lean*(0.08+0.08*m.wallMM) + 0.25*px
	var out []footShift
	for _, z := range []float64{-2, -1.33, -0.67, 0, 0.67, 1.33, 2} {
		if w+z*sigma > 0.5*px {
			out = append(out, footShift{z * sigma, z * z})
		}
	}
	return out
}

// solve4 solves the normal equations (upper triangle and right side in column 4) by Cholesky; without the second
// transition its column drops out.
func solve4(m *[4][5]float64, two bool) (x [4]float64, ok bool) {
	idx := [4]int{0, 1, 2, 3}
	n := 4
	if !two {
		idx = [4]int{0, 1, 3, 0}
		n = 3
	}
	var l [4][4]float64
	var z [4]float64
	for a := range n {
		for c := 0; c <= a; c++ {
			i, j := idx[c], idx[a]
			v := m[i][j]
			for t := 0; t < c; t++ {
				v -= l[a][t] * l[c][t]
			}
			if a == c {
				if v <= 1e-12 {
					return x, false
				}
				l[a][a] = math.Sqrt(v)
			} else {
				l[a][c] = v / l[c][c]
			}
		}
		v := m[idx[a]][4]
		for t := 0; t < a; t++ {
			v -= l[a][t] * z[t]
		}
		z[a] = v / l[a][a]
	}
	for a := n - 1; a >= 0; a-- {
		v := z[a]
		for t := a + 1; t < n; t++ {
			v -= l[t][a] * x[idx[t]]
		}
		x[idx[a]] = v / l[a][a]
	}
	return x, true
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
