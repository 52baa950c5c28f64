package main

import (
	"bytes"
	"context"
	"errors"
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
	"portmatch/internal/scalecard"
)

// debugSidePx is the longer side of a debug picture: enough to see a strip's cells and a port's edge on a screen.
const debugSidePx = 2400

// Residuals and uncertainties are fractions of a pixel: drawn larger, or nobody sees them.
const (
	residualTimes = 50
	bandTimes     = 10
)

// withDebug writes into dir, if there is one, what the stages saw, also of a photo that was refused with err, as far as it got. After Ctrl-C nothing
// more is written.
func withDebug(err error, dir string, write func(dir string) error) error {
	if dir == "" || errors.Is(err, context.Canceled) {
		return err
	}
	if werr := write(dir); err == nil {
		return werr
	}
	return err
}

func (ps *parts) debug(dir string) error {
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

func (v *sight) debug(dir string) error { return v.debugAs(dir, "photo") }

// debugAs writes what each stage that was reached saw of the photo: the picture as decoded, the tags with their residuals, the first look, the
// measured edges with the places kept and dropped and the band of their uncertainty.
func (v *sight) debugAs(dir, name string) error {
	if v.photo == nil { // a trace file has no stages
		return nil
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return &fileError{dir, "can't be made: " + plain(err), err}
	}
	stages := []struct {
		name    string
		reached bool
		draw    func(*debugPicture)
	}{
		{"decoded", true, func(*debugPicture) {}},
		{"tags", v.solution != nil, func(p *debugPicture) { p.tags(v.solution) }},
		{"openings", v.survey != nil, func(p *debugPicture) { p.face(v, v.survey.Rough()) }},
		{"edges", v.face != nil, func(p *debugPicture) {
			p.face(v, v.face)
			for _, port := range v.face.Ports {
				p.band(v, port.Edge)
			}
			p.says(fmt.Sprintf("orange: kept, blue: dropped; the band is U (k = 2), %d times as wide as it is", bandTimes))
		}},
	}
	for i, stage := range stages {
		if !stage.reached {
			continue
		}
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

// Orange and blue are told apart by every kind of colour-blind eye; red is for arrows alone.
var (
	debugOrange = color.RGBA{230, 120, 0, 255}
	debugBlue   = color.RGBA{0, 110, 220, 255}
	debugRed    = color.RGBA{200, 0, 60, 255}
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

// says writes a line into the upper left corner.
func (d *debugPicture) says(text string) {
	const x, y = 12, 24
	w, h := d.MeasureString(text)
	d.SetColor(color.White)
	d.DrawRectangle(x-6, y-h-4, w+12, h+12)
	d.Fill()
	d.SetColor(color.Black)
	d.DrawString(text, x, y)
}

// tags draws the tags, blue where the solve believed less than half of them, their residuals as arrows, and the strips.
func (d *debugPicture) tags(s *scalecard.Solution) {
	for _, t := range s.Tags {
		c := debugOrange
		if t.Weight < 0.5 {
			c = debugBlue
		}
		d.line(c, t.CornersPx[:], true)
		for i, q := range t.CornersPx {
			r := t.ResidualPx[i]
			tip := geom.PointPx{U: q.U + residualTimes*r.U, V: q.V + residualTimes*r.V}
			// The head's sides lean back by a quarter of the arrow.
			back := func(side float64) geom.PointPx {
				return geom.PointPx{U: tip.U - residualTimes*(0.25*r.U+side*0.12*r.V), V: tip.V - residualTimes*(0.25*r.V-side*0.12*r.U)}
			}
			d.line(debugRed, []geom.PointPx{q, tip}, false)
			d.line(debugRed, []geom.PointPx{back(1), tip, back(-1)}, false)
		}
	}
	for _, q := range s.StripQuadsPx {
		d.line(debugBlue, q[:], true)
	}
	d.says(fmt.Sprintf("arrows: what the corners are off, %d times; %.2f px RMS", residualTimes, s.RMSPx))
}

// band draws every mm of an edge a tick across it, and the band of its expanded uncertainty.
func (d *debugPicture) band(v *sight, e face.Edge) {
	const everyMM, tickMM = 1.0, 0.7
	n := len(e.Outline)
	px := func(p geom.PointMM) geom.PointPx { return v.solution.Camera.PixelFromPlane(p, v.heightMM) }
	var sides [2][]geom.PointPx
	along := everyMM
	draw := func() {
		for i := range sides {
			if len(sides[i]) > 1 {
				d.line(debugOrange, sides[i], false)
			}
			sides[i] = nil
		}
	}
	for i, p := range e.Outline {
		ahead := e.Outline[(i+1)%n]
		dir := ahead.Sub(e.Outline[(i+n-1)%n])
		across := geom.PointMM{X: dir.Y, Y: -dir.X}.Scale(1 / max(dir.Norm(), 1e-9))
		sure := len(e.Sure) == 0 || e.Sure[i]
		if along += p.Dist(ahead); along >= everyMM {
			along = 0
			c := debugOrange
			if !sure {
				c = debugBlue
			}
			d.line(c, []geom.PointPx{px(p.Sub(across.Scale(tickMM))), px(p.Add(across.Scale(tickMM)))}, false)
		}
		if !sure || len(e.SigmaMM) != n || len(e.BiasMM) != n {
			draw()
			continue
		}
		half := bandTimes * 2 * math.Hypot(e.SigmaMM[i], e.BiasMM[i])
		for k, side := range []float64{-half, half} {
			sides[k] = append(sides[k], px(p.Add(across.Scale(side))))
		}
	}
	draw()
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
