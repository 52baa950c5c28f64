package face

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"

	"portmatch/internal/geom"
)

// Schema is the version of the trace file that Encode writes.
const Schema = 1

// What can be wrong with a trace file; Decode's errors match one of these with errors.Is.
var (
	ErrNotTrace    = errors.New("not a trace file")
	ErrNewerSchema = errors.New("trace file of a newer version")
	ErrBadTrace    = errors.New("trace file with impossible content")
)

// Limits of what Decode accepts: beyond any part that is photographed in one picture.
const (
	maxFileBytes = 64 << 20
	maxReachMM   = 5000
	maxOpenings  = 1000
	maxPoints    = 200_000 // of one outline
)

// The file's form. A port's sigma and bias are standard uncertainties normal to the edge, one a vertex, mm; unsure lists
// the vertices, from-to inclusive, where no trustworthy edge was found.
type (
	traceFile struct {
		Schema      int          `json:"schema"`
		Units       string       `json:"units"`
		Calibration Calibration  `json:"calibration"`
		Ports       []tracePort  `json:"ports"`
		Holes       []traceHole  `json:"holes"`
		PartOutline [][2]float64 `json:"part_outline"`
		PartEdge    *traceEdge   `json:"part_edge,omitempty"`
		Fields      []geom.Field `json:"fields,omitempty"`
		Warnings    []Warning    `json:"warnings"`
	}
	tracePort struct {
		Port    int          `json:"port"`
		Outline [][2]float64 `json:"outline"`
		traceEdge
		CutByFrame bool `json:"cut_by_frame,omitempty"`
	}
	traceEdge struct {
		Sigma  []float64 `json:"sigma"`
		Bias   []float64 `json:"bias,omitempty"`
		CorrMM float64   `json:"corr_mm,omitempty"`
		Unsure [][2]int  `json:"unsure,omitempty"`
	}
	traceHole struct {
		X             float64 `json:"x"`
		Y             float64 `json:"y"`
		Diameter      float64 `json:"diameter"`
		Sigma         float64 `json:"sigma"`
		SigmaDiameter float64 `json:"sigma_diameter,omitempty"`
	}
)

// Encode writes f as a trace file: JSON, mm, in the face frame, rounded to 1e-5 mm, a thousandth of what is measured.
func Encode(w io.Writer, f *Face) error {
	t := traceFile{Schema: Schema, Units: "mm", Calibration: f.Calibration, Fields: f.Fields, Warnings: f.Warnings,
		Ports: []tracePort{}, Holes: []traceHole{}, PartOutline: pairs(f.PartOutline.Outline)}
	if t.Warnings == nil {
		t.Warnings = []Warning{}
	}
	for _, p := range f.Ports {
		t.Ports = append(t.Ports, tracePort{Port: p.Number, Outline: pairs(p.Outline), traceEdge: edgeOut(p.Edge), CutByFrame: p.CutByFrame})
	}
	for _, h := range f.Holes {
		t.Holes = append(t.Holes, traceHole{round(h.Centre.X), round(h.Centre.Y), round(h.DiameterMM), round(h.SigmaCentreMM), round(h.SigmaDiameterMM)})
	}
	if len(f.PartOutline.Outline) > 0 {
		e := edgeOut(f.PartOutline)
		t.PartEdge = &e
	}
	return json.NewEncoder(w).Encode(t)
}

// Decode reads a trace file. Uncertainties that the file doesn't give are taken as 0: an outline drawn by hand or by a
// program is exact as it stands. Outlines come back anticlockwise, whichever way the file has them.
func Decode(r io.Reader) (*Face, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxFileBytes+1))
	if err != nil {
		return nil, err
	}
	if len(data) > maxFileBytes {
		return nil, fmt.Errorf("%w: larger than %d MB", ErrNotTrace, maxFileBytes>>20)
	}
	var t traceFile
	if err := json.Unmarshal(data, &t); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrNotTrace, err)
	}
	switch {
	case t.Schema > Schema:
		return nil, fmt.Errorf("%w: it has version %d, this portmatch reads up to %d", ErrNewerSchema, t.Schema, Schema)
	case t.Schema < 1:
		return nil, fmt.Errorf("%w: it has no schema version", ErrNotTrace)
	case t.Units != "mm":
		return nil, fmt.Errorf("%w: its units are %q, only mm is known", ErrBadTrace, t.Units)
	case len(t.Ports) == 0:
		return nil, fmt.Errorf("%w: it holds no port", ErrBadTrace)
	}
	f := &Face{Calibration: t.Calibration, Fields: t.Fields, Warnings: t.Warnings}
	numbers := make(map[int]bool)
	for _, p := range t.Ports {
		if p.Port < 1 || numbers[p.Port] {
			return nil, fmt.Errorf("%w: port number %d twice, or not 1 or more", ErrBadTrace, p.Port)
		}
		numbers[p.Port] = true
		e, err := edgeIn(p.Outline, p.traceEdge)
		if err != nil {
			return nil, fmt.Errorf("%w: port %d: %w", ErrBadTrace, p.Port, err)
		}
		f.Ports = append(f.Ports, Port{Number: p.Port, Edge: e, CutByFrame: p.CutByFrame})
	}
	if len(t.Holes) > maxOpenings || len(t.Ports) > maxOpenings || len(t.Fields) > maxOpenings {
		return nil, fmt.Errorf("%w: %d ports, %d holes and %d fields", ErrBadTrace, len(t.Ports), len(t.Holes), len(t.Fields))
	}
	for i, h := range t.Holes {
		if !reachable(h.X) || !reachable(h.Y) || !(h.Diameter > 0 && h.Diameter < maxReachMM) || !sigma(h.Sigma) || !sigma(h.SigmaDiameter) {
			return nil, fmt.Errorf("%w: hole %d: x %g, y %g, diameter %g", ErrBadTrace, i+1, h.X, h.Y, h.Diameter)
		}
		f.Holes = append(f.Holes, Hole{geom.PointMM{X: h.X, Y: h.Y}, h.Diameter, h.Sigma, h.SigmaDiameter})
	}
	if len(t.PartOutline) > 0 {
		var te traceEdge
		if t.PartEdge != nil {
			te = *t.PartEdge
		}
		if f.PartOutline, err = edgeIn(t.PartOutline, te); err != nil {
			return nil, fmt.Errorf("%w: the part's outline: %w", ErrBadTrace, err)
		}
	}
	for _, fd := range f.Fields {
		if !(fd.ScaleMM > 0) || !reachable(fd.CentreMM.X) || !reachable(fd.CentreMM.Y) {
			return nil, fmt.Errorf("%w: field %q has no scale", ErrBadTrace, fd.Name)
		}
		for i := range fd.X {
			if !reachable(fd.X[i]) || !reachable(fd.Y[i]) {
				return nil, fmt.Errorf("%w: field %q displaces by (%g, %g) mm", ErrBadTrace, fd.Name, fd.X[i], fd.Y[i])
			}
		}
	}
	return f, nil
}

func edgeOut(e Edge) traceEdge {
	t := traceEdge{Sigma: rounded(e.SigmaMM), Bias: rounded(e.BiasMM), CorrMM: e.CorrMM}
	for i := 0; i < len(e.Sure); i++ {
		if e.Sure[i] {
			continue
		}
		from := i
		for i+1 < len(e.Sure) && !e.Sure[i+1] {
			i++
		}
		t.Unsure = append(t.Unsure, [2]int{from, i})
	}
	return t
}

func edgeIn(outline [][2]float64, t traceEdge) (Edge, error) {
	n := len(outline)
	if n < 3 {
		return Edge{}, fmt.Errorf("%d points enclose nothing", n)
	}
	if n > maxPoints {
		return Edge{}, fmt.Errorf("%d points are more than the %d there may be", n, maxPoints)
	}
	e := Edge{CorrMM: t.CorrMM, Sure: make([]bool, n)}
	for i, p := range outline {
		if !reachable(p[0]) || !reachable(p[1]) {
			return Edge{}, fmt.Errorf("point %d is (%g, %g) mm", i+1, p[0], p[1])
		}
		e.Outline = append(e.Outline, geom.PointMM{X: p[0], Y: p[1]})
		e.Sure[i] = true
	}
	if !(t.CorrMM >= 0 && t.CorrMM < maxReachMM) {
		return Edge{}, fmt.Errorf("corr_mm is %g", t.CorrMM)
	}
	var err error
	if e.SigmaMM, err = sigmas("sigma", t.Sigma, n); err != nil {
		return Edge{}, err
	}
	if e.BiasMM, err = sigmas("bias", t.Bias, n); err != nil {
		return Edge{}, err
	}
	for _, u := range t.Unsure {
		if u[0] < 0 || u[1] >= n || u[0] > u[1] {
			return Edge{}, fmt.Errorf("unsure stretch %d to %d of %d points", u[0], u[1], n)
		}
		for i := u[0]; i <= u[1]; i++ {
			e.Sure[i] = false
		}
	}
	if geom.Outline(e.Outline).SignedAreaMM2() < 0 {
		slices.Reverse(e.Outline)
		slices.Reverse(e.SigmaMM)
		slices.Reverse(e.BiasMM)
		slices.Reverse(e.Sure)
	}
	return e, nil
}

func sigmas(name string, v []float64, n int) ([]float64, error) {
	if len(v) == 0 {
		return make([]float64, n), nil
	}
	if len(v) != n {
		return nil, fmt.Errorf("%d values of %s for %d points", len(v), name, n)
	}
	for i, s := range v {
		if !sigma(s) {
			return nil, fmt.Errorf("%s of point %d is %g", name, i+1, s)
		}
	}
	return v, nil
}

func reachable(v float64) bool { return math.Abs(v) <= maxReachMM } // false for NaN
func sigma(v float64) bool     { return v >= 0 && v <= maxReachMM }

func round(mm float64) float64 { return math.Round(mm*1e5) / 1e5 }

func rounded(mm []float64) []float64 {
	if mm == nil {
		return nil
	}
	out := make([]float64, len(mm))
	for i, v := range mm {
		out[i] = round(v)
	}
	return out
}

func pairs(o []geom.PointMM) [][2]float64 {
	out := make([][2]float64, len(o))
	for i, p := range o {
		out[i] = [2]float64{round(p.X), round(p.Y)}
	}
	return out
}
