package scalecard

import (
	"context"
	"math"
	"testing"
)

// TestHalfLevelShift: an edge coded with gamma 2 and decoded with gamma 1. Black 0, white 1: the half of the stored values
// is reached where the light is a quarter, Φ⁻¹(1/4) = -0.67449 blurs on the dark side (closed form).
func TestHalfLevelShift(t *testing.T) {
	var straight, square = srgb(), srgb()
	for i := range straight.Linear {
		v := float32(i) / 255
		straight.Linear[i], square.Linear[i] = v, v*v
	}
	if d := halfLevelShift(&square, &straight, 0, 1); math.Abs(d+0.67449) > 0.003 {
		t.Errorf("shift %.5f blurs, want -0.67449", d)
	}
	if d := halfLevelShift(&square, &square, 0.1, 0.7); math.Abs(d) > 1e-4 {
		t.Errorf("the right curve shifts by %.5f", d)
	}
}

// TestEdgeSigma: the doubt about the tone curve grows with blur, and with the contrast of the edge.
func TestEdgeSigma(t *testing.T) {
	s, err := Solve(context.Background(), newPicture(draw(desk(4), 0)).photo(1), Options{})
	if err != nil {
		t.Fatal(err)
	}
	strong, weak := s.EdgeSigmaPx(0.04, 0.7), s.EdgeSigmaPx(0.5, 0.55)
	if !(strong > 0.005 && strong < 0.1) || weak > 0.3*strong {
		t.Errorf("%.4f px for black and white, %.4f for two greys", strong, weak)
	}
	if a, b := s.EdgeSigmaPx(0.7, 0.04), s.EdgeSigmaPx(0.2, 0.2); a != strong || b != 0 {
		t.Errorf("turned round %.4f, no edge %.4f", a, b)
	}
	soft := *s
	soft.BlurPx *= 2
	if r := soft.EdgeSigmaPx(0.04, 0.7) / strong; math.Abs(r-2) > 1e-9 {
		t.Errorf("twice the blur gives %.3f times the doubt", r)
	}
}

// TestToneDoubt: ink on paper has a contrast of its own; where the picture shows another, the curve is in doubt.
func TestToneDoubt(t *testing.T) {
	for _, tt := range []struct {
		name         string
		black, white float64
		atLeast      float64
	}{
		{"usual", 0.036, 0.7, 0},
		{"grey black", 0.06, 0.7, 0},
		{"no levels", 0, 0, 0},
		{"gamma 1.7 times", 0.006, 0.54, 0.25},
		{"gamma 0.6 times", 0.126, 0.8, 0.2},
		{"black cut off", 0, 0.5, 0.5},
	} {
		d := levels{black: tt.black, white: tt.white}.doubt()
		if tt.atLeast == 0 && d != (toneDoubt{sigmaTonePower, sigmaToneS}) || d.power < tt.atLeast {
			t.Errorf("%s: %+v", tt.name, d)
		}
	}
}
