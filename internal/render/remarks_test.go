package render

import (
	"bytes"
	"strings"
	"testing"

	"portmatch/internal/compare"
)

// TestRemarks holds the sentences against the figures they show; inches are mm over 25.4.
func TestRemarks(t *testing.T) {
	q := func(v, u float64) compare.Quantity { return compare.Quantity{Value: v, Uncertainty: u} }
	spot := func(clock string, v float64) compare.Spot {
		return compare.Spot{Step: compare.Step{Quantity: q(v, 0.04), Clock: clock}}
	}
	r := &compare.Result{Pass: 2, ToleranceMM: 0.25,
		Ports: []compare.PortResult{{Port: 1, Verdict: compare.PastLine,
			RemoveStep: compare.Step{Quantity: q(0.62, 0.31), Clock: "3:15"},
			Flow:       &compare.FlowResult{RemoveStep: compare.Ledge, PastStep: compare.Lip, AreaRatio: 1.143, Change: "expansion", Loss: [2]float64{0.0157, 0.0157}},
			Blend:      &compare.BlendResult{DepthMM: 15, Volume: q(1407.8, 89.2)}}},
		Progress: []compare.Progress{{Port: 1, Since: 1, Taken: q(196.2, 3.01), MostTaken: compare.Step{Quantity: q(2.05, 0.06), Clock: "6:30"},
			Past:    []compare.Spot{spot("1:30", 0.6)},
			Unmoved: []compare.Spot{spot("9:00", 0.5), spot("10:00", 0.4), spot("11:00", 0.3), spot("12:00", 0.28), spot("12:30", 0.27)}}},
		Float: &compare.FloatResult{PlayMM: [2]float64{0.5, 0.25}, TurnDeg: 0.191, Push: [2]float64{0.3, -0.1}, PushTurnDeg: 0.05,
			RemoveArea: 100, RemoveAreaBest: 80, Ports: []compare.FloatPort{{Port: 1, WorstRemove: q(0.9, 0.05), WorstPast: q(1.1, 0.05)}}},
	}
	for _, c := range []struct {
		u    Units
		says []string
	}{
		{MM, []string{"The step to remove is known only roughly, ± 0.31 mm: its edge is hard to see at 3:15.", "Since pass 1: 196.2 ± 3.1 mm² taken off, most at 6:30 (2.05 ± 0.06 mm deep).", "Past the line: 1:30 by 0.60 ± 0.04 mm.",
			"12:00 by 0.28 ± 0.04 mm and 1 spot more", "a ledge to the flow", "a lip;", "1.143 times", "loss coefficient 0.016", "15.00 mm down the runner",
			"1408 ± 90 mm³", "at most 0.90 ± 0.05", "0.50 mm each way along, 0.25 mm across, and turn 0.191°", "80.0 instead of 100.0 mm²", "0.30 mm right and 0.10 mm down",
			compare.FlowLimits}},
		{Inch, []string{"known only roughly, ± 0.012 in", "0.304 ± 0.005 in² taken off", "0.591 in down the runner", "0.0859 ± 0.0055 in³", "0.020 in each way along"}},
	} {
		var b bytes.Buffer
		if err := Table(&b, r, c.u); err != nil {
			t.Fatal(err)
		}
		for _, s := range c.says {
			if !strings.Contains(b.String(), s) {
				t.Errorf("in %s nothing says %q:\n%s", c.u, s, b.String())
			}
		}
		var page bytes.Buffer
		if err := HTML(&page, Report{Job: "x", Units: c.u, Passes: []ReportPass{{Result: r}}}); err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(page.String(), "taken off") || !strings.Contains(page.String(), "The joint as a whole") {
			t.Errorf("the report in %s has no remarks", c.u)
		}
	}
	r.Float = &compare.FloatResult{Fixed: true, Why: "two dowels fix the parts"}
	if s := faceRemarks(r, MM)[0]; s != "The parts can't move on their bolts: two dowels fix the parts." {
		t.Errorf("fixed parts: %q", s)
	}
	if s := MM.LengthPM(q(0, 0)); s != "0.00 ± 0.00" {
		t.Errorf("nothing at all reads %q", s)
	}
}
