package photo

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
)

// toneCurve takes a coded level, 0 to 1, to linear light, 0 to 1.
type toneCurve func(float64) float64

// greyCurve reads from an ICC profile (ICC.1:2022) how a neutral grey is coded: a grey profile's own curve, or the three
// channels' curves weighted by their share of luminance.
func greyCurve(profile []byte) (toneCurve, error) {
	tags, err := iccTags(profile)
	if err != nil {
		return nil, err
	}
	var curve toneCurve
	switch space := string(profile[16:20]); space {
	case "GRAY":
		curve, err = iccCurve(tags["kTRC"])
	case "RGB ":
		curve, err = rgbGreyCurve(tags)
	default:
		return nil, fmt.Errorf("it is for %q data", space)
	}
	if err != nil {
		return nil, err
	}
	return checkedCurve(curve)
}

func rgbGreyCurve(tags map[string][]byte) (toneCurve, error) {
	var curves [3]toneCurve
	var share [3]float64
	sum := 0.0
	for i, c := range []string{"r", "g", "b"} {
		curve, err := iccCurve(tags[c+"TRC"])
		if err != nil {
			return nil, err
		}
		curves[i] = curve
		share[i] = iccLuminance(tags[c+"XYZ"])
		sum += share[i]
	}
	if !(sum > 0.5 && sum < 2) || share[0] < 0 || share[1] < 0 || share[2] < 0 {
		return nil, errors.New("its colours make no sense")
	}
	return func(v float64) float64 {
		return (share[0]*curves[0](v) + share[1]*curves[1](v) + share[2]*curves[2](v)) / sum
	}, nil
}

// iccTags returns each tag's data. Tags that lie outside the profile are left out.
func iccTags(p []byte) (map[string][]byte, error) {
	if len(p) < 132 || string(p[36:40]) != "acsp" {
		return nil, errors.New("it is no ICC profile")
	}
	n := binary.BigEndian.Uint32(p[128:])
	if n > 200 || 132+12*int(n) > len(p) {
		return nil, errors.New("its tag table is cut short")
	}
	tags := map[string][]byte{}
	for i := range int(n) {
		e := p[132+12*i:]
		from, size := int64(binary.BigEndian.Uint32(e[4:])), int64(binary.BigEndian.Uint32(e[8:]))
		if from+size <= int64(len(p)) {
			tags[string(e[:4])] = p[from : from+size]
		}
	}
	return tags, nil
}

// iccLuminance is the Y of an XYZ tag, 0 if there is none.
func iccLuminance(t []byte) float64 {
	if len(t) < 20 || string(t[:4]) != "XYZ " {
		return 0
	}
	return s15Fixed16(t[12:])
}

func s15Fixed16(b []byte) float64 { return float64(int32(binary.BigEndian.Uint32(b))) / 65536 }

// iccCurve reads a curveType or parametricCurveType (ICC.1:2022, 10.6 and 10.18).
func iccCurve(t []byte) (toneCurve, error) {
	if len(t) < 12 {
		return nil, errors.New("it has no tone curve")
	}
	switch string(t[:4]) {
	case "curv":
		return sampledCurve(t)
	case "para":
		return parametricCurve(t)
	}
	return nil, errors.New("its tone curve is of an unknown kind")
}

func sampledCurve(t []byte) (toneCurve, error) {
	n := int64(binary.BigEndian.Uint32(t[8:]))
	if 12+2*n > int64(len(t)) {
		return nil, errors.New("its tone curve is cut short")
	}
	at := func(i int) float64 { return float64(binary.BigEndian.Uint16(t[12+2*i:])) }
	switch n {
	case 0:
		return func(v float64) float64 { return v }, nil
	case 1:
		gamma := at(0) / 256
		return func(v float64) float64 { return math.Pow(v, gamma) }, nil
	}
	last := int(n) - 1
	return func(v float64) float64 {
		x := v * float64(last)
		i := min(int(x), last-1)
		f := x - float64(i)
		return (at(i)*(1-f) + at(i+1)*f) / 65535
	}, nil
}

func parametricCurve(t []byte) (toneCurve, error) {
	kind := binary.BigEndian.Uint16(t[8:])
	counts := []int{1, 3, 4, 5, 7}
	if int(kind) >= len(counts) || len(t) < 12+4*counts[kind] {
		return nil, errors.New("its tone curve is of an unknown kind")
	}
	var p [7]float64
	for i := range counts[kind] {
		p[i] = s15Fixed16(t[12+4*i:])
	}
	g, a, b, c, d, e, f := p[0], p[1], p[2], p[3], p[4], p[5], p[6]
	switch kind {
	case 0:
		return func(x float64) float64 { return math.Pow(x, g) }, nil
	case 1, 2: // c is 0 in kind 1
		return func(x float64) float64 {
			if a*x+b < 0 {
				return c
			}
			return math.Pow(a*x+b, g) + c
		}, nil
	}
	// In kind 3 the straight part is c x; in kind 4 it is c x + f and the curve has e added.
	return func(x float64) float64 {
		if x < d {
			return c*x + f
		}
		return math.Pow(a*x+b, g) + e
	}, nil
}

// checkedCurve refuses what can't be a picture's tone curve, scales white to 1 and holds the rest within 0 to 1.
func checkedCurve(curve toneCurve) (toneCurve, error) {
	const levels = 256
	white := curve(1)
	if !(white > 0.5 && white < 2) {
		return nil, errors.New("its tone curve has no white")
	}
	last := math.Inf(-1)
	for i := range levels {
		v := curve(float64(i) / (levels - 1))
		// A table's rounding may make it step back by one in 65535, no more.
		if math.IsNaN(v) || v < last-1.0/65535 {
			return nil, errors.New("its tone curve runs backwards")
		}
		last = v
	}
	if mid := curve(0.5) / white; mid < 0.02 || mid > 0.8 {
		// From gamma 5.6 to gamma 0.3: nothing that a camera or scanner writes lies outside.
		return nil, errors.New("its tone curve is absurd")
	}
	return func(v float64) float64 { return min(max(curve(v)/white, 0), 1) }, nil
}
