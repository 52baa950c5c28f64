package render

import (
	"bytes"
	"fmt"
	"image"
	"os/exec"
	"regexp"
	"strconv"
	"testing"

	"portmatch/internal/geom"
)

// sheet is one page of a PDF as poppler draws it, grey.
type sheet struct {
	*image.Gray
	dpi      float64
	heightMM float64
}

// rasterised draws one page (from 1) of a PDF with pdftoppm.
func rasterised(t *testing.T, pdf []byte, page int, dpi float64) sheet {
	t.Helper()
	w, h, pix := pdftoppm(t, pdf, page, dpi, "-gray")
	return sheet{&image.Gray{Pix: pix, Stride: w, Rect: image.Rect(0, 0, w, h)}, dpi, pageSizes(t, pdf)[page-1].Y}
}

// pdftoppm returns the pixels of a page, one byte each with "-gray", else three.
func pdftoppm(t *testing.T, pdf []byte, page int, dpi float64, flags ...string) (w, h int, pix []byte) {
	t.Helper()
	n := strconv.Itoa(page)
	cmd := exec.Command("pdftoppm", append(flags, "-r", fmt.Sprint(dpi), "-f", n, "-l", n, "-")...)
	cmd.Stdin = bytes.NewReader(pdf)
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("pdftoppm (Debian's poppler-utils): %v", err)
	}
	var kind string
	var top int
	if _, err := fmt.Sscan(string(out[:min(len(out), 40)]), &kind, &w, &h, &top); err != nil || top != 255 {
		t.Fatalf("pdftoppm wrote no 8-bit picture: %v", err)
	}
	size := w * h
	if kind == "P6" {
		size *= 3
	}
	return w, h, out[len(out)-size:]
}

// px turns a place on the page (mm, y up) into pixels, the corner of the top-left pixel being (0, 0).
func (s sheet) px(p geom.PointMM) (x, y float64) {
	k := s.dpi / 25.4
	return p.X * k, (s.heightMM - p.Y) * k
}

// darkAt tells how dark the page is at a place: 0 white to 255 black.
func (s sheet) darkAt(p geom.PointMM) int {
	x, y := s.px(p)
	return 255 - int(s.GrayAt(int(x), int(y)).Y)
}

// darkMiddle returns how far from a, in mm along the straight way from a to b, the middle of the ink met there lies; ok is
// false where there is none. The way is averaged over width mm to either side.
func (s sheet) darkMiddle(a, b geom.PointMM, widthMM float64) (mm float64, ok bool) {
	u := b.Sub(a).Scale(1 / b.Dist(a))
	across := geom.PointMM{X: -u.Y, Y: u.X}
	step := 25.4 / s.dpi / 4
	var sum, moment float64
	for l := 0.0; l <= b.Dist(a); l += step {
		for w := -widthMM; w <= widthMM; w += step {
			d := float64(s.darkAt(a.Add(u.Scale(l)).Add(across.Scale(w))))
			sum += d
			moment += d * l
		}
	}
	if sum == 0 {
		return 0, false
	}
	return moment / sum, true
}

var mediaBox = regexp.MustCompile(`/MediaBox\[0 0 ([0-9.]+) ([0-9.]+)\]`)

// pageSizes reads the size of every page, mm, out of the PDF itself.
func pageSizes(t *testing.T, pdf []byte) []geom.PointMM {
	t.Helper()
	var sizes []geom.PointMM
	for _, m := range mediaBox.FindAllSubmatch(pdf, -1) {
		w, _ := strconv.ParseFloat(string(m[1]), 64)
		h, _ := strconv.ParseFloat(string(m[2]), 64)
		sizes = append(sizes, geom.PointMM{X: w / 72 * 25.4, Y: h / 72 * 25.4})
	}
	if len(sizes) == 0 {
		t.Fatal("the PDF has no page")
	}
	return sizes
}

// pdfText returns the words on a PDF's pages as pdftotext reads them.
func pdfText(t *testing.T, pdf []byte) string {
	t.Helper()
	cmd := exec.Command("pdftotext", "-layout", "-", "-")
	cmd.Stdin = bytes.NewReader(pdf)
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("pdftotext (Debian's poppler-utils): %v", err)
	}
	return string(out)
}
