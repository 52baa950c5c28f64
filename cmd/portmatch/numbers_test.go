package main

import (
	"io"
	"math"
	"strings"
	"testing"

	"github.com/urfave/cli/v2"
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

// numberFlags are all flags of all commands that take a number or a choice, as "command --flag".
func numberFlags() []string {
	var out []string
	for _, c := range newApp(io.Discard, io.Discard).Commands {
		for _, f := range c.Flags {
			switch f := f.(type) {
			case *cli.GenericFlag, *cli.IntFlag:
				out = append(out, c.Name+" --"+f.Names()[0])
			case *cli.StringFlag:
				if f.Name == "strips" || f.Name == "ports" {
					out = append(out, c.Name+" --"+f.Name)
				}
			}
		}
	}
	return out
}

// FuzzNumberFlags gives every such flag anything: without the files that the command needs, what comes back is a word on its
// use, whatever the number.
func FuzzNumberFlags(f *testing.F) {
	flags := numberFlags()
	if len(flags) < 30 {
		f.Fatalf("only %d flags", len(flags))
	}
	for i, s := range []string{"NaN", "Inf", "-Inf", "1e308", "1e308in", "1,5", "1,200", "1/4", "1/4in", "0.015in", "15thou", "1-1/4\"", "-0", "", "0x1p4", "٣", "1-4", "40-1", "2,3"} {
		for k := range len(flags) {
			if k%7 == i%7 {
				f.Add(uint8(k), s)
			}
		}
	}
	f.Fuzz(func(t *testing.T, which uint8, value string) {
		command, flag, _ := strings.Cut(flags[int(which)%len(flags)], " ")
		status, stdout, stderr := portmatch(t, command, flag, value)
		if status != statusUsage || stdout != "" || !strings.HasPrefix(stderr, "portmatch: ") {
			t.Errorf("portmatch %s %s %q: status %d, stdout %q, stderr %q", command, flag, value, status, stdout, stderr)
		}
	})
}
