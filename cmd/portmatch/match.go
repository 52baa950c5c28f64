package main

import (
	"bytes"
	"cmp"
	"context"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"

	"github.com/urfave/cli/v2"
	"golang.org/x/sync/errgroup"

	"portmatch/internal/compare"
	"portmatch/internal/contour"
	"portmatch/internal/face"
	"portmatch/internal/geom"
	"portmatch/internal/job"
)

func matchCommand() *cli.Command {
	return &cli.Command{
		Name:  "match",
		Usage: "compare a work face with its target and say what to grind",
		Description: "Compares two photos, prints what to grind at each port and fills a new job folder with pictures and a map:\n" +
			"   portmatch match --target gasket.jpg --target-height 1.2 --work manifold.jpg --job engine",
		Flags: append([]cli.Flag{
			&cli.StringFlag{Name: "target", Usage: "picture of the gasket, or a `FILE` that trace wrote"},
			&cli.StringFlag{Name: "work", Usage: "picture of the face to be ground, `FILE`"},
			&cli.StringFlag{Name: "job", Usage: "folder to make for this job, `DIR`"},
			heightFlag("target-height", "how far the target's upper side stands above its strips, `MM`; on the bench: the gasket's thickness"),
			heightFlag("work-height", "how far the work face stands above its strips, `MM`"),
			dpiFlag("target-dpi", "the target is a flat-bed scan of `N` dots per inch"),
			dpiFlag("work-dpi", "the work is a flat-bed scan of `N` dots per inch"),
			toleranceFlag(),
			paperFlag(),
			choiceFlag("flipped", "the target was photographed from its other side: yes or no; found out if not given", "", "yes", "no"),
			choiceFlag("turned", "the target lies turned by 0 or 180 degrees to the work; found out if not given", "", "0", "180"),
			unitsFlag(),
			&cli.BoolFlag{Name: "json", Usage: "print result.json instead of the table"},
		}, printedFlags()...),
		Action: runMatch,
	}
}

func toleranceFlag() cli.Flag {
	return lengthFlag("tolerance", "largest step that may stay, `MM`", &length{mm: 0.25, min: 0, max: 10, positive: true, why: "the tolerance"})
}

func runMatch(c *cli.Context) error {
	if err := missing(c, "target", "work", "job"); err != nil {
		return err
	}
	set := job.Settings{
		ToleranceMM:    mm(c, "tolerance"),
		TargetHeightMM: mm(c, "target-height"), WorkHeightMM: mm(c, "work-height"),
		TargetDPI: dpi(c, "target-dpi"), WorkDPI: dpi(c, "work-dpi"),
		Units: chosen(c, "units"), Paper: chosen(c, "paper"),
		PrintedXMM: mm(c, "printed-x"), PrintedYMM: mm(c, "printed-y"),
		Flipped: chosen(c, "flipped"), Turned: chosen(c, "turned"),
	}
	target, work := targetShot(c.String("target"), set), workShot(c.String("work"), set)
	s, err := job.Create(c.String("job"))
	if err != nil {
		return err
	}
	defer s.Close()

	p := newProgress(c.App.ErrWriter, 4)
	defer p.done()
	opts := compareOptions(set)
	t, w, err := traceBoth(c.Context, target, work, opts, p)
	if err != nil {
		return err
	}
	p.stage("comparing")
	r, err := compare.Match(t.face, w.face, opts)
	if err != nil {
		return between(target, work, err)
	}
	p.stage("drawing the map")
	s.Job.Settings = set
	if s.Job.Target, err = jobTarget(t); err != nil {
		return err
	}
	if err := addPass(c.Context, s, set, r, w); err != nil {
		return err
	}
	p.done()
	return tell(c, s.Job, r)
}

// jobTarget is what a job keeps of its target: the outlines, and which photo they come from.
func jobTarget(t *sight) (job.Target, error) {
	var out job.Target
	var b bytes.Buffer
	if err := face.Encode(&b, t.face); err != nil {
		return out, err
	}
	out.Faces = []json.RawMessage{bytes.TrimSpace(b.Bytes())}
	if t.photo != nil {
		out.Photo = &job.Photo{Name: base(t.path), SHA256: hex.EncodeToString(t.photo.SHA256[:]), Bytes: int64(len(t.photo.File))}
	}
	return out, nil
}

// traceBoth measures target and work: the first look at both side by side, then the target's outlines, then the work's in
// the light of where the target's openings come to lie.
func traceBoth(ctx context.Context, target, work shot, opts compare.Options, p *progress) (t, w *sight, err error) {
	known, err := readTrace(target.path)
	if err != nil {
		return nil, nil, err
	}
	p.stage("reading " + base(target.path) + " and " + base(work.path))
	g, gctx := errgroup.WithContext(ctx)
	g.Go(func() (err error) {
		if known != nil {
			known.Calibration.Photo = target.role
			t = &sight{shot: target, face: known}
			return nil
		}
		if t, err = look(gctx, target); err != nil {
			return err
		}
		return t.trace(gctx, nil)
	})
	g.Go(func() (err error) {
		w, err = look(gctx, work)
		return err
	})
	if err := g.Wait(); err != nil {
		return nil, nil, err
	}
	if t.photo != nil && t.photo.SHA256 == w.photo.SHA256 {
		return nil, nil, usagef("%s and %s are the same picture: --target takes the gasket's, --work the face's", target.path, work.path)
	}
	p.stage("finding the edges of " + base(work.path))
	return t, w, w.traceGuided(ctx, t, opts)
}

// traceGuided measures the work's outlines in the light of where the target's openings come to lie on it.
func (w *sight) traceGuided(ctx context.Context, t *sight, opts compare.Options) error {
	workFromTarget, err := compare.Lay(t.face, w.survey.Rough(), opts)
	if err != nil {
		return between(t.shot, w.shot, err)
	}
	guide := &contour.Guide{}
	for _, port := range t.face.Ports {
		guide.Ports = append(guide.Ports, geom.Outline(port.Outline).Mapped(workFromTarget))
	}
	if err := w.inFrame(guide); err != nil {
		return err
	}
	return w.trace(ctx, guide)
}

// inFrame refuses a photo that does not show every port whole.
func (w *sight) inFrame(guide *contour.Guide) error {
	ports := slices.Clone(guide.Ports)
	slices.SortFunc(ports, func(a, b []geom.PointMM) int {
		return cmp.Compare(geom.Outline(a).CentroidMM().X, geom.Outline(b).CentroidMM().X)
	})
	right, bottom := float64(w.photo.Width-1), float64(w.photo.Height-1)
	for i, outline := range ports {
		for _, p := range outline {
			q := w.solution.Camera.PixelFromPlane(p, w.heightMM)
			for _, side := range []struct {
				name string
				out  bool
			}{{"left", q.U < 0}, {"right", q.U > right}, {"top", q.V < 0}, {"bottom", q.V > bottom}} {
				if side.out {
					return &photoError{w.path, fmt.Sprintf("port %d, counted from the left, runs off the %s edge of the picture; photograph the whole part",
						i+1, side.name)}
				}
			}
		}
	}
	return nil
}

// between says which two files an error is about.
func between(target, work shot, err error) error {
	return fmt.Errorf("%s and %s: %w", target.path, work.path, err)
}
