package contour

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"portmatch/internal/face"
	"portmatch/internal/geom"
	"portmatch/internal/photo"
	"portmatch/internal/scalecard"
)

// drawn is a face drawn without a camera: 10 px a mm, looked at straight down, so that all truth is closed form.
type drawn struct {
	light func(p geom.PointMM) float64 // linear light at a point of the face, before blur
	seed  uint64
}

const (
	drawnPx   = 10.0 // px a mm
	drawnHalf = 36.0 // mm from the middle to the picture's edge
)

// surface renders with four samples a pixel side, a binomial blur of one pixel and a little noise, sRGB-coded.
func (d drawn) surface(t *testing.T) *surface {
	t.Helper()
	n := int(2 * drawnHalf * drawnPx)
	lin := make([]float64, n*n)
	parallelRows(n, func(j int) {
		for i := range n {
			var v float64
			for k := range 16 {
				x, y := (float64(i)+(float64(k%4)+0.5)/4-0.5)/drawnPx-drawnHalf, drawnHalf-(float64(j)+(float64(k/4)+0.5)/4-0.5)/drawnPx
				v += d.light(geom.PointMM{X: x, Y: y}) / 16
			}
			lin[j*n+i] = v
		}
	})
	blur := func(in []float64, step, stride int) []float64 {
		out := make([]float64, len(in))
		for r := range n {
			for i := range n {
				at := func(k int) float64 { return in[r*stride+min(max(i+k, 0), n-1)*step] }
				out[r*stride+i*step] = (at(-2) + 4*at(-1) + 6*at(0) + 4*at(1) + at(2)) / 16
			}
		}
		return out
	}
	lin = blur(blur(lin, 1, n), n, 1)
	rng := rand.New(rand.NewPCG(d.seed, 1))
	p := &photo.Photo{Width: n, Height: n, Gray: make([]uint8, n*n)}
	for i, v := range lin {
		v = math.Max(0, v+0.006*rng.NormFloat64())
		g := 12.92 * v
		if v > 0.0031308 {
			g = 1.055*math.Pow(v, 1/2.4) - 0.055
		}
		p.Gray[i] = uint8(math.Min(255, 255*g+0.5))
	}
	sol := &scalecard.Solution{BlurPx: 1}
	for i := range sol.Tone.Linear {
		x := float64(i) / 255
		if x <= 0.04045 {
			sol.Tone.Linear[i] = float32(x / 12.92)
		} else {
			sol.Tone.Linear[i] = float32(math.Pow((x+0.055)/1.055, 2.4))
		}
	}
	sol.Camera.Scan = &scalecard.Affine{A: drawnPx, D: -drawnPx, Tu: drawnHalf * drawnPx, Tv: drawnHalf * drawnPx}
	return newSurface(p, sol, 0)
}

// measure runs the whole search from the coarse plan on and returns the reading of the one port there is.
func measure(t *testing.T, s *surface) edgeReading {
	t.Helper()
	pl := s.plan()
	pl.blur()
	open := sortOut(pl.candidates(func(geom.PointMM) bool { return false }))
	if len(open.ports) != 1 {
		t.Fatalf("%d ports found, one is drawn", len(open.ports))
	}
	m := edgeModel{sigmaMM: 1 / drawnPx}
	base := s.locate(open.ports[0].pts, m, reach{3, 3}, false)
	m = s.settle([][]geom.PointMM{base}, make([]float64, 1), m)
	return s.refine(base, m)
}

// milled is a bright face with milling marks a sixth of its brightness.
func milled(p geom.PointMM) float64 {
	return 0.5 * (1 + 0.08*math.Sin(2.1*p.X+0.3*math.Sin(p.Y/3)) + 0.05*math.Sin(5.3*p.X))
}

// Each edge is a circle of 20 mm radius with something that must be followed, or must not. Limits: 0.05 mm is half a pixel,
// the bar for outlines RMS; nothing may stand off by more than 0.15 mm. Truth is closed form.
func TestEdgeIsTheFacesEdge(t *testing.T) {
	const r = 20.0
	plain := func(float64) float64 { return r }
	dark := func(p geom.PointMM, edge func(angle float64) float64) bool {
		return p.Norm() < edge(math.Atan2(p.Y, p.X))
	}
	tunnel := func(p geom.PointMM) float64 { return 0.02 + 0.01*math.Max(0, p.X/r) }
	highSpot := func(a float64) float64 { // 8 mm wide, 0.5 mm high, at 40 degrees
		along := (a - 40*math.Pi/180) * r
		if math.Abs(along) < 4 {
			return r - 0.25*(1+math.Cos(along*math.Pi/4))
		}
		return r
	}
	band := func(p geom.PointMM, from, to float64) bool { return p.Norm() > from && p.Norm() < to }
	tests := []struct {
		name  string
		edge  func(angle float64) float64
		light func(p geom.PointMM) float64
	}{
		{"milling marks", plain, milled},
		{"high spot 8 mm wide and 0.5 mm high", highSpot, milled},
		{"line scribed 0.8 mm outside", plain, func(p geom.PointMM) float64 {
			if band(p, r+0.7, r+0.9) {
				return 0.9
			}
			return milled(p) * 0.5
		}},
		{"bead 1.5 mm wide, 2 mm outside", plain, func(p geom.PointMM) float64 {
			if band(p, r+2, r+3.5) {
				return 0.85
			}
			return 0.3
		}},
		{"dark milling mark 15 mm along the edge", plain, func(p geom.PointMM) float64 {
			along, out := math.Atan2(p.Y, p.X)*r/7.5, (p.Norm()-r)/0.8
			return 0.45 * (1 - 0.25*math.Exp(-along*along*along*along-out*out*out*out))
		}},
		{"glare across the edge", plain, func(p geom.PointMM) float64 {
			return milled(p)*0.7 + 0.35*math.Exp(-p.X*p.X/30)
		}},
	}
	for i, tt := range tests {
		s := drawn{light: func(p geom.PointMM) float64 {
			if dark(p, tt.edge) {
				return tunnel(p)
			}
			return tt.light(p)
		}, seed: uint64(i)}.surface(t)
		e := measure(t, s)
		var sum, worst float64
		for _, p := range e.outline {
			d := p.Norm() - tt.edge(math.Atan2(p.Y, p.X))
			sum += d * d
			worst = math.Max(worst, math.Abs(d))
		}
		if rms := math.Sqrt(sum / float64(len(e.outline))); rms > 0.05 || worst > 0.15 {
			t.Errorf("%s (seed %d): %.3f mm RMS, %.3f mm at worst; want 0.05, 0.15", tt.name, i, rms, worst)
		}
	}
}

// A rim is not taken for what lies behind the edge, nor a sharp edge for a rimmed one: the flat face ends at a rim's outer side.
func TestRimBelongsToTheEdge(t *testing.T) {
	const r, rim, dark = 20.0, 0.3, 0.02
	for _, tt := range []struct {
		name  string
		light func(p geom.PointMM, face float64) float64 // within r
	}{
		{"that catches the light", func(p geom.PointMM, face float64) float64 {
			if p.Norm() < r-rim {
				return dark
			}
			return 0.55 + 0.35*p.X/r // lit from one side
		}},
		{"as bright as the face, a little more to one side and less to the other", func(p geom.PointMM, face float64) float64 {
			if p.Norm() < r-rim {
				return dark
			}
			return face * (1 + 0.15*p.X/r)
		}},
		{"there is none, but a tunnel wall that is lit on one side", func(p geom.PointMM, face float64) float64 {
			return dark + 0.6*face*math.Max(0, p.X/r)*math.Exp((p.Norm()-r)/0.8)
		}},
		{"there is none", func(geom.PointMM, float64) float64 { return dark }},
	} {
		s := drawn{light: func(p geom.PointMM) float64 {
			face := milled(p) * 0.7
			if p.Norm() < r {
				return tt.light(p, face)
			}
			return face
		}, seed: 7}.surface(t)
		e := measure(t, s)
		var mean float64
		for _, p := range e.outline {
			mean += (p.Norm() - r) / float64(len(e.outline))
		}
		// A rim's inner side would read -0.3.
		if math.Abs(mean) > 0.06 {
			t.Errorf("a rim %s: the edge stands %+.3f mm off the flat face's end on average, want 0 within 0.06", tt.name, mean)
		}
	}
}

func TestClosedPathKeepsToTheCheapPlaces(t *testing.T) {
	const n, m = 60, 40
	cost := make([]float64, n*m)
	want := make([]int, n)
	for i := range n {
		want[i] = 20 + int(math.Round(8*math.Sin(2*math.Pi*float64(i)/n)))
		for j := range m {
			cost[i*m+j] = math.Abs(float64(j - want[i]))
		}
	}
	for i, j := range closedPath(cost, n, m, 0.01, 3) {
		if j != want[i] {
			t.Fatalf("row %d: column %d, want %d", i, j, want[i])
		}
	}
}

// A bump 8 mm wide and 0.5 mm high must come through the smoothing along the edge; single strays must not.
func TestSmoothingFollowsAHighSpot(t *testing.T) {
	const n, spacing = 400, 0.3
	rng := rand.New(rand.NewPCG(3, 1))
	raw, truth, sure := make([]float64, n), make([]float64, n), make([]bool, n)
	for i := range raw {
		if x := (float64(i) - 200) * spacing; math.Abs(x) < 4 {
			truth[i] = 0.25 * (1 + math.Cos(x*math.Pi/4))
		}
		raw[i], sure[i] = truth[i]+0.01*rng.NormFloat64(), true
		if i%37 == 0 {
			raw[i] += 0.4
		}
	}
	smooth, _ := robustAlong(raw, sure, spacing, smoothMM)
	for i := range smooth {
		if d := math.Abs(smooth[i] - truth[i]); d > 0.03 {
			t.Errorf("seed 3, place %d: %.3f mm off, want 0.03", i, d)
		}
	}
}

// A thin part's edge must not follow the grain behind it, 3 mm long and 0.15 mm deep, but a wave 12 mm long; a thick part's must follow
// the grinder's high spots.
func TestThinEdgesAreSmootherThanThickOnes(t *testing.T) {
	const n, spacing, px = 400, 0.3, 0.1
	thin, thick := edgeModel{wallMM: 1.2}, edgeModel{}
	for _, c := range []struct {
		name            string
		m               edgeModel
		wideMM, highMM  float64
		leastMM, mostMM float64 // of what remains
	}{
		{"grain behind a thin part", thin, 3, 0.15, 0, 0.06},
		{"a wave of a thin part", thin, 12, 0.5, 0.48, 0.52},
		{"a high spot of a thick part", thick, 4, 0.5, 0.4, 0.52},
	} {
		raw, sure := make([]float64, n), make([]bool, n)
		for i := range raw {
			sure[i] = true
			if x := math.Abs(float64(i)-200) * spacing; x < c.wideMM/2 {
				raw[i] = c.highMM / 2 * (1 + math.Cos(2*math.Pi*x/c.wideMM))
			}
		}
		smooth, _ := robustAlong(raw, sure, spacing, c.m.smoothing(px))
		if top := slices.Max(smooth); top < c.leastMM || top > c.mostMM {
			t.Errorf("%s, %.2f mm high: %.3f mm come through, want %.2f to %.2f", c.name, c.highMM, top, c.leastMM, c.mostMM)
		}
	}
}

// An edge broken by a slope 0.35 mm wide, as bright as the face at its top and as dark as the tunnel at its foot, is no rim that could be
// seen, but it is blurred by more than the photo: a slope has a standard deviation of its width over the square root of 12.
func TestSoftEdge(t *testing.T) {
	const r, slope, face, dark = 20.0, 0.35, 0.4, 0.02
	for _, broken := range []bool{false, true} {
		s := drawn{light: func(p geom.PointMM) float64 {
			d := p.Norm() - r
			switch {
			case broken && d > 0 && d < slope:
				return dark + (face-dark)*d/slope
			case d < 0:
				return dark
			}
			return face
		}, seed: 8}.surface(t)
		m := edgeModel{sigmaMM: 1 / drawnPx}
		base := circleOf(r, 400)
		m.sigmaMM = s.settle([][]geom.PointMM{base}, make([]float64, 1), m).sigmaMM
		v := &Survey{s: s, sol: &scalecard.Solution{BlurPx: 1}}
		got := v.soft(m, 1/drawnPx)
		if want := slope / math.Sqrt(12); broken && math.Abs(got-want) > 0.03 || !broken && got > 0.02 {
			t.Errorf("broken: %v; the edge is softer by %.3f mm, the slope by %.3f", broken, got, want)
		}
		if !broken {
			continue
		}
		// One step fits half way down the slope.
		m.softMM = got
		var out float64
		outline := s.refine(base, m).outline
		for _, p := range outline {
			out += p.Norm() / float64(len(outline))
		}
		if d := out - (r + slope); math.Abs(d) > 0.08 {
			t.Errorf("the edge is %.3f mm outside the slope's top on average, want it there", d)
		}
	}
}

// Faces with rounded edges that the profiles neither show nor rule out: what the uncertainty states covers them.
func TestRimThatMayBeThere(t *testing.T) {
	for _, seed := range []uint64{13004, 13031, 13045} {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			t.Parallel()
			v, truth := surveyOf(t, "rims", seed, true)
			offTruth(t, v, truth, func(p face.Port, offMM []float64) {
				within := 0
				for i, d := range offMM {
					if math.Abs(d) < 2*math.Hypot(p.SigmaMM[i], p.BiasMM[i]) {
						within++
					}
				}
				if 10*within < 9*len(offMM) {
					t.Errorf("port %d: %d of %d places lie within their uncertainty", p.Number, within, len(offMM))
				}
			})
			if v.edge.rimMM > 0 || v.edge.maybeRimMM == 0 {
				t.Errorf("a rim of %.2f mm is believed in, one of %.2f thought possible", v.edge.rimMM, v.edge.maybeRimMM)
			}
		})
	}
}

// Waves, and far better fits in a few arcs, make no rim of a sharp edge beside a milling mark.
func TestMarkBesideAnEdgeIsNoRim(t *testing.T) {
	for _, c := range []struct {
		class string
		seed  uint64
	}{{"thick", 90005}, {"glare", 90006}} {
		v, _ := surveyOf(t, c.class, c.seed, true)
		if _, err := v.Trace(t.Context(), nil); err != nil {
			t.Fatal(err)
		}
		if v.edge.rimMM > 0 {
			t.Errorf("%s %d: a rim of %.2f mm is believed in", c.class, c.seed, v.edge.rimMM)
		}
	}
}

// Burnt-out paper does not tell how blurred a photo is, and blur passes for a rim a pixel wide: one is thought possible then, and believed in else.
func TestBurntPaperHidesTheBlur(t *testing.T) {
	for _, burnt := range []bool{false, true} {
		v, _ := surveyOf(t, "rims", 13007, true)
		v.s.whiteBurnt = burnt
		if _, err := v.Trace(t.Context(), nil); err != nil {
			t.Fatal(err)
		}
		if believed := v.edge.rimMM > 0; believed == burnt || burnt && v.edge.maybeRimMM == 0 {
			t.Errorf("paper burnt out %v: a rim of %.2f mm is believed in, one of %.2f thought possible", burnt, v.edge.rimMM, v.edge.maybeRimMM)
		}
	}
}

// A sharp face whose tunnels' walls show, lit from one side. What of them passes for a rim gets twice as wide when more of what lies behind the edge is
// looked at: with it, edges lay 0.4 mm too far out.
func TestLitWallIsNoRim(t *testing.T) {
	v, truth := surveyAt(t, "slack", 7002, true, 1)
	offTruth(t, v, truth, func(p face.Port, offMM []float64) {
		if middle := quantile(slices.Clone(offMM), 0.5); math.Abs(middle) > 0.03 {
			t.Errorf("port %d is %+.3f mm off in the median, 0.03 at most is wanted", p.Number, middle)
		}
	})
}

// Chamfers 0.2 to 0.48 mm wide: here as bright as the face and there as dark as the tunnel, all round of a shade between the two, or with a light that
// only those arcs tell in which the rim is nearly dark. Wherever a chamfer shows it is of one width. Taken for sharp, or lit from where they are not, they are
// 0.05 to 0.1 mm RMS off, and up to 0.28 mm in places.
func TestEvenRim(t *testing.T) {
	for _, c := range []struct {
		seed  uint64
		scale float64
	}{{13038, 0.6}, {7017, 1}, {7020, 1}, {7022, 1}} {
		t.Run(fmt.Sprint(c.seed), func(t *testing.T) {
			t.Parallel()
			v, truth := surveyAt(t, "rims", c.seed, true, c.scale)
			nearTruth(t, v, truth, 0.03)
			if !v.edge.chamfer {
				t.Error("no chamfer was found")
			}
		})
	}
}

// A thin part in whose openings a soft shadow as dark as the face ends on a lighter bench: brightness changes most at the shadow's rim, and fits the
// model nowhere; the hue changes at the edge. Before it counted for more there, an edge was 0.57 mm off.
func TestHueInASoftShadow(t *testing.T) {
	v, truth := surveyAt(t, "mixed", 93, false, 1)
	offTruth(t, v, truth, func(p face.Port, offMM []float64) {
		for _, d := range offMM {
			if math.Abs(d) > 0.25 {
				t.Errorf("port %d is %.3f mm off", p.Number, d)
				break
			}
		}
	})
}

// nearTruth reports the ports that are further than mostMM RMS from the truth.
func nearTruth(t *testing.T, v *Survey, truth [][]geom.PointMM, mostMM float64) {
	t.Helper()
	offTruth(t, v, truth, func(p face.Port, offMM []float64) {
		var sum float64
		for _, d := range offMM {
			sum += d * d
		}
		if rms := math.Sqrt(sum / float64(len(offMM))); rms > mostMM {
			t.Errorf("port %d is %.3f mm RMS off, %.3f at most is wanted", p.Number, rms, mostMM)
		}
	})
}

// A rim is as bright as the light makes it, the same way round every opening of a face: known, that tells its outer side from its inner
// one where a single profile can't. Without it these are 0.12 to 0.17 mm RMS off.
func TestRimsLight(t *testing.T) {
	v, truth := surveyOf(t, "rims", 13007, true)
	nearTruth(t, v, truth, 0.08)
	if v.edge.rimLight == nil {
		t.Error("the light is not known")
	}
}

// Where an opening turns sharply its corner was cut by averaging along the edge; where it turns outward it has often gone astray. Both are stated.
func TestCornersAreInDoubt(t *testing.T) {
	const side, radius, stepMM = 12.0, 0.6, 0.2
	// A square with rounded corners, a bump outward in the middle of its right side.
	var outline []geom.PointMM
	for k := range 4 {
		sin, cos := math.Sincos(float64(k) * math.Pi / 2)
		turned := func(x, y float64) geom.PointMM { return geom.PointMM{X: x*cos - y*sin, Y: x*sin + y*cos} }
		for y := -side/2 + radius; y < side/2-radius; y += stepMM {
			bump := 0.0
			if k == 0 && math.Abs(y) < 1.5 {
				bump = 0.25 * (1 + math.Cos(y/1.5*math.Pi))
			}
			outline = append(outline, turned(side/2+bump, y))
		}
		for a := 0.0; a < math.Pi/2; a += stepMM / radius {
			s, c := math.Sincos(a)
			outline = append(outline, turned(side/2-radius+radius*c, side/2-radius+radius*s))
		}
	}
	n := len(outline)
	zero := func() []float64 { return make([]float64, n) }
	r := edgeReading{outline: outline, sigmaMM: zero(), slackMM: zero(), step: zero(), onFace: zero(), behind: zero(), wallMM: zero(), apartMM: zero(),
		sure: make([]bool, n), faint: make([]bool, n), wallKnown: make([]bool, n), hueOnly: make([]bool, n), pxMM: 0.1}
	for i := range n {
		r.onFace[i], r.behind[i] = 0.5, 0.05
	}
	e := r.edge(edgeModel{sigmaMM: 0.1}, new(scalecard.Solution))
	for i, p := range outline {
		corner := side/2-math.Max(math.Abs(p.X), math.Abs(p.Y)) < 0.7 && math.Min(math.Abs(p.X), math.Abs(p.Y)) > side/2-0.3
		straight := math.Min(math.Abs(p.X), math.Abs(p.Y)) < side/2-2.5 && !(p.X > side/2-0.1 && math.Abs(p.Y) < 3)
		flank := p.X > side/2 && math.Abs(math.Abs(p.Y)-1.5) < 0.15
		switch doubt := e.BiasMM[i]; {
		case corner && doubt < 0.06, flank && doubt < 0.05, straight && doubt > 0.02:
			t.Errorf("at (%.1f, %.1f) the edge is known to %.3f mm", p.X, p.Y, doubt)
		}
	}
}

// A loop of an edge that crosses itself is taken out and marked, with a mm on either side, and nothing else is.
func TestUntangle(t *testing.T) {
	const r, at = 15.0, 100 // mm; place of the loop
	e := &edgeReading{outline: circleOf(r, 300)}
	e.sure = make([]bool, len(e.outline))
	for i := range e.sure {
		e.sure[i] = true
	}
	// Ten points run round a circle of 1.5 mm outside the edge, which comes back across itself.
	in := inwardNormals(e.outline)
	for k := range 10 {
		sin, cos := math.Sincos(2 * math.Pi * (float64(k) + 0.5) / 10)
		along := geom.PointMM{X: in[at].Y, Y: -in[at].X}
		e.outline[at+k] = e.outline[at+5].Sub(in[at].Scale(1.5 - 1.7*cos)).Add(along.Scale(1.5 * sin))
	}
	if _, err := geom.Simple(slices.Clone(geom.Outline(e.outline))); err == nil {
		t.Fatal("there is no loop to take out")
	}
	e.untangle()
	if o, err := geom.Simple(geom.Outline(e.outline)); err != nil || math.Abs(o.AreaMM2()-math.Pi*r*r) > 1 {
		t.Errorf("what is left encloses %.1f mm², %v; want %.1f", o.AreaMM2(), err, math.Pi*r*r)
	}
	if e.sure[at] || e.sure[at+9] || !e.sure[at-10] || !e.sure[at+20] || share(e.sure) < 0.9 {
		t.Errorf("sure at the loop %v, %v, beside it %v, %v, in all %.2f", e.sure[at], e.sure[at+9], e.sure[at-10], e.sure[at+20], share(e.sure))
	}
}

// What the other face asks for: an opening on none of its ports, if it is as large as those, or where the two have no port in common at all and it is
// larger; and one that is sound where its port is ragged.
func TestUnasked(t *testing.T) {
	at := func(x, r float64) []geom.PointMM {
		c := circleOf(r, 100)
		for i := range c {
			c[i].X += x
		}
		return c
	}
	opening := func(x, r float64) *loop { return &loop{pts: at(x, r), areaMM2: math.Pi * r * r} }
	ragged := at(0, 15)
	for i := range 8 { // a stain 6 mm into the opening
		ragged[i+10] = ragged[i+10].Scale(0.6)
	}
	for _, c := range []struct {
		name  string
		seen  []*loop
		asked [][]geom.PointMM
		want  int
	}{
		{"one more port", []*loop{opening(0, 15), opening(50, 15)}, [][]geom.PointMM{at(0, 15)}, 1},
		{"a small stain", []*loop{opening(0, 15), opening(50, 5)}, [][]geom.PointMM{at(0, 15)}, 0},
		{"only holes passed for ports", []*loop{opening(0, 25)}, [][]geom.PointMM{at(60, 5), at(-60, 5)}, 1},
		{"only a stain here", []*loop{opening(50, 5)}, [][]geom.PointMM{at(0, 15)}, 0},
		{"a ragged port", []*loop{opening(0, 15)}, [][]geom.PointMM{ragged}, 1},
		{"the same port", []*loop{opening(0.3, 15)}, [][]geom.PointMM{at(0, 15)}, 0},
	} {
		v := &Survey{open: openings{ports: c.seen}}
		if got := v.Unasked(&Guide{Ports: c.asked}); len(got) != c.want {
			t.Errorf("%s: %d openings, want %d", c.name, len(got), c.want)
		}
	}
}

// A shadow as dark as a gasket has the hue of the bench it lies on: brightness alone put these edges at its rim, 0.30 to 0.38 mm too far in.
func TestHueTellsTheRightEdge(t *testing.T) {
	for _, c := range []struct {
		class  string
		seed   uint64
		mostMM float64
	}{{"wide", 7006, 0.2}, {"rims", 7018, 0.25}, {"small", 7004, 0.25}} {
		t.Run(c.class, func(t *testing.T) {
			v, truth := surveyAt(t, c.class, c.seed, false, 1)
			offTruth(t, v, truth, func(p face.Port, offMM []float64) {
				if worst := worstSure(p, offMM); worst > c.mostMM {
					t.Errorf("port %d is up to %.3f mm off, %.2f at most is wanted", p.Number, worst, c.mostMM)
				}
			})
		})
	}
}

// A pixel covers a fifth more of this part's far end than of its near one; whichever port comes first, sharp edges are no softer than the photo. Their
// openings came out 0.05 mm too large all round where the nearest one was.
func TestBlurAllOverAWidePhoto(t *testing.T) {
	for _, backwards := range []bool{false, true} {
		v, truth := surveyOf(t, "tone", 150012, true)
		if backwards {
			slices.Reverse(truth)
		}
		if _, err := v.Trace(t.Context(), &Guide{Ports: truth}); err != nil {
			t.Fatal(err)
		}
		if v.edge.softMM > 0.025 {
			t.Errorf("ports backwards %v: edges are taken for %.3f mm softer than the photo", backwards, v.edge.softMM)
		}
	}
}
