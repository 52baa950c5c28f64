package main

import (
	"bytes"
	"context"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"portmatch/internal/photo"
	"portmatch/internal/render"
	"portmatch/internal/scalecard"
	"portmatch/internal/scalecard/strip"
)

// The printed card as the detector sees it: rasterised at 600 dpi by poppler's pdftoppm and read back as a flat-bed scan,
// all 36 tags are found where the table puts them, to 0.02 mm.
func TestPrintedCardIsFound(t *testing.T) {
	const (
		dpi     = 600
		pxPerMM = dpi / 25.4
		limitMM = 0.02
	)
	for _, paper := range []render.Paper{strip.A4(), strip.Letter()} {
		var pdf bytes.Buffer
		if err := render.Card(&pdf, render.CardOptions{Paper: paper, Strips: []int{1, 2, 3, 4}, Units: render.MM}); err != nil {
			t.Fatal(err)
		}
		dir := t.TempDir()
		file := filepath.Join(dir, "card.pdf")
		if err := os.WriteFile(file, pdf.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		page := filepath.Join(dir, "card")
		if out, err := exec.Command("pdftoppm", "-r", "600", "-gray", "-png", "-singlefile", file, page).CombinedOutput(); err != nil {
			t.Fatalf("pdftoppm (Debian's poppler-utils): %v\n%s", err, out)
		}
		p, err := photo.Load(context.Background(), page+".png", photo.Options{})
		if err != nil {
			t.Fatal(err)
		}
		s, err := scalecard.Solve(context.Background(), p, scalecard.Options{DPI: dpi})
		if err != nil {
			t.Fatal(err)
		}
		if len(s.Tags) != strip.PerPage*strip.TagsPer {
			t.Errorf("%s: %d tags found, want 36", paper.Name, len(s.Tags))
		}
		layout := strip.Layout(paper, []int{1, 2, 3, 4})
		worst := 0.0
		for _, tag := range s.Tags {
			origin := layout.Strips[tag.Strip-1].Origin
			for i, c := range strip.TagCorners(tag.Tag) {
				// Pixels count from the middle of the top-left one.
				u := (origin.X+c.X)*pxPerMM - 0.5
				v := (paper.HeightMM-origin.Y-c.Y)*pxPerMM - 0.5
				off := math.Hypot(tag.CornersPx[i].U-u, tag.CornersPx[i].V-v) / pxPerMM
				worst = math.Max(worst, off)
				if off > limitMM {
					t.Errorf("%s: strip %d, tag %d, corner %d is %.3f mm off", paper.Name, tag.Strip, tag.Tag, i, off)
				}
			}
		}
		t.Logf("%s: %d tags, worst corner %.4f mm", paper.Name, len(s.Tags), worst)
	}
}
