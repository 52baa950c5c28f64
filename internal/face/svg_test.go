package face

import (
	"errors"
	"math"
	"strings"
	"testing"

	"portmatch/internal/geom"
)

func decodeSVG(t *testing.T, body string) *Face {
	t.Helper()
	f, err := DecodeSVG(strings.NewReader(`<svg xmlns="http://www.w3.org/2000/svg" width="200mm" height="100mm" viewBox="-100 -50 200 100">` + body + `</svg>`))
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.6f, want %.6f ± %g", what, got, want, tolerance)
	}
}

// Areas in closed form. Chords within 0.002 mm lose two thirds of that over the round part of the perimeter.
func TestSVGShapes(t *testing.T) {
	for _, c := range []struct {
		name, body string
		area       float64
	}{
		{"circle", `<circle cx="3" cy="4" r="20"/>`, 1256.637061},
		{"ellipse", `<ellipse rx="30" ry="10"/>`, math.Pi * 300},
		{"rounded rectangle", `<rect x="-25" y="-15" width="50" height="30" rx="8"/>`, 1445.061930},
		{"stadium", `<rect x="-25" y="-15" width="50" height="30" ry="15"/>`, 1306.858347},
		{"sharp rectangle", `<rect width="50" height="30"/>`, 1500},
		{"polygon", `<polygon points="0,0 4,0 4,3"/>`, 6},
		{"polyline that comes back", `<polyline points="0,0 4,0 4,3 0,0"/>`, 6},
		{"D of lines and an arc", `<path d="M0-18H14A18 18 0 0 1 14 18H0z"/>`, 1012.938010},
		{"the same, relative and unspaced", `<path d="m0-18h14a18 18 0 010 36h-14z"/>`, 1012.938010},
		{"circle by two arcs, flags unspaced", `<path d="M20,0A20,20 0 01-20,0A20,20 0 0120,0"/>`, 1256.637061},
		{"the large arc", `<path d="M10 0A10 10 0 1 0 0 10L0 0z"/>`, math.Pi * 100 * 3 / 4},
		{"cubics: a square with one side bulged", `<path d="M0 0L10 0C14 0 14 10 10 10L0 10z"/>`, 100 + 720.0/30}, // ∫ 12 t(1-t) · 60 t(1-t) dt,
		{"quadratic: parabola over a chord of 10, 4 high", `<path d="M0 0Q5 8 10 0z"/>`, 2.0 / 3 * 10 * 4},
		{"smooth quadratic", `<path d="M0 0Q5 8 10 0T20 0L20 -10L0 -10z"/>`, 200},
	} {
		f := decodeSVG(t, c.body)
		if len(f.Ports) != 1 {
			t.Errorf("%s: %d ports", c.name, len(f.Ports))
			continue
		}
		o := geom.Outline(f.Ports[0].Outline)
		near(t, c.name, o.SignedAreaMM2(), c.area, 0.002*o.PerimeterMM())
	}
}

// Transforms and units: a square of 10 units, whatever they are.
func TestSVGUnitsAndTransforms(t *testing.T) {
	square := `<rect width="10" height="10"/>`
	for _, c := range []struct {
		width, height, box, body string
		side                     float64
		x, y                     float64 // of its middle
	}{
		{"100mm", "100mm", "0 0 100 100", square, 10, 5, -5},
		{"10cm", "10cm", "0 0 200 200", square, 5, 2.5, -2.5},
		{"1in", "1in", "0 0 96 96", square, 10 * 25.4 / 96, 5 * 25.4 / 96, -5 * 25.4 / 96}, // CSS: 96 px are an inch
		{"72pt", "72pt", "0 0 25.4 25.4", square, 10, 5, -5},                               // 72 points are an inch
		{"100mm", "100mm", "0 0 100 100", `<g transform="translate(20,30)">` + square + `</g>`, 10, 25, -35},
		{"100mm", "100mm", "0 0 100 100", `<g transform="scale(2) translate(5 0)"><rect width="10" height="10" transform="rotate(90 5 5)"/></g>`, 20, 20, -10},
		{"100mm", "100mm", "0 0 100 100", `<rect width="10" height="10" transform="matrix(0 1 -1 0 50 60)"/>`, 10, 45, -65},
		{"100mm", "100mm", "10 20 100 100", square, 10, 5, -5},
	} {
		f, err := DecodeSVG(strings.NewReader(`<?xml version="1.0"?><svg width="` + c.width + `" height="` + c.height + `" viewBox="` + c.box + `">` + c.body + `</svg>`))
		if err != nil {
			t.Fatal(err)
		}
		o := geom.Outline(f.Ports[0].Outline)
		near(t, "side", math.Sqrt(o.AreaMM2()), c.side, 1e-6)
		near(t, "x", o.CentroidMM().X, c.x, 1e-6)
		near(t, "y", o.CentroidMM().Y, c.y, 1e-6)
	}
}

// A flange of ISO 6162-1, DN25: bore 25.6, bolts 52.4 x 26.2; what is a hole, a port and the part's edge.
func TestSVGFlange(t *testing.T) {
	f := decodeSVG(t, `<defs><circle r="3"/></defs><rect x="-40" y="-27" width="80" height="54" rx="6"/>
		<circle r="12.8"/><circle r="12.8" fill="none"/>
		<g><circle cx="-26.2" cy="-13.1" r="5.5"/><circle cx="26.2" cy="-13.1" r="5.5"/><circle cx="26.2" cy="13.1" r="5.5"/><circle cx="-26.2" cy="13.1" r="5.5"/></g>
		<path d="M-50 0H50"/><g style="display: none"><circle r="30"/></g><text x="0" y="0">DN25</text>`)
	if len(f.Ports) != 1 || len(f.Holes) != 4 || len(f.PartOutline.Outline) == 0 {
		t.Fatalf("%d ports, %d holes, part edge of %d points", len(f.Ports), len(f.Holes), len(f.PartOutline.Outline))
	}
	near(t, "bore", geom.Outline(f.Ports[0].Outline).AreaMM2(), 514.719, 0.002*80.4)
	near(t, "bolt diagonal", f.Holes[0].Centre.Dist(f.Holes[2].Centre), 58.585, 5e-4)
	near(t, "hole", f.Holes[0].DiameterMM, 11, 0.003)
}

// A file of outlines that this program wrote holds target and work; the target counts.
func TestSVGOfOurOwn(t *testing.T) {
	f := decodeSVG(t, `<path id="part" d="M-60 -40L60 -40L60 40L-60 40Z"/>
		<g id="target"><path id="target-2" d="M20 -10L40 -10L40 10L20 10Z"/><path id="target-1" d="M-40 -10L-20 -10L-20 10L-40 10Z"/></g>
		<g id="work"><path id="work-1" d="M-39 -9L-21 -9L-21 9L-39 9Z"/></g>
		<g id="holes"><circle class="bolt" cx="0" cy="30" r="4.5"/></g>`)
	if len(f.Ports) != 2 || len(f.Holes) != 1 || len(f.PartOutline.Outline) != 4 {
		t.Fatalf("%d ports, %d holes, part edge of %d points", len(f.Ports), len(f.Holes), len(f.PartOutline.Outline))
	}
	near(t, "port 1", geom.Outline(f.Ports[0].Outline).CentroidMM().X, -30, 1e-9)
	near(t, "area", geom.Outline(f.Ports[0].Outline).AreaMM2(), 400, 1e-9)
	near(t, "hole's y", f.Holes[0].Centre.Y, -30, 1e-9)
}

func TestSVGRefuses(t *testing.T) {
	svg := func(attrs, body string) string { return `<svg ` + attrs + `>` + body + `</svg>` }
	const size = `width="100mm" height="100mm" viewBox="0 0 100 100"`
	for text, want := range map[string]error{
		``: ErrNotSVG, `<html></html>`: ErrNotSVG, `{"schema": 1}`: ErrNotSVG, "\xff\xd8\xff": ErrNotSVG,
		svg(``, ``): ErrBadSVG,
		svg(`width="100" height="100" viewBox="0 0 100 100"`, `<circle r="5"/>`):     ErrBadSVG, // no unit
		svg(`width="100px" height="100px" viewBox="0 0 100 100"`, `<circle r="5"/>`): ErrBadSVG, // nobody knows the program's pixel
		svg(`width="100%" height="100%" viewBox="0 0 100 100"`, `<circle r="5"/>`):   ErrBadSVG,
		svg(`width="100mm" height="100mm"`, `<circle r="5"/>`):                       ErrBadSVG,
		svg(`width="100mm" height="90mm" viewBox="0 0 100 100"`, `<circle r="5"/>`):  ErrBadSVG, // stretched
		svg(`width="100mm" height="100mm" viewBox="0 0 0 100"`, `<circle r="5"/>`):   ErrBadSVG,
		svg(size, ``):                                        ErrBadSVG,
		svg(size, `<path d="M0 0L10 0"/>`):                   ErrBadSVG,
		svg(size, `<path d="M0 0L10 x"/>`):                   ErrBadSVG,
		svg(size, `<path d="L10"/>`):                         ErrBadSVG,
		svg(size, `<path d="M0 0A5 5 0 2 0 10 0z"/>`):        ErrBadSVG,
		svg(size, `<path d="M0 0L10 10L10 0L0 10z"/>`):       ErrBadSVG, // crosses itself
		svg(size, `<path d="M0 0C1e300 0 0 1e300 5 5z"/>`):   ErrBadSVG,
		svg(size, `<circle r="1e9"/>`):                       ErrBadSVG,
		svg(size, `<circle r="five"/>`):                      ErrBadSVG,
		svg(size, `<use href="#a"/>`):                        ErrBadSVG,
		svg(size, `<circle r="5" transform="rotate(1 2)"/>`): ErrBadSVG,
		svg(size, `<circle r="5" transform="scale(0)"/>`):    ErrBadSVG,
		svg(size, `<circle r="5">`):                          ErrBadSVG, // tag not closed
	} {
		if f, err := DecodeSVG(strings.NewReader(text)); !errors.Is(err, want) {
			t.Errorf("DecodeSVG(%s) = %v, %v; want %v", text, f, err, want)
		}
	}
}

func FuzzDecodeSVG(f *testing.F) {
	const size = `<svg width="100mm" height="100mm" viewBox="0 0 100 100">`
	f.Add([]byte(size + `<path d="M0-18H14A18 18 0 0 1 14 18H0z" transform="rotate(9)"/></svg>`))
	f.Add([]byte(size + `<g id="target"><path d="M20 -10L40 -10C1 2 3 4 5 6S7 8 9 10Q1 2 3 4T5 6Z"/></g></svg>`))
	f.Add([]byte(size + `<rect width="5" height="6" rx="1"/><polygon points="1,2 3,4 5,0"/><circle r="3"/></svg>`))
	f.Fuzz(func(t *testing.T, data []byte) {
		g, err := DecodeSVG(strings.NewReader(string(data)))
		if err != nil {
			return
		}
		for _, p := range g.Ports {
			if a := geom.Outline(p.Outline).SignedAreaMM2(); !(a > 0) || len(p.Sure) != len(p.Outline) {
				t.Fatalf("port %d has an area of %g", p.Number, a)
			}
		}
	})
}
