package face

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"portmatch/internal/geom"
)

// What can be wrong with an SVG file; DecodeSVG's errors match one of these with errors.Is.
var (
	ErrNotSVG = errors.New("not an SVG file")
	ErrBadSVG = errors.New("SVG file that can't serve as a target")
)

const (
	// svgChordMM is how far the chords that stand for curves may lie off them.
	svgChordMM   = 0.002
	maxSVGDepth  = 200
	maxSVGCurves = 20_000
	maxSVGPoints = 1_000_000
	// A round outline up to this size, well smaller than the largest, is a hole for a fastener. The largest clearance hole of an
	// engine's bolts, M20, is 24 mm wide (ISO 273, coarse).
	maxHoleMM    = 25
	holeToPort   = 0.6
	roundWithin  = 0.01  // a hole's radius all round, share
	sameWithinMM = 0.001 // outlines drawn twice, once as a line and once filled
)

// DecodeSVG reads a drawing at 1:1 as a face: its closed outlines are ports, small round ones holes, and one that holds all
// others is the part's edge. A file of outlines that this program wrote gives its target. The drawing is exact: every
// uncertainty is 0. Its size must be given in mm, cm, in, pt or pc, since what one of its own units or a pixel is nobody can
// know.
func DecodeSVG(r io.Reader) (*Face, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxFileBytes+1))
	if err != nil {
		return nil, err
	}
	if len(data) > maxFileBytes {
		return nil, fmt.Errorf("%w: larger than %d MB", ErrBadSVG, maxFileBytes>>20)
	}
	s := svgReader{}
	if err := s.read(data); err != nil {
		return nil, err
	}
	return s.face()
}

// svgCurve is a closed outline of a drawing, in the face frame: mm, y up.
type svgCurve struct {
	outline  geom.Outline
	id       string // its own, or its group's
	diameter float64
	centre   geom.PointMM
}

type svgReader struct {
	curves []svgCurve
	points int
	groups []svgGroup
	seen   bool // the root
}

type svgGroup struct {
	mm   affine // face mm from the group's own units
	id   string
	skip bool
}

// affine is x' = A x + B y + E, y' = C x + D y + F.
type affine struct{ A, B, C, D, E, F float64 }

func (m affine) apply(x, y float64) geom.PointMM {
	return geom.PointMM{X: m.A*x + m.B*y + m.E, Y: m.C*x + m.D*y + m.F}
}

// after applies n first.
func (m affine) after(n affine) affine {
	return affine{m.A*n.A + m.B*n.C, m.A*n.B + m.B*n.D, m.C*n.A + m.D*n.C, m.C*n.B + m.D*n.D,
		m.A*n.E + m.B*n.F + m.E, m.C*n.E + m.D*n.F + m.F}
}

// scale is the largest factor by which m stretches.
func (m affine) scale() float64 {
	return math.Max(math.Hypot(m.A, m.C), math.Hypot(m.B, m.D))
}

// What is defined for use elsewhere, and is not drawn where it stands.
var svgHidden = []string{"defs", "symbol", "clipPath", "mask", "pattern", "marker", "metadata", "title", "desc", "style", "script", "linearGradient", "radialGradient", "filter"}

func (s *svgReader) read(data []byte) error {
	d := xml.NewDecoder(strings.NewReader(string(data)))
	d.CharsetReader = func(charset string, in io.Reader) (io.Reader, error) { return in, nil } // names only; numbers are ASCII
	for {
		t, err := d.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			if !s.seen {
				return fmt.Errorf("%w: %w", ErrNotSVG, err)
			}
			return fmt.Errorf("%w: %w", ErrBadSVG, err)
		}
		switch e := t.(type) {
		case xml.StartElement:
			if err := s.start(e); err != nil {
				line, _ := d.InputPos()
				return fmt.Errorf("line %d: %w", line, err)
			}
		case xml.EndElement:
			s.groups = s.groups[:len(s.groups)-1]
		}
	}
	if !s.seen {
		return fmt.Errorf("%w: it holds no drawing", ErrNotSVG)
	}
	return nil
}

func attr(e xml.StartElement, name string) string {
	for _, a := range e.Attr {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

func (s *svgReader) start(e xml.StartElement) error {
	if !s.seen {
		if e.Name.Local != "svg" {
			return fmt.Errorf("%w: it begins with <%s>", ErrNotSVG, e.Name.Local)
		}
		s.seen = true
		m, err := rootScale(e)
		if err != nil {
			return err
		}
		s.groups = append(s.groups, svgGroup{mm: m})
		return nil
	}
	if len(s.groups) == 0 {
		return fmt.Errorf("%w: there is more after the drawing's end", ErrBadSVG)
	}
	if len(s.groups) > maxSVGDepth {
		return fmt.Errorf("%w: nested more than %d deep", ErrBadSVG, maxSVGDepth)
	}
	up := s.groups[len(s.groups)-1]
	g := svgGroup{mm: up.mm, id: up.id, skip: up.skip}
	if id := attr(e, "id"); id != "" && g.id == "" {
		g.id = id // the outermost name says what a group is
	}
	style := strings.ReplaceAll(attr(e, "style"), " ", "")
	if slices.Contains(svgHidden, e.Name.Local) || attr(e, "display") == "none" || strings.Contains(style, "display:none") {
		g.skip = true
	}
	if t := attr(e, "transform"); t != "" && !g.skip {
		m, err := parseTransform(t)
		if err != nil {
			return err
		}
		g.mm = g.mm.after(m)
	}
	s.groups = append(s.groups, g)
	if g.skip {
		return nil
	}
	switch e.Name.Local {
	case "svg", "use", "image":
		return fmt.Errorf("%w: a <%s> inside the drawing is not understood; save it as plain paths", ErrBadSVG, e.Name.Local)
	case "path", "circle", "ellipse", "rect", "polygon", "polyline":
		return s.shape(e, g)
	}
	return nil
}

// rootScale returns the map from the drawing's units to mm, y turned up; the origin stays where it is.
func rootScale(e xml.StartElement) (affine, error) {
	w, err := physicalMM("width", attr(e, "width"))
	if err != nil {
		return affine{}, err
	}
	h, err := physicalMM("height", attr(e, "height"))
	if err != nil {
		return affine{}, err
	}
	box := attr(e, "viewBox")
	if box == "" {
		return affine{}, fmt.Errorf("%w: it has no viewBox, so that its units have no size", ErrBadSVG)
	}
	v, err := numbers(box, 4)
	if err != nil || !(v[2] > 0 && v[3] > 0) {
		return affine{}, fmt.Errorf("%w: its viewBox is %q", ErrBadSVG, box)
	}
	kx, ky := w/v[2], h/v[3]
	// Written with four digits or more, both scales agree; a drawing fitted to a page does not.
	if math.Abs(kx/ky-1) > 1e-3 {
		return affine{}, fmt.Errorf("%w: it is stretched, one unit is %.4f mm wide and %.4f mm high", ErrBadSVG, kx, ky)
	}
	return affine{A: kx, D: -ky}, nil
}

// physicalMM reads a length with a unit that has a size.
func physicalMM(name, s string) (float64, error) {
	s = strings.TrimSpace(s)
	i := strings.IndexFunc(s, func(r rune) bool { return !strings.ContainsRune("0123456789+-.eE", r) })
	if i < 0 {
		i = len(s)
	}
	// The exponent's e must not swallow the e of a unit; none of the units below begins with one.
	unit, ok := map[string]float64{"mm": 1, "cm": 10, "in": 25.4, "pt": 25.4 / 72, "pc": 25.4 / 6}[strings.TrimSpace(s[i:])]
	v, err := numbers(s[:i], 1)
	if !ok || err != nil || !(v[0] > 0 && v[0]*unit <= maxReachMM) {
		return 0, fmt.Errorf("%w: its %s is %q; it must be a size in mm, cm, in, pt or pc", ErrBadSVG, name, s)
	}
	return v[0] * unit, nil
}

func (s *svgReader) shape(e xml.StartElement, g svgGroup) error {
	tol := svgChordMM / g.mm.scale()
	if !(tol > 0) || math.IsInf(tol, 0) {
		return fmt.Errorf("%w: a transform that squashes everything", ErrBadSVG)
	}
	p := &pathBuilder{tol: tol}
	num := func(name string) float64 {
		v := attr(e, name)
		if v == "" {
			return 0
		}
		n, err := numbers(v, 1)
		if err != nil {
			p.fail("%s of a %s is %q", name, e.Name.Local, v)
			return 0
		}
		return n[0]
	}
	switch e.Name.Local {
	case "path":
		p.parse(attr(e, "d"))
	case "circle":
		p.ellipse(num("cx"), num("cy"), num("r"), num("r"))
	case "ellipse":
		p.ellipse(num("cx"), num("cy"), num("rx"), num("ry"))
	case "rect":
		rx, ry := num("rx"), num("ry")
		if attr(e, "rx") == "" {
			rx = ry
		}
		if attr(e, "ry") == "" {
			ry = rx
		}
		p.rect(num("x"), num("y"), num("width"), num("height"), rx, ry)
	case "polygon", "polyline":
		p.polygon(attr(e, "points"), e.Name.Local == "polygon")
	}
	if p.err != nil {
		return p.err
	}
	for _, o := range p.closed {
		if s.points += len(o); s.points > maxSVGPoints || len(s.curves) == maxSVGCurves {
			return fmt.Errorf("%w: more than %d outlines or %d points", ErrBadSVG, maxSVGCurves, maxSVGPoints)
		}
		out := make(geom.Outline, len(o))
		for i, q := range o {
			out[i] = g.mm.apply(q[0], q[1])
			if !reachable(out[i].X) || !reachable(out[i].Y) {
				return fmt.Errorf("%w: a point at (%g, %g) mm", ErrBadSVG, out[i].X, out[i].Y)
			}
		}
		out, err := geom.Simple(out)
		if errors.Is(err, geom.ErrNoArea) {
			continue // a line drawn to and fro
		}
		if err != nil {
			return fmt.Errorf("%w: %w", ErrBadSVG, err)
		}
		s.add(out, g.id)
	}
	return nil
}

func (s *svgReader) add(o geom.Outline, id string) {
	c := svgCurve{outline: o, id: id, centre: o.CentroidMM()}
	for _, d := range s.curves {
		if d.id == id && d.centre.Dist(c.centre) < sameWithinMM && math.Abs(d.outline.AreaMM2()-o.AreaMM2()) < sameWithinMM*o.PerimeterMM() {
			return
		}
	}
	r := math.Sqrt(o.AreaMM2() / math.Pi)
	round := true
	for i := range o {
		if math.Abs(o[i].Dist(c.centre)-r) > roundWithin*r {
			round = false
			break
		}
	}
	if round {
		c.diameter = 2 * r
	}
	s.curves = append(s.curves, c)
}

func (s *svgReader) face() (*Face, error) {
	curves := s.curves
	ours := slices.ContainsFunc(curves, func(c svgCurve) bool { return c.id == "target" })
	var ports, holes []svgCurve
	f := &Face{}
	if ours {
		for _, c := range curves {
			switch c.id {
			case "target":
				ports = append(ports, c)
			case "holes":
				holes = append(holes, c)
			case "part":
				f.PartOutline = exactEdge(c.outline)
			}
		}
	} else {
		if i := frame(curves); i >= 0 {
			f.PartOutline = exactEdge(curves[i].outline)
			curves = slices.Delete(slices.Clone(curves), i, i+1)
		}
		var largest float64
		for _, c := range curves {
			largest = math.Max(largest, 2*math.Sqrt(c.outline.AreaMM2()/math.Pi))
		}
		for _, c := range curves {
			if c.diameter > 0 && c.diameter <= maxHoleMM && c.diameter < holeToPort*largest {
				holes = append(holes, c)
			} else {
				ports = append(ports, c)
			}
		}
	}
	if len(ports) == 0 {
		return nil, fmt.Errorf("%w: it holds no closed outline", ErrBadSVG)
	}
	if len(ports) > maxOpenings || len(holes) > maxOpenings {
		return nil, fmt.Errorf("%w: %d ports and %d holes", ErrBadSVG, len(ports), len(holes))
	}
	slices.SortStableFunc(ports, func(a, b svgCurve) int {
		if a.centre.X != b.centre.X {
			if a.centre.X < b.centre.X {
				return -1
			}
			return 1
		}
		return 0
	})
	for i, c := range ports {
		if len(c.outline) > maxPoints {
			return nil, fmt.Errorf("%w: an outline of %d points", ErrBadSVG, len(c.outline))
		}
		f.Ports = append(f.Ports, Port{Number: i + 1, Edge: exactEdge(c.outline)})
	}
	for _, c := range holes {
		f.Holes = append(f.Holes, Hole{Centre: c.centre, DiameterMM: 2 * math.Sqrt(c.outline.AreaMM2()/math.Pi)})
	}
	return f, nil
}

// frame returns the curve that holds all others, of which there must be two or more, or -1.
func frame(curves []svgCurve) int {
	if len(curves) < 3 {
		return -1
	}
	big := 0
	for i := range curves {
		if curves[i].outline.AreaMM2() > curves[big].outline.AreaMM2() {
			big = i
		}
	}
	for i := range curves {
		if i != big && !curves[big].outline.Contains(curves[i].centre) {
			return -1
		}
	}
	return big
}

func exactEdge(o geom.Outline) Edge {
	n := len(o)
	e := Edge{Outline: o, SigmaMM: make([]float64, n), BiasMM: make([]float64, n), Sure: make([]bool, n)}
	for i := range e.Sure {
		e.Sure[i] = true
	}
	return e
}
