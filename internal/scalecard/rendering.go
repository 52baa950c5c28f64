package scalecard

import (
	"math"

	"portmatch/internal/geom"
	"portmatch/internal/photo"
	"portmatch/internal/scalecard/strip"
)

// A rendering is what a phone makes of light: a tone curve bent off the file's standard, and sharpening of the stored values by an unsharp
// mask. Decoded by the standard curve both move an edge, by what depends on its two levels and on its blur.
//
// They are had from the shape of the card's edges. Lens, pixel and whatever is done in light draw an edge symmetric about its place; that
// leaves any symmetric shape open, and what is not symmetric in the stored values tells of curve and mask. A bend makes the halos of either
// side and the feet of the edge differ otherwise than a mask does.
type rendering struct {
	base   *toneCoder
	x      []float64    // the shared unknowns, see below
	others [2][]float64 // the same a standard uncertainty off, in independent directions: bend, mask
	// shifts are the edges' for x and for others, by the stored values of either side, gridStep apart.
	shifts [3][gridNodes][gridNodes]float64
}

const gridStep, gridNodes = 15, 18 // stored values; between nodes shifts are straight to 0.003 px RMS

// The unknowns that all edges of a photo share: the bend, the mask's amount and its radius (standard deviation, px), then the shape of an edge.
const (
	uBend = iota
	uAmount
	uRadius
	uShape

	shapeKnots  = 17
	sharedShape = uShape + shapeKnots
	ownUnknowns = 4 // of one strip's edges in one direction: place, stretch, black, white

	// The shape is the integral of an even density, of cubic splines so far apart, px: kinks of a pixel's box are followed, to 4 px either side.
	knotPx = 0.25
)

// What is known beforehand of the unknowns, as standard uncertainties. A bend of 0.4 moves the quarter tones by 0.04 of white, as contrasty
// phone pictures do; unsharp masks have amounts of 0 to 1 and radii about a pixel (common practice, no source). The power of the curve is not
// fitted: let go by 0.1 it took the shifts on ray-traced photos from 0.02 to 0.04 px off, and those on drawn ones from 0.034 to 0.05.
const (
	usualAmount, sigmaAmount = 0.3, 0.3
	usualRadius, sigmaRadius = 1.0, 0.2
	sigmaBend                = 0.4
	sigmaShape               = 0.05 // of a knot, about a Gaussian's
	sigmaStretch             = 0.1  // blur from place to place and between upright and level edges

	// How far averaged edges are off the model, levels, at least: drawn and ray-traced photos left 0.1 to 0.25 and 0.4 to 1.5. Where more is
	// left, the model is taken to be off by as much. Half a pixel of an edge is off together.
	leastModelError, togetherPx = 0.25, 0.5
	// A mean of noisy stored values is less than the value of the mean light, (γ - 1)/2 of their variance over them: a gamma of 2.2.
	noiseBias = 0.6
)

const (
	binPx       = 0.125
	renderPx    = 7.0 // what is looked at either side of an edge
	renderBins  = int(2 * renderPx / binPx)
	renderFitPx = 6.0
	// The light is computed so far out, for the mask's reach.
	lightPx    = 12.0
	lightBins  = int(2 * lightPx / binPx)
	maskStride = 2 // finer than any mask
	// Edges softer than this don't fit the window, and hardly tell of the mask.
	maxRenderBlurPx = 1.6
	shapeSteps      = 32 // a px
	shapeReach      = 9
)

// renderedEdge gathers stored values by their distance from the edge, px towards white.
type renderedEdge struct {
	n, sum, square [renderBins]float64
}

// toneCoder takes light to stored values, 0 to 1, quickly: a table over the root of the light.
type toneCoder struct {
	tone  *photo.Tone
	table [2049]float64
}

const coderReach = 1.3 // of full light

func newToneCoder(t *photo.Tone) *toneCoder {
	c := &toneCoder{tone: t}
	for i := range c.table {
		u := float64(i) / float64(len(c.table)-1)
		c.table[i] = code(t, min(1, coderReach*u*u)) / 255
		if l := coderReach * u * u; l > 1 {
			c.table[i] = math.Pow(l, 1/2.4) // past white, for halos: as sRGB goes on
		}
	}
	return c
}

// code is the stored value of a level of light under a curve bent by s.
func (c *toneCoder) code(light, s float64) float64 {
	u := math.Sqrt(max(0, min(light, coderReach*0.999))/coderReach) * float64(len(c.table)-1)
	i := int(u)
	y := c.table[i] + (u-float64(i))*(c.table[i+1]-c.table[i])
	return y - s*y*(1-y)*(1-2*y)
}

// light is the level of light that stands behind a stored value under a curve bent by s.
func (c *toneCoder) light(stored, s float64) float64 {
	y := stored
	for range 20 {
		y = stored + s*y*(1-y)*(1-2*y)
	}
	return read(c.tone, 255*max(0, min(1, y)))
}

// shapeBasis holds the integrals of the splines.
var shapeBasis = func() (b [shapeKnots][2*shapeReach*shapeSteps + 1]float64) {
	spline := func(t float64) float64 {
		switch t = math.Abs(t); {
		case t < 1:
			return 2.0/3 - t*t + t*t*t/2
		case t < 2:
			return (2 - t) * (2 - t) * (2 - t) / 6
		}
		return 0
	}
	for k := range b {
		at := func(i int) float64 {
			x := float64(i)/shapeSteps - shapeReach
			d := spline((x - float64(k)*knotPx) / knotPx)
			if k > 0 {
				d += spline((x + float64(k)*knotPx) / knotPx)
			}
			return d
		}
		for i := 1; i < len(b[k]); i++ {
			b[k][i] = b[k][i-1] + (at(i)+at(i-1))/2
		}
		for i, all := 0, b[k][len(b[k])-1]; i < len(b[k]); i++ {
			b[k][i] /= all
		}
	}
	return b
}()

// renderer computes pictures of edges for one set of shared unknowns.
type renderer struct {
	base   *toneCoder
	bend   float64
	amount float64
	shape  [2*shapeReach*shapeSteps + 1]float64
	mask   []float64 // half of it, every maskStride bins
	coded  [lightBins]float64
}

func (r *renderer) set(x []float64) {
	r.bend, r.amount = x[uBend], x[uAmount]
	all := 0.0
	for _, c := range x[uShape:] {
		all += c
	}
	clear(r.shape[:])
	for k, c := range x[uShape:] {
		c /= all
		for i, v := range shapeBasis[k][:] {
			r.shape[i] += c * v
		}
	}
	const reach = 3.5 // radii
	n := min(int(math.Ceil(reach*x[uRadius]/(maskStride*binPx))), (lightBins-renderBins)/2/maskStride)
	r.mask = r.mask[:0]
	sum := 0.0
	for i := 0; i <= n; i++ {
		z := float64(i) * maskStride * binPx / x[uRadius]
		v := math.Exp(-z * z / 2)
		r.mask = append(r.mask, v)
		if sum += v; i > 0 {
			sum += v
		}
	}
	for i := range r.mask {
		r.mask[i] /= sum
	}
}

// draw computes stored values, in levels, of an edge with the given unknowns of its own.
func (r *renderer) draw(own []float64, to *[renderBins]float64) {
	place, stretch, black, white := own[0], own[1], own[2], own[3]
	for i := range r.coded {
		z := ((float64(i)+0.5)*binPx - lightPx - place) / stretch
		u := max(0, min((z+shapeReach)*shapeSteps, float64(len(r.shape))-1.001))
		k := int(u)
		e := r.shape[k] + (u-float64(k))*(r.shape[k+1]-r.shape[k])
		r.coded[i] = min(1, r.base.code(black+(white-black)*e, r.bend))
	}
	const off = (lightBins - renderBins) / 2
	for i := range to {
		soft := r.mask[0] * r.coded[i+off]
		for j := 1; j < len(r.mask); j++ {
			soft += r.mask[j] * (r.coded[i+off-maskStride*j] + r.coded[i+off+maskStride*j])
		}
		y := r.coded[i+off]
		to[i] = 255 * max(0, min(1, y+r.amount*(y-soft)))
	}
}

// renderedEdges averages the card's edges, strip by strip, upright and level ones apart.
func (s *solver) renderedEdges() []renderedEdge {
	const (
		cornerPx    = 4.0 // ends of an edge that a corner's picture reaches
		neighbourPx = 5.0 // before the next edge
		leastPx     = 3.0
	)
	m := newTeam(s.photo)[0]
	v := s.fit.model.view()
	edges := make([]renderedEdge, 2*len(s.fit.model.numbers))
	for i := range s.tags {
		t := &s.tags[i]
		k := s.fit.model.indexOf(t.strip)
		if k < 0 || !m.cut(strip.TagID(t.strip, t.tag), t.corners) {
			continue
		}
		p := &m.patch
		p.id = -1 // holds stored values from here on
		for j := range p.px {
			p.px[j] = float32(s.photo.Gray[(p.v0+j/p.w)*s.photo.Width+p.u0+j%p.w])
		}
		to := v.tagTo(k, t.tag)
		for j := range t.edges {
			e := &t.edges[j]
			if math.Abs(e.leftPx) > 3*t.scatterPx {
				continue
			}
			x := expect(e.unit, to)
			x.mid = geom.PointPx{U: e.at.U - e.leftPx*e.normU, V: e.at.V - e.leftPx*e.normV}
			x.lo, x.hi = -x.length/2, x.length/2
			if !e.unit.openLo {
				x.lo += cornerPx
			}
			if !e.unit.openHi {
				x.hi -= cornerPx
			}
			x.back, x.front = min(renderPx, x.black-neighbourPx), min(renderPx, x.white-neighbourPx)
			if x.hi-x.lo < 1 || x.back < leastPx || x.front < leastPx {
				continue
			}
			m.fitter.gather(p, &x)
			g := &edges[2*k+direction(e.unit)]
			for q, d := range m.fitter.t {
				if b := int((d + renderPx) / binPx); b >= 0 && b < renderBins {
					y := m.fitter.grey[q]
					g.n[b]++
					g.sum[b] += y
					g.square[b] += y * y
				}
			}
		}
	}
	return edges
}

// renderFit is the fit of the model to the edges of a photo.
type renderFit struct {
	base    *toneCoder
	value   [][renderBins]float64
	weight  [][renderBins]float64
	count   [][renderBins]float64
	noise   [][renderBins]float64 // variance of a pixel, levels²
	x       []float64             // shared unknowns, then each edge's own
	prior   []float64
	sigma   []float64
	inverse []float64
}

func binAt(i int) float64 { return (float64(i)+0.5)*binPx - renderPx }

// rendering fits the model to the card's edges; nil where they don't tell.
func (s *solver) rendering(blurPx float64) *rendering {
	if s.scan || !(blurPx <= maxRenderBlurPx) || s.levels.white > burntWhite {
		return nil
	}
	f := newRenderFit(&s.photo.Tone, s.renderedEdges())
	if f == nil {
		return nil
	}
	model := leastModelError
	f.weigh(model)
	if !f.solveFrom(0, 0.6) {
		return nil
	}
	if left := f.left(); left > 1.05*model {
		model = left
		f.weigh(model)
		if !f.solve() {
			return nil
		}
	}
	r := &rendering{base: f.base, x: f.x[:sharedShape:sharedShape]}
	n := len(f.x)
	// What the bend is uncertain by moves all other unknowns along; then what the mask is still uncertain by.
	sb := math.Sqrt(f.inverse[uBend*n+uBend])
	cross := f.inverse[uBend*n+uAmount] / sb
	sa := math.Sqrt(max(1e-12, f.inverse[uAmount*n+uAmount]-cross*cross))
	for d := range r.others {
		o := append([]float64(nil), r.x...)
		for i := range o {
			along := f.inverse[uBend*n+i] / sb
			if d == 1 {
				along = (f.inverse[uAmount*n+i] - along*cross) / sa
			}
			o[i] += along
		}
		o[uBend], o[uRadius] = max(-mostBend, min(mostBend, o[uBend])), max(leastRadius, o[uRadius])
		r.others[d] = o
	}
	r.tabulate()
	return r
}

// Past this bend a curve is no longer one, and a mask narrower than this is none.
const mostBend, leastRadius = 0.95, 0.4

func newRenderFit(t *photo.Tone, edges []renderedEdge) *renderFit {
	f := &renderFit{base: newToneCoder(t)}
	const leastPixels = 3 // in a bin, to have a mean
	var own [][2]float64
	for i := range edges {
		g := &edges[i]
		var value, count, noise [renderBins]float64
		var flat [2]struct{ n, sum, square float64 } // black, white
		for b := range value {
			if g.n[b] < leastPixels || math.Abs(binAt(b)) > renderFitPx {
				continue
			}
			count[b], value[b] = g.n[b], g.sum[b]/g.n[b]
			const flatPx = 4 // past the halos of usual masks
			if x := binAt(b); math.Abs(x) > flatPx {
				k := 0
				if x > 0 {
					k = 1
				}
				flat[k].n += g.n[b]
				flat[k].sum += g.sum[b]
				flat[k].square += g.square[b] - g.sum[b]*g.sum[b]/g.n[b]
			}
		}
		const leastFlat = 200 // pixels
		if flat[0].n < leastFlat || flat[1].n < leastFlat {
			continue
		}
		var mean, variance [2]float64
		for k, v := range flat {
			mean[k], variance[k] = v.sum/v.n, max(0.1, v.square/v.n) // a stored step's own variance
		}
		const leastStep = 20 // levels
		if mean[1] < mean[0]+leastStep {
			continue
		}
		lo, hi := min(variance[0], variance[1]), max(variance[0], variance[1])
		for b := range noise {
			noise[b] = max(lo, min(hi, variance[0]+(variance[1]-variance[0])*(value[b]-mean[0])/(mean[1]-mean[0])))
		}
		f.value, f.count, f.noise = append(f.value, value), append(f.count, count), append(f.noise, noise)
		own = append(own, [2]float64{read(t, mean[0]), read(t, mean[1])})
	}
	if len(own) < 2 { // upright and level edges of one strip
		return nil
	}
	f.weight = make([][renderBins]float64, len(own))
	f.start(own)
	return f
}

// start puts in the Gaussian that fits best.
func (f *renderFit) start(own [][2]float64) {
	n := sharedShape + ownUnknowns*len(own)
	f.prior, f.sigma = make([]float64, n), make([]float64, n)
	f.prior[uAmount], f.prior[uRadius] = usualAmount, usualRadius
	f.sigma[uBend], f.sigma[uAmount], f.sigma[uRadius] = sigmaBend, sigmaAmount, sigmaRadius
	for k := uShape; k < sharedShape; k++ {
		f.sigma[k] = sigmaShape
	}
	for i, o := range own {
		k := sharedShape + ownUnknowns*i
		f.prior[k+1], f.sigma[k+1] = 1, sigmaStretch
		f.prior[k+2], f.prior[k+3] = o[0], o[1]
	}
	f.weigh(1)
	least := math.Inf(1)
	var best []float64
	for sigma := 0.35; sigma < maxRenderBlurPx; sigma *= 1.2 { // sharpened photos seem to have 0.3 px
		for _, amount := range []float64{0, 0.3} {
			x := append([]float64(nil), f.prior...)
			x[uAmount] = amount
			sum := 0.0
			for k := range shapeKnots {
				z := float64(k) * knotPx / sigma
				c := math.Exp(-z * z / 2)
				if k > 0 {
					c *= 2
				}
				x[uShape+k] = c
				sum += c
			}
			for k := range shapeKnots {
				x[uShape+k] /= sum
			}
			if c := f.cost(x); c < least {
				least, best = c, x
			}
		}
	}
	copy(f.prior[uShape:sharedShape], best[uShape:sharedShape])
	f.x = best
}

// weigh weighs the bins by noise and by what the model is off by.
func (f *renderFit) weigh(modelError float64) {
	for i := range f.weight {
		together := float64(len(f.weight)) * togetherPx / binPx
		for b := range f.weight[i] {
			f.weight[i][b] = 0
			if n := f.count[i][b]; n > 0 {
				v := f.noise[i][b]
				model := math.Hypot(modelError, noiseBias*v/max(3, f.value[i][b]))
				f.weight[i][b] = 1 / (model*model*together + v/n)
			}
		}
	}
}

// left is what the model leaves of the photo's mean edge where it is steep, levels RMS.
func (f *renderFit) left() float64 {
	const steepPx = 3
	var r renderer
	r.base = f.base
	r.set(f.x[:sharedShape])
	var sum, w [renderBins]float64
	var y [renderBins]float64
	for i := range f.value {
		r.draw(f.own(f.x, i), &y)
		for b := range y {
			sum[b] += f.weight[i][b] * (f.value[i][b] - y[b])
			w[b] += f.weight[i][b]
		}
	}
	var square, all float64
	for b := range sum {
		if w[b] > 0 && math.Abs(binAt(b)) < steepPx {
			square += sum[b] * sum[b] / w[b]
			all += w[b]
		}
	}
	return math.Sqrt(square / max(all, 1e-12))
}

func (f *renderFit) own(x []float64, i int) []float64 {
	return x[sharedShape+ownUnknowns*i : sharedShape+ownUnknowns*(i+1)]
}

// sumSigma holds the shape's sum at one, which nothing else does.
const sumSigma = 1e-3

func (f *renderFit) cost(x []float64) float64 {
	var r renderer
	r.base = f.base
	r.set(x[:sharedShape])
	var y [renderBins]float64
	c := 0.0
	for i := range f.value {
		r.draw(f.own(x, i), &y)
		for b, w := range f.weight[i] {
			d := f.value[i][b] - y[b]
			c += w * d * d
		}
	}
	sum := -1.0
	for k, s := range f.sigma {
		if s > 0 {
			d := (x[k] - f.prior[k]) / s
			c += d * d
		}
		if k >= uShape && k < sharedShape {
			sum += x[k]
		}
	}
	return c + sum*sum/(sumSigma*sumSigma)
}

// solveFrom starts at several bends: bend and mask make much the same of an edge, and there may be more than one minimum.
func (f *renderFit) solveFrom(bends ...float64) bool {
	start, least := f.x, math.Inf(1)
	var best, inverse []float64
	for _, b := range bends {
		f.x = append([]float64(nil), start...)
		f.x[uBend] = b
		if f.solve() {
			if c := f.cost(f.x); c < least {
				least, best, inverse = c, f.x, f.inverse
			}
		}
	}
	f.x, f.inverse = best, inverse
	return best != nil
}

// solve fits by damped Gauss-Newton steps.
func (f *renderFit) solve() bool {
	const small = 1e-2 // of the cost: no unknown moves by a tenth of its uncertainty any more
	n := len(f.x)
	cost, damp := f.cost(f.x), 1e-3
	for range 40 {
		N, g := f.normal()
		improved := false
		var less float64
		for damp < 1e6 {
			M := N.clone()
			for k := range n {
				M.a[k*n+k] *= 1 + damp
			}
			step := append([]float64(nil), g...)
			if M.chol() {
				M.forward(step)
				M.backward(step)
				x := append([]float64(nil), f.x...)
				for k := range x {
					x[k] += step[k]
				}
				f.bound(x)
				if c := f.cost(x); c < cost {
					less, cost, improved = cost-c, c, true
					copy(f.x, x)
					damp = max(damp/5, 1e-9)
					break
				}
			}
			damp *= 10
		}
		if !improved || less < small {
			break
		}
	}
	N, _ := f.normal()
	if !N.chol() {
		return false
	}
	f.inverse = N.inverse()
	return true
}

// bound keeps the unknowns where the model is one.
func (f *renderFit) bound(x []float64) {
	clamp := func(k int, lo, hi float64) { x[k] = max(lo, min(hi, x[k])) }
	clamp(uBend, -mostBend, mostBend)
	clamp(uAmount, -0.5, 3) // less than none is a ragged print's
	clamp(uRadius, leastRadius, 3)
	for k := sharedShape; k < len(x); k += ownUnknowns {
		clamp(k+1, 0.5, 2)
		clamp(k+2, 1e-4, 0.5)
		clamp(k+3, 0.03, 1.2)
	}
}

// normal returns the normal equations at x, priors included.
func (f *renderFit) normal() (*spd, []float64) {
	n := len(f.x)
	N, g := newSPD(n), make([]float64, n)
	const unknowns = sharedShape + ownUnknowns
	var shared [sharedShape]renderer
	var at renderer
	at.base = f.base
	at.set(f.x[:sharedShape])
	steps := [unknowns]float64{} // far below what the unknowns are known to, far above rounding
	for k := range sharedShape {
		steps[k] = 1e-3
		if k >= uShape {
			steps[k] = 1e-4
		}
		x := append([]float64(nil), f.x[:sharedShape]...)
		x[k] += steps[k]
		shared[k].base = f.base
		shared[k].set(x)
	}
	copy(steps[sharedShape:], []float64{1e-3, 1e-3, 1e-4, 1e-4})
	var y, moved [renderBins]float64
	var J [renderBins][unknowns]float64
	for i := range f.value {
		own := append([]float64(nil), f.own(f.x, i)...)
		at.draw(own, &y)
		for k := range unknowns {
			if k < sharedShape {
				shared[k].draw(own, &moved)
			} else {
				was := own[k-sharedShape]
				own[k-sharedShape] += steps[k]
				at.draw(own, &moved)
				own[k-sharedShape] = was
			}
			for b := range moved {
				J[b][k] = (moved[b] - y[b]) / steps[k]
			}
		}
		index := func(k int) int {
			if k < sharedShape {
				return k
			}
			return k + ownUnknowns*i
		}
		var M [unknowns][unknowns]float64
		for b, w := range f.weight[i] {
			if w == 0 {
				continue
			}
			d := f.value[i][b] - y[b]
			row := &J[b]
			for p := range unknowns {
				wp := w * row[p]
				g[index(p)] += wp * d
				for q := p; q < unknowns; q++ {
					M[p][q] += wp * row[q]
				}
			}
		}
		for p := range unknowns {
			for q := p; q < unknowns; q++ {
				N.add(index(p), index(q), M[p][q])
			}
		}
	}
	sum := -1.0
	for _, c := range f.x[uShape:sharedShape] {
		sum += c
	}
	for k, s := range f.sigma {
		if s > 0 {
			N.add(k, k, 1/(s*s))
			g[k] -= (f.x[k] - f.prior[k]) / (s * s)
		}
		N.add(k, k, 1e-9)
		if k >= uShape && k < sharedShape {
			g[k] -= sum / (sumSigma * sumSigma)
			for q := k; q < sharedShape; q++ {
				N.add(k, q, 1/(sumSigma*sumSigma))
			}
		}
	}
	return N, g
}

// tabulate fills in shifts.
func (r *rendering) tabulate() {
	for k, x := range [][]float64{r.x, r.others[0], r.others[1]} {
		d := renderer{base: r.base}
		d.set(x)
		for i := range gridNodes {
			for j := i; j < gridNodes; j++ {
				const faint = 4.0 // levels; the shift of a fainter edge is as good as none
				v := d.shift(float64(gridStep*i), max(float64(gridStep*j), float64(gridStep*i)+faint))
				r.shifts[k][i][j], r.shifts[k][j][i] = v, v
			}
		}
	}
}

// at looks up the k-th shift for an edge between two stored values.
func (r *rendering) at(k int, dark, light float64) float64 {
	split := func(v float64) (int, float64) {
		v = max(0, min(v/gridStep, gridNodes-1.001))
		return int(v), v - math.Floor(v)
	}
	i, fi := split(dark)
	j, fj := split(light)
	g := &r.shifts[k]
	return (1-fi)*((1-fj)*g[i][j]+fj*g[i][j+1]) + fi*((1-fj)*g[i+1][j]+fj*g[i+1][j+1])
}

// shift tells by how much, px towards light, an edge between two stored values seems to lie off when decoded by the photo's standard curve:
// what a blurred step fitted in light finds.
func (d *renderer) shift(darkStored, lightStored float64) float64 {
	tone := d.base.tone
	dark, light := read(tone, darkStored), read(tone, lightStored)
	own := []float64{0, 1, d.base.light(darkStored/255, d.bend), d.base.light(lightStored/255, d.bend)}
	var y [renderBins]float64
	d.draw(own, &y)
	for i := range y {
		y[i] = read(tone, y[i])
	}
	const fitPx = 4
	p := [4]float64{0, 0.8, dark, light - dark} // place, blur, dark, step
	for range 12 {
		var N [4][4]float64
		var g [4]float64
		for i, v := range y {
			t := binAt(i)
			if math.Abs(t) > fitPx {
				continue
			}
			z := (t - p[0]) / p[1]
			c, q := 0.5*math.Erfc(-z/math.Sqrt2), math.Exp(-z*z/2)/math.Sqrt(2*math.Pi)/p[1]
			row := [4]float64{-p[3] * q, -p[3] * q * z, 1, c}
			e := v - p[2] - p[3]*c
			for a := range row {
				g[a] += row[a] * e
				for b := a; b < 4; b++ {
					N[a][b] += row[a] * row[b]
				}
			}
		}
		if !solve4(&N, &g, 4) {
			return 0
		}
		for k := range p {
			p[k] += g[k]
		}
		p[1] = max(0.2, min(3, p[1]))
		if math.Abs(g[0]) < 1e-4 {
			break
		}
	}
	return p[0]
}

// EdgeShiftPx returns by how much, px towards light, an edge between two levels of linear light (0 to 1) seems to lie off its place in the
// photo, by what the phone makes of light, with its standard uncertainty; 0 and EdgeSigmaPx where the card's edges don't tell.
func (s *Solution) EdgeShiftPx(a, b float64) (shiftPx, sigmaPx float64) {
	if s.rendering == nil {
		return 0, s.EdgeSigmaPx(a, b)
	}
	lo, hi := min(a, b), max(a, b)
	dark, light := code(&s.Tone, lo), code(&s.Tone, hi)
	shiftPx = s.rendering.at(0, dark, light)
	sigmaPx = s.curveSigmaPx(lo, hi, s.bent[:1]) // of the power, which is not fitted
	for k := 1; k < len(s.rendering.shifts); k++ {
		sigmaPx = math.Hypot(sigmaPx, s.rendering.at(k, dark, light)-shiftPx)
	}
	return shiftPx, sigmaPx
}
