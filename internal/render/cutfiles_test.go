package render

import (
	"bufio"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"portmatch/internal/compare"
	"portmatch/internal/geom"
)

// Coordinates are written to 1e-4 mm.
const writtenMM = 0.5e-4 + 1e-9

func sameCurve(got geom.Outline, want [][2]float64, mirrored bool) error {
	if len(got) != len(want) {
		return fmt.Errorf("%d vertices, want %d", len(got), len(want))
	}
	for i, p := range want {
		j := i
		if mirrored {
			p[0] = -p[0]
			j = (len(want) - i) % len(want) // a change of hand turns the sense round, the first vertex stays
		}
		if math.Abs(got[j].X-p[0]) > writtenMM || math.Abs(got[j].Y-p[1]) > writtenMM {
			return fmt.Errorf("vertex %d at %v, want %v", i, got[j], p)
		}
	}
	return nil
}

type svgFile struct {
	Width   string `xml:"width,attr"`
	Height  string `xml:"height,attr"`
	ViewBox string `xml:"viewBox,attr"`
	Part    struct {
		D string `xml:"d,attr"`
	} `xml:"path"`
	Groups []struct {
		ID    string `xml:"id,attr"`
		Paths []struct {
			ID string `xml:"id,attr"`
			D  string `xml:"d,attr"`
		} `xml:"path"`
		Circles []struct {
			CX float64 `xml:"cx,attr"`
			CY float64 `xml:"cy,attr"`
			R  float64 `xml:"r,attr"`
		} `xml:"circle"`
	} `xml:"g"`
}

func readSVG(t *testing.T, b []byte) (svgFile, map[string]geom.Outline) {
	t.Helper()
	var f svgFile
	if err := xml.Unmarshal(b, &f); err != nil {
		t.Fatal(err)
	}
	curves := map[string]geom.Outline{}
	for _, g := range f.Groups {
		for _, p := range g.Paths {
			curves[p.ID] = readSVGPath(t, p.D)
		}
	}
	return f, curves
}

// readSVGPath reads an absolute closed path of straight lines and turns y up again.
func readSVGPath(t *testing.T, d string) geom.Outline {
	t.Helper()
	if !strings.HasPrefix(d, "M") || !strings.HasSuffix(d, "Z") {
		t.Fatalf("path %.20q … is not closed", d)
	}
	var o geom.Outline
	for _, pair := range strings.Split(d[1:len(d)-1], "L") {
		var x, y float64
		if _, err := fmt.Sscan(pair, &x, &y); err != nil {
			t.Fatal(err)
		}
		o = append(o, geom.PointMM{X: x, Y: -y})
	}
	return o
}

func TestSVGEqualsResult(t *testing.T) {
	r := marineManifold(t)
	var b bytes.Buffer
	if err := SVG(&b, r, OutlineOptions{}); err != nil {
		t.Fatal(err)
	}
	f, curves := readSVG(t, b.Bytes())
	for _, p := range r.Ports {
		if err := sameCurve(curves[fmt.Sprintf("target-%d", p.Port)], p.TargetOutline, false); err != nil {
			t.Errorf("target %d: %v", p.Port, err)
		}
		if err := sameCurve(curves[fmt.Sprintf("work-%d", p.Port)], p.WorkOutline, false); err != nil {
			t.Errorf("work %d: %v", p.Port, err)
		}
	}
	for _, g := range f.Groups {
		if g.ID != "holes" {
			continue
		}
		if len(g.Circles) != len(r.Holes) {
			t.Fatalf("%d holes, want %d", len(g.Circles), len(r.Holes))
		}
		for i, h := range r.Holes {
			c := g.Circles[i]
			if math.Abs(c.CX-h.X) > writtenMM || math.Abs(-c.CY-h.Y) > writtenMM || math.Abs(2*c.R-h.WorkDiameter) > 2*writtenMM {
				t.Errorf("hole %d at %g, %g, radius %g; the result has %+v", i, c.CX, -c.CY, c.R, h)
			}
		}
	}
}

// One unit of the picture is 1 mm: width and height are in mm and equal the view box's.
func TestSVGIsTrueSize(t *testing.T) {
	r := marineManifold(t)
	var b bytes.Buffer
	if err := SVG(&b, r, OutlineOptions{}); err != nil {
		t.Fatal(err)
	}
	f, _ := readSVG(t, b.Bytes())
	v := strings.Fields(f.ViewBox)
	if f.Width != v[2]+"mm" || f.Height != v[3]+"mm" {
		t.Errorf("%s x %s for a view box of %s", f.Width, f.Height, f.ViewBox)
	}
	// The part is 372 x 64 mm; 5 mm are left free on every side.
	if f.Width != "382.0000mm" || f.Height != "74.0000mm" {
		t.Errorf("%s x %s, want 382 x 74 mm", f.Width, f.Height)
	}
}

func TestStencilAndSideAndPorts(t *testing.T) {
	r := marineManifold(t)
	var b bytes.Buffer
	if err := SVG(&b, r, OutlineOptions{Ports: []int{2, 3}, Side: GasketSide, Stencil: true}); err != nil {
		t.Fatal(err)
	}
	f, curves := readSVG(t, b.Bytes())
	if len(curves) != 2 || f.Part.D != "" {
		t.Fatalf("%d curves and part %q, want the target openings 2 and 3 alone", len(curves), f.Part.D)
	}
	for _, i := range []int{1, 2} {
		if err := sameCurve(curves[fmt.Sprintf("target-%d", i+1)], r.Ports[i].TargetOutline, true); err != nil {
			t.Errorf("target %d mirrored: %v", i+1, err)
		}
	}
	for _, write := range []func() error{
		func() error { return SVG(&b, r, OutlineOptions{Ports: []int{2, 9}}) },
		func() error { return DXF(&b, r, OutlineOptions{Ports: []int{2, 9}}) },
	} {
		var wrong *PortNumberError
		if err := write(); !errors.As(err, &wrong) || wrong.Number != 9 || wrong.Have != 4 {
			t.Errorf("port 9: %v, want a PortNumberError", err)
		}
	}
}

// readDXF reads group codes and values and returns the closed polylines and circles by layer, in their order.
func readDXF(t *testing.T, b []byte) (curves map[string][]geom.Outline, circles []compare.HoleResult) {
	t.Helper()
	type group struct {
		code  int
		value string
	}
	var groups []group
	lines := bufio.NewScanner(bytes.NewReader(b))
	for lines.Scan() {
		code, err := strconv.Atoi(strings.TrimSpace(lines.Text()))
		if err != nil || !lines.Scan() {
			t.Fatalf("group %d: %v", len(groups), err)
		}
		groups = append(groups, group{code, lines.Text()})
	}
	curves = map[string][]geom.Outline{}
	var entity, layer string
	var closed bool
	num := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	for _, g := range groups {
		switch {
		case g.code == 0:
			entity = g.value
			closed = closed && entity == "VERTEX"
			if entity == "CIRCLE" {
				circles = append(circles, compare.HoleResult{})
			}
		case g.code == 8:
			layer = g.value
			if entity == "POLYLINE" {
				curves[layer] = append(curves[layer], nil)
			}
		case g.code == 70 && entity == "POLYLINE":
			closed = g.value == "1"
			if !closed {
				t.Errorf("an open polyline on layer %s", layer)
			}
		case entity == "VERTEX" && g.code == 10:
			c := curves[layer]
			c[len(c)-1] = append(c[len(c)-1], geom.PointMM{X: num(g.value)})
		case entity == "VERTEX" && g.code == 20:
			c := curves[layer][len(curves[layer])-1]
			c[len(c)-1].Y = num(g.value)
		case entity == "CIRCLE" && g.code == 10:
			circles[len(circles)-1].X = num(g.value)
		case entity == "CIRCLE" && g.code == 20:
			circles[len(circles)-1].Y = num(g.value)
		case entity == "CIRCLE" && g.code == 40:
			circles[len(circles)-1].WorkDiameter = 2 * num(g.value)
		}
	}
	if last := groups[len(groups)-1]; last != (group{0, "EOF"}) {
		t.Errorf("the file ends with %v", last)
	}
	return curves, circles
}

func TestDXFEqualsResult(t *testing.T) {
	r := marineManifold(t)
	var b bytes.Buffer
	if err := DXF(&b, r, OutlineOptions{}); err != nil {
		t.Fatal(err)
	}
	curves, circles := readDXF(t, b.Bytes())
	if len(curves["TARGET"]) != 4 || len(curves["WORK"]) != 4 || len(curves["PART"]) != 1 {
		t.Fatalf("%d target, %d work, %d part outlines", len(curves["TARGET"]), len(curves["WORK"]), len(curves["PART"]))
	}
	for i, p := range r.Ports {
		if err := sameCurve(curves["TARGET"][i], p.TargetOutline, false); err != nil {
			t.Errorf("target %d: %v", p.Port, err)
		}
		if err := sameCurve(curves["WORK"][i], p.WorkOutline, false); err != nil {
			t.Errorf("work %d: %v", p.Port, err)
		}
	}
	if err := sameCurve(curves["PART"][0], r.PartOutline, false); err != nil {
		t.Errorf("part: %v", err)
	}
	if len(circles) != len(r.Holes) {
		t.Fatalf("%d circles for %d holes", len(circles), len(r.Holes))
	}
	for i, h := range r.Holes {
		c := circles[i]
		if math.Abs(c.X-h.X) > writtenMM || math.Abs(c.Y-h.Y) > writtenMM || math.Abs(c.WorkDiameter-h.WorkDiameter) > 2*writtenMM {
			t.Errorf("circle %+v, hole %+v", c, h)
		}
	}
	b.Reset()
	if err := DXF(&b, r, OutlineOptions{Stencil: true}); err != nil {
		t.Fatal(err)
	}
	if curves, _ = readDXF(t, b.Bytes()); len(curves) != 1 || len(curves["TARGET"]) != 4 {
		t.Errorf("a stencil with the layers %v, want TARGET alone", curves)
	}
}
