package main

import (
	"math"
	"testing"
)

func TestParseLength(t *testing.T) {
	for _, c := range []struct {
		text string
		mm   float64 // closed form: 1 in = 25.4 mm exactly
	}{
		{"1.2", 1.2}, {"1,2", 1.2}, {" 1.2 mm", 1.2}, {"1.2MM", 1.2}, {"0", 0}, {"-8", -8}, {"1e1", 10}, {".5", 0.5},
		{"0.015in", 0.381}, {"0.015 inch", 0.381}, {`0.015"`, 0.381}, {"15thou", 0.381}, {"0,5in", 12.7},
		{"1/4in", 6.35}, {"1-1/4in", 31.75}, {`3/8"`, 9.525}, {"1/2mm", 0.5},
	} {
		got, err := parseLength(c.text)
		if err != nil || math.Abs(got-c.mm) > 1e-12*math.Max(1, math.Abs(c.mm)) {
			t.Errorf("parseLength(%q) = %v, %v; want %v", c.text, got, err, c.mm)
		}
	}
	for _, bad := range []string{"", "mm", "abc", "NaN", "Inf", "-inf", "1e999", "1e308in", "1/4", "1/0in", "/4in", "1,200", "1,2,3", "1.2,3",
		"0x10", "1_0", "1.2cm", "1 2", "in", "--1", "1//4in", "99999999/1in"} {
		if got, err := parseLength(bad); err == nil {
			t.Errorf("parseLength(%q) = %v, want an error", bad, got)
		}
	}
}

func FuzzParseLength(f *testing.F) {
	for _, s := range []string{"1.2", "1,2", "1/4in", "1-1/4in", "NaN", "1e308in", "\"", "0x1p4", "1,200"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if v, err := parseLength(s); err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
			t.Fatalf("parseLength(%q) = %v without an error", s, v)
		}
	})
}
