package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// TestLicencesListed keeps THIRD_PARTY.md complete: every module that is linked has a row.
func TestLicencesListed(t *testing.T) {
	list, err := os.ReadFile(filepath.Join(root, "THIRD_PARTY.md"))
	if err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("go", "list", "-deps", "-f", "{{with .Module}}{{.Path}}{{end}}", "portmatch/cmd/portmatch").Output()
	if err != nil {
		t.Fatal(err)
	}
	modules := make(map[string]bool)
	for m := range strings.FieldsSeq(string(out)) {
		if m != "portmatch" {
			modules[m] = true
		}
	}
	if len(modules) < 10 { // cli, canvas, gg and what they need are more than that
		t.Fatalf("only %d modules were found", len(modules))
	}
	for m := range modules {
		if !strings.Contains(string(list), "| "+m+" |") {
			t.Errorf("%s is linked but not listed in THIRD_PARTY.md", m)
		}
	}
}
