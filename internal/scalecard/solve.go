package scalecard

import (
	"context"
	"errors"
	"math"
	"slices"

	"portmatch/internal/geom"
	"portmatch/internal/photo"
	"portmatch/internal/prose"
	"portmatch/internal/scalecard/strip"
)

// Options is what the user says about one photo.
type Options struct {
	// DPI says that the picture is a flat-bed scan of that resolution; 0: a photo.
	DPI float64
	// PrintedXMM and PrintedYMM are what calipers read on the card's check lines, along the strips (nominally
	// strip.CheckXMM) and up the page (strip.CheckYMM); 0: not measured, taken to be off by as much as the other, or
	// nominal.
	PrintedXMM, PrintedYMM float64
}

// maxBlurPx is where edges of neighbouring things start to mix: the measured limit of the erf fit at usual scales.
const maxBlurPx = 2.5

// leastWhite is the least linear light of the strips' paper that is measured, of what the photo can hold: four stops below a good exposure what is
// dark has hardly any levels of its own left. Of 14 spoilt copies of ray-traced photos with less one was 0.56 mm off without a word.
const leastWhite = 0.05

// Fewer tags than this leave the camera undetermined.
const minTags = 3

// Solve finds the strips in p and solves for camera, plane and every strip's place. The error, if the photo can't be
// trusted, is an *Error.
func Solve(ctx context.Context, p *photo.Photo, o Options) (*Solution, error) {
	s, err := run(ctx, p, o)
	if o.DPI > 0 && (errors.Is(err, ErrNoStrip) || errors.Is(err, ErrOtherTags) || errors.Is(err, ErrFewTags)) {
		return s.bareScan(), nil
	}
	if err != nil {
		return nil, err
	}
	sol := s.solution()
	sol.rendering = s.rendering(sol.BlurPx)
	return sol, nil
}

func run(ctx context.Context, p *photo.Photo, o Options) (*solver, error) {
	s := &solver{photo: p, options: o, scan: o.DPI > 0}
	if err := s.checkOptions(); err != nil {
		return s, err
	}
	return s, s.measure(ctx)
}

// solver is one photo on its way to a Solution.
type solver struct {
	photo   *photo.Photo
	options Options
	scan    bool // solve for a flat-bed scanner
	tags    []tagReading
	fit     *fitted
	problem *problem
	levels  levels // black and white as the tags show them
}

func (s *solver) fail(err error, strips []int, try, what string, args ...any) error {
	return &Error{Path: s.photo.Path, Err: err, Strips: strips, What: prose.Sprintf(what, args...), Try: try}
}

func (s *solver) measure(ctx context.Context) error {
	found, err := findTags(ctx, s.photo)
	if err != nil {
		return err
	}
	if err := s.look(ctx, found); err != nil {
		return err
	}
	if err := s.lookAround(ctx); err != nil {
		return err
	}
	return s.check()
}

// look measures all tags and solves.
func (s *solver) look(ctx context.Context, found []foundTag) error {
	m := newTeam(s.photo)
	if err := s.firstLook(m, found); err != nil {
		return err
	}
	if err := s.solve(ctx); err != nil {
		return err
	}
	if err := s.settleKind(ctx); err != nil {
		return err
	}
	s.remeasure(m)
	return s.solve(ctx)
}

// checkOptions refuses settings that can't be meant.
func (s *solver) checkOptions() error {
	o := s.options
	if o.DPI != 0 && !(o.DPI >= minScanDPI && o.DPI <= maxScanDPI) {
		return s.fail(ErrBadOption, nil, "give the resolution that the scanner was set to", "a scan of %g dpi can't be used, %d to %d can", o.DPI, minScanDPI, maxScanDPI)
	}
	for _, c := range []struct {
		name          string
		read, nominal float64
	}{{"--printed-x", o.PrintedXMM, strip.CheckXMM}, {"--printed-y", o.PrintedYMM, strip.CheckYMM}} {
		if c.read != 0 && !(math.Abs(c.read/c.nominal-1) <= maxPrintError) {
			return s.fail(ErrBadOption, nil, "give what calipers read between the ends of the check line", "%s of %s can't be: that check line is %s long on a card printed at 100 %%", c.name, prose.MM(c.read, 2), prose.MM(c.nominal, 1))
		}
	}
	return nil
}

// maxPrintError is how far from nominal a check line may be: A4 fitted to Letter prints at 94 %.
const maxPrintError = 0.15

// firstLook measures every tag on its own.
func (s *solver) firstLook(measurers team, found []foundTag) error {
	type look struct {
		corners [4]geom.PointPx
		blur    [2]float64
		grey    levels
		ok      bool
		reading tagReading
		read    bool
	}
	looks := make([]look, len(found))
	measurers.each(len(found), func(m *measurer, i int) {
		l := &looks[i]
		if l.corners, l.blur, l.ok = m.coarse(found[i].id(), found[i].corners); !l.ok {
			return
		}
		if b := max(l.blur[0], l.blur[1]); b <= maxBlurPx {
			l.grey, _ = m.levels(found[i].id(), l.corners, b)
		}
	})
	var blurs []float64
	var grey []levels
	for _, l := range looks {
		if l.ok {
			blurs = append(blurs, max(l.blur[0], l.blur[1]))
		}
		if l.grey.white > l.grey.black && l.grey.whiteVar > 0 {
			grey = append(grey, l.grey)
		}
	}
	if len(blurs) > 0 {
		if b := median(blurs); b > maxBlurPx {
			return s.fail(ErrBlurred, nil, "hold the camera still, let it focus on the face, and give it more light",
				"the photo is blurred: its edges spread over %.1f px (standard deviation), %.1f at most can be measured", b, maxBlurPx)
		}
	}
	if len(grey) > 0 {
		s.levels = typical(grey)
		if w := s.levels.white; w < leastWhite {
			return s.fail(ErrDark, nil, "give it more light, or let the camera expose it for longer",
				"the photo is too dark: the strips' white paper has %.1f %% of the light that the picture can hold, %.0f %% at least can be measured", 100*w, 100*leastWhite)
		}
		if t := s.tint(found); t < leastPrimary {
			return s.fail(ErrTinted, nil, "photograph it by daylight or a white lamp, and use the picture as the camera took it",
				"the photo is strongly tinted: in one of red, green and blue the strips' white paper has %.0f %% of the light that it has in another, %.0f %% at least can be measured", 100*t, 100*leastPrimary)
		}
		measurers.expectNoise(s.levels)
	}
	measurers.each(len(found), func(m *measurer, i int) {
		if l := &looks[i]; l.ok && max(l.blur[0], l.blur[1]) <= maxBlurPx {
			shape := [2]*profile{gaussProfile(l.blur[0]), gaussProfile(l.blur[1])}
			l.reading, l.read = m.fine(found[i].strip, found[i].tag, homographyOf(l.corners), l.blur, shape)
		}
	})
	for _, l := range looks {
		if l.read {
			s.tags = append(s.tags, l.reading)
		}
	}
	if len(grey) == 0 {
		s.levels = levelsByEdges(s.tags)
	}
	return nil
}

// minDarkNoise keeps the white side of an edge from being ignored, however noisy: the black alone doesn't tell an edge's
// place from its contrast.
const minDarkNoise = 0.15

// remeasure reads every tag of the strips in sight again, where the camera says it is and with the shape that edges
// have thereabouts: tags that were not found gain a reading, and the others lose the error of having been taken for flat
// projective squares under a lens that bends, with edges blurred like a Gaussian.
func (s *solver) remeasure(measurers team) {
	v := s.fit.model.view()
	numbers := s.fit.model.numbers
	known := make([][strip.TagsPer]*tagReading, len(numbers))
	sums := make([][strip.TagsPer][2]profileSum, len(numbers))
	old := s.tags
	measurers.each(len(old), func(m *measurer, i int) {
		t := &old[i]
		if k := s.fit.model.indexOf(t.strip); k >= 0 {
			known[k][t.tag] = t
			m.shapes(t, v.tagTo(k, t.tag), &sums[k][t.tag])
		}
	})
	readings := make([]*tagReading, len(numbers)*strip.TagsPer)
	measurers.each(len(readings), func(m *measurer, i int) {
		k, tag := i/strip.TagsPer, i%strip.TagsPer
		blur, shape := near(&known[k], &sums[k], tag)
		r, ok := m.fine(numbers[k], tag, v.tagTo(k, tag), blur, shape)
		// A tag that libapriltag did not see counts if nearly all its edges are where they should be.
		if ok && (known[k][tag] != nil || len(r.edges)*10 >= 9*len(m.cells.of(strip.TagID(numbers[k], tag)))) {
			readings[i] = &r
		}
	})
	s.tags = nil
	for _, r := range readings {
		if r != nil {
			s.tags = append(s.tags, *r)
		}
	}
}

// near returns the blur and the shape of edges about a tag, from itself and its neighbours on the strip, or, where there
// are none, from the nearest tags.
func near(known *[strip.TagsPer]*tagReading, sums *[strip.TagsPer][2]profileSum, tag int) (blur [2]float64, shape [2]*profile) {
	for reach := 1; reach < strip.TagsPer; reach++ {
		var sum [2]profileSum
		var count float64
		blur = [2]float64{}
		for i := max(0, tag-reach); i <= min(strip.TagsPer-1, tag+reach); i++ {
			if t := known[i]; t != nil {
				for d := range 2 {
					sum[d].merge(&sums[i][d])
					blur[d] += t.blurPx[d]
				}
				count++
			}
		}
		if count == 0 {
			continue
		}
		for d := range 2 {
			blur[d] /= count
			shape[d] = sum[d].profile(max(profileSmoothPx, 0.6*blur[d]), 3*blur[d]+2)
			if shape[d] == nil {
				shape[d] = gaussProfile(blur[d])
			}
		}
		break
	}
	return blur, shape
}

// newModel returns a model with no pose yet.
func (s *solver) newModel() *model {
	m := &model{width: s.photo.Width, height: s.photo.Height, scaleX: 1, scaleY: 1, scan: s.scan}
	x, y := s.options.PrintedXMM/strip.CheckXMM, s.options.PrintedYMM/strip.CheckYMM
	switch {
	case x > 0 && y > 0:
		m.scaleX, m.scaleY = x, y
	case x > 0:
		m.scaleX, m.scaleY = x, x
	case y > 0:
		m.scaleX, m.scaleY = y, y
	}
	for _, t := range s.tags {
		if !slices.Contains(m.numbers, t.strip) {
			m.numbers = append(m.numbers, t.strip)
		}
	}
	slices.Sort(m.numbers)
	m.x = make([]float64, sharedUnknowns+stripUnknowns*len(m.numbers))
	return m
}

// observations whitens the tags' corners; a tag whose covariance is no number is dropped.
func (s *solver) observations(m *model) []observation {
	var obs []observation
	s.tags = slices.DeleteFunc(s.tags, func(t tagReading) bool {
		N := newSPD(8)
		copy(N.a, t.cov[:])
		floor := math.Hypot(sigmaFloorPx, sigmaPrintMM*sidePx(t.corners)/strip.TagMM)
		for a := range 8 {
			N.a[9*a] += floor * floor
		}
		ok := N.chol()
		if ok {
			obs = append(obs, observation{k: m.indexOf(t.strip), tag: t.tag, corners: t.corners, factor: N})
		}
		return !ok
	})
	return obs
}

// solve finds the best camera for the tags as they are measured now, near the one known so far.
func (s *solver) solve(ctx context.Context) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	if len(s.tags) < minTags {
		return s.fail(ErrFewTags, nil, "lay the strips so that all of every strip is in the picture, sharp and without glare",
			"only %d tags of the strips can be measured in the picture, at least %d are needed", len(s.tags), minTags)
	}
	empty := s.newModel()
	s.problem = &problem{s.observations(empty), s.known(empty), 1}
	var starts []*model
	if s.fit != nil && s.fit.model.scan == empty.scan && slices.Equal(s.fit.model.numbers, empty.numbers) {
		starts = append(starts, s.fit.model)
	} else {
		focal := focalPrior(s.photo)
		for _, factor := range []float64{1, 0.5, 2} {
			if factor != 1 && (empty.scan || s.photo.Focal35MM > 0) {
				break
			}
			if m, ok := start(empty, s.tags, factor*math.Exp(focal.mean)); ok {
				starts = append(starts, m)
			}
		}
	}
	s.fit = nil
	for _, m := range starts {
		if f, err := s.problem.solve(m); err == nil && (s.fit == nil || f.cost < s.fit.cost) {
			s.fit = f
		}
	}
	if s.fit == nil {
		return s.fail(ErrPoorFit, nil, "take the photo again, with the strips flat and in full view", "the strips' places in the picture fit no camera")
	}
	s.balance()
	return nil
}

// balance weighs the tags by what they turn out to be worth, against what is known beforehand.
func (s *solver) balance() {
	v := max(1, s.fit.variance)
	if math.Abs(math.Log(v/s.problem.inflate)) < 0.1 {
		return
	}
	s.problem.inflate = v
	if f, err := s.problem.solve(s.fit.model); err == nil {
		s.fit = f
	}
}

// lookAround solves again with one thing at a time let go that is only nearly always so, and keeps what turns out
// likelier: what is seldom so has a minimum of its own, out of sight from the usual one.
func (s *solver) lookAround(ctx context.Context) error {
	if s.fit.model.scan {
		return nil
	}
	for _, open := range openings(s.fit.model, s.problem.priors) {
		if err := ctx.Err(); err != nil {
			return err
		}
		f, err := s.problem.with(open).solve(s.fit.model)
		// Freedom alone lowers the cost by about one for each unknown let go.
		if err != nil || s.fit.cost-f.cost < 8 {
			continue
		}
		if f, err := s.problem.solve(f.model); err == nil && f.cost < s.fit.cost-0.1 {
			s.fit = f
			s.balance()
		}
	}
	return nil
}

func (s *solver) solution() *Solution {
	m := s.fit.model
	v := m.view()
	out := &Solution{Camera: v.camera, RMSPx: s.fit.rmsPx, PrintedScale: [2]float64{m.scaleX, m.scaleY}, Tone: s.photo.Tone}
	if m.scan {
		out.ScanDPI = m.scanDPI()
	} else {
		out.HeightMM = v.camera.CentreInPlane()[2]
		out.TiltDeg = math.Acos(min(1, max(-1, -v.camera.R[8]))) * 180 / math.Pi
	}
	for k := range m.numbers {
		out.Strips = append(out.Strips, s.stripFit(k))
		var quad [4]geom.PointPx
		for i, c := range strip.Corners() {
			quad[i] = v.project(k, c)
		}
		out.StripQuadsPx = append(out.StripQuadsPx, quad)
	}
	var blur []float64
	for i, o := range s.problem.tags {
		t := &s.tags[i]
		blur = append(blur, (t.blurPx[0]+t.blurPx[1])/2)
		out.Tags = append(out.Tags, TagFit{Strip: m.numbers[o.k], Tag: o.tag, CornersPx: o.corners, ResidualPx: s.fit.left[i], Weight: s.fit.weight[i], GrowthPx: t.growthPx})
	}
	out.BlurPx, out.WhiteBurnt = median(blur), s.levels.white > burntWhite
	if s.levels.white > 0 {
		out.NoiseLevel = s.levels.noiseAt(midGrey)
	}
	out.fit = s.fit
	out.setToneDoubt(s.levels.doubt())
	out.Warnings = s.advice()
	return out
}

// stripFit tells where the k-th strip lies and how well its tags agree.
func (s *solver) stripFit(k int) StripFit {
	m := s.fit.model
	own := m.x[m.stripIndex(k):]
	sin, cos := math.Sincos(own[uTurn])
	f := StripFit{Number: m.numbers[k], PlaneFrom: geom.Rigid{A: cos, B: -sin, Tx: own[uX], C: sin, D: cos, Ty: own[uY]}}
	var sum float64
	for i, o := range s.problem.tags {
		if o.k != k || s.fit.weight[i] < ignoredWeight {
			continue
		}
		f.Tags++
		for _, d := range s.fit.left[i] {
			sum += d.U*d.U + d.V*d.V
		}
	}
	f.RMSPx = math.Sqrt(sum / max(1, float64(8*f.Tags)))
	return f
}
