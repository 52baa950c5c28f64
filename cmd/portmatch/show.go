package main

import (
	"fmt"

	"github.com/urfave/cli/v2"

	"portmatch/internal/compare"
	"portmatch/internal/job"
)

func showCommand() *cli.Command {
	return &cli.Command{
		Name:        "show",
		Usage:       "show what a job folder holds, measuring nothing",
		Description: "Lists the passes and prints the table of the last one, or of --pass N.",
		Flags: []cli.Flag{
			&cli.StringFlag{Name: "job", Usage: "job folder, `DIR`"},
			passFlag(),
			unitsFlag(""),
			&cli.BoolFlag{Name: "json", Usage: "print result.json instead of the table"},
		},
		Action: runShow,
	}
}

func runShow(c *cli.Context) error {
	if err := missing(c, "job"); err != nil {
		return err
	}
	j, err := job.Open(c.String("job"))
	if err != nil {
		return err
	}
	for _, n := range j.Notes {
		fmt.Fprintln(c.App.ErrWriter, n)
	}
	pass, r, err := passResult(c, j)
	if err != nil {
		return err
	}
	if c.Bool("json") {
		return writeJSON(c.App.Writer, r)
	}
	u := unitsOf(c, pass)
	for _, p := range j.Passes {
		pr, err := readResult(j, p.Number)
		if err != nil {
			return err
		}
		fmt.Fprintf(c.App.Writer, "Pass %d  %s  %s: %s\n", p.Number, p.Time.Local().Format("2006-01-02 15:04"), p.Photo.Name, left(pr))
	}
	fmt.Fprintln(c.App.Writer)
	plan, err := readPlan(j, pass.Number)
	if err != nil {
		return err
	}
	return printTables(c.App.Writer, plan, u)
}

// left says in a few words what a pass left to do.
func left(r *compare.Result) string {
	n := make(map[string]int)
	for _, p := range r.Ports {
		n[p.Verdict]++
	}
	s := ""
	for _, v := range []string{compare.Matched, compare.Grind, compare.PastLine, compare.GrindPast, compare.TooClose, compare.NotMeasured} {
		if n[v] > 0 {
			if s != "" {
				s += "; "
			}
			s += fmt.Sprintf("%d %s", n[v], v)
		}
	}
	return s
}
