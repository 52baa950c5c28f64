package compare

import (
	"fmt"
	"math"

	"portmatch/internal/face"
	"portmatch/internal/geom"
	"portmatch/internal/prose"
)

// Aim says what the work is ground to where there is a third face, the head.
type Aim string

const (
	AimTarget Aim = "target" // the target's openings
	AimHead   Aim = "head"   // the head's openings
	AimCommon Aim = "common" // what target and head both leave open
	AimUnion  Aim = "union"  // head and work are both ground, each where it stands in the way of the other
)

// Plan is what three faces come to.
type Plan struct {
	Aim    Aim
	Result *Result // the work against what it is ground to
	// Head is the head against the work, for AimUnion: what to grind on the head. It stands in the same job frame and has the
	// same port numbers; looked at, the head is its mirror image.
	Head *Result
	// TargetHead is the head against the target, in the same frame and numbers.
	TargetHead *Result
}

// Choose compares three faces in one frame and returns what the work is ground to by aim, after it has compared target and
// head: where the head stands inside the target's openings a warning says that grinding to the target would pass the head's
// edge. head may be nil for AimTarget; anything else then gives a *FaceError. Other errors as Match's.
func Choose(aim Aim, target, head, work *face.Face, opts Options) (*Plan, error) {
	p := &Plan{Aim: aim}
	if head == nil {
		if aim != AimTarget {
			return nil, &FaceError{"head", prose.Sprintf("aim %q needs it", aim), "give its photo with --head"}
		}
		var err error
		p.Result, err = Match(target, work, opts)
		return p, err
	}
	other := opts // between other pairs of faces the user's flags say nothing
	other.Flipped, other.Turned, other.Before = nil, nil, nil
	headFromTarget, err := layed(target, head, other)
	if err != nil {
		return nil, prose.Errorf("target and head: %w", err)
	}
	switch aim {
	case AimTarget:
		p.Result, err = Match(target, work, opts)
	case AimCommon:
		var common *face.Face
		if common, err = commonFace(target, head, headFromTarget); err == nil {
			p.Result, err = Match(common, work, opts)
		}
	case AimHead, AimUnion:
		opts.PastIsFine = aim == AimUnion
		p.Result, err = Match(head, work, opts)
	default:
		return nil, fmt.Errorf("aim %q is not known", aim)
	}
	if err != nil {
		return nil, err
	}
	jobFromWork := rigidFrom6(p.Result.Alignment.JobFromWork)
	jobFromTarget := rigidFrom6(p.Result.Alignment.JobFromTarget)
	if aim == AimUnion {
		other.JobFromTarget, other.PastIsFine = &jobFromWork, true
		if p.Head, err = Match(work, head, other); err != nil {
			return nil, prose.Errorf("work and head: %w", err)
		}
	}
	if aim == AimHead || aim == AimUnion {
		jobFromTarget = jobFromTarget.After(headFromTarget.workFromTarget)
	}
	other.JobFromTarget, other.PastIsFine = &jobFromTarget, false
	if p.TargetHead, err = Match(target, head, other); err != nil {
		return nil, prose.Errorf("target and head: %w", err)
	}
	p.Result.Warnings = append(p.Result.Warnings, headWarnings(p.TargetHead, aim)...)
	return p, nil
}

// layed finds how one face lies on another.
func layed(target, work *face.Face, opts Options) (*alignment, error) {
	l, err := lay(target, work, opts)
	if err != nil {
		return nil, err
	}
	return &l.alignment, nil
}

// headWarnings says where target and head do not agree, by more than the uncertainty.
func headWarnings(r *Result, aim Aim) []face.Warning {
	var ws []face.Warning
	for _, p := range r.Ports {
		if p.Verdict == NotMeasured {
			continue
		}
		if s := p.RemoveStep; s.Value > s.Uncertainty && s.Value > sameWayMM {
			what := prose.Sprintf("port %d: the head's opening is smaller than the target's by %s at %s", p.Port, prose.PM(s.Value, s.Uncertainty), s.Clock)
			try := prose.Text{}
			if aim == AimTarget {
				what = prose.Sprintf("%s; grinding the work to the target would pass the head's edge there", what)
				try = prose.Sprintf("aim at the head or at what both share (--aim head, --aim common), or grind the head first")
			}
			ws = append(ws, face.Warn("head", what, try))
		}
		if s := p.PastStep; s.Value > s.Uncertainty && s.Value > sameWayMM {
			ws = append(ws, face.Warn("head",
				prose.Sprintf("port %d: the head's opening stands beyond the target's by %s at %s", p.Port, prose.PM(s.Value, s.Uncertainty), s.Clock),
				prose.Sprintf("a gasket that covers an open edge can burn or be sucked in; see whether it is the right one")))
		}
	}
	return ws
}

// commonFace is the target with every port cut down to what the head leaves open too. Each stretch of edge has the
// uncertainty of the part it comes from; of the faces' fields all count everywhere, which states at most a little too much.
func commonFace(target, head *face.Face, a *alignment) (*face.Face, error) {
	targetFromHead := a.workFromTarget.Inverse()
	tr, err := portRings(target, "target")
	if err != nil {
		return nil, err
	}
	hr, err := portRings(head, "head")
	if err != nil {
		return nil, err
	}
	for i := range hr {
		hr[i] = hr[i].mapped(targetFromHead)
		hr[i].addAlignment(a, targetFromHead)
	}
	out := *target
	out.Ports = nil
	for _, p := range pairPorts(tr, hr, geom.Identity()) {
		t, h := &tr[p.t], &hr[p.w]
		in, err := geom.Intersection(geom.RegionOf(t.outline), geom.RegionOf(h.outline))
		if err != nil {
			return nil, fmt.Errorf("port %d: %w", t.number, err)
		}
		port := face.Port{Number: t.number, CutByFrame: t.cut || h.cut, Edge: edgeFrom(in.Largest(), t, h)}
		out.Ports = append(out.Ports, port)
	}
	if len(out.Ports) == 0 {
		return nil, &MismatchError{What: prose.Sprintf("no port of the head lies on one of the target's"), Try: tryParts}
	}
	out.Fields = append([]geom.Field(nil), target.Fields...)
	for i := range head.Fields {
		f := head.Fields[i].Mapped(targetFromHead)
		f.Name = "head " + f.Name
		out.Fields = append(out.Fields, f)
	}
	return &out, nil
}

// addAlignment adds to r's bias what the alignment's own uncertainty moves it. r stands in the frame that newFromOld maps
// the alignment's to.
func (r *ring) addAlignment(a *alignment, newFromOld geom.Rigid) {
	if r.fault != "" {
		return
	}
	back := newFromOld.Inverse()
	for i := range r.outline {
		n := back.Turn(r.outward(geom.Place{Side: i}))
		d := back.Apply(r.outline[i]).Sub(a.centre)
		j := [3]float64{n.X, n.Y, d.Cross(n)}
		v := r.bias[i] * r.bias[i]
		for k := range 3 {
			for m := range 3 {
				v += j[k] * a.cov[k][m] * j[m]
			}
		}
		r.bias[i] = math.Sqrt(max(v, 0))
	}
}

// edgeFrom gives an outline that was cut from others the uncertainty of the nearest of them, point by point.
func edgeFrom(o geom.Outline, sources ...*ring) face.Edge {
	e := face.Edge{Outline: o, SigmaMM: make([]float64, len(o)), BiasMM: make([]float64, len(o)), Sure: make([]bool, len(o))}
	for i, p := range o {
		best := math.Inf(1)
		for _, s := range sources {
			if _, at, d := s.index.Nearest(p); d < best {
				best = d
				e.SigmaMM[i], e.BiasMM[i], e.Sure[i] = s.between(s.sigma, at), s.between(s.bias, at), s.sureAt(at)
			}
		}
	}
	for _, s := range sources {
		e.CorrMM = max(e.CorrMM, s.corrMM)
	}
	return e
}

// OffsetFace returns f with every port grown by offsetMM all round, or shrunk if it is negative. A port that vanishes or
// falls apart gives a *FaceError.
func OffsetFace(f *face.Face, offsetMM float64) (*face.Face, error) {
	out := *f
	out.Ports = nil
	rings, err := portRings(f, "target")
	if err != nil {
		return nil, err
	}
	for i := range rings {
		r := &rings[i]
		p := face.Port{Number: r.number, CutByFrame: r.cut, Edge: f.Ports[i].Edge}
		if r.fault == "" {
			region, err := geom.Offset(r.outline, offsetMM)
			switch {
			case err != nil:
				return nil, &FaceError{"target", prose.Sprintf("port %d, changed by %s: %v", r.number, prose.MM(offsetMM, 2), err), "give a smaller --offset"}
			case len(region) > 1:
				return nil, &FaceError{"target", prose.Sprintf("port %d falls into %d pieces when it is changed by %s", r.number, len(region), prose.MM(offsetMM, 2)), "give a smaller --offset"}
			}
			p.Edge = edgeFrom(region.Largest(), r)
		}
		out.Ports = append(out.Ports, p)
	}
	return &out, nil
}

// CircleFace returns f, a face with one port, with a round port of the given diameter in its place, centred on the circle that
// fits the port's measured edge best. Other numbers of ports give a *FaceError.
func CircleFace(f *face.Face, diameterMM float64) (*face.Face, error) {
	if !(diameterMM > 0) || diameterMM > 1000 {
		return nil, fmt.Errorf("a circle of %g mm is no use", diameterMM)
	}
	if len(f.Ports) != 1 {
		return nil, &FaceError{"target", prose.Sprintf("a circle is for a part with one port, this has %d", len(f.Ports)), "leave out --circle"}
	}
	rings, err := portRings(f, "target")
	if err != nil {
		return nil, err
	}
	r := &rings[0]
	if r.fault != "" || r.cut {
		return nil, &FaceError{"target", prose.Sprintf("its port is not whole"), "photograph the whole bore"}
	}
	var points []geom.PointMM
	for i, p := range r.outline {
		if r.sure[i] {
			points = append(points, p)
		}
	}
	fit, err := geom.FitCircle(points, nil)
	if err != nil {
		return nil, &FaceError{"target", prose.Sprintf("no circle fits its port: %v", err), "photograph the whole bore"}
	}
	// The centre follows the edge's own error: what is common to all of it falls out, and what is left is about the fit's.
	u := math.Sqrt(fit.Covariance[0][0] + fit.Covariance[1][1])
	n := int(math.Ceil(math.Pi * diameterMM / sampleMM))
	e := face.Edge{Outline: make([]geom.PointMM, n), SigmaMM: make([]float64, n), BiasMM: make([]float64, n), CorrMM: diameterMM}
	for i := range n {
		e.Outline[i] = fit.Centre.Add(geom.Rotation(2 * math.Pi * float64(i) / float64(n)).Apply(geom.PointMM{X: diameterMM / 2}))
		e.BiasMM[i] = u
	}
	out := *f
	out.Ports = []face.Port{{Number: f.Ports[0].Number, Edge: e}}
	out.Fields = nil // the circle's size is given, not measured
	out.Warnings = nil
	return &out, nil
}
