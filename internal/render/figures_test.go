package render

import (
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"

	"portmatch/internal/compare"
)

// 1 in = 25.4 mm exactly, so 1.83 mm = 0.07205 in and 168.9 mm² = 0.26180 in².
func TestFigures(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{MM.LengthPM(compare.Quantity{Value: 1.8302, Uncertainty: 0.0567}), "1.83 ± 0.06"},
		{Inch.LengthPM(compare.Quantity{Value: 1.8302, Uncertainty: 0.0567}), "0.072 ± 0.003"},
		{MM.AreaPM(compare.Quantity{Value: 168.912, Uncertainty: 1.21}), "168.9 ± 1.3"},
		{Inch.AreaPM(compare.Quantity{Value: 168.912, Uncertainty: 1.21}), "0.262 ± 0.002"},
		// An uncertainty on the digit stays, anything above it goes up, and none becomes 0.
		{MM.LengthPM(compare.Quantity{Value: 0, Uncertainty: 0.07}), "0.00 ± 0.07"},
		{MM.LengthPM(compare.Quantity{Value: -0.001, Uncertainty: 0.001}), "0.00 ± 0.01"},
		{MM.LengthText(0.25), "0.25"},
		{Inch.LengthText(0.25), "0.010"},
		{Inch.LengthText(150), "5.906"},
		{Percent(0), "0 %"}, {Percent(0.0001), "1 %"}, {Percent(0.424), "42 %"}, {Percent(0.9999), "99 %"}, {Percent(1), "100 %"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

// What is shown stands for the value: the value rounds to it, and the uncertainty shown is never below the true one nor a
// whole digit above it.
func TestShownUncertaintyNeverClaimsMore(t *testing.T) {
	for _, u := range []Units{MM, Inch} {
		digit := math.Pow(10, -float64(u.lengthDecimals()))
		for i := range 5000 {
			q := compare.Quantity{Value: float64(i) * 0.00137, Uncertainty: float64(i) * 0.000071}
			value, pm, _ := strings.Cut(u.LengthPM(q), " ± ")
			v, err1 := strconv.ParseFloat(value, 64)
			s, err2 := strconv.ParseFloat(pm, 64)
			if err1 != nil || err2 != nil {
				t.Fatalf("%q is no pair of figures", u.LengthPM(q))
			}
			if math.Abs(v-u.fromMM(q.Value)) > digit/2+1e-12 {
				t.Fatalf("%v shows %v mm as %q", u, q.Value, value)
			}
			if d := s - u.fromMM(q.Uncertainty); d < -1e-6*digit || d >= digit {
				t.Fatalf("%v shows ± %v mm as %q", u, q.Uncertainty, pm)
			}
		}
	}
}

func TestParsePaper(t *testing.T) {
	var paper *PaperError
	if _, err := ParsePaper("a5"); !errors.As(err, &paper) || paper.Name != "a5" {
		t.Errorf("a5: %v, want a PaperError", err)
	}
	if p, err := ParsePaper("a3"); p != A3() || err != nil {
		t.Errorf("a3: %v, %v", p, err)
	}
}
