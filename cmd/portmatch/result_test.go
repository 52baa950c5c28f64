package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"testing"

	"portmatch/internal/compare"
	"portmatch/internal/face"
	"portmatch/internal/job"
	"portmatch/internal/render"
)

// sampleResult holds something of everything that a result.json may hold.
func sampleResult() *compare.Result {
	q := func(v float64) compare.Quantity { return compare.Quantity{Value: v, Uncertainty: 0.1} }
	step := compare.Step{Quantity: q(1), At: [2]float64{10, 0}, Clock: "3:00"}
	square := func(x, half float64) [][2]float64 {
		return [][2]float64{{x + half, -half}, {x + half, half}, {x - half, half}, {x - half, -half}}
	}
	port := func(n int, x float64) compare.PortResult {
		land := q(5)
		return compare.PortResult{Port: n, Verdict: compare.Grind, TargetArea: q(400), WorkArea: q(324), RemoveArea: q(76), MismatchArea: q(76),
			RemoveStep: step, WithinTolerance: 0.1, AreaRatio: 0.81, LeastLand: &land,
			Lands: []compare.Land{{Quantity: land, To: "a hole", At: [2]float64{x, 10}, End: [2]float64{x, 15}, Now: 5}},
			Flow:  &compare.FlowResult{Direction: "into-work", RemoveStep: "lip", PastStep: "ledge", AreaRatio: 0.81, Change: "contraction"},
			Blend: &compare.BlendResult{DepthMM: 15, Volume: q(500), Line: []compare.BlendPoint{{AlongMM: 1, At: [2]float64{x + 9, 0}, DepthMM: 3}}},
			// The unsure stretch is the side at the left.
			UnsureArcs: [][2]float64{{30, 50}}, TargetOutline: square(x, 10), WorkOutline: square(x, 9),
			Profile: []compare.ProfilePoint{{AlongMM: 0, At: [2]float64{x + 10, 0}, StepMM: 1, UMM: 0.1, Sure: true}, {AlongMM: 40, At: [2]float64{x - 10, 0}, StepMM: 1, UMM: 0.1}}}
	}
	return &compare.Result{Schema: 1, Pass: 2, Units: "mm", ToleranceMM: 0.25,
		Calibration: []face.Calibration{{Photo: "work", Strips: []int{1}, CameraHeightMM: 500, MMPerPx: 0.1}},
		Alignment:   compare.Alignment{On: "dowels", ScaleCheck: 1, JobFromTarget: [6]float64{1, 0, 0, 0, 1, 0}, JobFromWork: [6]float64{1, 0, 0, 0, 1, 0}},
		Ports:       []compare.PortResult{port(1, -30), port(2, 30)},
		Holes:       []compare.HoleResult{{X: -50, TargetDiameter: 8, WorkDiameter: 8, Kind: "dowel"}, {X: 50, WorkDiameter: 9, Kind: "bolt"}},
		PartOutline: [][2]float64{{-60, -20}, {60, -20}, {60, 20}, {-60, 20}},
		Warnings:    []face.Warning{{Photo: "work", What: "one strip only", Try: "use two"}},
		Dimensions:  []compare.Dimension{{Name: "A", What: "over the dowels", From: [2]float64{-54, 0}, To: [2]float64{54, 0}, Value: q(108)}},
		Float:       &compare.FloatResult{PlayMM: [2]float64{0.2, 0.2}, Ports: []compare.FloatPort{{Port: 1, WorstRemove: q(1.2)}}},
		Progress: []compare.Progress{{Port: 1, Since: 1, Taken: q(20), MostTaken: step,
			Unmoved: []compare.Spot{{FromMM: 1, ToMM: 4, Step: step}}}},
	}
}

func TestStoredResultIsRead(t *testing.T) {
	data, err := json.Marshal(sampleResult())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := decodeResult("result.json", data); err != nil {
		t.Error(err)
	}
	for _, c := range [][2]string{
		{`"schema":1`, `"schema":2`}, {`"verdict":"grind"`, `"verdict":"fine"`}, {`"port":2`, `"port":1`}, {`"port":2`, `"port":-1`},
		{`[40,-10]`, `[1e7,-10]`}, {`"value":324`, `"value":1e300`}, {`"value":324`, `"value":1e999`}, {`"tolerance_mm":0.25`, `"tolerance_mm":"a"`},
	} {
		bad := bytes.Replace(data, []byte(c[0]), []byte(c[1]), 1)
		if bytes.Equal(bad, data) {
			t.Fatalf("the sample holds no %s", c[0])
		}
		if _, err := decodeResult("result.json", bad); statusOf(err) != statusFile {
			t.Errorf("%s instead of %s: %v", c[1], c[0], err)
		}
	}
}

// FuzzResult: whatever a result.json holds, it is refused in words, or every kind of output can be made from it or says why not.
func FuzzResult(f *testing.F) {
	whole, err := json.Marshal(sampleResult())
	if err != nil {
		f.Fatal(err)
	}
	f.Add(whole)
	small := sampleResult()
	small.Ports, small.Float, small.Progress, small.Dimensions = small.Ports[:1], nil, nil, nil
	small.Ports[0].Lands, small.Ports[0].Blend, small.Ports[0].Flow, small.Ports[0].Profile = nil, nil, nil, nil
	data, err := json.Marshal(small)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(data)
	f.Add([]byte(`{"schema":1,"ports":[{"port":1,"verdict":"not measured"}]}`))
	f.Add([]byte(`{"schema":1,"ports":[{"port":1,"verdict":"matched","target_outline":[[0,0]],"work_outline":[[0,0],[0,0],[1,1]],"unsure_arcs":[[1e9,-1e9]]}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := decodeResult("result.json", data)
		if err != nil {
			if as := new(fileError); !errors.As(err, &as) {
				t.Fatalf("%T: %v", err, err)
			}
			return
		}
		drawAll(t, r)
	})
}

// drawAll makes everything that is made from a stored result.
func drawAll(t *testing.T, r *compare.Result) {
	t.Helper()
	m, err := mapOptions(job.Settings{Units: "mm"})
	if err != nil {
		t.Fatal(err)
	}
	closeUps := make(map[int][]byte)
	for name, draw := range map[string]func(io.Writer) error{
		"table": func(w io.Writer) error { return render.Table(w, r, render.MM) },
		"heads": func(w io.Writer) error { return render.HeadTables(w, r, r, render.MM) },
		"csv":   func(w io.Writer) error { return render.CSV(w, r, render.Inch) },
		"svg":   func(w io.Writer) error { return render.SVG(w, r, render.OutlineOptions{}) },
		"dxf":   func(w io.Writer) error { return render.DXF(w, r, render.OutlineOptions{}) },
		"map": func(w io.Writer) error {
			return render.Map(w, r, m)
		},
		"report": func(w io.Writer) error {
			return render.HTML(w, render.Report{Job: "job", Units: render.MM, Passes: []render.ReportPass{{Result: r, Head: r, TargetHead: r, CloseUps: closeUps}}})
		},
	} {
		if err := draw(io.Discard); err != nil && statusOf(err) == statusFailed {
			t.Errorf("%s: %v", name, err)
		}
	}
	if progress := compare.ProgressSince(r, r); len(progress) != len(r.Ports) {
		t.Errorf("progress of %d ports, want %d", len(progress), len(r.Ports))
	}
}
