package main

import (
	"encoding/json"
	"fmt"
	"io"

	"github.com/urfave/cli/v2"

	"portmatch/internal/compare"
	"portmatch/internal/job"
	"portmatch/internal/render"
)

func mapCommand() *cli.Command {
	return &cli.Command{
		Name:        "map",
		Usage:       "make the 1:1 map of a job again, for other paper",
		Description: "Print it at 100 % and measure its check lines before you trust it.",
		Flags: []cli.Flag{
			&cli.StringFlag{Name: "job", Usage: "job folder, `DIR`"},
			&cli.StringFlag{Name: "out", Usage: "PDF to write, `FILE`"},
			passFlag(),
			choiceFlag("paper", "paper size: a4 or letter; as in the job if not given", "", "a4", "letter"),
			choiceFlag("units", "show lengths in mm or in (inches); as in the job if not given", "", "mm", "in"),
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
	out := c.String("out")
	if err := checkOutput(out); err != nil {
		return err
	}
	if err := job.WriteFile(out, func(w io.Writer) error { return render.Map(w, r, o) }); err != nil {
		return err
	}
	fmt.Fprintf(c.App.ErrWriter, "%s: print it at 100 %%, not \"fit to page\", and measure its check lines.\n", out)
	return nil
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
	data, err := j.ReadPassFile(pass, "result.json")
	if err != nil {
		return nil, err
	}
	var r compare.Result
	if err := json.Unmarshal(data, &r); err != nil {
		return nil, &fileError{j.PassFile(pass, "result.json"), "is damaged: " + err.Error(), err}
	}
	if r.Schema != 1 {
		return nil, &fileError{path: j.PassFile(pass, "result.json"), what: fmt.Sprintf("has version %d, this portmatch reads version 1", r.Schema)}
	}
	return &r, nil
}
