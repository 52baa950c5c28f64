package main

import (
	"bytes"
	"fmt"
	"image/color"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"

	"github.com/fogleman/gg"

	"portmatch/internal/face"
	"portmatch/internal/geom"
	"portmatch/internal/job"
	"portmatch/internal/photo"
)

// debugSidePx is the longer side of a debug picture: enough to see a strip's cells and a port's edge on a screen.
const debugSidePx = 2400

func (ps *parts) debug(dir string) error {
	if dir == "" {
		return nil
	}
	for i, w := range ps.works {
		if err := w.debugAs(dir, fmt.Sprintf("work-%d", i+1)); err != nil {
			return err
		}
	}
	for _, v := range []*sight{ps.target, ps.head} {
		if v != nil {
			if err := v.debugAs(dir, v.role); err != nil {
				return err
			}
		}
	}
	return nil
}

func (v *sight) debug(dir string) error {
	if dir == "" {
		return nil
	}
	return v.debugAs(dir, "photo")
}

// debugAs writes what each stage saw of the photo: the picture as decoded, the tags, the first look, the measured edges.
func (v *sight) debugAs(dir, name string) error {
	if v.photo == nil { // a trace file has no stages
		return nil
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return &fileError{dir, "can't be made: " + plain(err), err}
	}
	for i, stage := range []struct {
		name string
		draw func(*debugPicture)
	}{
		{"decoded", func(*debugPicture) {}},
		{"tags", func(p *debugPicture) {
			for _, t := range v.solution.Tags {
				p.line(debugOrange, t.CornersPx[:], true)
			}
			for _, q := range v.solution.StripQuadsPx {
				p.line(debugBlue, q[:], true)
			}
		}},
		{"openings", func(p *debugPicture) { p.face(v, v.survey.Rough()) }},
		{"edges", func(p *debugPicture) { p.face(v, v.face) }},
	} {
		p := newDebugPicture(v.photo)
		stage.draw(p)
		var b bytes.Buffer
		if err := png.Encode(&b, p.Image()); err != nil {
			return err
		}
		path := filepath.Join(dir, fmt.Sprintf("%s-%d-%s.png", name, i+1, stage.name))
		if err := job.WriteFile(path, func(w io.Writer) error { _, err := b.WriteTo(w); return err }); err != nil {
			return err
		}
	}
	return nil
}

type debugPicture struct {
	*gg.Context
	view *photo.View
}

// Orange and blue are told apart by every kind of colour-blind eye.
var (
	debugOrange = color.RGBA{230, 120, 0, 255}
	debugBlue   = color.RGBA{0, 110, 220, 255}
)

func newDebugPicture(p *photo.Photo) *debugPicture {
	view := p.Preview(debugSidePx)
	return &debugPicture{gg.NewContextForRGBA(view.RGBA), view}
}

func (d *debugPicture) line(c color.Color, points []geom.PointPx, closed bool) {
	for _, q := range points {
		x, y := d.view.FromPhoto(q.U, q.V)
		d.LineTo(x+0.5, y+0.5) // gg's pixel centres lie at a half
	}
	if closed {
		d.ClosePath()
	}
	d.SetColor(c)
	d.SetLineWidth(1.5)
	d.Stroke()
}

// face draws outlines and holes, orange where they are sure and blue where not.
func (d *debugPicture) face(v *sight, f *face.Face) {
	px := func(p geom.PointMM) geom.PointPx { return v.solution.Camera.PixelFromPlane(p, v.heightMM) }
	edge := func(e face.Edge) {
		for i, p := range e.Outline {
			c := debugOrange
			if len(e.Sure) > 0 && !e.Sure[i] {
				c = debugBlue
			}
			d.line(c, []geom.PointPx{px(p), px(e.Outline[(i+1)%len(e.Outline)])}, false)
		}
	}
	for _, p := range f.Ports {
		edge(p.Edge)
	}
	edge(f.PartOutline)
	for _, h := range f.Holes {
		var circle face.Edge
		for i := range 72 {
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / 72)
			circle.Outline = append(circle.Outline, h.Centre.Add(geom.PointMM{X: cos, Y: sin}.Scale(h.DiameterMM/2)))
		}
		edge(circle)
	}
}
