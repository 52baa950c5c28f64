package main

import (
	"fmt"
	"io"

	"github.com/urfave/cli/v2"

	"portmatch/internal/job"
	"portmatch/internal/render"
	"portmatch/internal/scalecard/strip"
)

func cardCommand() *cli.Command {
	return &cli.Command{
		Name:  "card",
		Usage: "make the scale card to print",
		Description: "Print it at 100 %, not \"fit to page\", measure a check line, cut the strips out. Lay two or more flat in the\n" +
			"plane of the face, far apart, reaching past both ends of the part.",
		Flags: []cli.Flag{
			&cli.StringFlag{Name: "out", Usage: "PDF to write, `FILE`"},
			choiceFlag("paper", "paper size: a4 or letter", "a4", "a4", "letter"),
			&cli.StringFlag{Name: "strips", Value: "1-4", Usage: fmt.Sprintf("numbers of the strips, `FROM-TO`; four fit on a page, there are %d", strip.MaxNumber)},
			unitsFlag("mm"),
		},
		Action: runCard,
	}
}

func runCard(c *cli.Context) error {
	if err := missing(c, "out"); err != nil {
		return err
	}
	from, to, err := parseRange(c.String("strips"))
	if err != nil {
		return usagef("--strips: %v", err)
	}
	if from < 1 || to > strip.MaxNumber || from > to {
		return usagef("--strips: strips go from 1 to %d, the smaller number first; got %s", strip.MaxNumber, c.String("strips"))
	}
	var numbers []int
	for n := from; n <= to; n++ {
		numbers = append(numbers, n)
	}
	paper, err := render.ParsePaper(chosen(c, "paper"))
	if err != nil {
		return err
	}
	out := c.String("out")
	if err := checkOutput(out); err != nil {
		return err
	}
	o := render.CardOptions{Paper: paper, Strips: numbers, Units: render.Units(chosen(c, "units"))}
	if err := job.WriteFile(out, func(w io.Writer) error { return render.Card(w, o) }); err != nil {
		return err
	}
	fmt.Fprintf(c.App.ErrWriter, "%s: print it at 100 %%, not \"fit to page\", then measure a check line with calipers.\n", out)
	return nil
}
