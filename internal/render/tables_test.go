package render

import (
	"bytes"
	"encoding/csv"
	"math"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"portmatch/internal/compare"
)

// spoilt is the marine manifold with port 4 cut off by the frame.
func spoilt(t testing.TB) *compare.Result {
	r := marineManifold(t)
	p := r.Ports[3]
	r.Ports[3] = compare.PortResult{Port: 4, Verdict: compare.NotMeasured, Why: "the photo cuts it off at the right",
		TargetOutline: p.TargetOutline, UnsureArcs: [][2]float64{}}
	return r
}

func TestTableSaysWhatTheResultSays(t *testing.T) {
	for _, u := range []Units{MM, Inch} {
		r := spoilt(t)
		var b bytes.Buffer
		if err := Table(&b, r, u); err != nil {
			t.Fatal(err)
		}
		for _, line := range strings.Split(b.String(), "\n") {
			if n := utf8.RuneCountInString(line); n > 80 && !strings.HasPrefix(line, "Port") {
				t.Errorf("a line of %d columns: %q", n, line)
			}
		}
		for _, p := range r.Ports[:3] {
			for _, want := range []string{u.LengthPM(p.RemoveStep.Quantity), u.LengthPM(p.PastStep.Quantity),
				u.AreaPM(p.RemoveArea), u.AreaPM(p.PastArea), u.LengthPM(*p.LeastLand), p.Verdict, p.RemoveStep.Clock} {
				if !strings.Contains(b.String(), want) {
					t.Errorf("%s: port %d: no %q in\n%s", u, p.Port, want, b.String())
				}
			}
		}
		if !strings.Contains(b.String(), "Port 4: the photo cuts it off at the right") {
			t.Errorf("no reason for the port that was not measured:\n%s", b.String())
		}
	}
}

func TestTableNeverShowsFiguresOfAnUnmeasuredPort(t *testing.T) {
	var b bytes.Buffer
	if err := Table(&b, spoilt(t), MM); err != nil {
		t.Fatal(err)
	}
	for _, line := range strings.Split(b.String(), "\n") {
		if f := strings.Fields(line); len(f) > 1 && f[0] == "4" && strings.ContainsAny(strings.Join(f[1:], ""), "0123456789") {
			t.Errorf("port 4 was not measured, yet: %q", line)
		}
	}
}

func TestCSVEqualsResult(t *testing.T) {
	for _, u := range []Units{MM, Inch} {
		r := spoilt(t)
		var b bytes.Buffer
		if err := CSV(&b, r, u); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(&b).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		if len(rows) != 1+len(r.Ports) {
			t.Fatalf("%d rows for %d ports", len(rows), len(r.Ports))
		}
		column := map[string]int{}
		for i, name := range rows[0] {
			column[name] = i
		}
		k := map[Units]float64{MM: 1, Inch: 25.4}[u] // mm in a unit
		for i, p := range r.Ports[:3] {
			for name, want := range map[string]float64{
				"remove_step_" + string(u):         p.RemoveStep.Value / k,
				"remove_step_u_" + string(u):       p.RemoveStep.Uncertainty / k,
				"remove_step_x_" + string(u):       p.RemoveStep.At[0] / k,
				"remove_step_y_" + string(u):       p.RemoveStep.At[1] / k,
				"past_step_" + string(u):           p.PastStep.Value / k,
				"past_step_u_" + string(u):         p.PastStep.Uncertainty / k,
				"remove_area_" + string(u) + "2":   p.RemoveArea.Value / (k * k),
				"remove_area_u_" + string(u) + "2": p.RemoveArea.Uncertainty / (k * k),
				"past_area_" + string(u) + "2":     p.PastArea.Value / (k * k),
				"mismatch_area_" + string(u) + "2": p.MismatchArea.Value / (k * k),
				"target_area_" + string(u) + "2":   p.TargetArea.Value / (k * k),
				"work_area_" + string(u) + "2":     p.WorkArea.Value / (k * k),
				"least_land_" + string(u):          p.LeastLand.Value / k,
				"area_ratio":                       p.AreaRatio,
				"within_tolerance":                 p.WithinTolerance,
				"conformance":                      p.Conformance,
				"tolerance_" + string(u):           r.ToleranceMM / k,
			} {
				c, ok := column[name]
				if !ok {
					t.Errorf("no column %s", name)
					continue
				}
				got, err := strconv.ParseFloat(rows[1+i][c], 64)
				// In mm to the last digit; in inches up to the rounding of one division.
				if err != nil || math.Abs(got-want) > 1e-15*math.Abs(want)*(k-1) {
					t.Errorf("port %d: %s = %s, the result has %v", p.Port, name, rows[1+i][c], want)
				}
			}
			if v := rows[1+i][column["verdict"]]; v != p.Verdict {
				t.Errorf("port %d: verdict %q, want %q", p.Port, v, p.Verdict)
			}
		}
		for i, cell := range rows[4] {
			switch rows[0][i] {
			case "port", "verdict", "why", "unsure_arcs", "tolerance_" + string(u):
			default:
				if cell != "" {
					t.Errorf("port 4 was not measured, yet %s = %q", rows[0][i], cell)
				}
			}
		}
	}
}
