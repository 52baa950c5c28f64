package main

import (
	"image"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"portmatch/internal/compare"
)

// TestHeadGasketManifold compares three faces in one run: the gasket would have the manifold ground past the head at port 3.
func TestHeadGasketManifold(t *testing.T) {
	dir := t.TempDir()
	gasket := trueTrace(t, dir, "gasket")
	jobDir := filepath.Join(dir, "job")
	status, table, stderr := portmatch(t, "match", "--target", gasket, "--head", scenes()["head"].file, "--work", scenes()["manifold-before"].file,
		"--aim", "union", "--flow", "out-of-work", "--blend-depth", "15", "--stud", "8", "--job", jobDir)
	if status != 0 {
		t.Fatalf("status %d\n%s", status, stderr)
	}
	if !strings.Contains(stderr, "port 3: the head's opening is smaller") {
		t.Errorf("nothing is said of port 3:\n%s", stderr)
	}
	if again := must(t, "show", "--job", jobDir); !strings.Contains(table, "What to grind on the head") || !strings.HasSuffix(again, table) {
		t.Errorf("match says\n%s\nand show\n%s", table, again)
	}
	var th, work, head compare.Result
	readJSON(t, filepath.Join(jobDir, "pass-1", "target-head.json"), &th)
	readJSON(t, filepath.Join(jobDir, "pass-1", "result.json"), &work)
	readJSON(t, filepath.Join(jobDir, "pass-1", "head-result.json"), &head)
	// Ray-traced truth, testdata/truth/gasket-head.pair.truth.json; the job frame here is the manifold's, as in the truth.
	var want truthPair
	readJSON(t, filepath.Join(root, "testdata/truth/gasket-head.pair.truth.json"), &want)
	if len(th.Ports) != 4 || len(work.Ports) != 4 || len(head.Ports) != 4 {
		t.Fatalf("%d, %d, %d ports, want 4", len(th.Ports), len(work.Ports), len(head.Ports))
	}
	for i, p := range th.Ports {
		if got, w := p.PastStep.Value, want.Ports[i].Past; math.Abs(got-w) > 0.10 {
			t.Errorf("port %d: the head stands %.3f mm beyond the gasket, want %.3f ± 0.10", p.Port, got, w)
		}
		if got, w := p.RemoveStep.Value, want.Ports[i].Remove; math.Abs(got-w) > 0.10 {
			t.Errorf("port %d: the head stands %.3f mm inside the gasket's opening, want %.3f ± 0.10", p.Port, got, w)
		}
	}
	// Closed form: what the manifold loses and what the head loses are the two halves of |M Δ H|.
	for i := range work.Ports {
		m, h := work.Ports[i], head.Ports[i]
		both := m.RemoveArea.Value + h.RemoveArea.Value
		if diff := math.Abs(both - m.MismatchArea.Value); diff > 0.01*m.TargetArea.Value {
			t.Errorf("port %d: %.2f + %.2f mm² to remove, the openings differ by %.2f", m.Port, m.RemoveArea.Value, h.RemoveArea.Value, m.MismatchArea.Value)
		}
		if m.Flow == nil || m.Blend == nil || m.Blend.DepthMM != 15 {
			t.Errorf("port %d has no flow or blend: %+v, %+v", m.Port, m.Flow, m.Blend)
		}
	}
	if work.Float == nil {
		t.Error("nothing is said of the play of the bolts")
	}
	if b, err := os.ReadFile(filepath.Join(jobDir, "pass-1", "head-map.pdf")); err != nil || !strings.HasPrefix(string(b), "%PDF-") {
		t.Errorf("there is no map for the head: %v", err)
	}
}

// A photo that is refused needs its stages more than any other: they are written as far as it got.
func TestStagesOfARefusal(t *testing.T) {
	dir := t.TempDir()
	debug := filepath.Join(dir, "stages")
	status, _, _ := portmatch(t, "match", "--target", scenes()["throttle-gasket"].file, "--target-height", "0.8", "--work", scenes()["head"].file,
		"--job", filepath.Join(dir, "job"), "--debug", debug)
	if status == 0 {
		t.Fatal("a throttle gasket was laid on a head")
	}
	for name, want := range map[string]int{"target-*.png": 4, "work-1-*.png": 3} {
		if got, err := filepath.Glob(filepath.Join(debug, name)); err != nil || len(got) != want {
			t.Errorf("%s: %v, %v; want %d", name, got, err, want)
		}
	}
}

// TestThrottleToACircle opens a bore to a circle with no gasket at hand, checks a dimension, and looks at one state twice.
func TestThrottleToACircle(t *testing.T) {
	dir := t.TempDir()
	bore := scenes()["throttle-face"].file
	again := edited(t, dir, "again.jpg", bore, func(img *image.RGBA) image.Image { return img })
	jobDir, debug := filepath.Join(dir, "throttle"), filepath.Join(dir, "stages")
	must(t, "match", "--work", bore, "--work", again, "--circle", "70", "--job", jobDir, "--debug", debug)
	var r compare.Result
	readJSON(t, filepath.Join(jobDir, "pass-1", "result.json"), &r)
	if len(r.Ports) != 1 {
		t.Fatalf("%d ports, want 1", len(r.Ports))
	}
	if got, want := r.Ports[0].TargetArea.Value, math.Pi*35*35; math.Abs(got-want) > 0.0005*want { // closed form, checks by a polygon
		t.Errorf("the circle's area is %.2f mm², want %.2f", got, want)
	}
	// Ray-traced truth: a bore of radius 31 (where the flat face ends), so 4 mm all round; the rounded edge allows 0.2.
	if got := r.Ports[0].RemoveStep.Value; math.Abs(got-4) > 0.25 {
		t.Errorf("%.3f mm to remove, want 4 ± 0.25", got)
	}
	for _, name := range []string{"photo.jpg", "photo-2.jpg", "outlines.dxf"} {
		if _, err := os.Stat(filepath.Join(jobDir, "pass-1", name)); err != nil {
			t.Error(err)
		}
	}
	if stages, err := filepath.Glob(filepath.Join(debug, "work-1-*.png")); err != nil || len(stages) != 4 {
		t.Errorf("pictures of the stages: %v, %v; want 4", stages, err)
	}
	if len(r.Dimensions) < 3 {
		t.Fatalf("%d dimensions to check with calipers, want 3 or more", len(r.Dimensions))
	}
	d := r.Dimensions[0]
	if out := must(t, "check", "--job", jobDir, "--dimension", strings.ToLower(d.Name), "--read", round2(d.Value.Value)); !strings.Contains(out, "agrees") {
		t.Errorf("check says %q", out)
	}
	status, _, stderr := portmatch(t, "check", "--job", jobDir, "--dimension", d.Name, "--read", round2(d.Value.Value+1))
	if status != statusPhoto || !strings.Contains(stderr, "disagrees") {
		t.Errorf("a reading 1 mm off: status %d, %q; want %d", status, stderr, statusPhoto)
	}
	if out := must(t, "check", "--job", jobDir); !strings.Contains(out, "disagrees") || strings.Count(out, "\n") < len(r.Dimensions) {
		t.Errorf("the list of dimensions is\n%s", out)
	}
	if status, _, _ := portmatch(t, "check", "--job", jobDir, "--dimension", "Z", "--read", "10"); status != statusUsage {
		t.Errorf("a dimension that isn't there: status %d, want %d", status, statusUsage)
	}
}

func round2(mm float64) string { return strconv.FormatFloat(mm, 'f', 2, 64) }
