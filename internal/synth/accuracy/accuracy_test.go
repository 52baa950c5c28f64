package main

import (
	"bytes"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"

	"portmatch/internal/synth"
)

// shortSeed starts the short run; another one gives other pictures of the same kinds.
const shortSeed = 1

// fallShort are the classes whose scene of the short run the program does not master yet, or not honestly: stains and shadows
// of the face's brightness at an edge, faint openings beside a bead, a rag over an edge that shows a line of its own. They
// are run and reported, and counted as regressions nowhere else. A class leaves the list when its scene comes out right.
var fallShort = map[string]bool{"plain": true, "bead": true, "dye": true, "shadow": true}

// One small scene of every class that costs little, through the program as a user runs it, at 0.17 mm a pixel.
func TestShortRun(t *testing.T) {
	tool := builtTool(t)
	var scenes []*scene
	classes := []string{"plain", "matched", "flipped", "orientation", "drop", "thick", "bead", "dye", "shadow", "nodowels", "lifted", "mirrored", "covered", "otherpart"}
	for _, c := range classes {
		k, err := synth.NewCase(c, shortSeed)
		if err != nil {
			t.Fatal(err)
		}
		k.Target.Resize(0.6)
		k.Work.Resize(0.6)
		workable := false
		for _, q := range synth.Classes() {
			workable = workable || q.Name == c && q.Workable
		}
		scenes = append(scenes, newScene(k, workable))
	}
	var progress bytes.Buffer
	rows, err := measureAll(options{tool: tool, jobs: 2}, scenes, t.TempDir(), &progress)
	if err != nil {
		t.Fatal(err)
	}
	var works []sceneRow
	for i, r := range rows {
		wrong := r.outcome == silent || r.outcome == broken || r.outcome == refused && r.workable
		switch short := fallShort[classes[i]]; {
		case wrong && (!short || r.outcome == broken):
			t.Errorf("seed %d, %s: %s: %s", shortSeed, r.name, r.outcome, r.reason)
		case wrong:
			t.Logf("known to fall short: seed %d, %s: %s: %s", shortSeed, r.name, r.outcome, r.reason)
		case r.workable && !short:
			works = append(works, r)
		}
	}
	s := summarize("short", works)
	t.Logf("steps: median error %.3f, 95 %% %.3f, worst %.3f mm; median U %.3f mm; covered %d of %d", quantile(s.step, 0.5), quantile(s.step, 0.95),
		quantile(s.step, 1), quantile(s.u, 0.5), s.covered, s.stated)
	if s.missed+s.invented > 0 {
		t.Errorf("seed %d: %d ports missed, %d invented", shortSeed, s.missed, s.invented)
	}
	if len(s.step) < 8 {
		t.Errorf("seed %d: only %d steps were measured without a mark", shortSeed, len(s.step))
	}
	if e := quantile(s.step, 0.5); !(e < 0.05) {
		t.Errorf("seed %d: half of the step errors lie under %.3f mm, want 0.05", shortSeed, e)
	}
	if 10*s.covered < 9*s.stated {
		t.Errorf("seed %d: the stated U covers %d of %d", shortSeed, s.covered, s.stated)
	}
}

// Scenes that had been refused, or had ports left out, for what one photo shows worse than the other.
func TestOnePhotoHelpsTheOther(t *testing.T) {
	tool := builtTool(t)
	cases := []struct {
		class string
		seed  uint64
		why   string
		whole bool // every port is measured
		extra bool // a gap between shadows is listed as an opening that was not measured
		rims  bool // taken for 0.1 mm narrower than they are, which moves a step by more than its U and is told by nothing
	}{
		{"mixed", 1, "outlines cross themselves in noise", true, false, false},
		{"mixed", 4, "a stain on an opening's edge", true, false, false},
		{"mixed", 23, "a shadow cuts an opening in two", true, true, false},
		{"mixed", 62, "the gasket's own edge had passed for an opening", false, false, false},
		{"mixed", 69, "dye and a shadow had passed for the only opening", true, false, false},
		{"mixed", 86, "glare hides a bead round one opening of four", true, false, false},
		{"mixed", 87, "a shadow cuts an opening in two", true, false, true},
		{"bead", 7008, "sought again, an opening had gone out round its bead", true, false, false},
		{"bead", 41039, "the largest holes had passed for the ports", true, false, false},
	}
	var scenes []*scene
	for _, c := range cases {
		k, err := synth.NewCase(c.class, c.seed)
		if err != nil {
			t.Fatal(err)
		}
		scenes = append(scenes, newScene(k, true))
	}
	var progress bytes.Buffer
	rows, err := measureAll(options{tool: tool, jobs: 2}, scenes, t.TempDir(), &progress)
	if err != nil {
		t.Fatal(err)
	}
	for i, r := range rows {
		if r.outcome != right && r.outcome != honest && !(r.outcome == silent && cases[i].rims) {
			t.Errorf("%s (%s): %s: %s", r.name, cases[i].why, r.outcome, r.reason)
		}
		for _, p := range r.ports {
			if p.invented && cases[i].extra && p.outcome == honest {
				continue
			}
			if p.missed || p.invented || cases[i].whole && !p.measured {
				t.Errorf("%s (%s): port %s: measured %v, missed %v, invented %v", r.name, cases[i].why, p.port, p.measured, p.missed, p.invented)
			}
		}
	}
}

// A few spoilt photos through the program: none breaks it, and these come out as they should. make torture tries many more.
func TestShortSpoiltRun(t *testing.T) {
	tool := builtTool(t)
	pairs, err := rayTraced(photosWithTruth(t))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		kind, pair   string
		target, work bool
		seed         uint64
		want         []string
	}{
		{"truncated", "throttle", true, false, 1, []string{refused}},
		{"mirrored", "throttle", false, true, 1, []string{refused}},
		{"stretched", "throttle", false, true, 1, []string{refused}},
		{"resized", "throttle", true, true, 1, []string{right, honest}},
		{"noisy", "throttle", false, true, 1, []string{right, honest}},
		// Both ended in a crash once, where a part's edge was seen from beyond the upright.
		{"cut", "gasket-head", false, true, 1, nil},
		{"sheared", "gasket-head", true, true, 2, nil},
	} {
		s := pairs[slices.IndexFunc(pairs, func(p scene) bool { return p.name == c.pair })]
		kinds := synth.Spoilings()
		k := kinds[slices.IndexFunc(kinds, func(k synth.Spoiling) bool { return k.Name == c.kind })]
		s.name, s.spoiler = c.kind, &spoiler{kind: k, target: c.target, work: c.work, seed: c.seed}
		if err := s.draw(t.TempDir()); err != nil {
			t.Fatal(err)
		}
		row := s.judge(s.measure(tool))
		t.Logf("%s: %s %s", c.kind, row.outcome, row.reason)
		if row.outcome == broken || c.want != nil && !slices.Contains(c.want, row.outcome) {
			t.Errorf("%s of %s, seed %d: %s, want %v: %s", c.kind, c.pair, c.seed, row.outcome, c.want, row.reason)
		}
	}
}

// photosWithTruth is a folder of the project's ray-traced photos beside their truth.
func photosWithTruth(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	const root = "../../.."
	for _, pattern := range []string{"samples/*.jpg", "testdata/photos/*.jpg", "testdata/truth/*.json"} {
		files, err := filepath.Glob(filepath.Join(root, pattern))
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range files {
			whole, err := filepath.Abs(f)
			if err != nil {
				t.Fatal(err)
			}
			if err := os.Symlink(whole, filepath.Join(dir, filepath.Base(f))); err != nil {
				t.Fatal(err)
			}
		}
	}
	return dir
}

func builtTool(t *testing.T) string {
	t.Helper()
	// go test takes a result from its cache unless a file has changed that the test has looked at: the tool's source, then.
	for _, dir := range []string{"../../../cmd", "../.."} {
		if err := filepath.WalkDir(dir, func(_ string, _ fs.DirEntry, err error) error { return err }); err != nil {
			t.Fatal(err)
		}
	}
	tool := filepath.Join(t.TempDir(), "portmatch")
	if out, err := exec.Command("go", "build", "-tags", "nodynamic", "-o", tool, "portmatch/cmd/portmatch").CombinedOutput(); err != nil {
		t.Fatalf("build: %v\n%s", err, out)
	}
	return tool
}
