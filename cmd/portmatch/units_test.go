package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestInches sees that a job in inches speaks of nothing else: table, warnings, errors, page and CSV. Files for programs stay in mm.
func TestInches(t *testing.T) {
	dir := t.TempDir()
	jobDir := filepath.Join(dir, "engine")
	before := scenes()["manifold-before"].file
	status, table, talk := portmatch(t, "match", "--target", trueTrace(t, dir, "gasket"), "--work", before,
		"--head", scenes()["head"].file, "--min-land", "10", "--stud", "12", "--dowel", "12", "--units", "in", "--job", jobDir)
	if status != 0 {
		t.Fatal(talk)
	}
	if !strings.Contains(talk, "least that seals") || !strings.Contains(talk, "head's opening") || !strings.Contains(table, "does not go into") {
		t.Fatalf("the warnings that have lengths in them are not there:\n%s%s", table, talk)
	}
	page, err := os.ReadFile(filepath.Join(jobDir, "report.html"))
	if err != nil {
		t.Fatal(err)
	}
	csv, err := os.ReadFile(filepath.Join(jobDir, "pass-1", "ports.csv"))
	if err != nil {
		t.Fatal(err)
	}
	status, _, wrong := portmatch(t, "recheck", "--work", scenes()["throttle-face"].file, "--job", jobDir)
	if status != statusParts || !strings.Contains(wrong, " in ") {
		t.Errorf("another part: status %d, %q; want %d, with lengths in inches", status, wrong, statusParts)
	}
	inMM := regexp.MustCompile(`.{0,60}(\d ?mm|_mm).{0,20}`)
	for name, text := range map[string]string{"table": table, "talk": talk, "error": wrong, "page": shown(string(page)), "ports.csv": string(csv)} {
		for _, found := range inMM.FindAllString(text, -1) {
			t.Errorf("the %s has mm: %q", name, found)
		}
	}
}

// shown is what a page shows: alternative texts of pictures, and all that stands between tags.
func shown(page string) string {
	var b strings.Builder
	for _, alt := range regexp.MustCompile(`(?:alt|aria-label)="([^"]*)"`).FindAllStringSubmatch(page, -1) {
		b.WriteString(alt[1] + "\n")
	}
	page = regexp.MustCompile(`(?s)<style>.*?</style>`).ReplaceAllString(page, "")
	b.WriteString(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(page, " "))
	return b.String()
}
