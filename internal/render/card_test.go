package render

import (
	"bytes"
	"errors"
	"math"
	"os/exec"
	"strings"
	"testing"

	"portmatch/internal/geom"
	"portmatch/internal/scalecard/strip"
)

func card(t *testing.T, paper Paper) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := Card(&b, CardOptions{Paper: paper, Strips: []int{1, 2, 3, 4}, Units: MM}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// Paper sizes: ISO 216 and ANSI/ASME Y14.1. A PDF's unit is 1/72 in (ISO 32000), so A4 is 595.2756 x 841.8898 pt.
func TestCardPageSizes(t *testing.T) {
	for _, c := range []struct {
		paper Paper
		w, h  float64
	}{{strip.A4(), 210, 297}, {strip.Letter(), 8.5 * 25.4, 11 * 25.4}} {
		sizes := pageSizes(t, card(t, c.paper))
		// The writer keeps eight digits, 1e-5 pt.
		if len(sizes) != 1 || math.Abs(sizes[0].X-c.w) > 1e-4 || math.Abs(sizes[0].Y-c.h) > 1e-4 {
			t.Errorf("%s: pages %v mm, want one of %g x %g", c.paper.Name, sizes, c.w, c.h)
		}
	}
}

// Every cell of the 36 tags has the colour of the table, every edge of every tag stands where the table says to 0.02 mm
// (half a dot at 600 dpi), black is solid, and the check lines have their lengths.
func TestCardOnPaper(t *testing.T) {
	const limitMM = 0.02
	for _, paper := range []Paper{strip.A4(), strip.Letter()} {
		page := rasterised(t, card(t, paper), 1, 600)
		layout := strip.Layout(paper, []int{1, 2, 3, 4})
		for _, s := range layout.Strips {
			for i := range strip.TagsPer {
				c := strip.TagCorners(i)
				id := strip.TagID(s.Number, i)
				lo := s.Origin.Add(c[0])
				checkCells(t, page, lo, id)
				// The border cell's outer edge: from 1 mm outside to 1 mm inside half is white, half black, so the ink's
				// middle stands at 1.5 mm if the edge is in place.
				for side, mid := range []geom.PointMM{{Y: 8}, {X: 8}, {X: 16, Y: 8}, {X: 8, Y: 16}} {
					out := []geom.PointMM{{X: -1}, {Y: -1}, {X: 1}, {Y: 1}}[side]
					at := lo.Add(mid)
					got, ok := page.darkMiddle(at.Add(out), at.Sub(out), 0.3)
					if !ok || math.Abs(got-1.5) > limitMM/2 { // an edge off by e moves the middle by e/2
						t.Errorf("%s: tag %d, side %d: edge off by %.3f mm", paper.Name, id, side, 2*(got-1.5))
					}
				}
			}
			checkLength(t, page, strip.CheckLine(), s.Origin, 150)
		}
		checkLength(t, page, layout.CheckY, geom.PointMM{}, strip.CheckYMM)
	}
}

func checkCells(t *testing.T, page sheet, lo geom.PointMM, id int) {
	t.Helper()
	for col := -1; col <= strip.Cells; col++ {
		for row := -1; row <= strip.Cells; row++ {
			// A cell is 47 dots wide; 0.1 mm inside its edge is clear of the neighbour's smoothing, and between two black
			// cells not even the edge itself may show.
			for _, d := range []geom.PointMM{{X: 0.1, Y: 0.1}, {X: 1, Y: 1}, {X: 1.9, Y: 0.1}, {X: 0.1, Y: 1.9}, {X: 1.9, Y: 1.9}} {
				at := lo.Add(geom.PointMM{X: float64(col) * strip.CellMM, Y: float64(row) * strip.CellMM}).Add(d)
				want := 0
				if strip.Black(id, col, row) {
					want = 255
				}
				if got := page.darkAt(at); got != want {
					t.Errorf("tag %d, cell %d,%d: darkness %d, want %d", id, col, row, got, want)
				}
			}
			if strip.Black(id, col, row) && strip.Black(id, col+1, row) {
				seam := lo.Add(geom.PointMM{X: float64(col+1) * strip.CellMM, Y: (float64(row) + 0.5) * strip.CellMM})
				for dx := -0.1; dx <= 0.1; dx += 0.02 {
					if page.darkAt(seam.Add(geom.PointMM{X: dx})) != 255 {
						t.Errorf("tag %d: a light line between cells %d,%d and %d,%d", id, col, row, col+1, row)
					}
				}
			}
		}
	}
}

// checkLength measures a check line as calipers would, tick to tick.
func checkLength(t *testing.T, page sheet, l strip.Line, origin geom.PointMM, wantMM float64) {
	t.Helper()
	a, b := origin.Add(l.A), origin.Add(l.B)
	u := b.Sub(a).Scale(1 / b.Dist(a))
	side := geom.PointMM{X: -u.Y, Y: u.X} // the ticks reach 1.5 mm to either side; look at 1 mm
	first, ok1 := page.darkMiddle(a.Add(side).Sub(u), a.Add(side).Add(u), 0.1)
	last, ok2 := page.darkMiddle(b.Add(side).Sub(u), b.Add(side).Add(u), 0.1)
	if got := b.Dist(a) + last - first; !ok1 || !ok2 || math.Abs(got-wantMM) > 0.02 {
		t.Errorf("check line from %v: %.3f mm, want %g", a, got, wantMM)
	}
}

func TestCardSaysWhatMatters(t *testing.T) {
	for _, u := range []Units{MM, Inch} {
		var b bytes.Buffer
		if err := Card(&b, CardOptions{Paper: strip.Letter(), Strips: []int{7, 8}, Units: u}); err != nil {
			t.Fatal(err)
		}
		words := pdfText(t, b.Bytes())
		for _, want := range []string{"100 %", "150.0 mm", "up the page", "--printed-x", "strip 7", "strip 8"} {
			if !strings.Contains(words, want) {
				t.Errorf("%s: the card doesn't say %q:\n%s", u, want, words)
			}
		}
		if u == Inch && !strings.Contains(words, "5.906 in") { // 150 / 25.4
			t.Errorf("the card for inch users doesn't give the check line in inches:\n%s", words)
		}
	}
}

func TestCardAsksForTrueSize(t *testing.T) {
	b := card(t, strip.A4())
	if !bytes.Contains(b, []byte("/PrintScaling/None")) {
		t.Error("the card lets viewers fit it to the page")
	}
	// A spoilt cross-reference table makes poppler complain on stderr.
	cmd := exec.Command("pdfinfo", "-")
	cmd.Stdin = bytes.NewReader(b)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	if out, err := cmd.Output(); err != nil || stderr.Len() > 0 || !strings.Contains(string(out), "Pages:           1") {
		t.Errorf("pdfinfo: %v %s\n%s", err, stderr.String(), out)
	}
}

func TestCardMorePagesAndWrongNumbers(t *testing.T) {
	var b bytes.Buffer
	if err := Card(&b, CardOptions{Paper: strip.A4(), Strips: []int{1, 2, 3, 4, 5}}); err != nil {
		t.Fatal(err)
	}
	if n := len(pageSizes(t, b.Bytes())); n != 2 {
		t.Errorf("five strips on %d pages, want 2 (four fit on one)", n)
	}
	for _, n := range []int{0, -1, strip.MaxNumber + 1} {
		var wrong *StripNumberError
		if err := Card(&b, CardOptions{Paper: strip.A4(), Strips: []int{n}}); !errors.As(err, &wrong) || wrong.Number != n {
			t.Errorf("strip %d: error %v, want a StripNumberError", n, err)
		}
	}
}
