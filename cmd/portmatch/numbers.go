package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

const mmPerInch = 25.4 // exact by definition (1959)

// parseLength reads a length as a mechanic writes it and returns mm: "1.2", "1,2", "1.2mm", "0.015in", "15thou",
// "1/4in", `1-1/2"`. A bare number is mm. What could be read two ways is refused: "1,200" (1.2 or 1200?) and a fraction
// without a unit.
func parseLength(text string) (float64, error) {
	s := strings.ToLower(strings.TrimSpace(text))
	perUnit, bare := 1.0, true
	for _, u := range []struct {
		suffix string
		mm     float64
	}{{"mm", 1}, {"inches", mmPerInch}, {"inch", mmPerInch}, {"in", mmPerInch}, {`"`, mmPerInch}, {"thou", mmPerInch / 1000}} {
		if rest, ok := strings.CutSuffix(s, u.suffix); ok {
			s, perUnit, bare = strings.TrimSpace(rest), u.mm, false
			break
		}
	}
	var v float64
	var err error
	if strings.Contains(s, "/") {
		if bare {
			return 0, fmt.Errorf("%q could be mm or inches; write it as %sin or %smm", text, s, s)
		}
		v, err = parseFraction(s)
	} else {
		v, err = parseDecimal(s)
	}
	if err != nil {
		return 0, fmt.Errorf("%q is not a length (%w); lengths look like 1.2, 1.2mm, 0.015in or 1/4in", text, err)
	}
	v *= perUnit
	if math.IsInf(v, 0) {
		return 0, fmt.Errorf("%q is too large", text)
	}
	return v, nil
}

// parseFraction reads "1/4" and "1-1/4".
func parseFraction(s string) (float64, error) {
	whole := 0.0
	if w, rest, ok := strings.Cut(s, "-"); ok && w != "" {
		n, err := strconv.ParseUint(w, 10, 16)
		if err != nil {
			return 0, fmt.Errorf("%q is not a whole number", w)
		}
		whole, s = float64(n), rest
	}
	num, den, _ := strings.Cut(s, "/")
	n, err1 := strconv.ParseUint(strings.TrimSpace(num), 10, 16)
	d, err2 := strconv.ParseUint(strings.TrimSpace(den), 10, 16)
	if err1 != nil || err2 != nil || d == 0 {
		return 0, fmt.Errorf("%q is not a fraction", s)
	}
	return whole + float64(n)/float64(d), nil
}

// parseDecimal reads a finite decimal number; a single comma is a decimal comma.
func parseDecimal(s string) (float64, error) {
	if i := strings.IndexByte(s, ','); i >= 0 {
		if strings.Count(s, ",") > 1 || strings.Contains(s, ".") || len(s)-i-1 == 3 {
			return 0, fmt.Errorf("a comma could stand for thousands here")
		}
		s = s[:i] + "." + s[i+1:]
	}
	if strings.ContainsAny(s, "xXpP_") { // strconv reads hexadecimal and 1_000, a mechanic who types them has mistyped
		return 0, fmt.Errorf("not a decimal number")
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("not a finite number")
	}
	return v, nil
}

// parseRange reads "3", "1-4".
func parseRange(text string) (from, to int, err error) {
	a, b, isRange := strings.Cut(strings.TrimSpace(text), "-")
	from, err = strconv.Atoi(strings.TrimSpace(a))
	to = from
	if err == nil && isRange {
		to, err = strconv.Atoi(strings.TrimSpace(b))
	}
	if err != nil {
		return 0, 0, fmt.Errorf("%q is not a range; write it like 1-4", text)
	}
	return from, to, nil
}
