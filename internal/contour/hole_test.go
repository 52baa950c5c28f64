package contour

import (
	"context"
	"math"
	"math/rand"
	"testing"

	"portmatch/internal/face"
	"portmatch/internal/geom"
	"portmatch/internal/photo"
	"portmatch/internal/scalecard"
)

// trueHole is a hole in a drawn face, mm.
type trueHole struct {
	centre  geom.PointMM
	bore    float64                    // diameter
	chamfer float64                    // 45°
	ring    func(x, y float64) float64 // brightness of the chamfer towards (x, y) from the axis, linear light
}

func (h trueHole) atFace() float64 { return h.bore + 2*h.chamfer }

// drawing is a face or a gasket as a pinhole camera sees it. Every ray is cut with the planes of the face, of the chamfers' feet and of the
// bench, so that the truth is exact.
type drawing struct {
	holes  []trueHole
	marks  func(p geom.PointMM) float64 // factor on the face's brightness
	thick  float64                      // of the gasket; 0: a thick part with dark bores
	drop   float64                      // of the bench below the strips' print
	wall   float64                      // brightness of a gasket's cut wall
	bench  float64                      // and of what is under it
	shadow geom.PointMM                 // of a gasket in a flat-bed scanner: how far the edges' shadow falls on the lid
	seed   int64
	camera scalecard.Camera
}

const (
	drawnFace, drawnBore, drawnBench = 0.30, 0.02, 0.55 // linear light
	drawnNoise                       = 0.006
)

// tilted is a camera 330 mm above the middle of the face, looking at it at 15° from the normal; 0.13 mm a pixel.
func tilted() scalecard.Camera {
	s, c := math.Sincos(15 * math.Pi / 180)
	return scalecard.Camera{WidthPx: 1200, HeightPx: 800, FocalPx: 2500, CxPx: 599.5, CyPx: 399.5,
		R: [9]float64{1, 0, 0, 0, -c, s, 0, -s, -c}, T: [3]float64{0, 0, 330}}
}

// light is the linear light that comes from p on the face's plane along the ray through it.
func (d *drawing) light(cam *scalecard.Camera, p geom.PointMM, q geom.PointPx) float64 {
	at := func(depth float64) geom.PointMM { return cam.PlaneFromPixel(q, d.thick-depth) }
	for _, h := range d.holes {
		r := p.Dist(h.centre)
		if r > h.atFace()/2 {
			continue
		}
		if cam.Scan != nil {
			if p.Sub(d.shadow).Dist(h.centre) > h.bore/2 {
				return d.wall
			}
			return d.bench
		}
		if d.thick > 0 {
			if at(d.thick+d.drop).Dist(h.centre) <= h.bore/2 {
				return d.bench
			}
			return d.wall
		}
		foot := at(h.chamfer).Sub(h.centre)
		if foot.Norm() <= h.bore/2 {
			return drawnBore
		}
		return h.ring(p.X-h.centre.X, p.Y-h.centre.Y)
	}
	if math.Abs(p.X-30) < 12 && math.Abs(p.Y) < 9 {
		if d.thick > 0 {
			return drawnBench
		}
		return drawnBore // a port
	}
	if d.marks != nil {
		return drawnFace * d.marks(p)
	}
	return drawnFace
}

// draw renders the drawing: 5 x 5 rays a pixel, sRGB, noise.
func (d *drawing) draw() (*photo.Photo, *scalecard.Solution) {
	cam := tilted()
	if d.shadow.Norm() > 0 {
		cam = scalecard.Camera{WidthPx: 1200, HeightPx: 800, Scan: &scalecard.Affine{A: 8, Tu: 599.5, D: -8, Tv: 399.5}}
	}
	d.camera = cam
	var tone photo.Tone
	for i := range tone.Linear {
		x := float64(i) / 255
		if x <= 0.04045 {
			tone.Linear[i] = float32(x / 12.92)
		} else {
			tone.Linear[i] = float32(math.Pow((x+0.055)/1.055, 2.4))
		}
	}
	code := func(x float64) uint8 {
		x = math.Min(math.Max(x, 0), 1)
		if x <= 0.0031308 {
			x *= 12.92
		} else {
			x = 1.055*math.Pow(x, 1/2.4) - 0.055
		}
		return uint8(255*x + 0.5)
	}
	w, h := cam.WidthPx, cam.HeightPx
	p := &photo.Photo{Path: "drawn", Width: w, Height: h, Gray: make([]uint8, w*h), Tone: tone}
	rng := rand.New(rand.NewSource(d.seed))
	const n = 5
	for v := range h {
		for u := range w {
			mid := cam.PlaneFromPixel(geom.PointPx{U: float64(u), V: float64(v)}, d.thick)
			var y float64
			near := false
			for _, o := range d.holes {
				near = near || mid.Dist(o.centre) < o.atFace()/2+1
			}
			if near {
				for i := range n * n {
					q := geom.PointPx{U: float64(u) + (float64(i%n)+0.5)/n - 0.5, V: float64(v) + (float64(i/n)+0.5)/n - 0.5}
					y += d.light(&cam, cam.PlaneFromPixel(q, d.thick), q) / (n * n)
				}
			} else {
				y = d.light(&cam, mid, geom.PointPx{U: float64(u), V: float64(v)})
			}
			p.Gray[v*w+u] = code(y + drawnNoise*rng.NormFloat64())
		}
	}
	// A box pixel has a standard deviation of 0.29 px.
	return p, &scalecard.Solution{Camera: cam, BlurPx: 0.3, Tone: tone}
}

// survey measures the holes of a drawing.
func (d *drawing) survey(t *testing.T) *Survey {
	t.Helper()
	p, sol := d.draw()
	v, err := NewSurvey(context.Background(), p, sol, Options{HeightMM: d.thick})
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func nearestHole(holes []face.Hole, c geom.PointMM) *face.Hole {
	for i := range holes {
		if holes[i].Centre.Dist(c) < 1 {
			return &holes[i]
		}
	}
	return nil
}

// check compares measured holes with the true ones.
func (d *drawing) check(t *testing.T, v *Survey, centreMM, diameterMM float64) {
	t.Helper()
	if len(v.holes) != len(d.holes) {
		t.Errorf("found %d holes of %d", len(v.holes), len(d.holes))
	}
	for _, want := range d.holes {
		got := nearestHole(v.holes, want.centre)
		if got == nil {
			t.Errorf("no hole found at %v", want.centre)
			continue
		}
		e := got.Centre.Dist(want.centre)
		if e > centreMM || e > 3*got.SigmaCentreMM {
			t.Errorf("hole at %v: centre off by %.3f mm, %.3f allowed, %.4f stated", want.centre, e, centreMM, got.SigmaCentreMM)
		}
		if dd := got.DiameterMM - want.atFace(); math.Abs(dd) > diameterMM {
			t.Errorf("hole at %v: diameter off by %+.3f mm, %.3f allowed", want.centre, dd, diameterMM)
		}
	}
}

// Six places over the picture: what lies 1 mm below the face is seen displaced by 0.1 to 0.5 mm there.
var drawnPlaces = []geom.PointMM{{X: -60, Y: 30}, {X: 0, Y: 35}, {X: 60, Y: 30}, {X: -62, Y: -32}, {X: 4, Y: -30}, {X: 58, Y: -35}}

func holesOf(bore, chamfer float64, ring func(x, y float64) float64) []trueHole {
	var out []trueHole
	for _, c := range drawnPlaces {
		out = append(out, trueHole{c, bore, chamfer, ring})
	}
	return out
}

// Truth: the drawing's own (closed form). The centre must not follow the bore, which is seen up to 0.25 mm aside.
func TestHolesWithChamfers(t *testing.T) {
	for name, ring := range map[string]func(x, y float64) float64{
		"dark":      func(x, y float64) float64 { return 0.12 },
		"bright":    func(x, y float64) float64 { return 0.6 },
		"one side":  func(x, y float64) float64 { return drawnFace * (1 + 0.8*math.Max(0, x/math.Hypot(x, y))) },
		"dark, lit": func(x, y float64) float64 { return 0.15 + 0.3*math.Max(0, y/math.Hypot(x, y)) },
		"like bore": func(x, y float64) float64 { return drawnBore + 0.2*math.Max(0, x/math.Hypot(x, y)) },
	} {
		for _, chamfer := range []float64{0.45, 0.8} {
			d := &drawing{holes: holesOf(8, chamfer, ring), seed: 1}
			t.Run(name, func(t *testing.T) { d.check(t, d.survey(t), 0.03, 0.1) })
		}
	}
}

// A hole whose edge is sharp must not be given a chamfer.
func TestHolesWithoutChamfers(t *testing.T) {
	d := &drawing{holes: holesOf(8, 0, nil), seed: 2}
	d.check(t, d.survey(t), 0.02, 0.05)
}

// A chamfer that looks just like the face may be one of the kind that the other holes of the same bore have: the centre, off by
// up to 0.25 mm otherwise, is either right or said to be unsure.
func TestUnseenChamferAmongOthers(t *testing.T) {
	d := &drawing{holes: holesOf(8, 0.5, func(x, y float64) float64 { return 0.12 }), seed: 3}
	d.holes[5].ring = func(x, y float64) float64 { return drawnFace }
	d.honest(t, d.survey(t))
}

// A broken edge narrower than a pixel can't be seen; that it may be there is part of what is stated.
func TestBrokenEdgeTooNarrowToSee(t *testing.T) {
	d := &drawing{holes: holesOf(8, 0.1, func(x, y float64) float64 { return drawnFace }), seed: 4}
	d.honest(t, d.survey(t))
}

// honest checks that every hole is found and no centre is off by more than three times what is stated.
func (d *drawing) honest(t *testing.T, v *Survey) {
	t.Helper()
	for _, want := range d.holes {
		got := nearestHole(v.holes, want.centre)
		if got == nil {
			t.Errorf("no hole found at %v", want.centre)
			continue
		}
		if e := got.Centre.Dist(want.centre); e > 3*got.SigmaCentreMM {
			t.Errorf("hole at %v: off by %.3f mm, %.4f stated", want.centre, e, got.SigmaCentreMM)
		}
	}
}

// Through a gasket's holes the bench is seen, and on one side the cut wall. Truth: closed form.
func TestHolesInGaskets(t *testing.T) {
	for _, thick := range []float64{0.8, 2.5} {
		for name, wall := range map[string]float64{"dark wall": 0.08, "wall like the face": drawnFace} {
			d := &drawing{holes: holesOf(8, 0, nil), thick: thick, drop: 0.15, wall: wall, bench: drawnBench, seed: 5}
			t.Run(name, func(t *testing.T) { d.check(t, d.survey(t), 0.03, 0.06) })
		}
	}
}

// A flat-bed scanner's lamp shines at a slant: the lid is in shadow on one side of every hole. Truth: closed form.
func TestHolesInScans(t *testing.T) {
	d := &drawing{holes: holesOf(8, 0, nil), wall: 0.15, bench: drawnBench, shadow: geom.PointMM{Y: -0.4}, seed: 9}
	d.check(t, d.survey(t), 0.02, 0.04)
}

// A gasket as bright as its bench shows its holes by the wall and the shadow on one side alone.
func TestHolesOfTheBenchsBrightness(t *testing.T) {
	d := &drawing{holes: holesOf(8, 0, nil), thick: 2, drop: 0.15, wall: 0.1, bench: drawnFace, seed: 8}
	d.check(t, d.survey(t), 0.05, 0.1)
}

// Stains are round at a glance only, and not dark; a bright disc is no bore.
func TestRoundThingsThatAreNoHoles(t *testing.T) {
	d := &drawing{seed: 6, marks: func(p geom.PointMM) float64 {
		for i, c := range drawnPlaces {
			v := p.Sub(c)
			r, a := v.Norm(), math.Atan2(v.Y, v.X)
			switch {
			case i < 3 && r < 3*(1+0.15*math.Sin(3*a+float64(i))+0.1*math.Sin(5*a)):
				return 0.55
			case i >= 3 && r < 4:
				return 1.8
			}
		}
		return 1
	}}
	if v := d.survey(t); len(v.holes) != 0 {
		t.Errorf("found %d holes on a face without any: %+v", len(v.holes), v.holes)
	}
}

// The sums' shift of origin against sums taken about it (closed form).
func TestMomentsFrom(t *testing.T) {
	const b = 0.7
	var m, want moments
	for i := range 20 {
		s, y, w := -1+0.13*float64(i), math.Sin(float64(i)), 1+0.1*float64(i)
		m, want = m.with(w, s, y), want.with(w, s-b, y)
	}
	got := m.from(b)
	for i, p := range [][2]float64{{got.w, want.w}, {got.ws, want.ws}, {got.ws2, want.ws2}, {got.ws3, want.ws3}, {got.ws4, want.ws4},
		{got.y, want.y}, {got.ys, want.ys}, {got.ys2, want.ys2}, {got.yy, want.yy}} {
		if math.Abs(p[0]-p[1]) > 1e-10*(1+math.Abs(p[1])) {
			t.Errorf("moment %d: %g, want %g", i, p[0], p[1])
		}
	}
}

// invert3 against a product that must be the unit matrix.
func TestInvert3(t *testing.T) {
	m := [3][3]float64{{4, 1, -0.5}, {1, 3, 0.7}, {-0.5, 0.7, 2}}
	inv, ok := invert3(m)
	if !ok {
		t.Fatal("not inverted")
	}
	for i := range 3 {
		for j := range 3 {
			var s float64
			for k := range 3 {
				s += m[i][k] * inv[k][j]
			}
			if want := map[bool]float64{true: 1}[i == j]; math.Abs(s-want) > 1e-12 {
				t.Errorf("element %d, %d of the product: %g", i, j, s)
			}
		}
	}
	if _, ok := invert3([3][3]float64{{1, 2, 3}, {2, 4, 6}, {1, 1, 1}}); ok {
		t.Error("a singular matrix was inverted")
	}
}

// The two circles as seen, there and back.
func TestTwinCirclesThereAndBack(t *testing.T) {
	for _, wall := range []bool{false, true} {
		h := &holeBand{radius: 4, lean: geom.PointMM{X: 0.3, Y: -0.2}, shrink: -0.003, wall: wall}
		e, r := geom.PointMM{X: 0.1, Y: 0.05}, 4.5
		c, q := h.first(h.second(e, r, 0.6))
		if c.Dist(e) > 1e-12 || math.Abs(q-r) > 1e-12 {
			t.Errorf("wall %v: %v, %.6f; want %v, %.6f", wall, c, q, e, r)
		}
	}
}

// A hole whose one side shows a dark shadow and the other a bench a tenth darker than the face: it is found from 0.4 mm off, and nothing is
// where there is none. Truth is closed form.
func TestHoleByLooks(t *testing.T) {
	const r, light, bench, shadow = 3.0, 0.25, 0.22, 0.05 // linear light
	lune := func(p geom.PointMM) bool { return p.Sub(geom.PointMM{X: 0.6, Y: 0.5}).Norm() > r }
	for _, hole := range []bool{true, false} {
		s := drawn{light: func(p geom.PointMM) float64 {
			switch {
			case !hole || p.Norm() > r:
				return light
			case lune(p):
				return shadow
			}
			return bench
		}, seed: 3}.surface(t)
		v := &Survey{s: s, sol: &scalecard.Solution{BlurPx: 1}}
		got := v.holeByLooks(face.Hole{Centre: geom.PointMM{X: -0.25, Y: -0.3}, DiameterMM: 2*r - 0.8})
		switch {
		case (got != nil) != hole:
			t.Errorf("there is one: %v; found: %v", hole, got)
		case hole && (got.Centre.Norm() > 0.08 || math.Abs(got.DiameterMM-2*r) > 0.15):
			t.Errorf("found %.3f mm off, %.3f mm in diameter; want 0 and %.1f", got.Centre.Norm(), got.DiameterMM, 2*r)
		case hole && got.Centre.Norm() > 3*got.SigmaCentreMM:
			t.Errorf("%.3f mm off, standard uncertainty %.3f mm", got.Centre.Norm(), got.SigmaCentreMM)
		}
	}
}
