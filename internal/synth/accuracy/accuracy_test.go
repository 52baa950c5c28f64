package main

import (
	"bytes"
	"os/exec"
	"path/filepath"
	"testing"

	"portmatch/internal/synth"
)

// shortSeed starts the short run; another one gives other pictures of the same kinds.
const shortSeed = 1

// One small scene of every class that costs little, through the program as a user runs it. At 0.17 mm a pixel the bars are
// wider than those of full-sized pictures; what must never happen is the same.
func TestShortRun(t *testing.T) {
	tool := filepath.Join(t.TempDir(), "portmatch")
	if out, err := exec.Command("go", "build", "-tags", "nodynamic", "-o", tool, "portmatch/cmd/portmatch").CombinedOutput(); err != nil {
		t.Fatalf("build: %v\n%s", err, out)
	}
	var scenes []*scene
	for _, c := range []string{"plain", "matched", "flipped", "orientation", "drop", "thick", "bead", "dye", "shadow", "nodowels", "lifted", "mirrored", "covered", "otherpart"} {
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
	for _, r := range rows {
		switch {
		case r.outcome == silent || r.outcome == broken:
			t.Errorf("seed %d, %s: %s: %s", shortSeed, r.name, r.outcome, r.reason)
		case r.outcome == refused && r.workable:
			t.Errorf("seed %d, %s refused: %s", shortSeed, r.name, r.reason)
		}
		if r.workable {
			works = append(works, r)
		}
	}
	s := summarize("short", works)
	t.Logf("steps: median error %.3f, 95 %% %.3f, worst %.3f mm; median U %.3f mm; covered %d of %d", quantile(s.step, 0.5), quantile(s.step, 0.95),
		quantile(s.step, 1), quantile(s.u, 0.5), s.covered, s.stated)
	if s.missed+s.invented > 0 {
		t.Errorf("seed %d: %d ports missed, %d invented", shortSeed, s.missed, s.invented)
	}
	if len(s.step) < 30 {
		t.Errorf("seed %d: only %d steps were measured without a mark", shortSeed, len(s.step))
	}
	if e := quantile(s.step, 0.95); !(e < 0.1) {
		t.Errorf("seed %d: 95 %% of the step errors lie under %.3f mm, want 0.1", shortSeed, e)
	}
}
