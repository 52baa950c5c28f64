package scalecard

import (
	"math"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"portmatch/internal/geom"
	"portmatch/internal/photo"
	"portmatch/internal/scalecard/strip"
)

// tagReading is one tag measured in the photo. Its corners are those of the nominal tag: what ink and tone make black
// grow or shrink by is kept apart as growthPx, which the edges inside the tag, white on either side in turn, tell from
// the tag's size.
type tagReading struct {
	strip, tag int
	corners    [4]geom.PointPx
	cov        [64]float64 // px², of u0, v0, u1, v1, ...
	edges      []reading
	growthPx   [2]float64 // across upright edges, across level ones; positive: black is larger than nominal
	blurPx     [2]float64
	scatterPx  float64 // robust standard deviation of one cell's edge about the tag
}

// tagToPx maps the frame of a tag (mm, origin at its centre, strip's axes) to the photo.
type tagToPx func(geom.PointMM) geom.PointPx

// homographyOf returns the projective map that takes a tag's corners to c: the closed form for a square.
func homographyOf(c [4]geom.PointPx) tagToPx {
	// From the unit square with corners (0,0), (1,0), (1,1), (0,1).
	dx1, dy1 := c[1].U-c[2].U, c[1].V-c[2].V
	dx2, dy2 := c[3].U-c[2].U, c[3].V-c[2].V
	sx, sy := c[0].U-c[1].U+c[2].U-c[3].U, c[0].V-c[1].V+c[2].V-c[3].V
	det := dx1*dy2 - dx2*dy1
	g := (sx*dy2 - dx2*sy) / det
	h := (dx1*sy - sx*dy1) / det
	a, b := c[1].U-c[0].U+g*c[1].U, c[3].U-c[0].U+h*c[3].U
	d, e := c[1].V-c[0].V+g*c[1].V, c[3].V-c[0].V+h*c[3].V
	return func(p geom.PointMM) geom.PointPx {
		x, y := p.X/strip.TagMM+0.5, p.Y/strip.TagMM+0.5
		w := 1 + g*x + h*y
		return geom.PointPx{U: (a*x + b*y + c[0].U) / w, V: (d*x + e*y + c[0].V) / w}
	}
}

// measurer refines tags in one photo. It owns scratch space and is not safe for two goroutines at once.
type measurer struct {
	photo  *photo.Photo
	fitter *edgeFitter
	patch  patch
	cells  *cells
}

// team is measurers of one photo, one for each processor.
type team []*measurer

func newTeam(p *photo.Photo) team {
	t, c := make(team, runtime.GOMAXPROCS(0)), &cells{units: map[int][]unit{}}
	for i := range t {
		t[i] = &measurer{photo: p, fitter: newEdgeFitter(), cells: c}
	}
	return t
}

// each calls f for 0 to n-1, every measurer on its own processor.
func (t team) each(n int, f func(m *measurer, i int)) {
	var next atomic.Int64
	var wg sync.WaitGroup
	for _, m := range t[:min(n, len(t))] {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				f(m, i)
			}
		})
	}
	wg.Wait()
}

// expectNoise tells the measurers how noisy the black is against the white.
func (t team) expectNoise(l levels) {
	for _, m := range t {
		m.fitter.darkNoise = max(minDarkNoise, min(1, l.blackVar/l.whiteVar))
	}
}

// cells are the edges of the tags that were asked for.
type cells struct {
	mu    sync.Mutex
	units map[int][]unit
}

func (c *cells) of(id int) []unit {
	c.mu.Lock()
	defer c.mu.Unlock()
	units, ok := c.units[id]
	if !ok {
		units = unitsOf(id)
		c.units[id] = units
	}
	return units
}

// cut takes a tag's surroundings out of the photo, in linear light; false if the tag runs out of the picture. What was
// just cut for the same tag is used again while its corners have moved by a few pixels only.
func (m *measurer) cut(id int, c [4]geom.PointPx) bool {
	lo, hi := c[0], c[0]
	for _, p := range c[1:] {
		lo.U, lo.V = min(lo.U, p.U), min(lo.V, p.V)
		hi.U, hi.V = max(hi.U, p.U), max(hi.V, p.V)
	}
	w, h := m.photo.Width, m.photo.Height
	if !(lo.U >= 0 && lo.V >= 0 && hi.U <= float64(w-1) && hi.V <= float64(h-1)) {
		return false
	}
	const margin, enough = 3*maxBlurPx + 4, 3 * maxBlurPx
	p := &m.patch
	if p.id == id && len(p.px) > 0 &&
		float64(p.u0) <= max(0, lo.U-enough) && float64(p.v0) <= max(0, lo.V-enough) &&
		float64(p.u0+p.w-1) >= min(float64(w-1), hi.U+enough) && float64(p.v0+p.h-1) >= min(float64(h-1), hi.V+enough) {
		return true
	}
	u0, v0 := max(0, int(lo.U-margin)), max(0, int(lo.V-margin))
	u1, v1 := min(w-1, int(hi.U+margin)), min(h-1, int(hi.V+margin))
	p.id, p.u0, p.v0, p.w, p.h = id, u0, v0, u1-u0+1, v1-v0+1
	p.px = slices.Grow(p.px[:0], p.w*p.h)
	for v := v0; v <= v1; v++ {
		for _, g := range m.photo.Gray[v*w+u0 : v*w+u1+1] {
			p.px = append(p.px, m.photo.Tone.Linear[g])
		}
	}
	return true
}

// Tags of fewer pixels a side have cells under 1.5 px, whose edges run into each other at any blur.
const minTagSidePx = 12

// coarse measures a tag's border from rough corners, good to about two pixels, and returns better ones and the blur.
func (m *measurer) coarse(id int, c [4]geom.PointPx) (corners [4]geom.PointPx, blur [2]float64, ok bool) {
	if sidePx(c) < minTagSidePx || !m.cut(id, c) {
		return c, blur, false
	}
	border := func(u *unit) bool { return u.border }
	to := homographyOf(c)
	edges := m.read(id, to, [2]float64{1, 1}, [2]*profile{}, border)
	if len(edges) < 16 {
		return c, blur, false
	}
	var sigma [2][]float64
	for _, e := range edges {
		k := direction(e.unit)
		sigma[k] = append(sigma[k], e.blurPx)
	}
	if len(sigma[0]) == 0 || len(sigma[1]) == 0 {
		return c, blur, false
	}
	blur = [2]float64{median(sigma[0]), median(sigma[1])}
	t, ok := reduce(edges, to, false)
	return t.corners, blur, ok
}

func direction(u *unit) int {
	if u.vertical {
		return 0
	}
	return 1
}

// fine measures all edges of a tag that stands within half a pixel of where to puts it.
func (m *measurer) fine(stripNumber, tag int, to tagToPx, blur [2]float64, shape [2]*profile) (tagReading, bool) {
	var c [4]geom.PointPx
	for k, p := range tagCorners() {
		c[k] = to(p)
	}
	if sidePx(c) < minTagSidePx || !m.cut(strip.TagID(stripNumber, tag), c) {
		return tagReading{}, false
	}
	edges := m.read(strip.TagID(stripNumber, tag), to, blur, shape, func(*unit) bool { return true })
	t, ok := reduce(edges, to, true)
	if !ok {
		return tagReading{}, false
	}
	t.strip, t.tag, t.blurPx = stripNumber, tag, blur
	return t, true
}

// shapes adds the pixels of a tag's edges to the sums of the two directions, by their distance from where the tag as a
// whole puts the edge: a single edge's own place may be wrong by its phase on the pixels.
func (m *measurer) shapes(t *tagReading, to tagToPx, sum *[2]profileSum) {
	if !m.cut(strip.TagID(t.strip, t.tag), t.corners) {
		return
	}
	for i := range t.edges {
		e := &t.edges[i]
		k := direction(e.unit)
		if math.Abs(e.leftPx) > 3*t.scatterPx {
			continue
		}
		x := expect(e.unit, to)
		x.mid = geom.PointPx{U: e.at.U - e.leftPx*e.normU, V: e.at.V - e.leftPx*e.normV}
		x.window(e.unit, t.blurPx[k])
		x.back, x.front = max(x.back, min(5, 0.6*x.black)), max(x.front, min(5, 0.6*x.white))
		m.fitter.gather(&m.patch, &x)
		dark, light := m.fitter.levels()
		if light <= dark {
			continue
		}
		for j, p := range m.fitter.t {
			sum[k].add(p, (m.fitter.grey[j]-dark)/(light-dark))
		}
	}
}

// tagCorners returns a tag's corners in its own frame, in the order of strip.TagCorners.
func tagCorners() [4]geom.PointMM {
	c := strip.TagCorners(0)
	for k := range c {
		c[k] = c[k].Sub(strip.TagCentre(0))
	}
	return c
}

func (m *measurer) read(id int, to tagToPx, blur [2]float64, shape [2]*profile, want func(*unit) bool) []reading {
	units := m.cells.of(id)
	out := make([]reading, 0, len(units))
	for i := range units {
		u := &units[i]
		if !want(u) {
			continue
		}
		k := direction(u)
		if r, ok := m.fitter.fit(&m.patch, u, expect(u, to), blur[k], shape[k]); ok {
			out = append(out, r)
		}
	}
	return out
}

// expect puts a unit where to says.
func expect(u *unit, to tagToPx) expected {
	along, across := geom.PointMM{X: u.halfLength}, geom.PointMM{Y: u.white}
	if u.vertical {
		along, across = geom.PointMM{Y: u.halfLength}, geom.PointMM{X: u.white}
	}
	a, b := to(u.mid.Sub(along)), to(u.mid.Add(along))
	w := to(u.mid.Add(across)).Sub(to(u.mid))
	x := expected{mid: geom.PointPx{U: (a.U + b.U) / 2, V: (a.V + b.V) / 2}, length: a.Dist(b)}
	x.dirU, x.dirV = (b.U-a.U)/x.length, (b.V-a.V)/x.length
	x.normU, x.normV = -x.dirV, x.dirU
	if x.normU*w.U+x.normV*w.V < 0 {
		x.normU, x.normV = -x.normU, -x.normV
	}
	// Millimetres across the edge in pixels along its normal.
	pxPerMM := x.normU*w.U + x.normV*w.V
	x.black, x.white = u.blackMM*pxPerMM, u.whiteMM*pxPerMM
	return x
}

// reduce fits a smooth displacement of the whole tag (each corner moves on its own, bilinear between them) to its edges
// and, with growth set, how much larger than nominal black is in either direction. Edges that don't go with the rest
// (dirt, a scratch) lose their weight.
func reduce(edges []reading, to tagToPx, growth bool) (tagReading, bool) {
	n := 8
	if growth {
		n = 10
	}
	if len(edges) < 2*n {
		return tagReading{}, false
	}
	rows := make([][10]float64, len(edges))
	res := make([]float64, len(edges))
	w := make([]float64, len(edges))
	pixels := make([]float64, len(edges))
	for i, e := range edges {
		pixels[i] = float64(e.pixels)
	}
	usual := median(pixels)
	for i, e := range edges {
		p := to(e.unit.mid)
		x, y := e.unit.mid.X/(strip.TagMM/2), e.unit.mid.Y/(strip.TagMM/2)
		phi := [4]float64{(1 - x) * (1 - y) / 4, (1 + x) * (1 - y) / 4, (1 + x) * (1 + y) / 4, (1 - x) * (1 + y) / 4}
		for k, f := range phi {
			rows[i][2*k], rows[i][2*k+1] = f*e.normU, f*e.normV
		}
		rows[i][8+direction(e.unit)] = 1
		res[i] = e.normU*(e.at.U-p.U) + e.normV*(e.at.V-p.V)
		w[i] = min(1, float64(e.pixels)/usual)
	}
	x := make([]float64, n)
	left := make([]float64, len(edges))
	weight := append([]float64(nil), w...)
	var N *spd
	scatter := 0.0
	for range 12 {
		N = newSPD(n)
		g := make([]float64, n)
		for i := range rows {
			for a := range n {
				wa := weight[i] * rows[i][a]
				g[a] += wa * res[i]
				for b := a; b < n; b++ {
					N.a[a*n+b] += wa * rows[i][b]
				}
			}
		}
		if !N.chol() {
			return tagReading{}, false
		}
		N.forward(g)
		N.backward(g)
		change := 0.0
		for a := range g {
			change = max(change, math.Abs(g[a]-x[a]))
		}
		copy(x, g)
		for i := range rows {
			left[i] = res[i]
			for a := range n {
				left[i] -= rows[i][a] * x[a]
			}
		}
		scatter = max(spread(left, n), 1e-4)
		for i := range left {
			weight[i] = w[i] * tukey(left[i]/scatter)
		}
		if change < 1e-4 {
			break
		}
	}
	for i := range edges {
		edges[i].leftPx = left[i]
	}
	t := tagReading{edges: edges, scatterPx: scatter}
	inv := N.inverse()
	for k, p := range tagCorners() {
		c := to(p)
		t.corners[k] = geom.PointPx{U: c.U + x[2*k], V: c.V + x[2*k+1]}
	}
	for a := range 8 {
		for b := range 8 {
			t.cov[8*a+b] = inv[a*n+b] * scatter * scatter
		}
	}
	if growth {
		t.growthPx = [2]float64{x[8], x[9]}
	}
	return t, true
}

// tukey is the biweight, whose constant keeps 95 % efficiency on normal errors (Holland and Welsch 1977).
func tukey(z float64) float64 {
	const c = 4.685
	z /= c
	if z <= -1 || z >= 1 {
		return 0
	}
	return (1 - z*z) * (1 - z*z)
}

// spread returns the standard deviation that goes with the median absolute residual of a fit of n unknowns.
func spread(left []float64, n int) float64 {
	abs := make([]float64, len(left))
	for i, v := range left {
		abs[i] = math.Abs(v)
	}
	return 1.4826 * median(abs) * math.Sqrt(float64(len(left))/float64(max(len(left)-n, 1)))
}

// median sorts v and returns its median.
func median(v []float64) float64 {
	slices.Sort(v)
	if len(v)%2 == 1 {
		return v[len(v)/2]
	}
	return (v[len(v)/2-1] + v[len(v)/2]) / 2
}
