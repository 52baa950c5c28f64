package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestUsageErrors(t *testing.T) {
	for _, c := range []struct {
		args string
		says string // part of the message
	}{
		{"mtch", "did you mean match?"},
		{"grind", "the commands are card"},
		{"match --tolerence 1", "did you mean --tolerance?"},
		{"match --targt a.jpg", "did you mean --target?"},
		{"match --zzz", "--help lists the flags"},
		{"match a.jpg b.jpg", `what "a.jpg" is for`},
		{"match --target a.jpg --work b.jpg", "--job is missing"},
		{"match --work b.jpg --job d", "--target is missing"},
		{"match --target", "--target needs a value"},
		{"match --tolerance -1", "must be more than 0"},
		{"match --tolerance 0", "must be more than 0"},
		{"match --tolerance NaN", "not a finite number"},
		{"match --tolerance Inf", "not a finite number"},
		{"match --tolerance 1e308", "at most 10 mm"},
		{"match --tolerance 1/4", "1/4in or 1/4mm"},
		{"match --target-height 1,200", "thousands"},
		{"match --target-height 1200", "at most 100 mm"},
		{"match --target-dpi 7", "75 to 9600"},
		{"match --paper a5", "it takes a4, letter or a3"},
		{"match --units cm", "it takes mm or in"},
		{"match --flipped maybe", "it takes yes or no"},
		{"match --turned 90", "it takes 0 or 180"},
		{"card", "--out is missing"},
		{"card --out x.pdf --strips 0-3", "from 1 to 40"},
		{"card --out x.pdf --strips 4-1", "the smaller number first"},
		{"card --out x.pdf --strips a", "not a range"},
		{"trace --photo a.jpg", "--out is missing"},
		{"match --work b.jpg --circle 70", "--job is missing"},
		{"match --target a.jpg --work b.jpg --job d --aim head", "--head FILE"},
		{"match --target a.jpg --work b.jpg --job d --head c.jpg --aim union --offset 0.2", "--aim target only"},
		{"match --target a.jpg --work b.jpg --job d --blend-depth 5 --blend-angle 10", "not both"},
		{"match --blend-angle 90", "less than 90"},
		{"match --circle 0", "more than 0"},
		{"match --flow up", "into-work or out-of-work"},
		{"check --job d --dimension A", "go together"},
		{"recheck --job d", "--work is missing"},
	} {
		dir := t.TempDir()
		t.Chdir(dir)
		status, stdout, stderr := portmatch(t, strings.Fields(c.args)...)
		if status != 2 || stdout != "" || !strings.Contains(stderr, c.says) || !strings.HasPrefix(stderr, "portmatch: ") {
			t.Errorf("portmatch %s: status %d, stdout %q, stderr %q; want status 2 and %q", c.args, status, stdout, stderr, c.says)
		}
		empty(t, dir)
	}
}

// empty fails the test where anything was left behind.
func empty(t *testing.T, dir string) {
	t.Helper()
	left, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range left {
		t.Errorf("%s was left behind", e.Name())
	}
}

func TestHelp(t *testing.T) {
	for _, args := range [][]string{{}, {"--help"}, {"match", "--help"}, {"--version"}} {
		status, stdout, stderr := portmatch(t, args...)
		if status != 0 || stdout == "" || stderr != "" {
			t.Errorf("portmatch %v: status %d, stdout %q, stderr %q", args, status, stdout, stderr)
		}
	}
}

func TestOutputPaths(t *testing.T) {
	dir := t.TempDir()
	photo := filepath.Join(dir, "photo.jpg")
	text := []byte("my only photo of the gasket")
	if err := os.WriteFile(photo, text, 0o644); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name   string
		args   []string
		status int
		says   string
	}{
		{"a folder", []string{"card", "--out", dir}, 5, "is a folder"},
		{"in a folder that isn't there", []string{"card", "--out", filepath.Join(dir, "no", "card.pdf")}, 5, "there is no folder"},
		{"below a file", []string{"card", "--out", filepath.Join(photo, "card.pdf")}, 5, "photo.jpg"},
		{"the input itself", []string{"trace", "--photo", photo, "--out", photo}, 2, "both input and output"},
		{"device full", []string{"card", "--out", "/dev/full"}, 5, "full"},
		{"where no file can be", []string{"card", "--out", "/proc/self/card.pdf"}, 5, "nothing can be written"},
	} {
		status, _, stderr := portmatch(t, c.args...)
		if status != c.status || !strings.Contains(stderr, c.says) {
			t.Errorf("%s: status %d, stderr %q; want status %d and %q", c.name, status, stderr, c.status, c.says)
		}
	}
	if got, err := os.ReadFile(photo); err != nil || string(got) != string(text) {
		t.Errorf("the photo is now %q, %v", got, err)
	}
}

func TestNearest(t *testing.T) {
	words := []string{"card", "trace", "match", "map", "show"}
	for got, want := range map[string]string{"mtch": "match", "MATCH": "match", "amp": "map", "shwo": "show", "tra": "trace", "help": "", "": "", "x": ""} {
		if near := nearest(got, words); near != want {
			t.Errorf("nearest(%q) = %q, want %q", got, near, want)
		}
	}
}
