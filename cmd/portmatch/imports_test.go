package main

import (
	"os/exec"
	"strings"
	"testing"
)

// level is a package's place in the order of design: imports point to lower levels only.
var level = map[string]int{
	"portmatch/cmd/portmatch":            8,
	"portmatch/internal/job":             7,
	"portmatch/internal/render":          6,
	"portmatch/internal/compare":         5,
	"portmatch/internal/contour":         4,
	"portmatch/internal/scalecard":       3,
	"portmatch/internal/scalecard/strip": 2,
	"portmatch/internal/photo":           2,
	"portmatch/internal/face":            2,
	"portmatch/internal/geom":            1,
	"portmatch/internal/prose":           1,
}

// TestImportsPointDown keeps the layers apart: who measures doesn't draw, who draws doesn't measure, and only the three
// packages that touch pixels need OpenCV or libapriltag.
func TestImportsPointDown(t *testing.T) {
	out, err := exec.Command("go", "list", "-f", `{{.ImportPath}}:{{join .Imports " "}}`, "portmatch/...").Output() // what go downloads it says on stderr
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	pixels := map[string]bool{"portmatch/internal/photo": true, "portmatch/internal/scalecard": true, "portmatch/internal/contour": true}
	const synth = "portmatch/internal/synth"
	seen := 0
	for line := range strings.Lines(string(out)) {
		pkg, imports, ok := strings.Cut(strings.TrimSpace(line), ":")
		if !ok {
			t.Fatalf("go list printed %q", line)
		}
		if strings.HasPrefix(pkg, synth) { // for tests; nothing else may import it
			continue
		}
		of, known := level[pkg]
		if !known {
			t.Errorf("%s has no place in the order of packages; give it one", pkg)
			continue
		}
		seen++
		for _, imp := range strings.Fields(imports) {
			switch {
			case strings.HasPrefix(imp, synth):
				t.Errorf("%s imports synth, which is for tests", pkg)
			case strings.HasPrefix(imp, "portmatch/") && level[imp] >= of:
				t.Errorf("%s imports %s, which does not lie below it", pkg, imp)
			case (strings.HasPrefix(imp, "gocv.io/") || imp == "C") && !pixels[pkg]:
				t.Errorf("%s imports %s: only photo, scalecard and contour touch pixels", pkg, imp)
			}
		}
	}
	if seen != len(level) {
		t.Errorf("%d of the %d packages were looked at", seen, len(level))
	}
}
