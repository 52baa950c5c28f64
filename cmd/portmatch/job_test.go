package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"portmatch/internal/compare"
)

// TestGrindAndRecheck goes through a whole job on the samples: match, recheck after grinding, show, map.
func TestGrindAndRecheck(t *testing.T) {
	dir := t.TempDir()
	gasket := trueTrace(t, dir, "gasket")
	jobDir := filepath.Join(dir, "engine, left bank")
	before, after := scenes()["manifold-before"].file, scenes()["manifold-after"].file

	table := must(t, "match", "--target", gasket, "--work", before, "--job", jobDir)
	if !strings.Contains(table, "Pass 1") || strings.Count(table, "grind") < 4 {
		t.Errorf("the table of pass 1 is\n%s", table)
	}
	first := snapshot(t, filepath.Join(jobDir, "pass-1"))
	for _, name := range []string{"photo.jpg", "result.json", "ports.csv", "overlay.png", "port-1.png", "port-4.png", "map.pdf", "outlines.svg"} {
		if len(first[name]) == 0 {
			t.Errorf("pass 1 has no %s", name)
		}
	}
	if photo, err := os.ReadFile(before); err != nil || first["photo.jpg"] != string(photo) {
		t.Errorf("photo.jpg is not the photo as given: %v", err)
	}

	out := must(t, "recheck", "--work", after, "--job", jobDir, "--json")
	if again := snapshot(t, filepath.Join(jobDir, "pass-1")); !reflect.DeepEqual(again, first) {
		t.Error("pass 1 was changed by recheck")
	}
	var r, stored, shown compare.Result
	if err := json.Unmarshal([]byte(out), &r); err != nil {
		t.Fatal(err)
	}
	readJSON(t, filepath.Join(jobDir, "pass-2", "result.json"), &stored)
	if err := json.Unmarshal([]byte(must(t, "show", "--job", jobDir, "--json")), &shown); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(r, stored) || !reflect.DeepEqual(r, shown) {
		t.Error("what recheck and show print is not what pass-2/result.json holds")
	}
	if r.Pass != 2 || len(r.Ports) != 4 {
		t.Fatalf("pass %d with %d ports, want 2 with 4", r.Pass, len(r.Ports))
	}
	// Ray-traced truth, testdata/truth/after.pair.truth.json.
	if got := r.Ports[1].PastStep.Value; math.Abs(got-0.597) > 0.10 {
		t.Errorf("port 2 is past the line by %.3f mm, want 0.597 ± 0.10", got)
	}
	if got := r.Ports[2].RemoveStep.Value; math.Abs(got-0.831) > 0.10 {
		t.Errorf("port 3 is short by %.3f mm, want 0.831 ± 0.10", got)
	}

	// Closed form from the same truth: the openings' areas after less before, all of it metal taken off; 1 % of a port's area.
	var was, is truthPair
	readJSON(t, filepath.Join(root, "testdata/truth/before.pair.truth.json"), &was)
	readJSON(t, filepath.Join(root, "testdata/truth/after.pair.truth.json"), &is)
	if len(r.Progress) != 4 {
		t.Fatalf("%d ports have progress, want 4", len(r.Progress))
	}
	for i, g := range r.Progress {
		if want := is.Ports[i].WorkArea - was.Ports[i].WorkArea; math.Abs(g.Taken.Value-want) > 0.01*is.Ports[i].WorkArea {
			t.Errorf("port %d: %.1f mm² taken off, want %.1f", g.Port, g.Taken.Value, want)
		}
	}

	list := must(t, "show", "--job", jobDir, "--pass", "1", "--units", "in")
	for _, s := range []string{"Pass 1", "Pass 2", "manifold-before.jpg", "manifold-after.jpg", " in"} {
		if !strings.Contains(list, s) {
			t.Errorf("show says nothing of %q:\n%s", s, list)
		}
	}
	pdf := filepath.Join(dir, "letter.pdf")
	must(t, "map", "--job", jobDir, "--pass", "1", "--paper", "letter", "--out", pdf)
	if b, err := os.ReadFile(pdf); err != nil || !strings.HasPrefix(string(b), "%PDF-") {
		t.Errorf("the map is no PDF: %v", err)
	}
	page, err := os.ReadFile(filepath.Join(jobDir, "report.html"))
	if err != nil {
		t.Fatal(err)
	}
	const mostBytes = 3_000_000 // for two passes with four ports
	if len(page) > mostBytes {
		t.Errorf("report.html has %d bytes, want no more than %d", len(page), mostBytes)
	}
	for _, s := range []string{"engine, left bank", fmt.Sprintf("%.2f", r.Ports[1].PastStep.Value)} {
		if !strings.Contains(string(page), s) {
			t.Errorf("report.html says nothing of %q", s)
		}
	}

	if status, _, stderr := portmatch(t, "match", "--target", gasket, "--work", before, "--job", jobDir); status != statusFile || !strings.Contains(stderr, "recheck") {
		t.Errorf("a second match on the job: status %d, %q; want %d and a word about recheck", status, stderr, statusFile)
	}
	if status, _, _ := portmatch(t, "show", "--job", jobDir, "--pass", "3"); status != statusFile {
		t.Errorf("show of a pass that isn't there: status %d, want %d", status, statusFile)
	}
}

// snapshot returns a folder's files with their content.
func snapshot(t *testing.T, dir string) map[string]string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	files := make(map[string]string)
	for _, e := range entries {
		b, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if err != nil {
			t.Fatal(err)
		}
		files[e.Name()] = string(b)
	}
	return files
}
