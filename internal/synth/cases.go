package synth

import (
	"fmt"
	"hash/fnv"
	"math"
	"slices"

	"portmatch/internal/geom"
)

// Case is a pair of pictures with what the user tells the tool about them.
type Case struct {
	Class        string
	Seed         uint64
	Target, Work *Scene
	// What the tool is told.
	TargetHeightMM, WorkHeightMM float64
	TargetDPI, WorkDPI           float64
	PrintedXMM, PrintedYMM       float64
	// Touched are the ids of ports whose edge is covered, cut off or altered.
	Touched []string
	Note    string
	// TruthScale multiplies every length of the truth where both pictures carry the same wrong scale; 0 means 1.
	TruthScale float64
	// Unrelated parts have no truth: any figure is wrong.
	Unrelated bool
	// Spoil changes the finished JPEGs; nil leaves them.
	Spoil func(target, work []byte) ([]byte, []byte, error)
}

// Class is a kind of difficulty.
type Class struct {
	Name string
	// Workable pictures must be measured; of the others a wrong figure without a word is the one unforgivable answer.
	Workable bool
	Describe string
	make     func(rng dice) *Case
}

// NewCase makes case number seed of a class. The same class and seed give the same pictures, whatever other classes there are.
func NewCase(class string, seed uint64) (*Case, error) {
	i := slices.IndexFunc(Classes(), func(c Class) bool { return c.Name == class })
	if i < 0 {
		return nil, fmt.Errorf("no class %q of synthetic scenes", class)
	}
	c := Classes()[i]
	h := fnv.New64a()
	h.Write([]byte(class))
	k := c.make(newDice(seed, h.Sum64()))
	k.Class, k.Seed = class, seed
	for j, s := range []*Scene{k.Target, k.Work} {
		s.Class, s.Seed, s.Describe = class, h.Sum64()^(2*seed+uint64(j)), c.Describe
		s.Name = fmt.Sprintf("%s-%04d-%s", class, seed, []string{"target", "work"}[j])
	}
	return k, nil
}

// mix says how one picture of a pair is to look.
type mix struct {
	rng       dice
	widePx    int     // 0: chosen by the part's size
	mmPerPx   float64 // 0: 0.08 to 0.12
	strips    int
	badStrips bool
	tilt      [2]float64
	anyRoll   bool
	focal35   float64
	k1        float64
	tone      string
	orient    int
}

func easy(rng dice) mix {
	return mix{rng: rng, strips: pick(rng, 2, 2, 2, 3), tilt: [2]float64{0, 10}}
}

// gasketScene lays the pattern as a gasket on a bench.
func gasketScene(m mix, p *pattern, mirrored bool) *Scene {
	rng := m.rng
	s := &Scene{HeightMM: round(rng.in(0.6, 1.6), 1)}
	s.BenchMM = s.HeightMM + 0.1
	s.Part = Part{Gasket: true, Outline: p.outline, Holes: slices.Clone(p.holes)}
	for i, o := range p.ports {
		s.Part.Ports = append(s.Part.Ports, Port{ID: p.ids[i], Outline: o})
	}
	if mirrored {
		s.Part = s.Part.turnedOver()
	}
	a := pick(rng, RGB{.05, .053, .05}, RGB{.10, .14, .10}, RGB{.20, .20, .21}, RGB{.16, .08, .05}, RGB{.35, .30, .22}, RGB{.07, .08, .11})
	s.Part.Surface = Surface{Kind: "fibre", Albedo: a, Contrast: rng.in(0.05, 0.16)}
	s.Part.WallAlbedo = a.scaled(0.8)
	s.Bench = benchUnlike(rng, a)
	s.dress(m)
	return s
}

// faceScene makes the pattern's openings, as changed by edit, into a machined face with tunnels.
func faceScene(m mix, p *pattern, edit func(i int, o []geom.PointMM) []geom.PointMM) *Scene {
	rng := m.rng
	s := &Scene{HeightMM: 0, BenchMM: rng.in(12, 26)}
	s.Part = Part{Outline: p.outline, TunnelMM: rng.in(35, 65), OuterBreakMM: rng.in(0.2, 0.6)}
	for i, o := range p.ports {
		q := edit(i, o)
		port := Port{ID: p.ids[i], Outline: q, DraftMM: rng.in(-1, 0.6)}
		if rng.chance(0.4) {
			port.BreakMM = rng.in(0.01, 0.03)
		}
		s.Part.Ports = append(s.Part.Ports, port)
	}
	for _, h := range p.holes {
		if !h.Dowel {
			h.DiameterMM -= pick(rng, 0, 0.4, 1.0)
			h.Threaded = rng.chance(0.5)
		}
		h.EdgeDiameterMM = h.DiameterMM + 2*pick(rng, 0, 0.3, 0.5)
		s.Part.Holes = append(s.Part.Holes, h)
	}
	v := rng.in(0.30, 0.55)
	s.Part.Surface = Surface{Kind: "milled", Albedo: RGB{v, v * 1.005, v * 1.015}, Contrast: rng.in(0.05, 0.16), FeedMM: rng.in(0.5, 1.6),
		CutterMM: rng.in(60, 160), Gloss: 1, RimGlint: rng.in(0.1, 0.5)}
	s.Part.WallAlbedo = grey(rng.in(0.12, 0.3))
	s.Bench = anyBench(rng)
	s.dress(m)
	lo, hi := extent(p.outline)
	if rng.chance(0.5) {
		s.Light.Glare = append(s.Light.Glare, Glare{At: geom.PointMM{X: rng.in(lo.X, hi.X), Y: rng.in(lo.Y, hi.Y)}, TurnDeg: rng.in(0, 180),
			WidthMM: rng.in(25, 60), LengthMM: rng.in(60, 200), Strength: rng.in(0.03, 0.12)})
	}
	return s
}

// turnedOver shows the part's other side: x of the part frame turns its sign, ids stay with the features.
func (p Part) turnedOver() Part {
	m := geom.Rigid{A: -1, D: 1}
	p.Mirrored = !p.Mirrored
	p.Outline = mapped(p.Outline, m)
	p.Ports = slices.Clone(p.Ports)
	for i := range p.Ports {
		p.Ports[i].Outline = mapped(p.Ports[i].Outline, m)
	}
	p.Holes = slices.Clone(p.Holes)
	for i := range p.Holes {
		p.Holes[i].Centre = m.Apply(p.Holes[i].Centre)
	}
	return p
}

func anyBench(rng dice) Bench {
	return pick(rng,
		Bench{Kind: "wood", Albedo: RGB{.38, .25, .13}, TurnDeg: rng.in(-30, 30)},
		Bench{Kind: "wood", Albedo: RGB{.55, .42, .27}, TurnDeg: rng.in(60, 120)},
		Bench{Kind: "steel", Albedo: RGB{.22, .24, .25}},
		Bench{Kind: "cardboard", Albedo: RGB{.42, .30, .18}, TurnDeg: rng.in(0, 90)},
		Bench{Kind: "plain", Albedo: RGB{.6, .6, .58}},
		Bench{Kind: "plain", Albedo: RGB{.08, .08, .09}})
}

func (c RGB) grey() float64 { return 0.2126*c[0] + 0.7152*c[1] + 0.0722*c[2] }

// benchUnlike picks a bench at least 1.8 times brighter or darker than the part.
func benchUnlike(rng dice, a RGB) Bench {
	for {
		b := anyBench(rng)
		k := b.Albedo.grey() / a.grey()
		if k > 1.8 || k < 1/1.8 {
			return b
		}
	}
}

// dress adds strips, light, camera and optics.
func (s *Scene) dress(m mix) {
	rng := m.rng
	s.Light = Light{AzimuthDeg: rng.in(0, 360), ElevationDeg: rng.in(38, 75), Direct: rng.in(0.25, 0.6), Softness: rng.in(0.08, 0.5),
		GradX: rng.in(-0.06, 0.06), GradY: rng.in(-0.06, 0.06)}
	s.layStrips(m)
	s.Optics = Optics{BlurPx: rng.in(0.6, 1.1), CornerBlur: rng.in(1, 1.35), Vignette: rng.in(0.3, 1.2), White: rng.in(0.55, 0.75), FullWell: rng.in(4000, 12000),
		ReadNoise: rng.in(3, 7), Sharpen: rng.in(0.1, 0.5), JPEGQuality: 86 + rng.IntN(10)}
	s.Optics.Tone = anyTone(rng)
	if m.tone == "s" {
		s.Optics.Tone = Tone{Kind: "s", S: rng.in(0.35, 0.7), Knee: rng.in(0.7, 0.9)}
	}
	s.shoot(m)
}

func anyTone(rng dice) Tone {
	return pick(rng,
		Tone{Kind: "srgb", Knee: rng.in(0.7, 0.9)},
		Tone{Kind: "srgb", Knee: rng.in(0.7, 0.9)},
		Tone{Kind: "s", S: rng.in(0.1, 0.4), Knee: rng.in(0.7, 0.9)},
		Tone{Kind: "s", S: rng.in(0.1, 0.4), Knee: rng.in(0.7, 0.9)},
		Tone{Kind: "gamma", Gamma: rng.in(1.9, 2.5), Knee: rng.in(0.75, 0.95)})
}

// layStrips puts the strips round the part: the first two above and below, at opposite ends; further ones at the sides.
func (s *Scene) layStrips(m mix) {
	rng := m.rng
	lo, hi := extent(s.Part.Outline)
	number := rng.Perm(12)
	slices.Sort(number[:max(1, m.strips)])
	gap := func() float64 { return rng.in(5, 14) }
	left := rng.chance(0.5)
	slack := math.Max(0, hi.X-lo.X-stripLengthMM)
	x := func(atLeft bool) float64 {
		if slack == 0 {
			return (lo.X+hi.X)/2 - stripLengthMM/2 + rng.in(-12, 12)
		}
		if atLeft {
			return lo.X + rng.in(-4, 0.15*slack)
		}
		return hi.X - stripLengthMM - rng.in(-4, 0.15*slack)
	}
	ink := rng.in(0, 0.03)
	add := func(at geom.PointMM, turn float64) {
		s.Strips = append(s.Strips, Strip{Number: number[len(s.Strips)] + 1, Origin: at, TurnDeg: turn, Scale: [2]float64{1, 1}, InkMM: ink})
	}
	turn := func() float64 { return rng.in(-1.5, 1.5) }
	// The far end of a strip turned by 1.5° stands 5 mm higher; that much extra gap keeps it off the part.
	const sway = 5.0
	if m.badStrips {
		y := lo.Y - gap() - sway - stripHeightMM
		add(geom.PointMM{X: x(left), Y: y}, turn())
		if m.strips > 1 {
			add(geom.PointMM{X: s.Strips[0].Origin.X + stripLengthMM + rng.in(3, 9), Y: y + rng.in(-4, 4)}, turn())
		}
		return
	}
	add(geom.PointMM{X: x(left), Y: hi.Y + gap() + sway}, turn())
	if m.strips > 1 {
		add(geom.PointMM{X: x(!left), Y: lo.Y - gap() - sway - stripHeightMM}, turn())
	}
	mid := (lo.Y + hi.Y) / 2
	if m.strips > 2 {
		add(geom.PointMM{X: lo.X - gap() - sway, Y: mid - stripLengthMM/2 + rng.in(-5, 5)}, 90+turn())
	}
	if m.strips > 3 {
		add(geom.PointMM{X: hi.X + gap() + sway, Y: mid + stripLengthMM/2 + rng.in(-5, 5)}, -90+turn())
	}
	// Strips at the sides must not lie on those above and below.
	for i := 2; i < len(s.Strips); i++ {
		for s.stripsOverlap(i, 0) || s.stripsOverlap(i, 1) {
			if i == 2 {
				s.Strips[i].Origin.X -= 4
			} else {
				s.Strips[i].Origin.X += 4
			}
		}
	}
}

func (s *Scene) stripsOverlap(i, j int) bool {
	a, b := newStripOf(&s.Strips[i], 0), newStripOf(&s.Strips[j], 0)
	for k := range 60 {
		for l := range 10 {
			p := a.point(stripLengthMM*float64(k)/59, stripHeightMM*float64(l)/9)
			u, v := b.local(p.X, p.Y)
			if u > -2 && v > -2 && u < stripLengthMM+2 && v < stripHeightMM+2 {
				return true
			}
		}
	}
	return false
}

// everything that should be in the picture.
func (s *Scene) extent() []point3 {
	var pts []point3
	for i := 0; i < len(s.Part.Outline); i += 10 {
		p := s.Part.Outline[i]
		pts = append(pts, point3{p.X, p.Y, 0})
	}
	for i := range s.Strips {
		g := newStripOf(&s.Strips[i], s.HeightMM)
		pts = append(pts, g.point(0, 0), g.point(stripLengthMM, 0), g.point(stripLengthMM, stripHeightMM), g.point(0, stripHeightMM))
	}
	return pts
}

// shoot chooses the camera.
func (s *Scene) shoot(m mix) {
	rng := m.rng
	lo, hi := bounds(s.extent())
	wide := math.Max(hi.X-lo.X, (hi.Y-lo.Y)*4/3) * 1.1
	px := m.widePx
	if px == 0 {
		mm := m.mmPerPx
		if mm == 0 {
			mm = rng.in(0.085, 0.125)
		}
		px = int(math.Max(2048, math.Min(4032, wide/mm)))
	}
	px &^= 15
	c := &s.Camera
	c.WidthPx, c.HeightPx = px, px*3/4
	if m.orient >= 5 {
		c.WidthPx, c.HeightPx = c.HeightPx, c.WidthPx
	}
	s.Orientation = m.orient
	s.Focal35MM = m.focal35
	if s.Focal35MM == 0 {
		s.Focal35MM = pick(rng, 24.0, 25, 26, 26, 27, 28)
	}
	// The EXIF value is rounded, and computed by one maker's rule or the other's.
	c.FocalPx = FocalPxFrom35(s.Focal35MM, c.WidthPx, c.HeightPx) * (1 + 0.012*rng.NormFloat64())
	c.CxPx, c.CyPx = float64(c.WidthPx-1)/2+rng.in(-0.004, 0.004)*float64(px), float64(c.HeightPx-1)/2+rng.in(-0.004, 0.004)*float64(px)
	c.K1, c.K2 = rng.in(-0.03, 0.03), rng.in(-0.01, 0.01)
	if m.k1 != 0 {
		c.K1, c.K2 = m.k1, rng.in(0, 0.01)
	}
	s.TiltDeg = rng.in(m.tilt[0], m.tilt[1])
	roll := rng.in(-6, 6)
	if rng.chance(0.3) {
		roll += 180
	}
	if m.anyRoll {
		roll = rng.in(0, 360)
	}
	if m.orient >= 5 {
		roll += 90
	}
	Frame(c, s.extent(), s.TiltDeg, rng.in(0, 360), roll, rng.in(0.015, 0.05))
}

// editOpening makes the work face's opening out of the target's.
func editOpening(rng dice, o []geom.PointMM, how string) []geom.PointMM {
	d := make([]float64, len(o))
	var shift geom.PointMM
	all := func(mm float64) {
		for i := range d {
			d[i] += mm
		}
	}
	add := func(w []float64) {
		for i := range d {
			d[i] += w[i]
		}
	}
	switch how {
	case "short":
		all(rng.in(-1.4, -0.35))
		add(wobble(len(o), rng.in(0.03, 0.15), 2, 6, rng.Rand))
	case "shifted":
		shift = polar(rng.in(0.35, 1.0), rng.in(0, 2*math.Pi))
		add(wobble(len(o), rng.in(0.03, 0.1), 2, 6, rng.Rand))
	case "spot": // one high spot, small enough to be overlooked
		all(rng.in(0, 0.1))
		bump(d, o, rng.Float64(), rng.in(6, 12), -rng.in(0.45, 0.8))
	case "past":
		all(rng.in(-0.1, 0.05))
		bump(d, o, rng.Float64(), rng.in(10, 25), rng.in(0.4, 0.9))
		bump(d, o, rng.Float64(), rng.in(10, 25), -rng.in(0.4, 0.9))
	case "opened":
		all(rng.in(0.3, 0.7))
		add(wobble(len(o), 0.08, 2, 6, rng.Rand))
	default: // matched
		shift = polar(rng.in(0, 0.06), rng.in(0, 2*math.Pi))
		all(rng.in(-0.05, 0.05))
		add(wobble(len(o), rng.in(0.02, 0.07), 2, 8, rng.Rand))
	}
	q := offset(o, func(i int) float64 { return d[i] })
	for i := range q {
		q[i] = q[i].Add(shift)
	}
	return resample(q, outlineStepMM)
}

func mixedEdits(rng dice) func(int, []geom.PointMM) []geom.PointMM {
	return func(_ int, o []geom.PointMM) []geom.PointMM {
		return editOpening(rng, o, pick(rng, "short", "short", "shifted", "spot", "past", "opened", "matched"))
	}
}

// pair makes a gasket and a manifold face of one pattern.
func pair(rng dice, wish patternWish, mt, mw mix, mirrored bool) *Case {
	p := newPattern(rng, wish)
	k := &Case{Target: gasketScene(mt, p, mirrored), Work: faceScene(mw, p, mixedEdits(rng))}
	k.told()
	return k
}

func (k *Case) told() {
	k.TargetHeightMM, k.WorkHeightMM = k.Target.HeightMM, k.Work.HeightMM
}
