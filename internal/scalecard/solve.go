package scalecard

import (
	"context"
	"fmt"
	"math"
	"slices"

	"portmatch/internal/geom"
	"portmatch/internal/photo"
	"portmatch/internal/scalecard/strip"
)

// Options is what the user says about one photo.
type Options struct {
	// DPI says that the picture is a flat-bed scan of that resolution; 0: a photo.
	DPI float64
	// PrintedXMM and PrintedYMM are what calipers read on the card's check lines, along the strips (nominally
	// strip.CheckXMM) and up the page (strip.CheckYMM); 0: not measured, taken as nominal.
	PrintedXMM, PrintedYMM float64
}

// Standard uncertainties of what is known before looking. Sources: findings of the project's own probes where marked
// (measured), else judgement, with the reason.
const (
	// EXIF gives whole millimetres (2 % at 26 mm) and is read by the diagonal or the width (4 % apart).
	sigmaLogFExif = 0.025
	// Phones reach from 13 to 120 mm of full frame; the middle is near 35.
	sigmaLogFUnknown = 0.6
	usualF35         = 32.0
	// Centring of sensor and lens, at 4000 px across (measured best).
	sigmaCentrePx = 20.0
	sigmaK1       = 0.05 // (measured best)
	sigmaK2       = 0.02 // (measured best)
	// Paper laid by hand and weighed down: how far it stands off the plane as a whole, at its ends and in its middle.
	sigmaLiftMM = 0.03
	sigmaTiltMM = 0.03
	sigmaBowMM  = 0.03
	// Growth is measured within every tag; this is what a border may grow more than a cell.
	sigmaShrinkMM = 0.01
	// Printers off by 0.4 % in one direction are complained about.
	sigmaPrintAspect = 0.003
	// Calipers read to about 0.05 mm on a line of 120 mm.
	sigmaCaliperAspect = 0.0005
	// Toner and paper put a tag's corner this far from its place, whatever the photo.
	sigmaPrintMM = 0.004
	// Interpolation and the camera's own processing leave this much in a corner, whatever the scatter says.
	sigmaFloorPx = 0.015
	// A scanner's two directions differ by its transport.
	sigmaScanAspect = 0.002
	sigmaScanShear  = 0.0005
)

// maxBlurPx is where edges of neighbouring things start to mix: the measured limit of the erf fit at usual scales.
const maxBlurPx = 2.5

// Fewer tags than this leave the camera undetermined.
const minTags = 3

// Solve finds the strips in p and solves for camera, plane and every strip's place. The error, if the photo can't be
// trusted, is an *Error.
func Solve(ctx context.Context, p *photo.Photo, o Options) (*Solution, error) {
	s := &solver{photo: p, options: o, tone: p.Tone}
	if err := s.measure(ctx); err != nil {
		return nil, err
	}
	return s.solution()
}

type solver struct {
	photo   *photo.Photo
	options Options
	tone    photo.Tone
	tags    []tagReading
	fit     *fitted
	problem *problem
}

func (s *solver) fail(err error, strips []int, try, what string, args ...any) error {
	return &Error{Path: s.photo.Path, Err: err, Strips: strips, What: fmt.Sprintf(what, args...), Try: try}
}

func (s *solver) measure(ctx context.Context) error {
	found, err := findTags(ctx, s.photo)
	if err != nil {
		return err
	}
	m := newMeasurer(s.photo, &s.tone)
	var blurs []float64
	for _, t := range found {
		c, blur, ok := m.coarse(t.id(), t.corners)
		if !ok {
			continue
		}
		blurs = append(blurs, math.Max(blur[0], blur[1]))
		if r, ok := m.fine(t.strip, t.tag, homographyOf(c), blur); ok {
			s.tags = append(s.tags, r)
		}
	}
	if len(blurs) > 0 {
		if b := median(blurs); b > maxBlurPx {
			return s.fail(ErrBlurred, nil, "hold the camera still, let it focus on the face, and give it more light",
				"the photo is blurred: its edges spread over %.1f px (standard deviation), %.1f at most can be measured", b, maxBlurPx)
		}
	}
	if err := s.enough(); err != nil {
		return err
	}
	if err := s.solve(); err != nil {
		return err
	}
	s.remeasure(m, median(blurs))
	return s.solve()
}

func (s *solver) enough() error {
	if len(s.tags) < minTags {
		return s.fail(ErrFewTags, nil, "lay the strips so that all of every strip is in the picture, sharp and without glare",
			"only %d tags of the strips can be measured in the picture, at least %d are needed", len(s.tags), minTags)
	}
	return nil
}

// remeasure reads every tag of the strips in sight again where the camera says it is: those that were not found gain a
// reading, and the others lose the error of having been taken for flat projective squares under a lens that bends.
func (s *solver) remeasure(m *measurer, blur float64) {
	old := s.tags
	s.tags = nil
	v := s.fit.model.view()
	for k, number := range s.fit.model.numbers {
		for tag := range strip.TagsPer {
			to := v.tagTo(k, tag)
			i := slices.IndexFunc(old, func(t tagReading) bool { return t.strip == number && t.tag == tag })
			if i >= 0 {
				if r, ok := reduce(old[i].edges, to, true); ok {
					r.strip, r.tag, r.blurPx = number, tag, old[i].blurPx
					s.tags = append(s.tags, r)
				}
				continue
			}
			r, ok := m.fine(number, tag, to, [2]float64{blur, blur})
			if ok && len(r.edges)*10 >= 9*len(m.units[strip.TagID(number, tag)]) {
				s.tags = append(s.tags, r)
			}
		}
	}
}

// newModel returns a model with no pose yet.
func (s *solver) newModel() *model {
	m := &model{width: s.photo.Width, height: s.photo.Height, scaleX: 1, scaleY: 1, scan: s.options.DPI > 0}
	if x := s.options.PrintedXMM; x > 0 {
		m.scaleX = x / strip.CheckXMM
	}
	if y := s.options.PrintedYMM; y > 0 {
		m.scaleY = y / strip.CheckYMM
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

// focalPrior returns the focal length in px that EXIF gives, and its relative standard uncertainty.
func focalPrior(p *photo.Photo) (px, sigma float64) {
	f35, sigma := p.Focal35MM, sigmaLogFExif
	if !(f35 > 0) {
		f35, sigma = usualF35, sigmaLogFUnknown
	}
	return f35 / fullFrameDiagonalMM * math.Hypot(float64(p.Width), float64(p.Height)), sigma
}

// priors returns what is known before looking.
func (s *solver) priors(m *model) []prior {
	pr := make([]prior, len(m.x))
	free := prior{0, math.Inf(1)}
	set := func(i int, mean, sigma float64) { pr[i] = prior{mean, sigma} }
	if m.scan {
		pr[uLogF], pr[uCx], pr[uCy], pr[uRx] = free, free, free, free
		set(uAspect, 0, sigmaScanAspect)
		set(uRy, 0, sigmaScanShear)
	} else {
		f, sigma := focalPrior(s.photo)
		set(uLogF, math.Log(f), sigma)
		centre := sigmaCentrePx * float64(max(m.width, m.height)) / 4000
		set(uCx, float64(m.width-1)/2, centre)
		set(uCy, float64(m.height-1)/2, centre)
		set(uK1, 0, sigmaK1)
		set(uK2, 0, sigmaK2)
		for i := uRx; i <= uTz; i++ {
			pr[i] = free
		}
	}
	set(uShrink, 0, sigmaShrinkMM)
	set(uPrintAspect, 0, sigmaPrintAspect)
	if s.options.PrintedXMM > 0 && s.options.PrintedYMM > 0 {
		set(uPrintAspect, 0, sigmaCaliperAspect)
	}
	for k := range m.numbers {
		own := pr[m.stripIndex(k):]
		if k > 0 {
			own[uTurn], own[uX], own[uY] = free, free, free
		}
		if !m.scan {
			own[uLift], own[uTilt], own[uBow] = prior{0, sigmaLiftMM}, prior{0, sigmaTiltMM}, prior{0, sigmaBowMM}
		}
	}
	return pr
}

func (s *solver) observations(m *model) []observation {
	obs := make([]observation, 0, len(s.tags))
	for i := range s.tags {
		t := &s.tags[i]
		N := newSPD(8)
		copy(N.a, t.cov[:])
		floor := math.Hypot(sigmaFloorPx, sigmaPrintMM*sidePx(t.corners)/strip.TagMM)
		for a := range 8 {
			N.a[9*a] += floor * floor
		}
		// A covariance plus a floor is positive definite, so this can't fail but for values that are no numbers.
		if !N.chol() {
			continue
		}
		obs = append(obs, observation{k: m.indexOf(t.strip), tag: t.tag, corners: t.corners, factor: N})
	}
	return obs
}

func (s *solver) solve() error {
	empty := s.newModel()
	s.problem = &problem{tags: s.observations(empty), priors: s.priors(empty)}
	f, sigma := focalPrior(s.photo)
	starts := []float64{f}
	if sigma > 0.1 && !empty.scan {
		starts = []float64{f, f / 2, f * 2}
	}
	s.fit = nil
	for _, f := range starts {
		m, ok := start(empty, s.tags, f)
		if !ok {
			continue
		}
		fit, err := s.problem.solve(m)
		if err == nil && (s.fit == nil || fit.cost < s.fit.cost) {
			s.fit = fit
		}
	}
	if s.fit == nil {
		return s.fail(ErrPoorFit, nil, "take the photo again, with the strips flat and in full view", "the strips' places in the picture fit no camera")
	}
	return nil
}

func (s *solver) solution() (*Solution, error) {
	m := s.fit.model
	v := m.view()
	out := &Solution{Camera: v.camera, RMSPx: s.fit.rmsPx, PrintedScale: [2]float64{m.scaleX, m.scaleY}, Tone: s.tone}
	if !m.scan {
		out.HeightMM = v.camera.CentreInPlane()[2]
		out.TiltDeg = math.Acos(math.Min(1, math.Max(-1, -v.camera.R[8]))) * 180 / math.Pi
	}
	out.Camera.WidthPx, out.Camera.HeightPx = m.width, m.height
	for k, number := range m.numbers {
		own := m.x[m.stripIndex(k):]
		sin, cos := math.Sincos(own[uTurn])
		f := StripFit{Number: number, PlaneFrom: geom.Rigid{A: cos, B: -sin, Tx: own[uX], C: sin, D: cos, Ty: own[uY]}}
		var sum float64
		for i, o := range s.problem.tags {
			if o.k != k || s.fit.weight[i] < 0.1 {
				continue
			}
			f.Tags++
			for _, d := range s.fit.left[i] {
				sum += d.U*d.U + d.V*d.V
			}
		}
		f.RMSPx = math.Sqrt(sum / math.Max(1, float64(8*f.Tags)))
		out.Strips = append(out.Strips, f)
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
	out.BlurPx = median(blur)
	out.fit = s.fit
	return out, nil
}
