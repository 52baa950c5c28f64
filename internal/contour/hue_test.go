package contour

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"portmatch/internal/geom"
)

// hueBand is a band whose samples light and hue say, at s = -5 to 5 mm, with some grain.
func hueBand(at func(rng *rand.Rand, s float64) (light, a float64)) *band {
	rng := rand.New(rand.NewPCG(4, 1))
	const rows, spacing, chromaNoise = 120, 0.3, 2.0 // the noise in grey levels
	b := &band{base: make([]geom.PointMM, rows), spacing: spacing, s0: -5, ds: 0.05, n: 201, pxMM: 0.1}
	for range rows {
		for j := range b.n {
			light, a := at(rng, b.s0+float64(j)*b.ds)
			b.rows = append(b.rows, float32(light))
			noise := 0.0 // even black is stored without any
			if light > 0 {
				noise = chromaNoise / (greyLevel(light) + hueFloor)
			}
			b.hue = append(b.hue, float32(a+noise*rng.NormFloat64()), float32(noise*rng.NormFloat64()))
		}
	}
	b.chromaNoise = b.measureChromaNoise()
	return b
}

// Layout dye over bare metal is dark and coloured or bright and grey. What is dark and grey, a tunnel's lit wall, is neither.
func TestHueOfAPatchyFace(t *testing.T) {
	const dyed, bare = 0.1, 0.4 // linear light
	b := hueBand(func(rng *rand.Rand, s float64) (float64, float64) {
		f := rng.Float64() // of the way from dye to bare metal
		switch {
		case s > 0 && s < 1:
			return dyed, 0 // the wall
		case f < 0.4:
			return dyed, 0.35
		case f < 0.6:
			return dyed + (bare-dyed)*rng.Float64(), 0.35 * rng.Float64()
		}
		return bare, 0
	})
	h := hueLevels(b, -5, -0.5, 1.8, 0.008, true)
	mean := func(lo, hi, dim, lit float64) float64 {
		var sum, n float64
		for j := int(b.index(lo)); j < int(b.index(hi)); j++ {
			if y := float64(b.row(60)[j]); y >= dim && y <= lit {
				sum, n = sum+h.unlike(b, 60, j), n+1
			}
		}
		return sum / n
	}
	if dye, metal := mean(-5, -0.5, 0, 1.2*dyed), mean(-5, -0.5, 0.9*bare, 1); dye > 4 || metal > 4 {
		t.Errorf("dye is %.1f from the face's hue, bare metal %.1f, in standard deviations squared; want under 4", dye, metal)
	}
	if wall := mean(0.1, 0.9, 0, 1); wall < 9 {
		t.Errorf("a grey wall as dark as the dye is %.1f from its hue, in standard deviations squared; want over 9", wall)
	}
}

// In a tunnel even black has no hue, and dim noise any: it is as likely what lies behind an edge as the black further in.
func TestHueInTheDark(t *testing.T) {
	b := hueBand(func(_ *rand.Rand, s float64) (float64, float64) {
		switch {
		case s < 0:
			return 0.3, 0
		case s < 2:
			return 0.003, 0
		}
		return 0, 0
	})
	h := hueLevels(b, 2.5, 5, 1.8, 0.008, true)
	var sum, n float64
	for j := int(b.index(0)); j < int(b.index(1.5)); j++ {
		sum, n = sum+h.unlike(b, 60, j), n+1
	}
	if sum/n > 20 { // taken for certain, the noise makes it 170
		t.Errorf("dim noise is %.1f from the hue of black, in standard deviations squared; want under 20", sum/n)
	}
}

// Dye ends 0.4 mm outside an edge in the first half of the rows, and at it in the second.
func TestBareBandBesideTheEdge(t *testing.T) {
	const bandMM = 0.4
	row := -1
	last := math.Inf(1)
	b := hueBand(func(_ *rand.Rand, s float64) (float64, float64) {
		if s < last {
			row++
		}
		last = s
		switch {
		case s > 0:
			return 0.01, 0
		case row < 60 && s > -bandMM:
			return 0.4, 0
		}
		return 0.15, 0.35
	})
	r := &edgeReading{raw: make([]float64, len(b.base)), pxMM: b.pxMM}
	r.bare(b)
	if got := r.bareMM[30]; math.Abs(got-bandMM) > 0.1 {
		t.Errorf("a bare band of %.1f mm measures %.2f mm", bandMM, got)
	}
	if got := r.bareMM[90]; got > 0 {
		t.Errorf("where there is none a bare band of %.2f mm is found", got)
	}
	// Were the colour rust, the band would be a lit wall.
	r.outline, r.sure = circleOf(20, len(b.base)), slices.Repeat([]bool{true}, len(b.base))
	r.unlessRusty()
	if r.sure[30] || !r.sure[90] {
		t.Errorf("beside a rusty face the edge before the band is sure: %v, and where there is none: %v", r.sure[30], r.sure[90])
	}
}

// The colour of a dyed face runs over into the dark all round, and so does what regions make of it: 0.2 mm here, which is two pixels. That is no
// reason to doubt the edge; a place 0.6 mm off is, and into a lit wall no colour runs.
func TestColourThatRunsOver(t *testing.T) {
	const r, runsMM = 20.0, 0.2
	regions := geom.NewIndex(geom.Outline(circleOf(r-runsMM, 400)))
	for _, bleed := range []float64{0, bleedPx} {
		e := &edgeReading{outline: circleOf(r, 400), sure: make([]bool, 400), onFace: make([]float64, 400), behind: make([]float64, 400), pxMM: 0.1}
		for i := range e.sure {
			e.sure[i], e.onFace[i], e.behind[i] = true, 0.2, 0.01
			if i >= 300 {
				e.behind[i] = 0.1
			}
		}
		e.outline[100] = e.outline[100].Scale((r + 0.6) / r)
		e.compare(regions, 0.1, 0, bleed)
		if apart := e.apartMM[10]; (apart > 0.05) != (bleed == 0) {
			t.Errorf("with %.0f px allowed for colour, the edge is in doubt by %.2f mm", bleed, apart)
		}
		if apart := e.apartMM[350]; apart < 0.05 {
			t.Errorf("with %.0f px allowed for colour, the edge before a lit wall is in doubt by %.2f mm only", bleed, apart)
		}
		if e.sure[100] {
			t.Errorf("with %.0f px allowed for colour, a place 0.8 mm from what regions say is sure", bleed)
		}
	}
}

// Regions end a face before a rim or behind it: that is no reason to doubt an edge whose rim is known. To end outside it is.
func TestRegionsMayEndBehindARim(t *testing.T) {
	const r, rimMM, usualMM = 20.0, 0.25, 0.1
	apart := func(regionsAt, insideMM float64) float64 {
		e := &edgeReading{outline: circleOf(r, 400), sure: make([]bool, 400), onFace: make([]float64, 400), behind: make([]float64, 400), pxMM: 0.1}
		e.compare(geom.NewIndex(geom.Outline(circleOf(regionsAt, 400))), usualMM, insideMM, 0)
		return e.apartMM[10]
	}
	if d := apart(r-rimMM-0.05, rimMM); d > 0.01 {
		t.Errorf("regions that end behind a rim of %.2f mm put the edge in doubt by %.2f mm", rimMM, d)
	}
	if sharp, outside := apart(r-rimMM-0.05, 0), apart(r+rimMM+0.05, rimMM); sharp < 0.15 || outside < 0.15 {
		t.Errorf("regions 0.3 mm inside a sharp edge put it in doubt by %.2f mm, 0.3 mm outside a rimmed one by %.2f mm; want 0.2", sharp, outside)
	}
}

// A gasket, its shadow on the bench, as dark as itself, 0.4 mm wide, and the lit bench: brightness changes at the shadow's rim alone, hue at the edge. A bench that
// has burnt out has another hue in the shade, and says nothing.
func TestHueOfAShadowedBench(t *testing.T) {
	const edgeMM, shadowMM, blurMM, dark, gasketHue, benchHue = 0.1, 0.4, 0.1, 0.1, 0.3, -0.2
	scan := func(at func(s float64) (light, a float64)) ([]float64, *band) {
		b := hueBand(func(_ *rand.Rand, s float64) (light, a float64) { return at(s) })
		b.lean = make([]float64, len(b.base))
		e := &edgeScan{lo: -0.6, step: 0.025, k: 49, fits: make([]profileFit, len(b.base))}
		for i := range e.fits {
			e.fits[i] = profileFit{sse: slices.Repeat([]float64{1}, e.k), samples: 40, level: slices.Repeat([]float64{dark}, e.k), first: make([]float64, e.k)}
		}
		face, behind := b.hues(-2.2, -0.5, 1.3, 0.006, nil, false), b.hues(benchFromMM, 3, 1.3, 0.006, nil, false)
		edgeModel{sigmaMM: blurMM, wallMM: 1}.rightEdge(b, e, 1e-4, face, behind)
		return e.hueMM, b
	}
	shadowed := func(bench, lit float64) func(s float64) (light, a float64) {
		return func(s float64) (light, a float64) {
			switch {
			case s < edgeMM:
				return dark, gasketHue
			case s < edgeMM+shadowMM:
				return dark, benchHue
			}
			return bench, lit
		}
	}
	at, b := scan(shadowed(0.4, benchHue))
	if got := quantile(at, 0.5); !(math.Abs(got-edgeMM) < 0.5*b.pxMM) {
		t.Errorf("hue has the edge at %.3f mm, it is at %.1f", got, edgeMM)
	}
	// Of what the lens blends at the edge of a lit bench, most is the bench's, and so is the hue.
	at, b = scan(func(s float64) (light, a float64) {
		const bench = 0.6
		beyond := phi((s - edgeMM) / blurMM)
		light = dark*(1-beyond) + bench*beyond
		return light, gasketHue + (benchHue-gasketHue)*bench*beyond/light
	})
	if got := quantile(at, 0.5); !(math.Abs(got-edgeMM) < 0.3*b.pxMM) {
		t.Errorf("hue has the edge of a lit bench at %.3f mm, it is at %.1f", got, edgeMM)
	}
	if at, _ := scan(shadowed(0.9, 0)); slices.ContainsFunc(at, func(mm float64) bool { return mm == mm }) {
		t.Error("a burnt out bench's hue was believed")
	}
}

// Grain leaves the hue of a dark place as it is: where one pixel in four is bright and the rest are black, it is that of as much even light.
func TestGrainLeavesTheHue(t *testing.T) {
	const perMM = 5
	v := colours(t, func(p geom.PointMM) [3]float64 {
		light := 0.3
		if i, j := int(math.Round(perMM*(p.X+100))), int(math.Round(perMM*(p.Y+100))); p.X < 0 && i%2+j%2 == 0 {
			light *= 4
		} else if p.X < 0 {
			light = 0
		}
		return [3]float64{180 * light, 60 * light, 60 * light}
	})
	const avgMM = 6.0
	b := v.s.unroll(circleOf(10, 200), -0.5, 0.5, 0.1, avgMM, true)
	var red, n [2]float64 // grainy, even
	for i, p := range b.base {
		if math.Abs(p.X) < avgMM {
			continue
		}
		side := 0
		if p.X > 0 {
			side = 1
		}
		for j := range b.n {
			red[side], n[side] = red[side]+float64(b.hue[2*(i*b.n+j)+1]), n[side]+1
		}
	}
	if grainy, even := red[0]/n[0], red[1]/n[1]; math.Abs(grainy/even-1) > 0.2 {
		t.Errorf("red over brightness is %.3f where there is grain and %.3f where there is none, of the same stuff in as much light", grainy, even)
	}
}

// A contact shadow as dark as the part is taken for it by brightness; the hue, on average along the edge, tells by how much, as well as it is coded, unless what is
// behind the edge is plainly brighter, or a wall.
func TestHueOutsideADarkShadow(t *testing.T) {
	const n, px, outMM = 100, 0.1, 0.1
	for _, c := range []struct {
		name         string
		hueMM, offMM float64
		behind, lean float64 // of the face's light; mm a mm
		wantMM       float64
	}{
		{"a dark shadow", -outMM, plainHuePx * px, 1, -0.2, -0.08},
		{"coarsely coded", -outMM, 3 * plainHuePx * px, 1, -0.2, -0.009},
		{"a bright bench", -outMM, plainHuePx * px, 5.5, -0.2, -0.008},
		{"the hue inside", outMM, plainHuePx * px, 1, -0.2, 0},
		{"a wall", -outMM, plainHuePx * px, 1, 0.3, 0},
		{"no hue", math.NaN(), plainHuePx * px, 1, -0.2, 0},
	} {
		b := &band{base: make([]geom.PointMM, n), lean: make([]float64, n), spacing: 0.3, pxMM: px}
		e := &edgeScan{hueMM: make([]float64, n), hueOffMM: make([]float64, n)}
		r := edgeReading{raw: make([]float64, n), behind: make([]float64, n), onFace: make([]float64, n)}
		for i := range n {
			b.lean[i], e.hueOffMM[i], r.behind[i], r.onFace[i] = c.lean, c.offMM, 0.1*c.behind, 0.1
			e.hueMM[i] = c.hueMM + 0.05*float64(i%2*2-1)
		}
		e.outward(edgeModel{wallMM: 1}, b, &r)
		for i, mm := range r.raw {
			if math.Abs(mm-c.wantMM) > 0.01 {
				t.Fatalf("%s: place %d moved by %.3f mm, want %.3f", c.name, i, mm, c.wantMM)
			}
		}
	}
}
