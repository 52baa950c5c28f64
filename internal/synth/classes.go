package synth

import (
	"math"

	"portmatch/internal/geom"
	"portmatch/internal/scalecard"
)

// Classes lists the kinds of difficulty, workable ones first.
func Classes() []Class {
	return []Class{
		{"plain", true, "gasket on a bench, face level with its strips", plain},
		{"matched", true, "a face ground to within tolerance", matched},
		{"flipped", true, "gasket lying the other side up", flipped},
		{"turned", true, "any rotation, tilt 10 to 15°", turned},
		{"orientation", true, "every EXIF orientation", orientation},
		{"drop", true, "strips 1 to 9 mm below the face", drop},
		{"thick", true, "gasket 2 to 3 mm thick", thick},
		{"samewall", true, "thick gasket, cut wall of the colour of its top", sameWall},
		{"bead", true, "raised fire ring or bead line round the openings", bead},
		{"dye", true, "blue dye, felt-pen lines, the gasket's outline scribed bright", dye},
		{"glare", true, "highlights across edges", glare},
		{"faint", true, "openings hardly darker or lighter than the face", faint},
		{"lighter", true, "white bench seen through a dark part", lighter},
		{"rims", true, "rounded or chamfered edges, 0.1 to 0.5 mm", rims},
		{"iron", true, "oxide-brown cast iron", iron},
		{"shadow", true, "shadows across openings", shadow},
		{"wide", true, "wide lens: 24 mm, k1 = -0.05", wide},
		{"tele", true, "long lens, 50 to 80 mm", tele},
		{"small", true, "3 MP pictures", small},
		{"scan", true, "flat-bed scan of the gasket, 150 to 600 dpi, without a strip", scan},
		{"scanstrip", true, "flat-bed scan with a strip that contradicts the declared resolution", scanStrip},
		{"symmetric", true, "holes fit two ways, openings settle it", symmetric},
		{"nodowels", true, "bolt holes only", noDowels},
		{"manystrips", true, "three or four strips", manyStrips},
		{"onestrip", true, "one strip, or two end to end on one side", oneStrip},
		{"tone", true, "strongly S-shaped tone curve", tone},
		{"slack", true, "paper curled by up to 0.15 mm, heights told to 0.05 mm", slack},
		{"printed97", true, "card printed at 97 %, told by --printed-x/-y", printed97},
		{"untold97", true, "card printed at 97 % in both pictures, not told", untold97},
		{"mixed", true, "several of these at once", several},

		{"lifted", false, "one end of a strip stands 3 to 6 mm high", lifted},
		{"curled", false, "a strip's middle stands 2 to 5 mm high", curled},
		{"blurred", false, "out of focus by 3 to 7 px", blurred},
		{"tiny", false, "a picture of 0.1 to 0.4 MP", tiny},
		{"dark", false, "underexposed twenty times and more", dark},
		{"burnt", false, "overexposed: edges burnt out", burnt},
		{"mirrored", false, "mirrored pixels", mirrored},
		{"twoscales", false, "strips of two print scales in one picture", twoScales},
		{"covered", false, "a finger or a rag over an edge", covered},
		{"cut", false, "an opening cut by the frame", cut},
		{"wrongheight", false, "height told 5 to 9 mm wrong", wrongHeight},
		{"stretched", false, "picture stretched by 1.5 to 4 % one way", stretched},
		{"ambiguous", false, "holes and openings fit more than one way", ambiguous},
		{"otherpart", false, "two parts that don't belong together", otherPart},
	}
}

func plain(rng dice) *Case { return pair(rng, patternWish{}, easy(rng), easy(rng), false) }

func matched(rng dice) *Case {
	p := newPattern(rng, patternWish{})
	k := &Case{Target: gasketScene(easy(rng), p, false), Work: faceScene(easy(rng), p, func(_ int, o []geom.PointMM) []geom.PointMM {
		return editOpening(rng, o, "matched")
	})}
	k.told()
	return k
}

func flipped(rng dice) *Case { return pair(rng, patternWish{}, easy(rng), easy(rng), true) }

func turned(rng dice) *Case {
	m := easy(rng)
	m.tilt, m.anyRoll = [2]float64{10, 15}, true
	return pair(rng, patternWish{}, m, m, rng.chance(0.3))
}

func orientation(rng dice) *Case {
	a, b := easy(rng), easy(rng)
	a.orient, b.orient = 1+rng.IntN(8), 1+rng.IntN(8)
	return pair(rng, patternWish{maxMM: 330}, a, b, false)
}

func drop(rng dice) *Case { return dropBy(rng, 1, 9) }

// dropBy draws a work face that stands leastMM to mostMM above its strips.
func dropBy(rng dice, leastMM, mostMM float64) *Case {
	k := pair(rng, patternWish{}, easy(rng), easy(rng), false)
	k.Work.HeightMM = round(rng.in(leastMM, mostMM), 1)
	k.Work.BenchMM = k.Work.HeightMM + 0.2
	k.Work.shoot(easy(rng))
	k.told()
	return k
}

func thick(rng dice) *Case {
	m := easy(rng)
	m.tilt = [2]float64{4, 13}
	k := pair(rng, patternWish{}, m, easy(rng), false)
	k.Target.setThickness(rng, m, rng.in(2, 3))
	k.told()
	return k
}

func (s *Scene) setThickness(rng dice, m mix, mm float64) {
	s.HeightMM = round(mm, 1)
	s.BenchMM = s.HeightMM + 0.1
	s.shoot(m)
}

func sameWall(rng dice) *Case {
	m := easy(rng)
	m.tilt = [2]float64{4, 13}
	k := pair(rng, patternWish{}, m, easy(rng), false)
	k.Target.setThickness(rng, m, rng.in(1, 3))
	k.told()
	s := k.Target
	// Standing wall and lying top get different light; the albedo makes up for it on average.
	s.Part.WallAlbedo = s.Part.Surface.Albedo.scaled(rng.in(1.3, 2.0))
	return k
}

func bead(rng dice) *Case {
	k := pair(rng, patternWish{}, easy(rng), easy(rng), false)
	k.Target.Part.Surface.Bead = anyBead(rng)
	return k
}

func anyBead(rng dice) *Bead {
	b := &Bead{WidthMM: rng.in(1, 2), HeightMM: rng.in(0.1, 0.3), Albedo: pick(rng, RGB{.45, .05, .03}, RGB{.5, .5, .52}, RGB{.55, .35, .2}, RGB{.1, .1, .1})}
	b.DistanceMM = b.WidthMM / 2
	if rng.chance(0.6) {
		b.DistanceMM = rng.in(2, 3.5)
	}
	return b
}

func dye(rng dice) *Case {
	p := newPattern(rng, patternWish{})
	k := &Case{Target: gasketScene(easy(rng), p, false), Work: faceScene(easy(rng), p, mixedEdits(rng))}
	k.told()
	s := &k.Work.Part.Surface
	s.dyeAndScribe(rng, p)
	lo, hi := extent(p.outline)
	for range 3 + rng.IntN(5) {
		a := geom.PointMM{X: rng.in(lo.X, hi.X), Y: rng.in(lo.Y, hi.Y)}
		l := Line{WidthMM: rng.in(0.6, 1.5), Albedo: pick(rng, RGB{.02, .02, .02}, RGB{.3, .02, .02}, RGB{.02, .04, .2}), Opacity: rng.in(0.6, 0.95)}
		if rng.chance(0.5) {
			l.WidthMM, l.Albedo = rng.in(0.05, 0.15), grey(rng.in(0.5, 0.9))
		}
		dir, bend := rng.in(0, 2*math.Pi), rng.in(-0.02, 0.02)
		for range 12 {
			l.Points = append(l.Points, a)
			a = a.Add(polar(rng.in(2, 8), dir))
			dir += bend * 4
		}
		s.Lines = append(s.Lines, l)
	}
	return k
}

func glare(rng dice) *Case {
	k := pair(rng, patternWish{}, easy(rng), easy(rng), false)
	for _, s := range []*Scene{k.Target, k.Work} {
		s.glare(rng)
	}
	return k
}

func (s *Scene) glare(rng dice) {
	if s.Part.Gasket {
		s.Part.Surface.Gloss = rng.in(0.1, 0.5)
	}
	for _, p := range s.Part.Ports {
		if rng.chance(0.6) {
			s.Light.Glare = append(s.Light.Glare, Glare{At: p.Outline[rng.IntN(len(p.Outline))], TurnDeg: rng.in(0, 180),
				WidthMM: rng.in(8, 25), LengthMM: rng.in(20, 100), Strength: rng.in(0.15, 0.5)})
		}
	}
}

func faint(rng dice) *Case {
	k := pair(rng, patternWish{}, easy(rng), easy(rng), false)
	if rng.chance(0.5) {
		// The bench has nearly the gasket's brightness.
		s := k.Target
		ratio := rng.in(1.25, 1.6)
		if rng.chance(0.5) {
			ratio = 1 / ratio
		}
		s.Bench = Bench{Kind: pick(rng, "plain", "cardboard"), Albedo: s.Part.Surface.Albedo.scaled(ratio)}
		s.Part.Surface.Contrast = rng.in(0.03, 0.08)
		return k
	}
	// Lit tunnel walls that look like the face.
	s := k.Work
	s.Part.WallAlbedo = s.Part.Surface.Albedo.scaled(rng.in(1.2, 2))
	s.Light.ElevationDeg = rng.in(50, 75)
	return k
}

func lighter(rng dice) *Case {
	k := pair(rng, patternWish{}, easy(rng), easy(rng), false)
	v := rng.in(0.04, 0.1)
	k.Target.Part.Surface.Albedo = grey(v)
	k.Target.Part.WallAlbedo = grey(v * 0.8)
	k.Target.Bench = Bench{Kind: "plain", Albedo: grey(rng.in(0.55, 0.8))}
	return k
}

// dyeAndScribe dyes the face round the openings, and scribes the gasket's round most of them.
func (s *Surface) dyeAndScribe(rng dice, p *pattern) {
	s.Dye, s.DyeMM = true, rng.in(5, 14)
	for _, o := range p.ports {
		if rng.chance(0.8) {
			s.Lines = append(s.Lines, Line{Points: o, Closed: true, WidthMM: rng.in(0.08, 0.25), Albedo: grey(rng.in(0.6, 0.9)), Opacity: rng.in(0.6, 1)})
		}
	}
}

func rims(rng dice) *Case {
	mt, mw := easy(rng), easy(rng)
	p := newPattern(rng, patternWish{})
	k := &Case{Target: gasketScene(mt, p, false), Work: faceScene(mw, p, mixedEdits(rng))}
	k.told()
	k.Work.Part.breakEdges(rng)
	if rng.chance(0.3) {
		k.Work.Part.Surface.dyeAndScribe(rng, p)
	}
	return k
}

// breakEdges chamfers or rounds the openings' edges, all alike.
func (p *Part) breakEdges(rng dice) {
	rounded := rng.chance(0.5)
	size := rng.in(0.1, 0.5)
	for i := range p.Ports {
		p.Ports[i].BreakMM, p.Ports[i].Rounded = size, rounded
	}
	p.Surface.RimGlint = rng.in(0.1, 1.2)
	p.Surface.RimMetal = rng.in(0.3, 1)
	p.Surface.RimGlint *= rng.in(1, 6)
}

func iron(rng dice) *Case {
	k := pair(rng, patternWish{}, easy(rng), easy(rng), false)
	k.Work.Part.rust(rng)
	return k
}

func (p *Part) rust(rng dice) {
	s := &p.Surface
	v := rng.in(0.7, 1.6)
	s.Kind, s.Albedo, s.Contrast, s.RustAmt, s.Gloss = "iron", RGB{.20, .165, .13}.scaled(v), rng.in(0.15, 0.3), rng.in(0.2, 0.9), 0.3
	p.WallAlbedo = RGB{.1, .07, .05}
}

func shadow(rng dice) *Case {
	k := pair(rng, patternWish{}, easy(rng), easy(rng), false)
	for _, s := range []*Scene{k.Target, k.Work} {
		s.shade(rng)
	}
	return k
}

func (s *Scene) shade(rng dice) {
	for range 1 + rng.IntN(3) {
		p := s.Part.Ports[rng.IntN(len(s.Part.Ports))]
		s.Light.Bars = append(s.Light.Bars, Bar{At: p.Outline[rng.IntN(len(p.Outline))], TurnDeg: rng.in(0, 180), WidthMM: rng.in(6, 40),
			SoftMM: rng.in(0.5, 5), Depth: rng.in(0.35, 0.7)})
	}
}

// several draws what a photo from a shop has: no class of its own, but two or three difficulties that happen to meet.
func several(rng dice) *Case {
	shot := func() mix {
		m := easy(rng)
		m.strips = pick(rng, 2, 2, 3, 4)
		m.tilt, m.anyRoll = [2]float64{0, 15}, rng.chance(0.3)
		m.focal35 = pick(rng, 0.0, 0, 24, 35, 50, 70)
		if rng.chance(0.3) {
			m.orient = 1 + rng.IntN(8)
		}
		return m
	}
	mt, mw := shot(), shot()
	p := newPattern(rng, patternWish{noDowels: rng.chance(0.3)})
	k := &Case{Target: gasketScene(mt, p, rng.chance(0.4)), Work: faceScene(mw, p, mixedEdits(rng))}
	if rng.chance(0.4) {
		k.Target.setThickness(rng, mt, rng.in(0.5, 3))
	}
	if rng.chance(0.3) {
		k.Target.Part.Surface.Bead = anyBead(rng)
	}
	switch {
	case rng.chance(0.25):
		k.Work.Part.rust(rng)
	case rng.chance(0.35):
		k.Work.Part.Surface.dyeAndScribe(rng, p)
	}
	if rng.chance(0.3) {
		k.Work.Part.breakEdges(rng)
	}
	if rng.chance(0.4) {
		k.Work.HeightMM = round(rng.in(0.5, 9), 1)
		k.Work.BenchMM = max(k.Work.BenchMM, k.Work.HeightMM+0.2)
		k.Work.shoot(mw)
	}
	for _, s := range []*Scene{k.Target, k.Work} {
		if rng.chance(0.2) {
			s.glare(rng)
		}
		if rng.chance(0.25) {
			s.shade(rng)
		}
	}
	k.told()
	return k
}

func wide(rng dice) *Case {
	m := easy(rng)
	m.focal35, m.k1 = 24, -0.05
	return pair(rng, patternWish{}, m, m, false)
}

func tele(rng dice) *Case {
	m := easy(rng)
	m.focal35 = rng.in(50, 80)
	return pair(rng, patternWish{}, m, m, false)
}

func small(rng dice) *Case {
	m := easy(rng)
	m.widePx = 2048
	return pair(rng, patternWish{}, m, m, false)
}

// intoScan replaces the camera by a flat-bed scanner that declares dpi and is off by errX, errY.
func (s *Scene) intoScan(rng dice, dpi, errX, errY float64) {
	s.DeclaredDPI, s.Focal35MM, s.Orientation, s.TiltDeg = dpi, 0, 0, 0
	s.HeightMM, s.BenchMM = 0, 30
	if len(s.Strips) > 0 {
		s.BenchMM = 3
	}
	// The lid, or a sheet of black paper under it where the part is light.
	s.Bench = Bench{Kind: "plain", Albedo: grey(0.85)}
	if s.Part.Surface.Albedo.grey() > 0.25 {
		s.Bench.Albedo = grey(0.04)
	}
	lo, hi := bounds(s.extent())
	sx, sy := dpi/25.4*(1+errX), dpi/25.4*(1+errY)
	w, h := int((hi.X-lo.X+16)*sx), int((hi.Y-lo.Y+16)*sy)
	t := rng.in(-3, 3) * math.Pi / 180
	c, sn := math.Cos(t), math.Sin(t)
	mid := geom.PointMM{X: (lo.X + hi.X) / 2, Y: (lo.Y + hi.Y) / 2}
	a := &scalecard.Affine{A: sx * c, B: -sx * sn, C: -sy * sn, D: -sy * c}
	a.Tu = float64(w-1)/2 - a.A*mid.X - a.B*mid.Y
	a.Tv = float64(h-1)/2 - a.C*mid.X - a.D*mid.Y
	s.Camera = scalecard.Camera{WidthPx: w, HeightPx: h, Scan: a}
	s.Light = Light{AzimuthDeg: 90, ElevationDeg: 45, Direct: 0.5, Softness: 0.4}
	s.Optics.BlurPx, s.Optics.CornerBlur, s.Optics.Vignette, s.Optics.FullWell = rng.in(0.6, 0.9), 1, 0, 20000
	s.Optics.Tone = Tone{Kind: pick(rng, "srgb", "gamma"), Gamma: 2.2}
	s.Optics.White = rng.in(0.75, 0.9)
}

func scan(rng dice) *Case {
	dpi, wish := pick(rng, 150.0, 200, 300, 300, 600), patternWish{maxMM: 290}
	if dpi == 600 {
		wish.maxMM = 150 // a scan of 13 megapixels
	}
	k := pair(rng, wish, easy(rng), easy(rng), rng.chance(0.5))
	k.Target.Strips = nil
	k.Target.intoScan(rng, dpi, 0, 0)
	k.told()
	k.TargetDPI = dpi
	return k
}

func scanStrip(rng dice) *Case {
	m := easy(rng)
	m.strips = 1
	k := pair(rng, patternWish{maxMM: 250}, m, easy(rng), rng.chance(0.5))
	dpi := pick(rng, 150.0, 200, 300)
	k.Target.intoScan(rng, dpi, rng.in(-0.01, 0.01), rng.in(-0.01, 0.01))
	k.told()
	k.TargetDPI = dpi
	return k
}

func symmetric(rng dice) *Case {
	return pair(rng, patternWish{symmetric: true, ports: pick(rng, 2, 3, 4)}, easy(rng), easy(rng), rng.chance(0.3))
}

func ambiguous(rng dice) *Case {
	return pair(rng, patternWish{symmetric: true, alike: true, ports: pick(rng, 2, 3, 4)}, easy(rng), easy(rng), rng.chance(0.3))
}

func noDowels(rng dice) *Case {
	return pair(rng, patternWish{noDowels: true}, easy(rng), easy(rng), false)
}

func manyStrips(rng dice) *Case {
	m := easy(rng)
	m.strips = 3 + rng.IntN(2)
	return pair(rng, patternWish{}, m, m, false)
}

func oneStrip(rng dice) *Case {
	m := easy(rng)
	m.strips, m.badStrips = 1+rng.IntN(2), true
	return pair(rng, patternWish{maxMM: 300}, m, m, false)
}

func tone(rng dice) *Case {
	m := easy(rng)
	m.tone = "s"
	return pair(rng, patternWish{}, m, m, false)
}

func slack(rng dice) *Case {
	k := plain(rng)
	for _, s := range []*Scene{k.Target, k.Work} {
		for i := range s.Strips {
			s.Strips[i].CurlMM = rng.in(-0.15, 0.15)
		}
	}
	k.TargetHeightMM = round(k.TargetHeightMM+rng.in(-0.05, 0.05), 2)
	return k
}

// printAt lets the printer make the strips' mm that long.
func (s *Scene) printAt(along, across float64) {
	for i := range s.Strips {
		s.Strips[i].Scale = [2]float64{along, across}
	}
}

// Nominal lengths of the check lines on a page of the card, mm: along the strips, and down the page.
const (
	checkLineXMM = 150.0
	checkLineYMM = 150.0
)

func printed97(rng dice) *Case {
	k := pair(rng, patternWish{}, easy(rng), easy(rng), false)
	x, y := 0.97+rng.in(-0.004, 0.004), 0.97+rng.in(-0.004, 0.004)
	k.Target.printAt(x, y)
	k.Work.printAt(x, y)
	k.PrintedXMM, k.PrintedYMM = round(checkLineXMM*x, 2), round(checkLineYMM*y, 2)
	return k
}

func untold97(rng dice) *Case {
	k := pair(rng, patternWish{}, easy(rng), easy(rng), false)
	k.Target.printAt(0.97, 0.97)
	k.Work.printAt(0.97, 0.97)
	k.TruthScale = 1 / 0.97
	return k
}

// eitherOf returns one of the two pictures, to be spoilt.
func (k *Case) eitherOf(rng dice) *Scene { return pick(rng, k.Target, k.Work) }

func lifted(rng dice) *Case {
	k := plain(rng)
	s := k.eitherOf(rng)
	s.Strips[rng.IntN(len(s.Strips))].LiftMM = rng.in(3, 6)
	return k
}

func curled(rng dice) *Case {
	k := plain(rng)
	s := k.eitherOf(rng)
	s.Strips[rng.IntN(len(s.Strips))].CurlMM = rng.in(2, 5)
	return k
}

func blurred(rng dice) *Case {
	k := plain(rng)
	k.eitherOf(rng).Optics.BlurPx = rng.in(3, 7)
	return k
}

func tiny(rng dice) *Case {
	m, t := easy(rng), easy(rng)
	t.widePx = pick(rng, 400, 480, 640, 720)
	if rng.chance(0.5) {
		m, t = t, m
	}
	return pair(rng, patternWish{}, m, t, false)
}

func dark(rng dice) *Case {
	k := plain(rng)
	o := &k.eitherOf(rng).Optics
	gain := rng.in(20, 60)
	o.White /= gain
	o.ReadNoise *= 2
	return k
}

func burnt(rng dice) *Case {
	k := plain(rng)
	s := k.eitherOf(rng)
	s.Optics.White *= rng.in(2.5, 5)
	s.Optics.Tone.Knee = 0
	return k
}

func covered(rng dice) *Case {
	k := plain(rng)
	s := k.eitherOf(rng)
	p := s.Part.Ports[rng.IntN(len(s.Part.Ports))]
	at := p.Outline[rng.IntN(len(p.Outline))]
	c := Cover{AboveMM: rng.in(0.5, 8), Albedo: RGB{.48, .30, .22}}
	if rng.chance(0.5) {
		// A finger that comes in from outside.
		out := at.Sub(centroidOf(p.Outline))
		out = out.Scale(1 / out.Norm())
		r := rng.in(7, 10)
		l := 90.0
		n := geom.PointMM{X: -out.Y, Y: out.X}
		turn := math.Atan2(out.Y, out.X)
		var o []geom.PointMM
		o = arc(o, at.Sub(out.Scale(rng.in(-2, 4))), r, turn+math.Pi/2, turn+1.5*math.Pi)
		o = append(o, at.Add(out.Scale(l)).Sub(n.Scale(r+2)), at.Add(out.Scale(l)).Add(n.Scale(r+2)))
		c.Outline = resample(o, 0.5)
	} else {
		c.Albedo = pick(rng, RGB{.5, .1, .08}, RGB{.6, .6, .55}, RGB{.12, .18, .3})
		o := Irregular(rng.in(14, 40), rng.in(14, 40), 0.25, rng.Rand)
		c.Outline = mapped(o, geom.Rigid{A: 1, D: 1, Tx: at.X, Ty: at.Y})
	}
	s.Covers = []Cover{c}
	for _, q := range s.Part.Ports {
		for _, v := range q.Outline {
			if inside(v, c.Outline) {
				k.Touched = append(k.Touched, q.ID)
				break
			}
		}
	}
	return k
}

func cut(rng dice) *Case {
	k := pair(rng, patternWish{ports: pick(rng, 3, 4, 5), minMM: 300}, easy(rng), easy(rng), false)
	s := k.eitherOf(rng)
	lo, hi := extent(s.Part.Outline)
	// Strips stand in the middle, the camera looks past one end of the part.
	for i := range s.Strips {
		s.Strips[i].Origin.X = (lo.X+hi.X)/2 - stripLengthMM/2 + rng.in(-5, 5)
	}
	s.Strips = s.Strips[:min(2, len(s.Strips))]
	right := rng.chance(0.5)
	end := s.Part.Ports[0]
	for _, p := range s.Part.Ports {
		if (centroidOf(p.Outline).X > centroidOf(end.Outline).X) == right {
			end = p
		}
	}
	a, b := extent(end.Outline)
	at := rng.in(a.X+0.2*(b.X-a.X), a.X+0.8*(b.X-a.X))
	var keep []point3
	for _, p := range s.extent() {
		if p.Z != 0 || (p.X < at) == right || s.HeightMM == 0 && p.Y > hi.Y || s.HeightMM == 0 && p.Y < lo.Y {
			keep = append(keep, p)
		}
	}
	keep = append(keep, point3{at, 0, 0})
	roll := 0.0
	Frame(&s.Camera, keep, s.TiltDeg, rng.in(0, 360), roll, 0)
	k.Touched = append(k.Touched, end.ID)
	return k
}

func wrongHeight(rng dice) *Case {
	k := dropBy(rng, 5, 9)
	if rng.chance(0.5) {
		k.WorkHeightMM = 0
	} else {
		k.WorkHeightMM = round(k.WorkHeightMM*2, 1)
	}
	k.Note = "height told wrong"
	return k
}

func otherPart(rng dice) *Case {
	k := plain(rng)
	other := plain(rng)
	k.Work = other.Work
	k.told()
	k.Unrelated = true
	return k
}
