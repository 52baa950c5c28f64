package main

import (
	"fmt"
	"io"
	"slices"

	"github.com/urfave/cli/v2"

	"portmatch/internal/face"
	"portmatch/internal/geom"
	"portmatch/internal/job"
	"portmatch/internal/render"
	"portmatch/internal/scalecard"
)

func traceCommand() *cli.Command {
	return &cli.Command{
		Name:  "trace",
		Usage: "measure one photographed face and keep its outlines",
		Description: "Finds the ports, holes and outer edge of one face and writes them in mm, to be used again as a target:\n" +
			"   portmatch trace --photo gasket.jpg --height 1.2 --out gasket.json\n" +
			"   portmatch match --target gasket.json --work manifold.jpg --job engine",
		Flags: slices.Concat([]cli.Flag{
			&cli.StringFlag{Name: "photo", Usage: "picture of the face with strips beside it, `FILE`"},
			&cli.StringFlag{Name: "out", Usage: "outlines to write, `FILE`.json"},
			heightFlag("height", "how far the face stands above the strips, `MM`; a gasket on the bench: its thickness"),
			dpiFlag("dpi", "the picture is a flat-bed scan of `N` dots per inch"),
			unitsFlag("mm"),
		}, printedFlags(), []cli.Flag{debugFlag()}),
		Action: runTrace,
	}
}

func runTrace(c *cli.Context) error {
	if err := missing(c, "photo", "out"); err != nil {
		return err
	}
	path, out := c.String("photo"), c.String("out")
	if err := checkOutput(out, path); err != nil {
		return err
	}
	v := &sight{shot: shot{role: base(path), path: path, heightMM: mm(c, "height"),
		card: scalecard.Options{DPI: dpi(c, "dpi"), PrintedXMM: mm(c, "printed-x"), PrintedYMM: mm(c, "printed-y")}}}
	p := newProgress(c, 2)
	defer p.done()
	measure := func() error {
		p.stage("reading " + base(path))
		if err := v.look(c.Context); err != nil {
			return err
		}
		p.stage("finding the edges")
		return v.trace(c.Context, nil)
	}
	if err := withDebug(measure(), c.String("debug"), v.debug); err != nil {
		return err
	}
	p.done()
	if err := job.WriteFile(out, func(w io.Writer) error { return face.Encode(w, v.face) }); err != nil {
		return err
	}
	printWarnings(c.App.ErrWriter, v.face.Warnings, render.Units(chosen(c, "units")))
	printFace(c.App.Writer, v.face, render.Units(chosen(c, "units")))
	return nil
}

// printFace lists what was found, for a check by eye and caliper.
func printFace(w io.Writer, f *face.Face, u render.Units) {
	fmt.Fprintf(w, "%d ports, %d holes. Lengths in %s, areas in %s.\n\n", len(f.Ports), len(f.Holes), u.Name(), u.Area())
	fmt.Fprintf(w, "port  %10s  %8s  %8s\n", "area", "width", "height")
	for _, p := range f.Ports {
		o := geom.Outline(p.Outline)
		lo, hi := o.Bounds()
		fmt.Fprintf(w, "%4d  %10s  %8s  %8s\n", p.Number, u.AreaText(o.AreaMM2()), u.LengthText(hi.X-lo.X), u.LengthText(hi.Y-lo.Y))
	}
	fmt.Fprintf(w, "\nhole  %10s  %8s  %8s\n", "diameter", "x", "y")
	for i, h := range f.Holes {
		fmt.Fprintf(w, "%4d  %10s  %8s  %8s\n", i+1, u.LengthText(h.DiameterMM), u.LengthText(h.Centre.X), u.LengthText(h.Centre.Y))
	}
}

func printWarnings(w io.Writer, list []face.Warning, u render.Units) {
	for _, m := range face.Advised(list) {
		what, try := m.Said()
		s := u.Prose(what)
		if m.Photo != "" {
			s = m.Photo + ": " + s
		}
		if m.Try != "" {
			s += "; " + u.Prose(try)
		}
		fmt.Fprintln(w, s)
	}
}
