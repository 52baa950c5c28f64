package scalecard

import (
	"context"
	"errors"
	"math"
	"testing"

	"portmatch/internal/geom"
)

// cornerError is the RMS of the measured tag corners about the model's nominal ones, px.
func cornerError(s *Solution, m *model) float64 {
	v := m.view()
	var sum, n float64
	for _, t := range s.Tags {
		for i, c := range v.corners(m.indexOf(t.Strip), t.Tag) {
			d := t.CornersPx[i].Sub(c)
			sum += d.U*d.U + d.V*d.V
			n += 2
		}
	}
	return math.Sqrt(sum / n)
}

// TestCorners measures drawn strips. Whatever blur, ink and tone do to the edges' places, the corners are those of the
// nominal tag: a tag's inner edges have black on either side in turn.
const pxPerMM = 4.5 // of the drawn pictures

func TestCorners(t *testing.T) {
	m := desk(pxPerMM)
	base := newPicture(draw(m, 0))
	with := func(change func(*picture)) picture {
		p := base
		change(&p)
		return p
	}
	tests := []struct {
		name     string
		pic      picture
		limitPx  float64 // for the corners' RMS: about twice what noise alone gives, see noise below
		growthMM float64 // ink that was added; told to 0.01 mm where the tone curve is the one assumed
		tone     bool    // another tone curve: growth then holds its bias too
	}{
		{"plain", base, 0.02, 0, false},
		{"noise 3 %", with(func(p *picture) { p.noise = 0.03 }), 0.04, 0, false},
		{"sharp", with(func(p *picture) { p.blurPx = 0.3 }), 0.03, 0, false},
		{"soft", with(func(p *picture) { p.blurPx = 1.6 }), 0.04, 0, false},
		{"fat ink", with(func(p *picture) { p.drawing = draw(m, 0.06) }), 0.025, 0.06, false},
		{"thin ink", with(func(p *picture) { p.drawing = draw(m, -0.06) }), 0.025, -0.06, false},
		{"dull print", with(func(p *picture) { p.black, p.white = 0.15, 0.45 }), 0.04, 0, false},
		{"sharpened", with(func(p *picture) { p.sharpen = 0.5 }), 0.03, 0, true},
		{"gamma 15 % off", with(func(p *picture) { p.curve = func(v float64) float64 { return math.Pow(v, 1.15) } }), 0.02, 0, true},
		{"S-shaped", with(func(p *picture) { p.curve = func(v float64) float64 { return v - 0.08*math.Sin(2*math.Pi*v) } }), 0.03, 0, true},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s, err := Solve(context.Background(), tt.pic.photo(1), Options{})
			if err != nil {
				t.Fatal(err)
			}
			if len(s.Tags) != 18 {
				t.Errorf("%d tags of 18", len(s.Tags))
			}
			if e := cornerError(s, m); e > tt.limitPx {
				t.Errorf("corners %.4f px RMS, limit %.3f", e, tt.limitPx)
			}
			v := m.view()
			var at []geom.PointMM
			for x := 0.0; x <= 190; x += 19 {
				for y := -30.0; y <= 20; y += 10 {
					at = append(at, geom.PointMM{X: x, Y: y})
				}
			}
			if rms, worst := mapError(&s.Camera, &v.camera, at, 0); rms > 0.01 || worst > 0.03 {
				t.Errorf("the plane is off by %.4f mm RMS, %.4f at worst", rms, worst)
			}
			for d := range 2 {
				var g float64
				for _, tag := range s.Tags {
					g += tag.GrowthPx[d] / pxPerMM / float64(len(s.Tags))
				}
				if !tt.tone && math.Abs(g-tt.growthMM) > 0.01 {
					t.Errorf("ink said to be %.4f mm fat, was %.3f", g, tt.growthMM)
				}
			}
			if !tt.tone {
				// Noise is told to 20 % where cells have flat insides.
				// The pixel itself (a box, 0.29 px) blurs too. A sharper edge than half a pixel falls between the pixels.
				if want := math.Hypot(tt.pic.blurPx, 1/math.Sqrt(12)); math.Abs(s.BlurPx-want) > 0.1*want && tt.pic.blurPx > 0.5 {
					t.Errorf("blur %.3f px, want %.3f", s.BlurPx, want)
				}
				if math.Abs(s.NoiseLevel-tt.pic.noise) > 0.2*tt.pic.noise && tt.pic.blurPx < 1 {
					t.Errorf("noise %.4f, want %.4f", s.NoiseLevel, tt.pic.noise)
				}
			}
		})
	}
}

func TestBlurredIsRefused(t *testing.T) {
	pic := newPicture(draw(desk(3), 0))
	pic.blurPx = 3.2
	if _, err := Solve(context.Background(), pic.photo(1), Options{}); !errors.Is(err, ErrBlurred) {
		t.Errorf("got %v", err)
	}
}

func TestDarkIsRefused(t *testing.T) {
	for _, c := range []struct {
		gain float64 // of the light
		want error
	}{{0.04, ErrDark}, {0.2, nil}} {
		pic := newPicture(draw(desk(6), 0))
		pic.black, pic.white, pic.bench, pic.noise = c.gain*pic.black, c.gain*pic.white, c.gain*pic.bench, 0.001
		if _, err := Solve(context.Background(), pic.photo(1), Options{}); !errors.Is(err, c.want) {
			t.Errorf("%.0f %% of the light: %v, want %v", 100*c.gain, err, c.want)
		}
	}
}

// Paper that has no levels left of its own says so.
func TestBurntPaperIsTold(t *testing.T) {
	for _, c := range []struct {
		white float64 // linear light
		want  bool
	}{{0.75, false}, {1.3, true}} {
		pic := newPicture(draw(desk(6), 0))
		pic.white = c.white
		sol, err := Solve(context.Background(), pic.photo(1), Options{})
		if err != nil {
			t.Fatal(err)
		}
		if sol.WhiteBurnt != c.want {
			t.Errorf("paper with %.2f of the light that a picture can hold: burnt out %v, want %v", c.white, sol.WhiteBurnt, c.want)
		}
	}
}

// TestUnits: the edges of a tag are where two cells of different colour meet, and nowhere else.
func TestUnits(t *testing.T) {
	for id := range 9 {
		length := 0.0
		for _, u := range unitsOf(id) {
			length += 2 * u.halfLength
			n := geom.PointMM{X: 0.5}
			if !u.vertical {
				n = geom.PointMM{Y: 0.5}
			}
			n = n.Scale(u.white)
			c := geom.PointMM{X: 15 + 20*float64(id), Y: 16}
			if !ink(1, c.Add(u.mid).Sub(n), 0) || ink(1, c.Add(u.mid).Add(n), 0) {
				t.Fatalf("tag %d: edge at %v is not black to white", id, u.mid)
			}
			// Colour holds for as far as the unit says, and not further.
			for _, s := range []struct{ step, reach float64 }{{-1, u.blackMM}, {1, u.whiteMM}} {
				want := s.step < 0
				at := func(mm float64) bool { return ink(1, c.Add(u.mid).Add(n.Scale(2*s.step*mm)), 0) }
				if at(s.reach-0.01) != want {
					t.Errorf("tag %d at %v: colour changes within %.0f mm", id, u.mid, s.reach)
				}
			}
		}
		// Four sides of 16 mm and what is inside.
		if length < 64+20 || length > 64+168 {
			t.Errorf("tag %d: %.0f mm of edge", id, length)
		}
	}
}
