package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/urfave/cli/v2"

	"portmatch/internal/compare"
	"portmatch/internal/job"
	"portmatch/internal/render"
)

func mapCommand() *cli.Command {
	return &cli.Command{
		Name:  "map",
		Usage: "make the 1:1 map of a job again, for other paper or other ports",
		Description: "Print it at 100 % and measure its check lines before you trust it. A name that ends in .svg or .dxf gets the\n" +
			"outlines in mm for a cutter instead.",
		Flags: []cli.Flag{
			&cli.StringFlag{Name: "job", Usage: "job folder, `DIR`"},
			&cli.StringFlag{Name: "out", Usage: "PDF (or .svg, .dxf) to write, `FILE`"},
			passFlag(),
			paperFlag(""),
			unitsFlag(""),
			&cli.StringFlag{Name: "ports", Usage: "these ports only, `N,N`"},
			choiceFlag("side", "face: as the work is looked at; gasket: mirrored", string(render.FaceSide), string(render.FaceSide), string(render.GasketSide)),
			&cli.BoolFlag{Name: "stencil", Usage: "cut lines only, to cut a stencil"},
		},
		Action: runMap,
	}
}

func passFlag() cli.Flag {
	return &cli.IntFlag{Name: "pass", Usage: "which pass, `N`; the last if not given"}
}

func runMap(c *cli.Context) error {
	if err := missing(c, "job", "out"); err != nil {
		return err
	}
	j, err := job.Open(c.String("job"))
	if err != nil {
		return err
	}
	pass, r, err := passResult(c, j)
	if err != nil {
		return err
	}
	set := pass.Settings
	if p := chosen(c, "paper"); p != "" {
		set.Paper = p
	}
	if u := chosen(c, "units"); u != "" {
		set.Units = u
	}
	o, err := mapOptions(set)
	if err != nil {
		return err
	}
	if o.Ports, err = portNumbers(c.String("ports")); err != nil {
		return err
	}
	o.Side, o.Stencil = render.Side(chosen(c, "side")), c.Bool("stencil")
	out := c.String("out")
	if err := checkOutput(out); err != nil {
		return err
	}
	lines := render.OutlineOptions{Ports: o.Ports, Side: o.Side, Stencil: o.Stencil}
	write := func(w io.Writer) error { return render.Map(w, r, o) }
	switch strings.ToLower(filepath.Ext(out)) {
	case ".svg":
		write = func(w io.Writer) error { return render.SVG(w, r, lines) }
	case ".dxf":
		write = func(w io.Writer) error { return render.DXF(w, r, lines) }
	}
	drawn, err := abandoned(c.Context, func() ([]byte, error) {
		var b bytes.Buffer
		err := write(&b)
		return b.Bytes(), err
	})
	if err != nil {
		return err
	}
	if err := job.WriteFile(out, func(w io.Writer) error { _, err := w.Write(drawn); return err }); err != nil {
		return err
	}
	if strings.EqualFold(filepath.Ext(out), ".svg") || strings.EqualFold(filepath.Ext(out), ".dxf") {
		return nil
	}
	fmt.Fprintf(c.App.ErrWriter, "%s: print it at 100 %%, not \"fit to page\", and measure its check lines.\n", out)
	return nil
}

// portNumbers reads "2,3"; nothing is nil.
func portNumbers(text string) ([]int, error) {
	if text == "" {
		return nil, nil
	}
	var out []int
	for part := range strings.SplitSeq(text, ",") {
		n, err := strconv.Atoi(strings.TrimSpace(part))
		if err != nil || n < 1 {
			return nil, usagef("--ports: %q is no port number; write them like 2,3", part)
		}
		out = append(out, n)
	}
	return out, nil
}

// passResult reads the result of the pass that --pass names, else of the last.
func passResult(c *cli.Context, j *job.Job) (job.Pass, *compare.Result, error) {
	pass, ok := j.Last()
	if !ok {
		return pass, nil, &fileError{path: j.Dir, what: "there is no pass in this job yet"}
	}
	if c.IsSet("pass") {
		var err error
		if pass, err = j.Pass(c.Int("pass")); err != nil {
			return pass, nil, err
		}
	}
	r, err := readResult(j, pass.Number)
	return pass, r, err
}

func readResult(j *job.Job, pass int) (*compare.Result, error) {
	return readResultFile(j, pass, resultName)
}

// readPlan reads a pass's result, and what a third face adds where there was one.
func readPlan(j *job.Job, pass int) (*compare.Plan, error) {
	p := &compare.Plan{}
	for _, f := range []struct {
		name string
		into **compare.Result
		must bool
	}{{resultName, &p.Result, true}, {headName, &p.Head, false}, {targetHeadName, &p.TargetHead, false}} {
		r, err := readResultFile(j, pass, f.name)
		if errors.Is(err, fs.ErrNotExist) && !f.must {
			continue
		}
		if err != nil {
			return nil, err
		}
		*f.into = r
	}
	return p, nil
}

func readResultFile(j *job.Job, pass int, name string) (*compare.Result, error) {
	data, err := j.ReadPassFile(pass, name)
	if err != nil {
		return nil, err
	}
	return decodeResult(j.PassFile(pass, name), data)
}

// decodeResult reads a result.json, which a user may have changed; path is for the message.
func decodeResult(path string, data []byte) (*compare.Result, error) {
	var r compare.Result
	if err := json.Unmarshal(data, &r); err != nil {
		return nil, &fileError{path, "is damaged: " + err.Error(), err}
	}
	if r.Schema != 1 {
		return nil, &fileError{path: path, what: fmt.Sprintf("has version %d, this portmatch reads version 1", r.Schema)}
	}
	if err := r.Validate(); err != nil {
		return nil, &fileError{path, "is damaged: " + err.Error(), err}
	}
	return &r, nil
}
