package contour

import (
	"context"
	"errors"
	"fmt"
	"math"

	"portmatch/internal/face"
	"portmatch/internal/geom"
	"portmatch/internal/photo"
	"portmatch/internal/prose"
	"portmatch/internal/scalecard"
)

// ErrFaceScale says that the face's own holes can't serve as the scale of a photo.
var ErrFaceScale = errors.New("the face's holes give no scale")

// FaceScale is what a face's own holes say of a photo without strips.
type FaceScale struct {
	Solution *scalecard.Solution // its plane frame is the known face's frame; the face itself has height 0
	Holes    int                 // that it rests on
	Known    int                 // that the face has
	WorstMM  float64             // largest distance of one of them from where the others put it
}

const (
	// maxHoleExcess is how many times larger than expected the squared misfit of the holes may be: at three standard deviations
	// for all of them together, something else than noise has moved them.
	maxHoleExcess = 9
	// maxPortDoubtMM is how far the camera may displace an edge, one standard deviation: beyond it not even a step of 0.5 mm is
	// seen with certainty.
	maxPortDoubtMM = 0.15
)

// SolveOnFace finds the camera of a photo without strips from the holes of the face in it, known from an earlier photo: drilled
// holes keep their places when ports are ground. The error, where they can't serve, is an *Error with ErrFaceScale.
func SolveOnFace(ctx context.Context, p *photo.Photo, known *face.Face, opt Options) (*FaceScale, error) {
	fail := func(try, what string, args ...any) error {
		return &Error{Path: p.Path, Err: ErrFaceScale, What: prose.Sprintf("the face can't serve as the scale: %s", prose.Sprintf(what, args...)), Try: try}
	}
	const layStrip = "lay a strip beside the face and photograph it again"
	if n := len(known.Holes); n < scalecard.MinLandmarks {
		return nil, fail(layStrip, "it has %d holes, at least %d are needed, so that one that is wrong shows", n, scalecard.MinLandmarks)
	}
	fit, marks, err := firstMarks(ctx, p, known.Holes, opt)
	if err != nil {
		return nil, err
	}
	// Holes may be missed; but where not even half of them fall together the rest is chance.
	need := max(scalecard.MinLandmarks, (len(known.Holes)+1)/2)
	tooFew := func() error {
		return fail("photograph the whole face, straight on, with its holes clean and sharp, or "+layStrip,
			"of its %d holes no more than %d were found in the photo in the places that they have to each other, at least %d are needed", len(known.Holes), len(marks), need)
	}
	// The holes are measured anew with the camera that they gave, once roughly and once more for good.
	for range 2 {
		if len(marks) < need {
			return nil, tooFew()
		}
		v, err := newSurvey(ctx, p, fit.Solution, opt)
		if err != nil {
			return nil, err
		}
		marks = v.pairUp(v.sightings(), known.Holes, usualReachMM, func(at geom.PointMM) geom.PointMM { return at })
		if fit, err = scalecard.FromLandmarks(p, marks); err != nil {
			return nil, tooFew()
		}
	}
	if len(marks) < need {
		return nil, tooFew()
	}
	if fit.Excess > maxHoleExcess {
		at := marks[fit.Worst].At
		return nil, fail("see whether a hole was drilled out, is dirty or lies in shadow, or "+layStrip,
			"its holes stand up to %s from where the earlier photo has them (the worst is %s), %.0f times their uncertainty; %.0f times is the limit",
			prose.MM(fit.WorstMM, 2), wordsFor(at, known.Holes), math.Sqrt(fit.Excess), math.Sqrt(maxHoleExcess))
	}
	if doubt := portDoubtMM(fit.Solution, known); doubt > maxPortDoubtMM {
		return nil, fail(layStrip, "its %d holes are too few or too bunched: they would leave a port's edge unsure by ±%s, ±%s is the limit", len(marks), prose.MM(2*doubt, 2), prose.MM(2*maxPortDoubtMM, 2))
	}
	return &FaceScale{fit.Solution, len(marks), len(known.Holes), fit.WorstMM}, nil
}

// portDoubtMM is how far the camera's uncertainty displaces a port's edge at most, one standard deviation.
func portDoubtMM(sol *scalecard.Solution, known *face.Face) float64 {
	var all []geom.PointMM
	for _, p := range known.Ports {
		all = append(all, p.Outline...)
	}
	for _, h := range known.Holes {
		all = append(all, h.Centre)
	}
	lo, hi := bounds(all)
	fields := sol.FaceFields(0, 0, lo, hi)
	var worst float64
	for _, p := range all {
		var v float64
		for i := range fields {
			d := fields[i].At(p)
			v += d.Dot(d)
		}
		worst = math.Max(worst, math.Sqrt(v))
	}
	return worst
}

// wordsFor says which hole is meant: by its place among the others, as the photo shows them.
func wordsFor(at geom.PointMM, holes []face.Hole) string {
	var lo, hi geom.PointMM
	for i, h := range holes {
		c := h.Centre
		if i == 0 {
			lo, hi = c, c
		}
		lo = geom.PointMM{X: math.Min(lo.X, c.X), Y: math.Min(lo.Y, c.Y)}
		hi = geom.PointMM{X: math.Max(hi.X, c.X), Y: math.Max(hi.Y, c.Y)}
	}
	third := func(v, lo, hi float64, names [3]string) string {
		return names[min(2, max(0, int(3*(v-lo)/math.Max(hi-lo, 1e-9))))]
	}
	return fmt.Sprintf("the one at the %s %s", third(at.Y, lo.Y, hi.Y, [3]string{"lower", "middle", "upper"}), third(at.X, lo.X, hi.X, [3]string{"left", "middle", "right"}))
}

// firstMarks finds the holes in a photo of unknown scale: the part is taken to fill so much of the picture, and what looks like
// holes then is laid on the known ones. fit is nil where fewer than scalecard.MinLandmarks of them fall together.
func firstMarks(ctx context.Context, p *photo.Photo, known []face.Hole, opt Options) (fit *scalecard.LandmarkFit, marks []scalecard.Landmark, err error) {
	_, _, sizeMM := farthestApart(known)
	// What the holes span of the picture's longer side. Each serves from two thirds of it to half as much again.
	for _, fills := range []float64{0.7, 0.4} {
		v, err := newSurvey(ctx, p, scalecard.Facing(p, sizeMM/(fills*float64(max(p.Width, p.Height)))), opt)
		if err != nil {
			return nil, nil, err
		}
		if f, m := v.layKnown(p, known); f != nil && (fit == nil || better(f, m, fit, marks)) {
			fit, marks = f, m
		}
		if 2*len(marks) > len(known) {
			break
		}
	}
	return fit, marks, ctx.Err()
}

// better tells whether more holes fall together in f than in g, or as many more closely.
func better(f *scalecard.LandmarkFit, fMarks []scalecard.Landmark, g *scalecard.LandmarkFit, gMarks []scalecard.Landmark) bool {
	if len(fMarks) != len(gMarks) {
		return len(fMarks) > len(gMarks)
	}
	return f.Excess < g.Excess
}

// farthestApart returns the two holes farthest apart, and their distance.
func farthestApart(holes []face.Hole) (i, j int, d float64) {
	for a := range holes {
		for b := range a {
			if e := holes[a].Centre.Dist(holes[b].Centre); e > d {
				i, j, d = b, a, e
			}
		}
	}
	return i, j, d
}

// sighting is what may be a hole of the face: its circle in the survey's frame.
type sighting struct {
	centre              geom.PointMM
	diameterMM, sigmaMM float64
}

// roughSightings are the round openings of the first look, unmeasured: a makeshift camera makes ovals of circles, and the
// measurement of holes refuses ovals.
func (v *Survey) roughSightings() []sighting {
	const curveMM = 0.5 // how far a level curve's middle may lie from the hole's
	var out []sighting
	for _, l := range v.open.holes {
		c, d, _ := roundness(l)
		out = append(out, sighting{c, d, curveMM})
	}
	return out
}

// sightings are the measured holes.
func (v *Survey) sightings() []sighting {
	var out []sighting
	for _, h := range v.holes {
		out = append(out, sighting{h.Centre, h.DiameterMM, h.SigmaCentreMM})
	}
	return out
}

// layKnown lays the known holes on what may be holes in a photo that was surveyed with a makeshift camera, in every way that
// two far apart allow, and returns the best.
func (v *Survey) layKnown(p *photo.Photo, known []face.Hole) (fit *scalecard.LandmarkFit, marks []scalecard.Landmark) {
	seen := v.roughSightings()
	a, b, sizeMM := farthestApart(known)
	for _, base := range [][2]int{{a, b}, secondBase(known, a, b)} {
		for i := range seen {
			for j := range seen {
				s, ok := similarity(seen[i], seen[j], known[base[0]], known[base[1]])
				if !ok || i == j {
					continue
				}
				if f, m := v.closeIn(p, seen, known, sizeMM, s); f != nil && (fit == nil || better(f, m, fit, marks)) {
					fit, marks = f, m
				}
			}
		}
	}
	return fit, marks
}

// secondBase is the pair farthest apart of the holes but a and b, for where one of these was not found.
func secondBase(holes []face.Hole, a, b int) [2]int {
	var out [2]int
	var far float64
	for i := range holes {
		for j := range i {
			if d := holes[i].Centre.Dist(holes[j].Centre); d > far && i != a && i != b && j != a && j != b {
				out, far = [2]int{j, i}, d
			}
		}
	}
	return out
}

// similarity returns the map that takes p to a and q to b by turning and scaling; ok is false where it scales by more than a
// makeshift camera can be wrong, or the holes are too unlike.
func similarity(p, q sighting, a, b face.Hole) (f func(geom.PointMM) geom.PointMM, ok bool) {
	const mostWrong = 1.7
	from, to := q.centre.Sub(p.centre), b.Centre.Sub(a.Centre)
	scale := to.Norm() / from.Norm()
	if !(scale < mostWrong && scale > 1/mostWrong) || !couldBe(a, p, scale) || !couldBe(b, q, scale) {
		return nil, false
	}
	c, s := from.Dot(to)/from.Dot(from), from.Cross(to)/from.Dot(from)
	return func(x geom.PointMM) geom.PointMM {
		d := x.Sub(p.centre)
		return a.Centre.Add(geom.PointMM{X: c*d.X - s*d.Y, Y: s*d.X + c*d.Y})
	}, true
}

// couldBe tells whether a hole could be seen so, its diameter scaled by scale: the bore of a chamfered hole may be all that the
// first look saw of it.
func couldBe(h face.Hole, s sighting, scale float64) bool {
	return s.diameterMM*scale < 1.3*h.DiameterMM && s.diameterMM*scale > h.DiameterMM/1.7
}

// closeIn pairs holes that lie near each other by the map given, solves for the camera, and pairs again by that, ever nearer.
func (v *Survey) closeIn(p *photo.Photo, seen []sighting, known []face.Hole, sizeMM float64, knownFromSeen func(geom.PointMM) geom.PointMM) (*scalecard.LandmarkFit, []scalecard.Landmark) {
	// A tilt of 15° makes the near end of a part a sixth larger than the far one; what a similarity through both ends leaves of
	// it in the middle is a twentieth of the length.
	var fit *scalecard.LandmarkFit
	var marks []scalecard.Landmark
	for _, reachMM := range []float64{0.07 * sizeMM, 0.03 * sizeMM, usualReachMM} {
		marks = v.pairUp(seen, known, reachMM, knownFromSeen)
		var err error
		if fit, err = scalecard.FromLandmarks(p, marks); err != nil {
			return nil, nil
		}
		cam := &fit.Solution.Camera
		knownFromSeen = func(x geom.PointMM) geom.PointMM { return cam.PlaneFromPixel(v.s.pixel(x), 0) }
	}
	return fit, marks
}

// usualReachMM is how far apart two findings of one hole may lie, one of them unmeasured.
const usualReachMM = 2

// pairUp pairs the known holes with what was seen on them; knownFromSeen takes the survey's frame to theirs.
func (v *Survey) pairUp(seen []sighting, known []face.Hole, reachMM float64, knownFromSeen func(geom.PointMM) geom.PointMM) []scalecard.Landmark {
	at, scale := make([]geom.PointMM, len(seen)), make([]float64, len(seen))
	for i, s := range seen {
		at[i] = knownFromSeen(s.centre)
		scale[i] = knownFromSeen(s.centre.Add(geom.PointMM{X: s.diameterMM})).Dist(at[i]) / s.diameterMM
	}
	var out []scalecard.Landmark
	for _, k := range known {
		best, d := -1, reachMM
		for i, s := range seen {
			if e := at[i].Dist(k.Centre); e < d && couldBe(k, s, scale[i]) {
				best, d = i, e
			}
		}
		if best >= 0 {
			out = append(out, scalecard.Landmark{At: k.Centre, Px: v.s.pixel(seen[best].centre), SigmaMM: math.Hypot(k.SigmaCentreMM, seen[best].sigmaMM)})
		}
	}
	return out
}
