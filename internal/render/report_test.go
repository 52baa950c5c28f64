package render

import (
	"bytes"
	"errors"
	"fmt"
	"html"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"portmatch/internal/compare"
	"portmatch/internal/geom"
)

// dot is the smallest PNG header that is recognised as one; the report only passes pictures on.
var dot = []byte("\x89PNG\r\n\x1a\n")

func twoPasses(t testing.TB, u Units) Report {
	first, second := marineManifold(t), spoilt(t)
	second.Pass = 2
	second.Ports[0] = measured(t, 1, compare.TooClose, roundedRect(geom.PointMM{X: -133.5}, 50, 34, 12), roundedRect(geom.PointMM{X: -133.4}, 49.8, 33.9, 12))
	rep := Report{Job: "marine four <A&B>", Units: u, Assumed: []string{"The card's check lines read 149.6 and 120.0 mm."}}
	for _, r := range []*compare.Result{first, second} {
		p := ReportPass{Result: r, Overlay: dot, CloseUps: map[int][]byte{}}
		for _, q := range r.Ports {
			p.CloseUps[q.Port] = dot
		}
		rep.Passes = append(rep.Passes, p)
	}
	rep.Dimensions = []Dimension{{Name: "A", What: "between the dowel holes", Length: compare.Quantity{Value: 344.012, Uncertainty: 0.061}}}
	return rep
}

func reportText(t testing.TB, rep Report) string {
	t.Helper()
	var b bytes.Buffer
	if err := HTML(&b, rep); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

var dataElement = regexp.MustCompile(`<data value="([^"]*)" data-of="(\d+)/(\d+)/(\w+)"(?: data-u="([^"]*)")?>([^<]*)</data>(?: ± ([0-9.]+))?`)

// What a third face adds stands in tables of its own, with figures that say which file they are from.
func TestReportOfTheHead(t *testing.T) {
	rep := twoPasses(t, MM)
	last := &rep.Passes[1]
	last.Head, last.TargetHead = marineManifold(t), spoilt(t)
	text := reportText(t, rep)
	for file, r := range map[string]*compare.Result{"head-result": last.Head, "target-head": last.TargetHead} {
		for _, p := range r.Ports {
			if p.Verdict == compare.NotMeasured {
				continue
			}
			want := fmt.Sprintf(`<data value="%s" data-of="%s/2/%d/remove_step" data-u="%s">%s</data>`, exact(p.RemoveStep.Value), file, p.Port,
				exact(p.RemoveStep.Uncertainty), MM.LengthText(p.RemoveStep.Value))
			if !strings.Contains(text, want) {
				t.Errorf("the page has no %s", want)
			}
		}
	}
	if strings.Contains(reportText(t, twoPasses(t, MM)), "head-result") {
		t.Error("a page without a head speaks of one")
	}
}

// Every figure in the report is result.json's to the last digit, and what is shown is that figure as Units shows it.
func TestReportEqualsResult(t *testing.T) {
	for _, u := range []Units{MM, Inch} {
		rep := twoPasses(t, u)
		found := map[string]bool{}
		for _, m := range dataElement.FindAllStringSubmatch(reportText(t, rep), -1) {
			pass, _ := strconv.Atoi(m[2])
			port, _ := strconv.Atoi(m[3])
			p := &rep.Passes[pass-1].Result.Ports[port-1]
			var q compare.Quantity
			shown, shownU := "", ""
			switch m[4] {
			case "remove_step":
				q = p.RemoveStep.Quantity
			case "past_step":
				q = p.PastStep.Quantity
			case "least_land":
				q = *p.LeastLand
			case "remove_area":
				q = p.RemoveArea
			case "past_area":
				q = p.PastArea
			case "mismatch_area":
				q = p.MismatchArea
			case "target_area":
				q = p.TargetArea
			case "work_area":
				q = p.WorkArea
			case "within_tolerance":
				q.Value = p.WithinTolerance
				shown = Percent(p.WithinTolerance)
			case "conformance":
				q.Value = p.Conformance
				shown = Percent(p.Conformance)
			default:
				t.Fatalf("an unknown figure %s", m[4])
			}
			switch {
			case strings.HasSuffix(m[4], "_area"):
				shown, shownU, _ = strings.Cut(u.AreaPM(q), " ± ")
			case shown == "":
				shown, shownU, _ = strings.Cut(u.LengthPM(q), " ± ")
			}
			v, err := strconv.ParseFloat(m[1], 64)
			if err != nil || v != q.Value {
				t.Errorf("%s of port %d in pass %d is %s, the result has %v", m[4], port, pass, m[1], q.Value)
			}
			if m[5] != "" {
				if v, err := strconv.ParseFloat(m[5], 64); err != nil || v != q.Uncertainty {
					t.Errorf("U of %s of port %d in pass %d is %s, the result has %v", m[4], port, pass, m[5], q.Uncertainty)
				}
			}
			if m[6] != shown || m[7] != shownU {
				t.Errorf("%s of port %d in pass %d shown as %q ± %q, want %q ± %q", m[4], port, pass, m[6], m[7], shown, shownU)
			}
			found[m[2]+"/"+m[3]+"/"+m[4]] = true
		}
		// Ten quantities of four ports in pass 1, and of three in pass 2, where port 4 was not measured.
		if len(found) != 70 {
			t.Errorf("%s: %d different figures, want 70", u, len(found))
		}
	}
}

// The page stands alone: nothing is fetched, nothing runs.
func TestReportNeedsNothingElse(t *testing.T) {
	page := reportText(t, twoPasses(t, MM))
	for _, bad := range []string{"http:", "https:", "//", "<script", "@import", "javascript:", "onload", "onclick"} {
		if strings.Contains(page, bad) {
			t.Errorf("the report holds %q", bad)
		}
	}
	for _, m := range regexp.MustCompile(`(?:src|href)="([^"]*)"`).FindAllStringSubmatch(page, -1) {
		if !strings.HasPrefix(m[1], "data:") && !strings.HasPrefix(m[1], "#") {
			t.Errorf("the report points at %q", m[1])
		}
	}
	for _, m := range regexp.MustCompile(`url\(([^)]*)\)`).FindAllStringSubmatch(page, -1) {
		if !strings.HasPrefix(m[1], "#") {
			t.Errorf("the report points at %q", m[1])
		}
	}
	if strings.Contains(page, "ZgotmplZ") {
		t.Error("the template engine took a value for an attack")
	}
	if strings.Contains(page, "<A&B>") || !strings.Contains(page, "&lt;A&amp;B&gt;") {
		t.Error("the job's name is not escaped")
	}
}

// What a screen reader needs: a language, headings without gaps, words for every picture, heads for every table, labels
// for every control, and no id twice.
func TestReportIsAccessible(t *testing.T) {
	page := reportText(t, twoPasses(t, MM))
	if !strings.Contains(page, `<html lang="en">`) {
		t.Error("no language")
	}
	last := 0
	for _, m := range regexp.MustCompile(`<h([1-6])`).FindAllStringSubmatch(page, -1) {
		level, _ := strconv.Atoi(m[1])
		if level > last+1 {
			t.Errorf("heading %d after %d", level, last)
		}
		last = level
	}
	pictures := regexp.MustCompile(`<img [^>]*>`).FindAllString(page, -1)
	if len(pictures) != 2*(1+4) {
		t.Errorf("%d pictures, want one of the face and four of ports in each pass", len(pictures))
	}
	for _, img := range pictures {
		if alt := regexp.MustCompile(`alt="([^"]*)"`).FindStringSubmatch(img); alt == nil || len(alt[1]) < 20 {
			t.Errorf("a picture without words: %.80s", img)
		}
	}
	if svgs, titles := strings.Count(page, "<svg"), strings.Count(page, "<title id="); svgs == 0 || svgs != titles {
		t.Errorf("%d charts, %d titles", svgs, titles)
	}
	for _, th := range regexp.MustCompile(`<th\b[^>]*>`).FindAllString(page, -1) {
		if !strings.Contains(th, "scope=") {
			t.Errorf("a head without scope: %s", th)
		}
	}
	if n := strings.Count(page, "<table"); n != strings.Count(page, "<caption") {
		t.Errorf("%d tables, %d captions", n, strings.Count(page, "<caption"))
	}
	ids := map[string]bool{}
	for _, m := range regexp.MustCompile(` id="([^"]*)"`).FindAllStringSubmatch(page, -1) {
		if ids[m[1]] {
			t.Errorf("id %s twice", m[1])
		}
		ids[m[1]] = true
	}
	for _, m := range regexp.MustCompile(`<input [^>]*>`).FindAllString(page, -1) {
		id := regexp.MustCompile(` id="([^"]*)"`).FindStringSubmatch(m)
		if !strings.Contains(m, "aria-label") && (id == nil || !strings.Contains(page, `for="`+id[1]+`"`)) {
			t.Errorf("a control without a label: %s", m)
		}
	}
}

func TestReportSaysWhatMatters(t *testing.T) {
	rep := twoPasses(t, MM)
	page := html.UnescapeString(reportText(t, rep))
	want := append(safety(), "344.01 ± 0.07", "the photo cuts it off at the right", "The card's check lines read 149.6", "lined up on their dowels",
		"only two strips, on one side of the part", "lay one strip above and one below the part", "k = 2")
	for _, p := range rep.Passes[1].Result.Ports {
		want = append(want, fmt.Sprintf("Port %d: %s", p.Port, p.Verdict), verdictWords(&p, 0.25, MM))
	}
	for _, s := range want {
		if !strings.Contains(page, s) {
			t.Errorf("the report doesn't say %q", s)
		}
	}
	for _, s := range safety() {
		if n := strings.Count(page, s); n != 1 {
			t.Errorf("%q stands %d times in the report, want once", s, n)
		}
	}
	var none *NoPassError
	if err := HTML(&bytes.Buffer{}, Report{Job: "empty"}); !errors.As(err, &none) {
		t.Errorf("no pass: %v, want a NoPassError", err)
	}
}

// The chart's line stands at the step: read back from the drawing, its peak is the largest step and its place the step's.
func TestChartShowsTheSteps(t *testing.T) {
	r := marineManifold(t)
	p := &r.Ports[1] // grind and past
	svg := string(stripChart([]*compare.PortResult{p}, r.ToleranceMM, MM, "s", "a chart"))
	line := regexp.MustCompile(`<polyline class="now" points="([^"]*)"`).FindStringSubmatch(svg)
	band := regexp.MustCompile(`<rect class="band" x="[^"]*" y="([^"]*)" width="[^"]*" height="([^"]*)"`).FindStringSubmatch(svg)
	if line == nil || band == nil {
		t.Fatalf("no line or no band in %.200s", svg)
	}
	// The band is 0.5 mm high, its middle is 0.
	y0, _ := strconv.ParseFloat(band[1], 64)
	h, _ := strconv.ParseFloat(band[2], 64)
	top, bottom, atTop := math.Inf(-1), math.Inf(1), 0.0
	for _, pair := range strings.Fields(line[1]) {
		var x, y float64
		if _, err := fmt.Sscanf(pair, "%g,%g", &x, &y); err != nil {
			t.Fatal(err)
		}
		step := (y0 + h/2 - y) / h * 0.5
		if step > top {
			top, atTop = step, (x-plotLeft)/(plotRight-plotLeft)*outlineOf(p.TargetOutline).PerimeterMM()
		}
		bottom = math.Min(bottom, step)
	}
	// A tenth of the view box's unit is 0.002 mm here, and the profile has a point each 0.5 mm.
	if math.Abs(top-p.RemoveStep.Value) > 0.02 || math.Abs(bottom+p.PastStep.Value) > 0.02 {
		t.Errorf("the chart runs from %.3f to %.3f mm, the result has %.3f and -%.3f", bottom, top, p.RemoveStep.Value, p.PastStep.Value)
	}
	place := stretch(outlineOf(p.TargetOutline), atTop, atTop)[0]
	if d := place.Dist(geom.PointMM{X: p.RemoveStep.At[0], Y: p.RemoveStep.At[1]}); d > 1 {
		t.Errorf("the chart's peak is %.2f mm from the step's place", d)
	}
}

// On a circle the hours stand a twelfth of the way round apart, from 3 o'clock at the start backwards.
func TestClockTicks(t *testing.T) {
	c := circle(geom.PointMM{X: 7, Y: -3}, 20)
	ticks := clockTicks(&compare.PortResult{TargetOutline: pairs(c)})
	if len(ticks) != 12 {
		t.Fatalf("%d ticks: %v", len(ticks), ticks)
	}
	for _, k := range ticks {
		want := math.Mod(float64(3-k.hour+12), 12) / 12 * c.PerimeterMM()
		if d := math.Abs(k.alongMM - want); d > 0.1 && c.PerimeterMM()-d > 0.1 {
			t.Errorf("%d o'clock at %.2f mm, want %.2f", k.hour, k.alongMM, want)
		}
	}
}

// A chart of thousands of points keeps its peaks.
func TestThinnedKeepsPeaks(t *testing.T) {
	var run []compare.ProfilePoint
	for i := range 5000 {
		run = append(run, compare.ProfilePoint{AlongMM: float64(i), StepMM: 0.1, Sure: true})
	}
	run[3333].StepMM, run[1234].StepMM = 2, -3
	kept := thinned(run)
	var high, low float64
	for _, q := range kept {
		high, low = math.Max(high, q.StepMM), math.Min(low, q.StepMM)
	}
	if len(kept) > 400 || high != 2 || low != -3 || kept[0] != run[0] || kept[len(kept)-1] != run[4999] {
		t.Errorf("%d points kept, from %g to %g", len(kept), low, high)
	}
}
