package main

import (
	"fmt"
	"slices"

	"github.com/urfave/cli/v2"

	"portmatch/internal/compare"
	"portmatch/internal/job"
)

func recheckCommand() *cli.Command {
	return &cli.Command{
		Name:  "recheck",
		Usage: "compare the face again after grinding",
		Description: "Adds a pass to a job, from a new photo of the work face:\n" +
			"   portmatch recheck --work ground.jpg --job engine",
		Flags: slices.Concat([]cli.Flag{
			workFlag(),
			&cli.StringFlag{Name: "job", Usage: "job folder that match made, `DIR`"},
			heightFlag("work-height", "how far the work face stands above its strips, `MM`; as in the job if not given"),
			dpiFlag("work-dpi", "the work is a flat-bed scan of `N` dots per inch"),
			choiceFlag("turned", "the target lies turned by 0 or 180 degrees to the work in this photo; as in the job if not given", "", "0", "180"),
			&cli.BoolFlag{Name: "face-as-scale", Usage: "without a strip in the photo, let the face's own holes, as an earlier pass measured them, serve as the scale; less sure"},
			&cli.BoolFlag{Name: "json", Usage: "print result.json instead of the table"},
		}, printedFlags(), []cli.Flag{debugFlag()}),
		Action: runRecheck,
	}
}

// workFlag may be given more than once: several photos of one face are measured together.
func workFlag() cli.Flag {
	return &cli.StringSliceFlag{Name: "work", Usage: "picture of the face that is ground, `FILE`; give it twice for two pictures of one state"}
}

func runRecheck(c *cli.Context) error {
	if err := missing(c, "work", "job"); err != nil {
		return err
	}
	photos := readAhead(c.Context, c.StringSlice("work")) // while the job is opened
	s, err := job.OpenForWork(c.String("job"))
	if err != nil {
		return err
	}
	defer s.Close()
	set := s.Job.Settings
	override(c, "work-height", &set.WorkHeightMM)
	override(c, "printed-x", &set.PrintedXMM)
	override(c, "printed-y", &set.PrintedYMM)
	set.WorkDPI = dpi(c, "work-dpi")
	if turned := chosen(c, "turned"); turned != "" {
		set.Turned = turned
	}

	ps, err := known(s.Job)
	if err != nil {
		return err
	}
	ps.works = workSights(c, set)
	for i, read := range photos {
		ps.works[i].read = read
	}
	opts := compareOptions(set)
	if opts.Before, err = lastResult(s.Job); err != nil {
		return err
	}
	if opts.Pass, err = s.NextPass(); err != nil {
		return err
	}

	if c.Bool("face-as-scale") {
		scale, err := faceAsScale(s.Job)
		if err != nil {
			return err
		}
		for _, w := range ps.works {
			w.scale = scale
		}
	}

	p := newProgress(c, 4)
	defer p.done()
	if err := withDebug(ps.measure(c.Context, opts, p), c.String("debug"), ps.debug); showsNoStrip(err) && !c.Bool("face-as-scale") {
		return &noScaleError{err}
	} else if err != nil {
		return err
	}
	for _, w := range ps.works {
		if n, ok := s.Job.PassOfPhoto(w.photo.SHA256); ok {
			s.Job.Notes = append(s.Job.Notes, fmt.Sprintf("%s is the very picture of pass %d: nothing can have changed since", w.path, n))
		}
	}
	p.stage("comparing")
	plan, err := ps.compare(c.Context, set, opts)
	if err != nil {
		return err
	}
	p.stage("drawing the map")
	if err := addPass(c.Context, s, set, plan, ps); err != nil {
		return err
	}
	p.done()
	return tell(c, s.Job, plan)
}

func lastResult(j *job.Job) (*compare.Result, error) {
	last, ok := j.Last()
	if !ok {
		return nil, &fileError{path: j.Dir, what: "there is no pass in this job yet"}
	}
	return readResult(j, last.Number)
}

// override sets a length where its flag was given.
func override(c *cli.Context, name string, to *float64) {
	if c.IsSet(name) {
		*to = mm(c, name)
	}
}
