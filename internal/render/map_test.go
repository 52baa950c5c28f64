package render

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"portmatch/internal/compare"
	"portmatch/internal/geom"
	"portmatch/internal/scalecard/strip"
)

// throttle is one round port of 70 mm on a square flange, with four holes and no dowels; the work bore is 66 mm, 1 mm off:
// steps to remove from 1 to 3 mm.
func throttle(t testing.TB) *compare.Result {
	r := &compare.Result{Schema: 1, Pass: 2, ToleranceMM: 0.25, Alignment: compare.Alignment{On: "bolt holes"},
		PartOutline: pairs(roundedRect(geom.PointMM{}, 110, 110, 12))}
	r.Ports = []compare.PortResult{measured(t, 1, compare.Grind, circle(geom.PointMM{}, 35), circle(geom.PointMM{X: 1}, 33))}
	for _, x := range []float64{-40, 40} {
		for _, y := range []float64{-40, 40} {
			r.Holes = append(r.Holes, compare.HoleResult{X: x, Y: y, Kind: "bolt", TargetDiameter: 8, WorkDiameter: 8.02})
		}
	}
	return r
}

// pepperPot is a face of 3 rows of 5 small round ports, 700 x 400 mm: many pages both ways.
func pepperPot(t testing.TB) *compare.Result {
	r := &compare.Result{Schema: 1, Pass: 1, ToleranceMM: 0.25, Alignment: compare.Alignment{On: "outlines"},
		PartOutline: pairs(roundedRect(geom.PointMM{}, 700, 400, 20))}
	for row := range 3 {
		for col := range 5 {
			c := geom.PointMM{X: 150 * (float64(col) - 2), Y: 150 * (1 - float64(row))}
			r.Ports = append(r.Ports, measured(t, len(r.Ports)+1, compare.Grind, circle(c, 12), circle(c.Add(geom.PointMM{Y: 0.5}), 11)))
		}
	}
	return r
}

func drawMap(t testing.TB, r *compare.Result, o MapOptions) (pdf []byte, m *mapSheet) {
	t.Helper()
	var b bytes.Buffer
	if err := Map(&b, r, o); err != nil {
		t.Fatal(err)
	}
	m, err := newMapSheet(r, o)
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes(), m
}

type mapCase struct {
	name  string
	r     *compare.Result
	o     MapOptions
	pages int
}

func mapCases(t testing.TB) []mapCase {
	return []mapCase{
		{"manifold, A4", marineManifold(t), MapOptions{Paper: strip.A4(), Units: MM}, 2},
		{"manifold, A3", marineManifold(t), MapOptions{Paper: A3(), Units: MM}, 1},
		{"manifold, Letter, mirrored, printer corrected", marineManifold(t),
			MapOptions{Paper: strip.Letter(), Units: Inch, Side: GasketSide, Printed: [2]float64{0.997, 1.002}}, 2},
		{"ports 2 and 3, A4", marineManifold(t), MapOptions{Paper: strip.A4(), Units: MM, Ports: []int{2, 3}}, 1},
		{"throttle, Letter", throttle(t), MapOptions{Paper: strip.Letter(), Units: MM}, 1},
		{"manifold, stencil", marineManifold(t), MapOptions{Paper: strip.A4(), Units: MM, Stencil: true}, 2},
	}
}

// Page sizes are the paper's, either way up (ISO 216, ANSI/ASME Y14.1), and no more pages than a part of its size needs: a
// manifold of 372 mm takes two of A4 or Letter (297 and 279 mm less margins) and one of A3 (420 mm).
func TestMapPages(t *testing.T) {
	for _, c := range mapCases(t) {
		pdf, _ := drawMap(t, c.r, c.o)
		sizes := pageSizes(t, pdf)
		if len(sizes) != c.pages {
			t.Errorf("%s: %d pages, want %d", c.name, len(sizes), c.pages)
		}
		long, short := c.o.Paper.HeightMM, c.o.Paper.WidthMM
		for _, s := range sizes {
			if math.Abs(math.Max(s.X, s.Y)-long) > 1e-4 || math.Abs(math.Min(s.X, s.Y)-short) > 1e-4 {
				t.Errorf("%s: a page of %g x %g mm, want %g x %g", c.name, s.X, s.Y, long, short)
			}
		}
	}
}

// On every page the check lines in both directions and the distance between any two holes are right to 0.1 mm, read off
// the rasterised page as calipers would read the print, with the printer's own error put back in where it was corrected.
func TestMapIsTrueSize(t *testing.T) {
	const limitMM = 0.1
	for _, c := range mapCases(t) {
		pdf, m := drawMap(t, c.r, c.o)
		// What the printer turns a mm on the page into, along its x and y.
		px, py := 1/m.kx, 1/m.ky
		for i := range m.pages() {
			page := rasterised(t, pdf, i+1, 300)
			across := geom.PointMM{X: blankMM + leftBandMM, Y: blankMM + 5}
			up := geom.PointMM{X: blankMM + 4, Y: blankMM + bottomBandMM + 3}
			if got := tickDistance(t, page, across, geom.PointMM{X: checkMM * m.kx}) * px; math.Abs(got-150) > limitMM {
				t.Errorf("%s, page %d: check line across %.3f mm, want 150", c.name, i+1, got)
			}
			if got := tickDistance(t, page, up, geom.PointMM{Y: checkMM * m.ky}) * py; math.Abs(got-150) > limitMM {
				t.Errorf("%s, page %d: check line up %.3f mm, want 150", c.name, i+1, got)
			}
			m.win = m.window(i)
			var want, got []geom.PointMM
			for _, h := range m.holes {
				if r := drawnDiameterMM(h.HoleResult) / 2; m.win.holds(box{h.centre, h.centre}.grown(r)) {
					want = append(want, h.centre)
					q := crossMiddle(t, page, m.paperOf(h.centre), r)
					got = append(got, geom.PointMM{X: q.X * px, Y: q.Y * py})
				}
			}
			for j := range got {
				for k := range j {
					if d := got[j].Dist(got[k]) - want[j].Dist(want[k]); math.Abs(d) > limitMM {
						t.Errorf("%s, page %d: holes %d and %d stand %.3f mm wrong", c.name, i+1, k, j, d)
					}
				}
			}
			if len(got) < 2 {
				t.Errorf("%s, page %d: %d holes to lay it by, want two or more", c.name, i+1, len(got))
			}
		}
	}
}

// tickDistance measures a check line that starts at from and runs along d, between the middles of its ticks.
func tickDistance(t *testing.T, page sheet, from, d geom.PointMM) float64 {
	t.Helper()
	u := d.Scale(1 / d.Norm())
	beside := geom.PointMM{X: -u.Y, Y: u.X} // ticks reach 1.5 mm to the side; look at 1 mm
	a, ok1 := page.darkMiddle(from.Add(beside).Sub(u), from.Add(beside).Add(u), 0.1)
	to := from.Add(d).Add(beside)
	b, ok2 := page.darkMiddle(to.Sub(u), to.Add(u), 0.1)
	if !ok1 || !ok2 {
		t.Errorf("no check line from %v along %v", from, d)
	}
	return d.Norm() + b - a
}

// crossMiddle finds the middle of a hole's cross near p, from its four arms at a quarter of the radius.
func crossMiddle(t *testing.T, page sheet, p geom.PointMM, r float64) geom.PointMM {
	t.Helper()
	const reach = 0.6
	middle := func(along geom.PointMM) float64 {
		across := geom.PointMM{X: along.Y, Y: along.X}
		var sum float64
		for _, side := range []float64{-r / 3, r / 3} {
			at := p.Add(across.Scale(side))
			mm, ok := page.darkMiddle(at.Sub(along.Scale(reach)), at.Add(along.Scale(reach)), 0.2)
			if !ok {
				t.Errorf("no cross at %v", p)
			}
			sum += mm - reach
		}
		return sum / 2
	}
	return p.Add(geom.PointMM{X: middle(geom.PointMM{X: 1}), Y: middle(geom.PointMM{Y: 1})})
}

// The coloured area on paper is the figure: all that is orange is metal to remove, to 1 % where there is enough to grind;
// and all that is blue is past the line. Pixels of 0.06 mm are counted, those half covered as half; along slivers
// that are thinner than one up to a fifth of a pixel is allowed for.
func TestMapAreasOnPaper(t *testing.T) {
	r := marineManifold(t)
	for _, c := range []struct {
		r *compare.Result
		o MapOptions
	}{
		{r, MapOptions{Paper: A3(), Units: MM}},
		{r, MapOptions{Paper: strip.A4(), Units: MM, Side: GasketSide, Ports: []int{2}, Printed: [2]float64{0.99, 1.01}}},
		{throttle(t), MapOptions{Paper: strip.Letter(), Units: MM}},
	} {
		pdf, m := drawMap(t, c.r, c.o)
		const dpi = 400
		w, h, pix := pdftoppm(t, pdf, 1, dpi)
		m.win = m.window(0)
		for i := range m.ports {
			p := &m.ports[i]
			b := boundsOf(p.target).union(boundsOf(p.work)).grown(1)
			lo, hi := m.paperOf(b.lo), m.paperOf(b.hi)
			var orange, blue float64 // pixels
			for y := int((m.pageH - hi.Y) * dpi / 25.4); y < min(h, int((m.pageH-lo.Y)*dpi/25.4)); y++ {
				for x := int(lo.X * dpi / 25.4); x < min(w, int(hi.X*dpi/25.4)); x++ {
					c := pix[3*(y*w+x):]
					switch d := int(c[0]) - int(c[2]); {
					case d > 0:
						orange += math.Min(1, float64(d)/float64(tintRemove().R-tintRemove().B))
					case d < 0:
						blue += math.Min(1, float64(-d)/float64(tintPast().B-tintPast().R))
					}
				}
			}
			mm2 := 25.4 / dpi * 25.4 / dpi / m.kx / m.ky
			sliver := 0.2 * 25.4 / dpi * p.target.PerimeterMM()
			for _, a := range []struct {
				colour    string
				got, want float64
			}{{"orange", orange * mm2, p.RemoveArea.Value}, {"blue", blue * mm2, p.PastArea.Value}} {
				limit := sliver
				if a.want > 100 {
					limit = a.want / 100
				}
				if math.Abs(a.got-a.want) > limit {
					t.Errorf("port %d: %.2f mm² in %s, the figure is %.2f", p.Port, a.got, a.colour, a.want)
				}
			}
		}
	}
}

// Every port stands whole on a page and no page is larger than its window, on a face of many pages as well.
func TestPortsStayWhole(t *testing.T) {
	cases := append(mapCases(t), mapCase{"pepper pot", pepperPot(t), MapOptions{Paper: strip.A4(), Units: MM}, 0})
	for _, c := range cases {
		m, err := newMapSheet(c.r, c.o)
		if err != nil {
			t.Fatal(err)
		}
		for i, p := range m.subject.ports {
			whole := false
			for page := range m.pages() {
				whole = whole || m.window(page).holds(p)
			}
			if !whole {
				t.Errorf("%s: port %d is cut on every page", c.name, i+1)
			}
		}
		for page := range m.pages() - 1 {
			a, b := m.window(page), m.window(page+1)
			if a.lo.Y == b.lo.Y && a.hi.X-b.lo.X < overlapMM-1e-9 {
				t.Errorf("%s: pages %d and %d share %g mm", c.name, page+1, page+2, a.hi.X-b.lo.X)
			}
		}
	}
}

// Windows of 100 over 0 to 250 with 12 shared: three are needed; a stretch across the end of the first begins the second.
func TestWindows(t *testing.T) {
	for _, c := range []struct {
		lo, hi, w float64
		whole     [][2]float64
		want      []float64
	}{
		{0, 80, 100, nil, []float64{-10}},
		{0, 150, 100, nil, []float64{0, 50}},
		{0, 250, 100, nil, []float64{0, 88, 150}},
		{0, 250, 100, [][2]float64{{70, 120}}, []float64{0, 70, 150}},
		{0, 250, 100, [][2]float64{{70, 120}, {60, 130}}, []float64{0, 60, 148, 150}},
		{0, 150, 100, [][2]float64{{10, 140}}, []float64{0, 50}}, // too long to be whole anywhere
	} {
		if got := windows(c.lo, c.hi, c.w, c.whole); fmt.Sprint(got) != fmt.Sprint(c.want) {
			t.Errorf("%g to %g: windows at %v, want %v", c.lo, c.hi, got, c.want)
		}
	}
}

func TestMapRefusesTooManyPages(t *testing.T) {
	r := marineManifold(t)
	r.Ports = append(r.Ports, measured(t, 5, compare.Grind, circle(geom.PointMM{X: 9000, Y: 9000}, 20), circle(geom.PointMM{X: 9000, Y: 9000}, 19)))
	var large *TooLargeError
	if err := Map(&bytes.Buffer{}, r, MapOptions{Paper: strip.A4(), Units: MM}); !errors.As(err, &large) {
		t.Errorf("9 m of face: %v, want a TooLargeError", err)
	}
}

// Figures, numbers and cautions can be read on the map, each caution once; a mirrored one says so and names no clock.
func TestMapWords(t *testing.T) {
	r := marineManifold(t)
	pdf, _ := drawMap(t, r, MapOptions{Paper: strip.A4(), Units: MM})
	words := pdfText(t, pdf)
	for _, s := range append(safety(), wordRemove, wordPast, wordUnsure) {
		if n := strings.Count(words, s); n != 1 {
			t.Errorf("the map says %q %d times, want once", s, n)
		}
	}
	for _, p := range r.Ports {
		for _, c := range callouts(&p) {
			for _, s := range []string{MM.LengthText(c.step.Value) + " mm", "± " + MM.lengthU(c.step.Quantity), c.step.Clock} {
				if !strings.Contains(words, s) {
					t.Errorf("port %d: the map doesn't say %q", p.Port, s)
				}
			}
		}
		if strings.HasPrefix(p.Verdict, compare.Grind) && !strings.Contains(words, MM.AreaPM(p.RemoveArea)) {
			t.Errorf("port %d: the map doesn't say %q", p.Port, MM.AreaPM(p.RemoveArea))
		}
	}
	for _, s := range []string{"page 1 of 2", "page 2 of 2", "150.0 mm", "scale card's printer", "water passages"} {
		if !strings.Contains(words, s) {
			t.Errorf("the map doesn't say %q", s)
		}
	}
	// The least land stands once where two ports share it, and not on a stencil.
	for i, to := range []string{"port 2", "port 1"} {
		r.Ports[i].Lands = []compare.Land{{Quantity: compare.Quantity{Value: 7.654}, To: to, At: [2]float64{-90 + 3*float64(i), 0}, End: [2]float64{-87 - 3*float64(i), 0}}}
	}
	pdf, _ = drawMap(t, r, MapOptions{Paper: strip.A4(), Units: MM})
	if n := strings.Count(pdfText(t, pdf), "land 7.65 mm"); n != 1 {
		t.Errorf("the map says %d times how much land is left between ports 1 and 2, want once", n)
	}
	part := r.PartOutline
	r.PartOutline = nil // not found in the photo
	pdf, _ = drawMap(t, r, MapOptions{Paper: strip.A4(), Units: MM})
	if n := strings.Count(pdfText(t, pdf), "land 7.65 mm"); n != 1 {
		t.Errorf("a map without the part's edge says %d times how much land is left between ports 1 and 2, want once", n)
	}
	r.PartOutline = part
	pdf, _ = drawMap(t, r, MapOptions{Paper: strip.A4(), Units: MM, Stencil: true})
	if strings.Contains(pdfText(t, pdf), "land 7") {
		t.Error("the stencil speaks of land")
	}
	pdf, _ = drawMap(t, r, MapOptions{Paper: strip.A4(), Units: MM, Side: GasketSide})
	if words = pdfText(t, pdf); !strings.Contains(words, "MIRRORED") || strings.Contains(words, " at 8:00") {
		t.Errorf("the mirrored map:\n%s", words)
	}
}

// The figure of a land crosses no edge of a port or hole, and stands in none, on whichever side of its port the land is.
func TestLandWordsKeepClearOfOpenings(t *testing.T) {
	m, err := newMapSheet(marineManifold(t), MapOptions{Paper: strip.A4(), Units: MM})
	if err != nil {
		t.Fatal(err)
	}
	const widthMM, sizeMM, landMM = 14.7, 2.4, 8.0
	tried := 0
	for i := range m.pages() {
		m.win = m.window(i)
		openings := m.openingsOnPaper()
		for _, p := range m.ports {
			b := boundsOf(p.target)
			if !m.win.holds(b) {
				continue
			}
			for k := range 12 {
				sin, cos := math.Sincos(2 * math.Pi * float64(k) / 12)
				out := geom.PointMM{X: cos, Y: sin}
				from := b.mid()
				for p.target.Contains(from) {
					from = from.Add(out.Scale(0.1))
				}
				from, to := m.paperOf(from), m.paperOf(from.Add(out.Scale(landMM)))
				if page := (box{m.paperOf(m.win.lo), m.paperOf(m.win.hi)}); !page.holds(box{to, to}.grown(widthMM)) ||
					slices.ContainsFunc(openings, func(o geom.Outline) bool { return boundsOf(o).grown(2).holds(box{to, to}) }) {
					continue // no room there, or a hole right behind it
				}
				tried++
				at := m.roomBeside(from, to, widthMM, sizeMM)
				words := box{at, at.Add(geom.PointMM{X: widthMM, Y: sizeMM})}
				for _, o := range openings {
					if o.Contains(words.mid()) || slices.ContainsFunc(o.Resampled(0.2), func(q geom.PointMM) bool { return words.holds(box{q, q}) }) {
						t.Errorf("port %d, land %d° round from the right: its words cross an opening", p.Port, 30*k)
					}
				}
			}
		}
	}
	if tried < 12 {
		t.Errorf("only %d lands had room round them, want 12 and more", tried)
	}
}

// Outlines too broken for polygon arithmetic still make a map, hatched by lines.
func TestMapOfBrokenOutlines(t *testing.T) {
	r := throttle(t)
	r.Ports[0].WorkOutline = [][2]float64{{-30, -30}, {30, 30}, {30, -30}, {-30, 30}} // crosses itself
	pdf, _ := drawMap(t, r, MapOptions{Paper: strip.A4(), Units: MM})
	if len(pageSizes(t, pdf)) != 1 {
		t.Error("no map")
	}
	for _, empty := range []*compare.Result{{}, spoilt(t)} {
		drawMap(t, empty, MapOptions{Paper: strip.A4(), Units: MM})
	}
}
