package compare

import (
	"fmt"
	"math"
	"runtime"

	"golang.org/x/sync/errgroup"

	"portmatch/internal/face"
	"portmatch/internal/geom"
	"portmatch/internal/prose"
)

// Options are the user's settings of a comparison.
type Options struct {
	ToleranceMM float64 // largest step that may stay
	// Flipped and Turned (0 or 180) settle what a symmetric pattern leaves open; nil: find out.
	Flipped *bool
	Turned  *int
	Pass    int
	// Flow is the direction of the gas; FlowUnknown leaves the figures out.
	Flow FlowDirection
	// MinLandMM is the least land that is not warned about; 0 stands for DefaultMinLandMM, less than 0 for none.
	MinLandMM float64
	// Blend is how the cut fades out inside the runner; the zero value leaves the figures out.
	Blend Blend
	// Fasteners are the diameters of what goes through the holes; nothing given leaves Result.Float out.
	Fasteners Fasteners
	// PastIsFine is set where the target's own part will be ground as well: an opening beyond the target's needs no verdict.
	PastIsFine bool
	// JobFromTarget is the frame to use, if it is known already.
	JobFromTarget *geom.Rigid
	// Before is the result of the pass before. Its job frame is kept, so that the target stays where it was and ports keep
	// their numbers.
	Before    *Result
	firstLook bool // the ports are good to a mm, and some may be none
}

// Match lays the work face over the target and compares every port. It returns *FaceError where a face has nothing to
// compare, *MismatchError where the two don't belong together, *AmbiguousError where they fit in more than one way. A port
// that can't be measured is in the result, with the reason.
func Match(target, work *face.Face, opts Options) (*Result, error) {
	if !(opts.ToleranceMM > 0) || math.IsInf(opts.ToleranceMM, 0) {
		return nil, fmt.Errorf("a tolerance of %g mm is no use: give one above 0", opts.ToleranceMM)
	}
	if err := opts.Blend.Validate(); err != nil {
		return nil, err
	}
	l, err := lay(target, work, opts)
	if err != nil {
		return nil, err
	}
	if err := opts.Before.sameParts(l); err != nil {
		return nil, err
	}
	res := &Result{Schema: 1, Pass: max(opts.Pass, 1), Units: "mm", ToleranceMM: opts.ToleranceMM,
		Calibration: []face.Calibration{target.Calibration, work.Calibration},
		Alignment: Alignment{On: l.on, Mirrored: l.workFromTarget.Mirrored(), ResidualMM: l.residualMM, ScaleCheck: l.scale,
			JobFromTarget: Rigid6(l.jobFromTarget), JobFromWork: Rigid6(l.jobFromWork)},
		Warnings: append([]face.Warning{}, target.Warnings...)}
	res.Warnings = append(res.Warnings, work.Warnings...)
	res.Warnings = append(res.Warnings, l.warnings...)
	joints := l.joints()
	res.Ports = make([]PortResult, len(joints))
	compared := make([]*portComparison, len(joints))
	var g errgroup.Group
	g.SetLimit(runtime.GOMAXPROCS(0))
	for i, j := range joints {
		g.Go(func() error {
			res.Ports[i], compared[i] = l.comparePort(i+1, j, opts)
			return nil
		})
	}
	g.Wait()
	if opts.Fasteners != (Fasteners{}) {
		res.Float = l.floatOf(opts.Fasteners, compared, res)
	}
	res.Dimensions = l.dimensions(joints)
	l.addLands(res, joints, opts.MinLandMM)
	res.Holes = l.holes()
	for _, p := range geom.Outline(work.PartOutline.Outline).Mapped(l.jobFromWork) {
		res.PartOutline = append(res.PartOutline, [2]float64{p.X, p.Y})
	}
	if opts.Before != nil {
		res.Progress = ProgressSince(opts.Before, res)
	}
	return res, nil
}

// sameParts refuses a work face that can't be the one of the pass before: laid with the other hand, or without the holes on which
// that one was laid. before may be nil.
func (before *Result) sameParts(l *laid) error {
	if before == nil {
		return nil
	}
	const try = "check that this is the face of the job, photographed from the same side, with all its holes clean and in view"
	switch {
	case before.Alignment.Mirrored != l.workFromTarget.Mirrored():
		return &MismatchError{What: prose.Sprintf("in pass %d one of them was seen from its other side, and now both from the same, or the other way round", before.Pass), Try: try}
	case before.Alignment.On != "outlines" && l.on == "outlines":
		return &MismatchError{What: prose.Sprintf("pass %d was laid on its %s, of which this photo shows no two that the target has", before.Pass, before.Alignment.On), Try: try}
	}
	return nil
}

// laid is a pair of faces in one frame.
type laid struct {
	alignment
	target, work               *face.Face
	jobFromTarget, jobFromWork geom.Rigid
	targetPorts, workPorts     []ring // job frame
	portPairs                  []pair
	modes                      []mode
}

func lay(target, work *face.Face, opts Options) (*laid, error) {
	targetPorts, err := portRings(target, "target")
	if err != nil {
		return nil, err
	}
	workPorts, err := portRings(work, "work")
	if err != nil {
		return nil, err
	}
	if len(targetPorts) == 0 && !opts.firstLook {
		return nil, NoPort("target")
	}
	if len(workPorts) == 0 && !opts.firstLook {
		return nil, NoPort("work")
	}
	a, err := align(target, work, targetPorts, workPorts, opts)
	if err != nil {
		return nil, err
	}
	l := &laid{alignment: a, target: target, work: work}
	frame := opts.JobFromTarget
	if opts.Before != nil {
		f := rigidFrom6(opts.Before.Alignment.JobFromTarget)
		frame = &f
	}
	if frame != nil {
		l.jobFromTarget = *frame
		l.jobFromWork = frame.After(a.workFromTarget.Inverse())
	} else {
		places := make([]geom.PointMM, len(a.locating))
		for i, p := range a.locating {
			places[i] = work.Holes[p.w].Centre
		}
		if len(places) == 0 {
			for i := range workPorts {
				places = append(places, workPorts[i].centroid)
			}
		}
		l.jobFromWork = jobFrame(places)
		l.jobFromTarget = l.jobFromWork.After(a.workFromTarget)
	}
	for i := range targetPorts {
		l.targetPorts = append(l.targetPorts, targetPorts[i].mapped(l.jobFromTarget))
	}
	for i := range workPorts {
		l.workPorts = append(l.workPorts, workPorts[i].mapped(l.jobFromWork))
	}
	l.portPairs = pairPorts(l.targetPorts, l.workPorts, geom.Identity())
	l.modes, err = modes(target, work, &l.alignment, l.jobFromTarget, l.jobFromWork)
	return l, err
}

// Lay finds how the target lies on the work face, without comparing them: the map from the target's face frame to the
// work's. Errors as Match's, but that holes that agree are believed whatever a first look took for ports.
func Lay(target, work *face.Face, opts Options) (workFromTarget geom.Rigid, err error) {
	opts.firstLook = true
	l, err := lay(target, work, opts)
	if err != nil {
		return geom.Rigid{}, err
	}
	return l.workFromTarget, nil
}

// align finds how the target lies on the work face.
func align(target, work *face.Face, targetPorts, workPorts []ring, opts Options) (alignment, error) {
	choices, err := waysToLay(target, work, targetPorts, workPorts)
	if err != nil {
		return alignment{}, err
	}
	// Of the ways to lay them the first has the most holes, and these nearest together.
	if choices[0].otherSize {
		return alignment{}, otherSize(choices[0].scale)
	}
	c, err := settle(choices, targetPorts, newPartEdges(target, work), opts.Flipped, opts.Turned)
	if err != nil {
		return alignment{}, err
	}
	if n := min(len(targetPorts), len(workPorts)); (c.paired == 0 || 2*c.paired < n) && !(opts.firstLook && c.surelyByHoles(min(len(target.Holes), len(work.Holes)))) {
		return alignment{}, &MismatchError{
			What: prose.Sprintf("laid on their %s, only %d of the target's %d ports lie on one of the work's %d", c.on, c.paired, len(targetPorts), len(workPorts)),
			Try:  tryParts}
	}
	if c.on == "outlines" {
		c.warnings = append(c.warnings, face.Warning{Photo: "work",
			What: "the parts have no two holes in common and were laid on their edges: a shift that all ports share does not show",
			Try:  "photograph both parts with all their holes in view"})
	}
	return c.alignment, nil
}

// surelyByHoles tells whether the holes alone say that the parts belong together and how: all that the face with fewer of them has, or four and
// most of them, fall together closer than chance would have it. Then ports that don't are for the measuring to sort out: dye, a shadow or a
// bead may have been taken for one on a first look.
func (a *alignment) surelyByHoles(least int) bool {
	const closeMM = 0.1
	n := len(a.pairs)
	return a.residualMM < closeMM && (n >= 3 && n == least || n >= 4 && 4*n >= 3*least)
}

// moreByScale is how many more holes must fall together at another scale for that to be believed.
const moreByScale = 2

const tryParts = "check that these are the two parts that are bolted together, and that both show whole in their photos"

// waysToLay returns every way to lay the parts together that their holes allow, or their edges where holes are too few.
func waysToLay(target, work *face.Face, targetPorts, workPorts []ring) ([]choice, error) {
	least := min(len(target.Holes), len(work.Holes))
	if least < 2 {
		if choices := outlineFits(target, work, targetPorts, workPorts); len(choices) > 0 {
			return choices, nil
		}
		return nil, &MismatchError{What: prose.Sprintf("the target has %d holes and the work %d, too few to lay them together, and no way was found in which their %d and %d ports lie on each other",
			len(target.Holes), len(work.Holes), len(targetPorts), len(workPorts)), Try: tryParts}
	}
	fits := holeFits(target.Holes, work.Holes, holeReachMM)
	// Holes may be missed or not be drilled; but where not even half of them fall together the rest is chance.
	need := max(2, (least+1)/2)
	if len(fits) == 0 || len(fits[0].pairs) < need {
		return nil, holesDisagree(target, work, fits, need)
	}
	// Two photos of other scales have holes fall together by chance, but not two more than at the right one.
	if n := len(fits[0].pairs); least-n >= moreByScale {
		if ratio := otherScale(target.Holes, work.Holes, n+moreByScale); ratio != 0 && math.Abs(ratio-1)*span(work.Holes)/2 > uselessScaleMM {
			return nil, otherSize(ratio)
		}
	}
	var choices []choice
	for _, f := range fits {
		// A way with two holes fewer than the best is chance, one with one fewer may have lost a hole to a shadow.
		if len(f.pairs) < max(need, len(fits[0].pairs)-1) {
			break
		}
		a, err := alignOnHoles(target, work, f)
		if err != nil || len(f.pairs) < least && a.residualMM > badHoleMM {
			continue // of several holes any few may fall together roughly
		}
		c := choice{alignment: a}
		c.portsMM, c.paired = portsApartMM(targetPorts, workPorts, a.workFromTarget)
		choices = append(choices, c)
	}
	if len(choices) == 0 {
		return nil, holesDisagree(target, work, fits, need)
	}
	return choices, nil
}

func holesDisagree(target, work *face.Face, fits []fit, need int) error {
	if ratio := otherScale(target.Holes, work.Holes, max(need, 3)); ratio != 0 {
		return otherSize(ratio)
	}
	n := 0
	if len(fits) > 0 {
		n = len(fits[0].pairs)
	}
	return &MismatchError{
		What: prose.Sprintf("of the target's %d and the work's %d holes no more than %d fall together; the holes farthest apart are %s apart on the target and %s on the work; the target has %d ports, the work %d",
			len(target.Holes), len(work.Holes), n, prose.MM(span(target.Holes), 1), prose.MM(span(work.Holes), 1), len(target.Ports), len(work.Ports)),
		Try: tryParts}
}

// otherSize is the error for parts that are the same but for their size; ratio is work over target.
func otherSize(ratio float64) *MismatchError {
	larger, size := "larger", ratio-1
	if ratio < 1 {
		larger, size = "smaller", 1-ratio
	}
	return &MismatchError{ScaleRatio: ratio,
		What: prose.Sprintf("their holes have one pattern, but the work's is %.1f %% %s than the target's", 100*size, larger),
		Try:  "check that both cards were printed at 100 %, or give --printed-x and --printed-y, --target-dpi and --work-dpi, --target-height and --work-height as they are"}
}

func span(holes []face.Hole) float64 {
	var d float64
	for i, h := range holes {
		for _, g := range holes[:i] {
			d = math.Max(d, h.Centre.Dist(g.Centre))
		}
	}
	return d
}

// joint is a target port and the work port on it; either may be missing.
type joint struct{ target, work *ring }

// joints returns all openings in the order of their numbers.
func (l *laid) joints() []joint {
	var js []joint
	pairedT, pairedW := map[int]bool{}, map[int]bool{}
	for _, p := range l.portPairs {
		js = append(js, joint{&l.targetPorts[p.t], &l.workPorts[p.w]})
		pairedT[p.t], pairedW[p.w] = true, true
	}
	for i := range l.targetPorts {
		if !pairedT[i] {
			js = append(js, joint{target: &l.targetPorts[i]})
		}
	}
	for i := range l.workPorts {
		if !pairedW[i] {
			js = append(js, joint{work: &l.workPorts[i]})
		}
	}
	centre, width := make([]geom.PointMM, len(js)), make([]float64, len(js))
	for i, j := range js {
		r := j.target
		if r == nil {
			r = j.work
		}
		lo, hi := r.outline.Bounds()
		centre[i], width[i] = r.centroid, hi.X-lo.X
	}
	out := make([]joint, 0, len(js))
	for _, i := range readingOrder(centre, width) {
		out = append(out, js[i])
	}
	return out
}

func (l *laid) holes() []HoleResult {
	kind := map[pair]string{}
	for _, p := range l.pairs {
		kind[p] = "bolt"
	}
	if l.on == "dowels" {
		for _, p := range l.locating {
			kind[p] = "dowel"
		}
	}
	seenT, seenW := map[int]bool{}, map[int]bool{}
	hs := []HoleResult{}
	for _, p := range l.pairs {
		seenT[p.t], seenW[p.w] = true, true
		c := l.jobFromWork.Apply(l.work.Holes[p.w].Centre)
		hs = append(hs, HoleResult{X: c.X, Y: c.Y, Kind: kind[p],
			TargetDiameter: l.target.Holes[p.t].DiameterMM, WorkDiameter: l.work.Holes[p.w].DiameterMM})
	}
	for i, h := range l.target.Holes {
		if !seenT[i] {
			c := l.jobFromTarget.Apply(h.Centre)
			hs = append(hs, HoleResult{X: c.X, Y: c.Y, TargetDiameter: h.DiameterMM, Kind: "bolt"})
		}
	}
	for i, h := range l.work.Holes {
		if !seenW[i] {
			c := l.jobFromWork.Apply(h.Centre)
			hs = append(hs, HoleResult{X: c.X, Y: c.Y, WorkDiameter: h.DiameterMM, Kind: "bolt"})
		}
	}
	return hs
}

func rigidFrom6(m [6]float64) geom.Rigid {
	return geom.Rigid{A: m[0], B: m[1], Tx: m[2], C: m[3], D: m[4], Ty: m[5]}
}
