package contour

import (
	"context"
	"image"
	"image/color"
	"image/png"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"portmatch/internal/face"
	"portmatch/internal/geom"
	"portmatch/internal/photo"
	"portmatch/internal/scalecard"
)

// colours draws a picture in colour, 5 px a mm and 60 mm square about the origin, with sRGB levels from paint and noise of two levels, and
// returns a survey of it that looks straight down.
func colours(t *testing.T, paint func(p geom.PointMM) [3]float64) *Survey {
	t.Helper()
	const perMM, half = 5.0, 30.0
	n := int(2 * half * perMM)
	im := image.NewRGBA(image.Rect(0, 0, n, n))
	rng := rand.New(rand.NewPCG(11, 1))
	for j := range n {
		for i := range n {
			var sum [3]float64
			for k := range 4 {
				c := paint(geom.PointMM{X: (float64(i)+float64(k%2)/2-0.25)/perMM - half, Y: half - (float64(j)+float64(k/2)/2-0.25)/perMM})
				for ch := range sum {
					sum[ch] += c[ch] / 4
				}
			}
			at := func(ch int) uint8 { return uint8(min(max(sum[ch]+2*rng.NormFloat64()+0.5, 0), 255)) }
			im.Set(i, j, color.RGBA{at(0), at(1), at(2), 255})
		}
	}
	path := filepath.Join(t.TempDir(), "drawn.png")
	f, err := os.Create(path)
	if err == nil {
		err = png.Encode(f, im)
	}
	if err == nil {
		err = f.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
	p, err := photo.Load(context.Background(), path, photo.Options{})
	if err != nil {
		t.Fatal(err)
	}
	sol := &scalecard.Solution{BlurPx: 0.5}
	for i := range sol.Tone.Linear {
		sol.Tone.Linear[i] = float32(math.Pow(float64(i)/255, 2.2))
	}
	sol.Camera.Scan = &scalecard.Affine{A: perMM, D: -perMM, Tu: half * perMM, Tv: half * perMM}
	v := &Survey{s: newSurface(p, sol, 0), sol: sol}
	v.plan = v.s.plan()
	v.plan.blur()
	return v
}

var (
	bareMetal = [3]float64{150, 150, 150}
	blueDye   = [3]float64{60, 70, 150}
	inTheDark = [3]float64{8, 8, 8}
	litWall   = [3]float64{82, 82, 82}
)

// Dye in a ring of its own round a port, on a bare face: its outer edge goes once round too. What shows in the holes tells it from a coloured
// bench under a short port.
func TestDyesOwnEdgeIsNoOpening(t *testing.T) {
	const r, dyedTo = 10.0, 17.0
	for _, bench := range []bool{false, true} {
		inside, behind := inTheDark, blueDye
		if bench {
			inside = blueDye // what lies under the port
		}
		v := colours(t, func(p geom.PointMM) [3]float64 {
			switch d := p.Norm(); {
			case bench && p.Dist(geom.PointMM{X: 2}) < 5:
				return inTheDark // the port's shadow on it
			case d < r:
				return inside
			case d < dyedTo && !bench:
				return behind
			case p.Dist(geom.PointMM{X: 23}) < 3:
				return inside
			}
			return bareMetal
		})
		v.holes = []face.Hole{{Centre: geom.PointMM{X: 23}, DiameterMM: 6}}
		open := sortOut(v.withoutPaint(v.plan.candidates(func(geom.PointMM) bool { return false })))
		if len(open.ports) != 1 {
			t.Fatalf("bench %v: %d ports, want 1", bench, len(open.ports))
		}
		if got, want := open.ports[0].areaMM2, math.Pi*r*r; math.Abs(got-want) > 0.05*want {
			t.Errorf("bench %v: the port has %.0f mm², want %.0f", bench, got, want)
		}
	}
}

// In patchy dye a tunnel's lit wall, dark and grey, is as bright as the dye, which is dark and blue: brightness closes on the wall's far side.
func TestLitWallIsSeenThroughDye(t *testing.T) {
	const r, wallMM = 14.0, 4.0
	v := colours(t, func(p geom.PointMM) [3]float64 {
		switch d := p.Norm(); {
		case d < r && d > r-wallMM*(1-math.Abs(math.Atan2(p.Y, -p.X))):
			return litWall
		case d < r:
			return inTheDark
		case math.Sin(2.2*p.X+p.Y) > 0.7:
			return bareMetal
		}
		return blueDye
	})
	var deep *loop
	for _, l := range v.plan.candidates(func(geom.PointMM) bool { return false }) {
		if l.darkInside && l.areaMM2 > 100 && contains(l.pts, geom.PointMM{X: 3}) && (deep == nil || l.contrast > deep.contrast) {
			deep = l
		}
	}
	want := math.Pi * r * r
	if deep == nil || deep.areaMM2 > 0.94*want {
		t.Fatal("the test is void: brightness sees the whole opening")
	}
	v.open.ports = []*loop{deep}
	v.seenThroughDye()
	if got := v.open.ports[0].areaMM2; math.Abs(got-want) > 0.03*want {
		t.Errorf("the opening has %.0f mm², want %.0f; brightness has %.0f", got, want, deep.areaMM2)
	}
}

// A gasket a shade warmer than its bench and as bright: only hue shows its opening and its holes, and their centres to half a pixel.
func TestFaintHueShowsOpeningsAndHoles(t *testing.T) {
	const r = 9.0
	holes := []geom.PointMM{{X: -20, Y: 3}, {X: 19, Y: -8}, {X: 4, Y: 20}}
	v := colours(t, func(p geom.PointMM) [3]float64 {
		bench := p.Norm() < r || math.Abs(p.X) > 26 || math.Abs(p.Y) > 26
		for _, h := range holes {
			bench = bench || p.Dist(h) < 3.2
		}
		if bench {
			return [3]float64{160, 160, 160}
		}
		return [3]float64{163, 160, 154}
	})
	v.thin = true
	v.byColour()
	if len(v.open.ports) != 1 || !alike(v.open.ports[0].pts, circleOf(r, 200)) {
		t.Fatalf("%d openings, want one like a circle of %.0f mm", len(v.open.ports), r)
	}
	if len(v.holes) != len(holes) {
		t.Fatalf("%d holes, want %d", len(v.holes), len(holes))
	}
	for _, h := range v.holes {
		off := math.Inf(1)
		for _, want := range holes {
			off = math.Min(off, h.Centre.Dist(want))
		}
		if off > 0.1 || off > 2.5*h.SigmaCentreMM {
			t.Errorf("a hole's centre is %.3f mm off, its standard uncertainty %.3f", off, h.SigmaCentreMM)
		}
	}
}

// A hole's edge is found elsewhere than its colour says: the colour is believed.
func TestColourOverrulesAHoleGoneAstray(t *testing.T) {
	at := geom.PointMM{X: 20}
	v := colours(t, func(p geom.PointMM) [3]float64 {
		if p.Dist(at) < 3 {
			return [3]float64{140, 140, 140}
		}
		return [3]float64{160, 138, 110}
	})
	v.thin = true
	v.holes = []face.Hole{{Centre: at.Add(geom.PointMM{X: 0.5}), DiameterMM: 6, SigmaCentreMM: 0.02, SigmaDiameterMM: 0.04}}
	v.colourHoles([]*loop{{pts: circleAt(at, 3), areaMM2: math.Pi * 9, perimeter: 6 * math.Pi}})
	if d := v.holes[0].Centre.Dist(at); len(v.holes) != 1 || d > 0.05 {
		t.Errorf("%d holes, the first %.2f mm off", len(v.holes), d)
	}
}

func circleAt(c geom.PointMM, r float64) []geom.PointMM {
	out := circleOf(r, 200)
	for i := range out {
		out[i] = out[i].Add(c)
	}
	return out
}

// A bead as bright as the face, told by its colour alone, 2.8 mm outside the edge.
func TestBeadOfAnotherColour(t *testing.T) {
	const r, landMM = 12.0, 2.8
	for _, beaded := range []bool{false, true} {
		v := colours(t, func(p geom.PointMM) [3]float64 {
			switch d := p.Norm() - r; {
			case d < 0:
				return [3]float64{190, 190, 190}
			case beaded && d > landMM && d < landMM+1.8:
				return [3]float64{190, 86, 86}
			}
			return [3]float64{115, 115, 115}
		})
		got := v.s.beadMM(circleOf(r, 300))
		if want := landMM; beaded && math.Abs(got-want) > 0.4 || !beaded && got != 0 {
			t.Errorf("bead %v: found %.1f mm outside the edge, want %.1f", beaded, got, want)
		}
	}
}

// A gasket exactly as bright as its bench, without a shadow: hue alone tells its edge, to a tenth of a mm or so.
func TestHueAloneTellsAnEdge(t *testing.T) {
	const r = 12.0
	v := colours(t, func(p geom.PointMM) [3]float64 {
		if p.Norm() < r {
			return [3]float64{159, 159, 159}
		}
		return [3]float64{176, 157, 122}
	})
	m := edgeModel{sigmaMM: 0.1, wallMM: benchDropMM}
	e := v.s.refine(v.s.locate(circleOf(r+0.4, 300), m, reach{3, 3}, false), m)
	var sure, square float64
	for i, p := range e.outline {
		if e.sure[i] {
			sure++
			square += (p.Norm() - r) * (p.Norm() - r)
		}
	}
	if share, rms := sure/float64(len(e.outline)), math.Sqrt(square/sure); !(share > 0.8) || !(rms < 0.12) {
		t.Errorf("%.0f %% of the edge is sure and %.3f mm RMS off, want 80 %% and 0.12", 100*share, rms)
	}
}
