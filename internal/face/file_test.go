package face

import (
	"bytes"
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"

	"portmatch/internal/geom"
	"portmatch/internal/prose"
)

func sample() *Face {
	e := Edge{
		Outline: []geom.PointMM{{X: 0, Y: 0}, {X: 30, Y: 0}, {X: 30, Y: 20}, {X: 0, Y: 20}},
		SigmaMM: []float64{0.01, 0.02, 0.01, 0.01}, BiasMM: []float64{0, 0.03, 0.03, 0}, CorrMM: 0.8,
		Sure: []bool{true, false, false, true},
	}
	part := e
	part.Sure = []bool{false, true, true, false}
	return &Face{
		Ports:       []Port{{Number: 1, Edge: e}, {Number: 2, Edge: e, CutByFrame: true}},
		Holes:       []Hole{{geom.PointMM{X: -5.125, Y: 10}, 9, 0.01, 0.02}},
		PartOutline: part,
		Fields:      []geom.Field{{Name: "height", CentreMM: geom.PointMM{X: 1, Y: 2}, ScaleMM: 100, X: [10]float64{1: 0.1}, Y: [10]float64{2: 0.1}}},
		Calibration: Calibration{Photo: "g.jpg", ReprojectionRMSPx: 0.1, Strips: []int{1, 2}, TiltDeg: 8, MMPerPx: 0.1, HeightMM: 1.2},
		Warnings:    []Warning{Warn("g.jpg", prose.Sprintf("what, %v", prose.PM(1.234, 0.06)), prose.Sprintf("try %v", prose.MM(3, 1)))},
	}
}

func TestFileRoundTrip(t *testing.T) {
	var b bytes.Buffer
	if err := Encode(&b, sample()); err != nil {
		t.Fatal(err)
	}
	got, err := Decode(&b)
	if err != nil {
		t.Fatal(err)
	}
	if want := sample(); !reflect.DeepEqual(got, want) {
		t.Errorf("after a round trip\n%+v\nwant\n%+v", got, want)
	}
}

func TestDecodeWithoutUncertainty(t *testing.T) {
	f, err := Decode(strings.NewReader(`{"schema":1,"units":"mm","ports":[{"port":1,"outline":[[0,0],[1,0],[0,1]]}]}`))
	if err != nil {
		t.Fatal(err)
	}
	e := f.Ports[0].Edge
	if len(e.SigmaMM) != 3 || len(e.BiasMM) != 3 || e.SigmaMM[0] != 0 || !e.Sure[2] {
		t.Errorf("a plain outline is exact and sure everywhere; got %+v", e)
	}
}

func TestDecodeRefuses(t *testing.T) {
	const port = `"ports":[{"port":1,"outline":[[0,0],[1,0],[0,1]]`
	for text, want := range map[string]error{
		``:             ErrNotTrace,
		`{}`:           ErrNotTrace,
		`[1]`:          ErrNotTrace,
		`{"schema":2}`: ErrNewerSchema,
		`{"schema":1,"units":"in",` + port + `}]}`:                                                       ErrBadTrace,
		`{"schema":1,"units":"mm","ports":[]}`:                                                           ErrBadTrace,
		`{"schema":1,"units":"mm","ports":[{"port":1,"outline":[[0,0],[1,0]]}]}`:                         ErrBadTrace,
		`{"schema":1,"units":"mm","ports":[{"port":0,"outline":[[0,0],[1,0],[0,1]]}]}`:                   ErrBadTrace,
		`{"schema":1,"units":"mm","ports":[{"port":1,"outline":[[0,0],[1e9,0],[0,1]]}]}`:                 ErrBadTrace,
		`{"schema":1,"units":"mm",` + port + `,"sigma":[1]}]}`:                                           ErrBadTrace,
		`{"schema":1,"units":"mm",` + port + `,"sigma":[0,-1,0]}]}`:                                      ErrBadTrace,
		`{"schema":1,"units":"mm",` + port + `,"unsure":[[2,3]]}]}`:                                      ErrBadTrace,
		`{"schema":1,"units":"mm",` + port + `}],"holes":[{"x":0,"y":0}]}`:                               ErrBadTrace,
		`{"schema":1,"units":"mm",` + port + `}],"fields":[{"name":"height"}]}`:                          ErrBadTrace,
		`{"schema":1,"units":"mm",` + port + `}],"part_outline":[[0,0]]}`:                                ErrBadTrace,
		`{"schema":1,"units":"mm",` + port + `}],"fields":[{"name":"height","scale_mm":1,"x":[1e300]}]}`: ErrBadTrace,
	} {
		if f, err := Decode(strings.NewReader(text)); !errors.Is(err, want) {
			t.Errorf("Decode(%s) = %v, %v; want %v", text, f, err, want)
		}
	}
}

func TestDecodeTurnsClockwiseOutlines(t *testing.T) {
	f, err := Decode(strings.NewReader(`{"schema": 1, "units": "mm", "ports": [{"port": 1,
		"outline": [[0, 0], [0, 4], [3, 4]], "sigma": [0.1, 0.2, 0.3], "unsure": [[2, 2]]}]}`))
	if err != nil {
		t.Fatal(err)
	}
	e := f.Ports[0].Edge
	if a := geom.Outline(e.Outline).SignedAreaMM2(); a != 6 { // 3 · 4 / 2
		t.Errorf("area %g, want 6", a)
	}
	if e.Outline[0] != (geom.PointMM{X: 3, Y: 4}) || e.SigmaMM[0] != 0.3 || e.Sure[0] || !e.Sure[1] {
		t.Errorf("the values did not turn with their points: %+v", e)
	}
}

func FuzzDecode(f *testing.F) {
	var b bytes.Buffer
	if err := Encode(&b, sample()); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add([]byte(`{"schema":1,"units":"mm","ports":[{"port":1,"outline":[[0,0],[1,0],[0,1]],"unsure":[[0,0]]}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		g, err := Decode(bytes.NewReader(data))
		if err != nil {
			return
		}
		for _, p := range g.Ports {
			n := len(p.Outline)
			if n < 3 || len(p.SigmaMM) != n || len(p.BiasMM) != n || len(p.Sure) != n {
				t.Fatalf("port %d: %d points, %d sigma, %d bias, %d sure", p.Number, n, len(p.SigmaMM), len(p.BiasMM), len(p.Sure))
			}
			for i, q := range p.Outline {
				if math.IsNaN(q.X+q.Y) || math.IsNaN(p.SigmaMM[i]) {
					t.Fatal("NaN got through")
				}
			}
		}
	})
}
