package synth

import (
	"math"

	"portmatch/internal/geom"
)

// What a sample hit; pixels whose neighbourhood holds more than one of these are sampled densely.
const (
	onBench = iota + 1
	onFace
	onWall
	onRim
	onPaper
	onInk
	onCap
	onCover
	onBead
	onCard
)

// world is a scene made ready for rays.
type world struct {
	*Scene
	field      *distanceField
	ports      *distanceField // ports only; nil unless dye or beads need it
	edge       []edgeOf       // by curve of field
	lines      *lineField
	covers     []*distanceField
	strips     []stripOf
	cloud      *tile // coarse and fine noise for every texture
	grain      *tile
	marks      *line
	lx, ly     float64 // horizontal way to the light for every mm up
	lvec       [3]float64
	halfLight  [3]float64
	ambient    float64
	benchCos   float64
	benchSin   float64
	exposure   float64
	mmPerPx    float64
	glare      []bandOf
	bars       []bandOf
	paper, ink RGB
}

type edgeOf struct {
	breakMM float64
	rounded bool
	draft   float64
	depth   float64
	hole    bool
	thread  bool
	outer   bool
	open    bool // the bench shows at the bottom
	halfMM  float64
}

type bandOf struct{ x, y, c, s, width, length, strength, soft float64 }

func newWorld(s *Scene) *world {
	w := &world{Scene: s}
	rng := newDice(s.Seed, 0x7e47)
	w.cloud, w.grain, w.marks = newTile(rng.Rand, 3, 0.6), newTile(rng.Rand, 4, 0.75), newLine(rng.Rand)
	p := &s.Part
	var curves []curve
	for i := range p.Ports {
		q := &p.Ports[i]
		curves = append(curves, curve{outline: q.Outline})
		e := edgeOf{breakMM: q.BreakMM, rounded: q.Rounded, draft: q.DraftMM, depth: p.TunnelMM, halfMM: math.Sqrt(math.Abs(signedAreaMM2(q.Outline))) / 2}
		if p.Gasket {
			e.depth, e.open = s.BenchMM, true
		}
		w.edge = append(w.edge, e)
	}
	for _, h := range p.Holes {
		curves = append(curves, curve{outline: Circle(h.Centre, h.EdgeDiameterMM)})
		e := edgeOf{breakMM: (h.EdgeDiameterMM - h.DiameterMM) / 2, depth: 25, hole: true, thread: h.Threaded, halfMM: h.DiameterMM / 2}
		if p.Gasket {
			e.depth, e.open = s.BenchMM, true
		}
		w.edge = append(w.edge, e)
	}
	curves = append(curves, curve{outline: p.Outline, outer: true})
	w.edge = append(w.edge, edgeOf{breakMM: p.OuterBreakMM, depth: s.BenchMM, outer: true, open: true, halfMM: 1e6})
	w.field = newDistanceField(curves, 40, fineMM)
	if p.Surface.Dye || p.Surface.Bead != nil {
		w.ports = newDistanceField(curves[:len(p.Ports)], 25, fineMM)
	}
	if len(p.Surface.Lines) > 0 {
		w.lines = newLineField(p.Surface.Lines)
	}
	for _, c := range s.Covers {
		w.covers = append(w.covers, newDistanceField([]curve{{outline: c.Outline, outer: true}}, 30, fineMM))
	}
	for i := range s.Strips {
		w.strips = append(w.strips, newStripOf(&s.Strips[i], s.HeightMM))
	}
	az, el := s.Light.AzimuthDeg*math.Pi/180, s.Light.ElevationDeg*math.Pi/180
	w.lvec = [3]float64{math.Cos(el) * math.Cos(az), math.Cos(el) * math.Sin(az), math.Sin(el)}
	w.lx, w.ly = w.lvec[0]/w.lvec[2], w.lvec[1]/w.lvec[2]
	h := [3]float64{w.lvec[0], w.lvec[1], w.lvec[2] + 1}
	l := math.Sqrt(h[0]*h[0] + h[1]*h[1] + h[2]*h[2])
	w.halfLight = [3]float64{h[0] / l, h[1] / l, h[2] / l}
	w.ambient = 1 - s.Light.Direct
	t := s.Bench.TurnDeg * math.Pi / 180
	w.benchCos, w.benchSin = math.Cos(t), math.Sin(t)
	w.paper, w.ink = RGB{.80, .80, .79}, RGB{.035, .035, .037}
	w.exposure = s.Optics.White / 0.80
	for _, g := range s.Light.Glare {
		a := g.TurnDeg * math.Pi / 180
		w.glare = append(w.glare, bandOf{g.At.X, g.At.Y, math.Cos(a), math.Sin(a), g.WidthMM, g.LengthMM, g.Strength, 0})
	}
	for _, b := range s.Light.Bars {
		a := b.TurnDeg * math.Pi / 180
		w.bars = append(w.bars, bandOf{b.At.X, b.At.Y, math.Cos(a), math.Sin(a), b.WidthMM, 0, b.Depth, b.SoftMM})
	}
	c := centroidOf(p.Outline)
	q := s.Camera.PixelFromPlane(c, 0)
	q2 := s.Camera.PixelFromPlane(c.Add(geom.PointMM{X: 1}), 0)
	w.mmPerPx = 1 / q.Dist(q2)
	return w
}

// shade returns the radiance (linear, exposed) that comes along r, and what it comes from.
func (w *world) shade(r ray) (RGB, uint8) {
	for i, f := range w.covers {
		c := &w.Covers[i]
		x, y := r.below(-c.AboveMM)
		if d, _ := f.at(x, y); d > 0 {
			return w.shadeCover(c, x, y, d), onCover
		}
	}
	if w.HeightMM <= 0 {
		// Strips level with the face, or on it, are in the way of everything.
		if c, id, ok := w.shadeStrips(r); ok {
			return c, id
		}
	}
	d, k := w.field.at(r.X, r.Y)
	if d >= 0 {
		return w.shadeFace(r, d)
	}
	return w.shadeVoid(r, d, k)
}

// light multiplies everything: its fall across the scene, and shadows of things out of the picture. zMM is negative below the
// face.
func (w *world) lightAt(x, y, zMM float64) float64 {
	e := 1 + w.Light.GradX*x/100 + w.Light.GradY*y/100
	for i := range w.bars {
		b := &w.bars[i]
		px, py := x-w.lx*zMM-b.x, y-w.ly*zMM-b.y
		off := math.Abs(-px*b.s+py*b.c) - b.width/2
		e *= 1 - b.strength*(1-ramp(off, -b.soft, b.soft))
	}
	for i, f := range w.covers {
		a := w.Covers[i].AboveMM - zMM
		q := f.soft(x+w.lx*a, y+w.ly*a)
		soft := 1 + a*w.Light.Softness
		e *= 1 - 0.6*w.Light.Direct*ramp(q, -soft, soft)
	}
	return max(0.05, e) * w.exposure
}

func (w *world) glareAt(x, y float64) float64 {
	g := 0.0
	for i := range w.glare {
		b := &w.glare[i]
		px, py := x-b.x, y-b.y
		u, v := (px*b.c+py*b.s)/b.length, (-px*b.s+py*b.c)/b.width
		q := u*u + v*v
		if q < 9 {
			g += b.strength * math.Exp(-q)
		}
	}
	return g
}

// shadeVoid follows a ray that misses the face down to the rim, a wall, a strip, the bench or the dark.
func (w *world) shadeVoid(r ray, d0 float64, k int32) (RGB, uint8) {
	e := &w.edge[k]
	depth := e.depth
	m := hypot(r.MX, r.MY)
	hit := math.Inf(1)
	if -d0 < m*depth+e.breakMM+max(0, e.draft)+0.01 {
		if s, q, ok := w.rim(r, d0, e, m); ok {
			return w.shadeRim(r, s, q, e), onRim
		}
		hit = w.wall(r, e, m)
	}
	if w.HeightMM > 0 && e.outer && hit > w.HeightMM {
		if c, id, ok := w.shadeStrips(r); ok {
			return c, id
		}
	}
	if hit < depth {
		return w.shadeWall(r, hit, e), onWall
	}
	if !e.open {
		return RGB{.004, .004, .004}.scaled(w.exposure), onCap
	}
	return w.shadeBench(r), onBench
}

// rim looks for the broken edge: s is the depth of the hit, q the distance into the void. Over the rim's fraction of a mm
// the distance to the edge changes linearly along the ray.
func (w *world) rim(r ray, d0 float64, e *edgeOf, m float64) (s, q float64, ok bool) {
	c := e.breakMM
	if c <= 0 || -d0 > c*(1+m)+0.001 {
		return 0, 0, false
	}
	x, y := r.below(c)
	d1, _ := w.field.at(x, y)
	q0, k := -d0, (d0-d1)/c // q = q0 + k s
	if !e.rounded {
		// The chamfer's surface is q = s.
		if k >= 1 {
			return 0, 0, false
		}
		s = q0 / (1 - k)
		return s, s, s <= c
	}
	// The rounding's surface is a quarter circle: q² + (c - s)² = c². The first root of a quadratic in s.
	a, b := 1+k*k, k*q0-c
	disc := b*b - a*q0*q0
	if disc < 0 {
		return 0, 0, false
	}
	s = (-b - math.Sqrt(disc)) / a
	return s, q0 + k*s, s >= 0 && s <= c
}

// wall returns the depth at which the ray meets the wall, +Inf if it reaches the bottom.
func (w *world) wall(r ray, e *edgeOf, m float64) float64 {
	slope := 0.0
	if e.depth > 0 {
		slope = e.draft / e.depth
	}
	s := e.breakMM
	rate := m + max(0, slope)
	if rate < 1e-6 {
		return math.Inf(1)
	}
	before, fBefore := s, 0.0
	for range 80 {
		if s >= e.depth {
			return math.Inf(1)
		}
		x, y := r.below(s)
		d, _ := w.field.at(x, y)
		f := -d - e.breakMM - slope*(s-e.breakMM)
		if f <= 0 {
			if fBefore > 0 {
				s = before + (s-before)*fBefore/(fBefore-f)
			}
			return s
		}
		if f > rate*(e.depth-s) {
			return math.Inf(1)
		}
		before, fBefore = s, f
		s += max(f/rate, 1e-3) // the smallest step ends the creep along a wall
	}
	return s
}
