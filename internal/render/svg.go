package render

import (
	"bytes"
	"fmt"
	"io"

	"portmatch/internal/compare"
	"portmatch/internal/geom"
)

// OutlineOptions say what goes into a file of outlines.
type OutlineOptions struct {
	Ports   []int // port numbers; none for all
	Side    Side  // zero value: FaceSide
	Stencil bool  // only what is cut out: target openings and holes
}

// outlineSet is what a file of outlines holds, in the drawing's frame (mm, x right, y up).
type outlineSet struct {
	ports        []int
	target, work []geom.Outline // of ports; an opening that was not found is empty
	part         geom.Outline
	holes        []placedHole
	all          box
}

type placedHole struct {
	compare.HoleResult
	centre  geom.PointMM
	locates bool
}

func collectOutlines(r *compare.Result, o OutlineOptions) (*outlineSet, error) {
	ports, err := selectPorts(r, o.Ports)
	if err != nil {
		return nil, err
	}
	m := o.Side.paperFromJob()
	s := &outlineSet{all: emptyBox()}
	add := func(pts [][2]float64) geom.Outline {
		out := outlineOf(pts).Mapped(m)
		s.all = s.all.union(boundsOf(out))
		return out
	}
	for _, p := range ports {
		s.ports = append(s.ports, p.Port)
		s.target = append(s.target, add(p.TargetOutline))
		if !o.Stencil {
			s.work = append(s.work, add(p.WorkOutline))
		}
	}
	if !o.Stencil {
		s.part = add(r.PartOutline)
	}
	for _, h := range r.Holes {
		if drawnDiameterMM(h) <= 0 {
			continue
		}
		c := m.Apply(geom.PointMM{X: h.X, Y: h.Y})
		s.holes = append(s.holes, placedHole{h, c, locates(h, r.Alignment)})
		s.all = s.all.union(box{c, c}.grown(drawnDiameterMM(h) / 2))
	}
	if s.all.empty() {
		s.all = box{}
	}
	return s, nil
}

// SVG writes the outlines at 1:1 in mm: the picture's width and height are in mm and one unit of it is 1 mm. x is the job
// frame's x, y its negative, since y runs down in SVG. A number that no port has is a *PortNumberError.
func SVG(w io.Writer, r *compare.Result, o OutlineOptions) error {
	s, err := collectOutlines(r, o)
	if err != nil {
		return err
	}
	const marginMM = 5
	all := s.all.grown(marginMM)
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%smm" height="%smm" viewBox="%s %s %s %s">`+"\n",
		micro(all.w()), micro(all.h()), micro(all.lo.X), micro(-all.hi.Y), micro(all.w()), micro(all.h()))
	fmt.Fprintf(&b, "<title>Port outlines, pass %d</title>\n", r.Pass)
	seen := "the work face as looked at"
	if o.Side == GasketSide {
		seen = "mirrored, as the work face's print on the gasket"
	}
	fmt.Fprintf(&b, "<desc>1:1 in mm, %s. Origin midway between the locating holes, y down.</desc>\n", seen)
	group := func(id, stroke string, outlines []geom.Outline) {
		if len(outlines) == 0 {
			return
		}
		fmt.Fprintf(&b, `<g id="%s" fill="none" stroke-width="0.1" %s>`+"\n", id, stroke)
		for i, o := range outlines {
			if len(o) > 0 {
				fmt.Fprintf(&b, `<path id="%s-%d" d="%s"/>`+"\n", id, s.ports[i], svgPath(o))
			}
		}
		b.WriteString("</g>\n")
	}
	if len(s.part) > 0 {
		fmt.Fprintf(&b, `<path id="part" fill="none" stroke="#999" stroke-width="0.1" d="%s"/>`+"\n", svgPath(s.part))
	}
	group("target", `stroke="#000"`, s.target)
	group("work", `stroke="`+hexOf(inkRemove())+`" stroke-dasharray="1 0.6"`, s.work)
	b.WriteString(`<g id="holes" fill="none" stroke="#000" stroke-width="0.1">` + "\n")
	for _, h := range s.holes {
		fmt.Fprintf(&b, `<circle class="%s" cx="%s" cy="%s" r="%s"/>`+"\n",
			h.Kind, micro(h.centre.X), micro(-h.centre.Y), micro(drawnDiameterMM(h.HoleResult)/2))
	}
	b.WriteString("</g>\n</svg>\n")
	_, err = w.Write(b.Bytes())
	return err
}

// svgPath is a closed path with y turned over.
func svgPath(o geom.Outline) []byte {
	var b []byte
	for i, p := range o {
		b = append(b, "ML"[min(i, 1)])
		b = append(b, micro(p.X)...)
		b = append(b, ' ')
		b = append(b, micro(-p.Y)...)
	}
	return append(b, 'Z')
}
