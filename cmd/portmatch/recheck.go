package main

import (
	"bytes"
	"encoding/hex"
	"fmt"

	"github.com/urfave/cli/v2"

	"portmatch/internal/compare"
	"portmatch/internal/face"
	"portmatch/internal/job"
)

func recheckCommand() *cli.Command {
	return &cli.Command{
		Name:  "recheck",
		Usage: "compare the face again after grinding",
		Description: "Adds a pass to a job, from a new photo of the work face:\n" +
			"   portmatch recheck --work ground.jpg --job engine",
		Flags: append([]cli.Flag{
			&cli.StringFlag{Name: "work", Usage: "new picture of the face, `FILE`"},
			&cli.StringFlag{Name: "job", Usage: "job folder that match made, `DIR`"},
			heightFlag("work-height", "how far the work face stands above its strips, `MM`; as in the job if not given"),
			dpiFlag("work-dpi", "the work is a flat-bed scan of `N` dots per inch"),
			&cli.BoolFlag{Name: "json", Usage: "print result.json instead of the table"},
		}, printedFlags()...),
		Action: runRecheck,
	}
}

func runRecheck(c *cli.Context) error {
	if err := missing(c, "work", "job"); err != nil {
		return err
	}
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

	t, before, err := known(s.Job)
	if err != nil {
		return err
	}
	opts := compareOptions(set)
	opts.Before = before
	if opts.Pass, err = s.NextPass(); err != nil {
		return err
	}

	p := newProgress(c.App.ErrWriter, 4)
	defer p.done()
	work := workShot(c.String("work"), set)
	p.stage("reading " + base(work.path))
	w, err := look(c.Context, work)
	if err != nil {
		return err
	}
	sum := hex.EncodeToString(w.photo.SHA256[:])
	for _, pass := range s.Job.Passes {
		if pass.Photo.SHA256 == sum {
			s.Job.Notes = append(s.Job.Notes, fmt.Sprintf("%s is the very picture of pass %d: nothing can have changed since", work.path, pass.Number))
		}
	}
	p.stage("finding its edges")
	if err := w.traceGuided(c.Context, t, opts); err != nil {
		return err
	}
	p.stage("comparing")
	r, err := compare.Match(t.face, w.face, opts)
	if err != nil {
		return between(t.shot, work, err)
	}
	p.stage("drawing the map")
	if err := addPass(c.Context, s, set, r, w); err != nil {
		return err
	}
	p.done()
	return tell(c, s.Job, r)
}

// known returns a job's target and the result of its last pass.
func known(j *job.Job) (*sight, *compare.Result, error) {
	f, err := face.Decode(bytes.NewReader(j.Target.Faces[0]))
	if err != nil {
		return nil, nil, &fileError{j.Dir, "the job's target can't be read: " + err.Error(), err}
	}
	last, ok := j.Last()
	if !ok {
		return nil, nil, &fileError{path: j.Dir, what: "there is no pass in this job yet"}
	}
	r, err := readResult(j, last.Number)
	if err != nil {
		return nil, nil, err
	}
	return &sight{shot: shot{role: "target", path: "the target of " + j.Dir}, face: f}, r, nil
}

// override sets a length where its flag was given.
func override(c *cli.Context, name string, to *float64) {
	if c.IsSet(name) {
		*to = mm(c, name)
	}
}
