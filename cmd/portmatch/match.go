package main

import (
	"slices"

	"github.com/urfave/cli/v2"

	"portmatch/internal/compare"
	"portmatch/internal/job"
	"portmatch/internal/scalecard"
)

func matchCommand() *cli.Command {
	return &cli.Command{
		Name:  "match",
		Usage: "compare a work face with its target and say what to grind",
		Description: "Compares two photos, prints what to grind at each port and fills a new job folder with pictures and a map:\n" +
			"   portmatch match --target gasket.jpg --target-height 1.2 --work manifold.jpg --job engine",
		Flags: slices.Concat([]cli.Flag{
			&cli.StringFlag{Name: "target", Usage: "picture of the gasket, or a `FILE` that trace wrote, or an SVG drawing in mm"},
			workFlag(),
			&cli.StringFlag{Name: "job", Usage: "folder to make for this job, `DIR`"},
			heightFlag("target-height", "how far the target's upper side stands above its strips, `MM`; on the bench: the gasket's thickness"),
			heightFlag("work-height", "how far the work face stands above its strips, `MM`"),
			dpiFlag("target-dpi", "the target is a flat-bed scan of `N` dots per inch"),
			dpiFlag("work-dpi", "the work is a flat-bed scan of `N` dots per inch"),
			lengthFlag("tolerance", "largest step that may stay, `MM`", &length{mm: 0.25, min: 0, max: 10, positive: true, why: "the tolerance"}),
			paperFlag("a4"),
			unitsFlag("mm"),
			&cli.BoolFlag{Name: "json", Usage: "print result.json instead of the table"},
			choiceFlag("flipped", "the target was photographed from its other side: yes or no; found out if not given", "", "yes", "no"),
			choiceFlag("turned", "the target lies turned by 0 or 180 degrees to the work; found out if not given", "", "0", "180"),
			&cli.StringFlag{Name: "head", Usage: "picture of the head's face as well, or a `FILE` that trace wrote: warns where the gasket would have you grind past it"},
			heightFlag("head-height", "how far the head's face stands above its strips, `MM`"),
			dpiFlag("head-dpi", "the head is a flat-bed scan of `N` dots per inch"),
			choiceFlag("aim", "grind to the target, the head, what is common to both, or (union) each part where it stands in the way", string(compare.AimTarget),
				string(compare.AimTarget), string(compare.AimHead), string(compare.AimCommon), string(compare.AimUnion)),
			lengthFlag("offset", "grow the target by `MM` all round, or shrink it with a minus", &length{min: -10, max: 10, why: "the offset"}),
			lengthFlag("circle", "a round target of this diameter, `MM`, on the target's bore, or on the work's own if there is no target", &length{min: 0, max: 1000, positive: true, why: "a diameter"}),
			choiceFlag("flow", "which way the gas flows: into-work or out-of-work", "", string(compare.IntoWork), string(compare.OutOfWork)),
			lengthFlag("stud", "diameter of the bolts or studs, `MM`: shows what their play does to the joint", &length{min: 0, max: 100, positive: true, why: "a diameter"}),
			lengthFlag("dowel", "diameter of the dowels, `MM`", &length{min: 0, max: 100, positive: true, why: "a diameter"}),
			lengthFlag("min-land", "warn where less metal than this is left beside a port, `MM`", &length{mm: compare.DefaultMinLandMM, min: 0, max: 100, why: "the land"}),
			lengthFlag("blend-depth", "let the cut fade out at this depth in the runner, `MM`", &length{min: 0, max: 200, positive: true, why: "the depth"}),
			angleFlag("blend-angle", "let the cut fade out at this angle to the runner's wall, `DEGREES`"),
		}, printedFlags(), []cli.Flag{debugFlag()}),
		Action: runMatch,
	}
}

func runMatch(c *cli.Context) error {
	needed := []string{"target", "work", "job"}
	if c.IsSet("circle") {
		needed = needed[1:]
	}
	if err := missing(c, needed...); err != nil {
		return err
	}
	set, err := matchSettings(c)
	if err != nil {
		return err
	}
	s, err := job.Create(c.String("job"))
	if err != nil {
		return err
	}
	defer s.Close()

	ps := &parts{}
	if ps.target, err = open(c.String("target"), shot{role: "target", heightMM: set.TargetHeightMM, card: cardOptions(set, set.TargetDPI)}); err != nil {
		return err
	}
	if ps.head, err = open(c.String("head"), shot{role: "head", heightMM: set.HeadHeightMM, card: cardOptions(set, set.HeadDPI)}); err != nil {
		return err
	}
	ps.works = workSights(c, set)
	p := newProgress(c, 4)
	defer p.done()
	opts := compareOptions(set)
	if err := withDebug(ps.measure(c.Context, opts, p), c.String("debug"), ps.debug); err != nil {
		return err
	}
	if err := ps.shape(set); err != nil {
		return err
	}
	p.stage("comparing")
	plan, err := ps.compare(c.Context, set, opts)
	if err != nil {
		return err
	}
	p.stage("drawing the map")
	s.Job.Settings = set
	if s.Job.Target, err = ps.keep(); err != nil {
		return err
	}
	if err := addPass(c.Context, s, set, plan, ps); err != nil {
		return err
	}
	p.done()
	return tell(c, s.Job, plan)
}

func matchSettings(c *cli.Context) (job.Settings, error) {
	set := job.Settings{
		ToleranceMM:    mm(c, "tolerance"),
		TargetHeightMM: mm(c, "target-height"), WorkHeightMM: mm(c, "work-height"), HeadHeightMM: mm(c, "head-height"),
		TargetDPI: dpi(c, "target-dpi"), WorkDPI: dpi(c, "work-dpi"), HeadDPI: dpi(c, "head-dpi"),
		Units: chosen(c, "units"), Paper: chosen(c, "paper"),
		PrintedXMM: mm(c, "printed-x"), PrintedYMM: mm(c, "printed-y"),
		Flipped: chosen(c, "flipped"), Turned: chosen(c, "turned"),
		Aim: chosen(c, "aim"), OffsetMM: mm(c, "offset"), CircleMM: mm(c, "circle"),
		Flow: chosen(c, "flow"), StudMM: mm(c, "stud"), DowelMM: mm(c, "dowel"), MinLandMM: mm(c, "min-land"),
		BlendDepthMM: mm(c, "blend-depth"), BlendAngleDeg: degrees(c, "blend-angle"),
	}
	switch {
	case set.Aim != string(compare.AimTarget) && !c.IsSet("head"):
		return set, usagef("--aim %s needs the head's picture too: --head FILE", set.Aim)
	case set.Aim != string(compare.AimTarget) && (c.IsSet("offset") || c.IsSet("circle")):
		return set, usagef("--offset and --circle change the target and go with --aim target only")
	case set.BlendDepthMM > 0 && set.BlendAngleDeg > 0:
		return set, usagef("give --blend-depth or --blend-angle, not both")
	}
	return set, nil
}

// open takes a file as given for target or head: outlines are read, a photo is left to be looked at, no name is nil.
func open(path string, s shot) (*sight, error) {
	if path == "" {
		return nil, nil
	}
	s.path = path
	f, err := readOutlines(path)
	if err != nil {
		return nil, err
	}
	if f != nil {
		f.Calibration.Photo = s.role
	}
	return &sight{shot: s, face: f}, nil
}

func workSights(c *cli.Context, set job.Settings) []*sight {
	var out []*sight
	for _, path := range c.StringSlice("work") {
		out = append(out, &sight{shot: shot{role: "work", path: path, heightMM: set.WorkHeightMM, card: cardOptions(set, set.WorkDPI)}})
	}
	return out
}

func cardOptions(set job.Settings, dpi float64) scalecard.Options {
	return scalecard.Options{DPI: dpi, PrintedXMM: set.PrintedXMM, PrintedYMM: set.PrintedYMM}
}
