package scalecard

import (
	"context"
	"math"
	"testing"

	"portmatch/internal/geom"
)

// edgeShift draws a straight edge between dark and light as pic develops its own, and returns how far towards light the usual fit finds it
// from where it was drawn, px, and the levels that it finds.
func edgeShift(t *testing.T, pic picture, dark, light float64) (shiftPx, lo, hi float64) {
	t.Helper()
	const w, h, samples = 80, 400, 16
	const tilt = 0.05 // 20 px over the height: every phase on the pixels
	d := &drawing{&model{width: w, height: h}, make([]float32, w*h), make([]float32, w*h)}
	at := func(v float64) float64 { return w/2 + tilt*(v-h/2) }
	for v := range h {
		for u := range w {
			in := 0.0
			for a := range samples {
				y := float64(v) + (float64(a)+0.5)/samples - 0.5
				in += max(0, min(1, float64(u)+0.5-at(y))) / samples
			}
			d.paper[v*w+u], d.ink[v*w+u] = float32(in), float32(1-in)
		}
	}
	pic.drawing, pic.black, pic.white = d, dark, light
	p := pic.photo(3)
	im := patch{w: w, h: h}
	for _, g := range p.Gray {
		im.px = append(im.px, p.Tone.Linear[g])
	}
	norm := math.Hypot(1, tilt)
	x := expected{mid: geom.PointPx{U: w / 2, V: h / 2}, dirU: tilt / norm, dirV: 1 / norm, normU: 1 / norm, normV: -tilt / norm, length: h - 40, black: 20, white: 20}
	r, ok := newEdgeFitter().fit(&im, &unit{openLo: true, openHi: true}, x, pic.blurPx, nil)
	if !ok {
		t.Fatal("the edge could not be fitted")
	}
	return (r.at.U-x.mid.U)*x.normU + (r.at.V-x.mid.V)*x.normV, r.dark, r.light
}

// TestEdgeShift: what a phone's curve and sharpening move edges by is had from the card. Truth is other edges, drawn and developed likewise.
func TestEdgeShift(t *testing.T) {
	s := func(amount float64) func(float64) float64 {
		return func(v float64) float64 { return v - amount/(2*math.Pi)*math.Sin(2*math.Pi*v) }
	}
	gamma := func(v float64) float64 { // 2.4 in place of about 2.2, which sRGB is
		return math.Pow(v, 2.2/2.4)
	}
	card := draw(desk(9), 0.02)
	for _, c := range []struct {
		name    string
		curve   func(float64) float64
		sharpen float64
		blurPx  float64
		mostPx  float64 // that is left of the shift: a third more than when this was written, and less than all of it
	}{
		{"standard", nil, 0, 0.8, 0.01},
		{"sharpened", nil, 0.4, 0.8, 0.015},
		{"much sharpened", nil, 0.8, 0.9, 0.015},
		{"a bent gamma", gamma, 0.3, 0.8, 0.09}, // not told from sharpening and an S, but doubted
		{"an S", s(0.25), 0.3, 0.8, 0.035},
		{"a strong S", s(0.45), 0.3, 0.9, 0.15},
		{"a strong S, sharp", s(0.45), 0.4, 0.6, 0.10},
	} {
		t.Run(c.name, func(t *testing.T) {
			pic := newPicture(card)
			pic.curve, pic.sharpen, pic.blurPx, pic.noise = c.curve, c.sharpen, c.blurPx, 0.004
			sol, err := Solve(context.Background(), pic.photo(1), Options{})
			if err != nil {
				t.Fatal(err)
			}
			if sol.rendering == nil {
				t.Fatal("not fitted")
			}
			for _, e := range [][2]float64{{0.02, 0.2}, {0.02, 0.5}, {0.1, 0.5}, {0.05, 0.3}} {
				moved, lo, hi := edgeShift(t, pic, e[0], e[1])
				got, sigma := sol.EdgeShiftPx(lo, hi)
				t.Logf("%.2f to %.2f: moved by %+.3f px, told %+.3f ± %.3f", e[0], e[1], moved, got, sigma)
				if math.Abs(got-moved) > c.mostPx {
					t.Errorf("an edge from %.2f to %.2f moved by %+.3f px, told %+.3f", e[0], e[1], moved, got)
				}
				if math.Abs(got-moved) > 2*sigma+0.01 {
					t.Errorf("an edge from %.2f to %.2f moved by %+.3f px, told %+.3f ± %.3f", e[0], e[1], moved, got, sigma)
				}
			}
		})
	}
}
