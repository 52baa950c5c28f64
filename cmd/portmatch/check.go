package main

import (
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"portmatch/internal/compare"
	"portmatch/internal/job"
	"portmatch/internal/render"
)

func checkCommand() *cli.Command {
	return &cli.Command{
		Name:  "check",
		Usage: "compare what calipers read on the real part with the photo",
		Description: "The report names dimensions that calipers can reach. Measure one before you grind:\n" +
			"   portmatch check --job engine --dimension A --read 45.28\n" +
			"Without --read it lists the dimensions.",
		Flags: []cli.Flag{
			&cli.StringFlag{Name: "job", Usage: "job folder, `DIR`"},
			&cli.StringFlag{Name: "dimension", Usage: "which one, `LETTER`"},
			lengthFlag("read", "what the calipers read, `MM`", &length{min: 0, max: 2000, positive: true, why: "a reading"}),
			passFlag(),
			unitsFlag(""),
		},
		Action: runCheck,
	}
}

// disagreement is a caliper reading that contradicts the photo.
type disagreement struct{ what string }

func (e *disagreement) Error() string { return e.what }

func runCheck(c *cli.Context) error {
	if err := missing(c, "job"); err != nil {
		return err
	}
	if c.IsSet("dimension") != c.IsSet("read") {
		return usagef("--dimension and --read go together, as in --dimension A --read 45.28")
	}
	if !c.IsSet("read") {
		j, err := job.Open(c.String("job"))
		if err != nil {
			return err
		}
		pass, r, err := passResult(c, j)
		if err != nil {
			return err
		}
		return listDimensions(c.App.Writer, j, pass.Number, r, unitsOf(c, pass))
	}
	s, err := job.OpenForWork(c.String("job"))
	if err != nil {
		return err
	}
	defer s.Close()
	pass, r, err := passResult(c, s.Job)
	if err != nil {
		return err
	}
	name := strings.ToUpper(c.String("dimension"))
	var d *compare.Dimension
	var names []string
	for i := range r.Dimensions {
		names = append(names, r.Dimensions[i].Name)
		if r.Dimensions[i].Name == name {
			d = &r.Dimensions[i]
		}
	}
	if d == nil {
		return usagef("pass %d has no dimension %s; it has %s", pass.Number, name, strings.Join(names, ", "))
	}
	if err := s.AddReading(job.Reading{Pass: pass.Number, Dimension: name, MM: mm(c, "read"), Time: time.Now().UTC()}); err != nil {
		return err
	}
	if err := writeReport(s); err != nil {
		return err
	}
	says, agrees := reading(d, mm(c, "read"), unitsOf(c, pass))
	if !agrees {
		return &disagreement{fmt.Sprintf("%s, pass %d: %s. Don't grind by this job: measure again, and if it stays so check the card's print "+
			"and the heights, and photograph again", s.Job.Dir, pass.Number, says)}
	}
	_, err = fmt.Fprintln(c.App.Writer, says)
	return err
}

// reading says in words how a caliper reading stands to what the photo gave.
func reading(d *compare.Dimension, readMM float64, u render.Units) (says string, agrees bool) {
	g := d.Check(readMM)
	verb := "agrees with"
	if !g.Agrees {
		verb = "disagrees with"
	}
	return fmt.Sprintf("dimension %s: the calipers' %s %s %s the photo's %s: they differ by %s, %s at most would do", d.Name, u.LengthText(readMM), u.Length(),
		verb, u.LengthPM(d.Value), u.LengthText(g.DifferenceMM), u.LengthText(g.LimitMM)), g.Agrees
}

func listDimensions(w io.Writer, j *job.Job, pass int, r *compare.Result, u render.Units) error {
	for i := range r.Dimensions {
		d := &r.Dimensions[i]
		line := fmt.Sprintf("%s  %s %s  %s", d.Name, u.LengthPM(d.Value), u.Length(), d.What)
		for _, rd := range j.Readings {
			if rd.Pass == pass && rd.Dimension == d.Name {
				says, _ := reading(d, rd.MM, u)
				line += "\n   " + says
			}
		}
		if _, err := fmt.Fprintln(w, line); err != nil {
			return err
		}
	}
	return nil
}

// unitsOf are the units of --units, else of the pass.
func unitsOf(c *cli.Context, pass job.Pass) render.Units {
	if u := chosen(c, "units"); u != "" {
		return render.Units(u)
	}
	return render.Units(pass.Settings.Units)
}
