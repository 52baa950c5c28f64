package contour

import (
	"context"
	"math"
	"slices"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// Unasked returns the openings of the first look, good to about a mm, that look like ports and lie on none of the guide's, or on one that is
// ragged where they are sound.
func (v *Survey) Unasked(g *Guide) [][]geom.PointMM {
	sound := *g
	sound.Ports = nil
	var wanted []*loop
	for _, want := range g.Ports {
		// Whatever its size: what else passes for a port may be a gap between shadows.
		if l := v.sounder(want); l == nil {
			sound.Ports = append(sound.Ports, want)
		} else if !slices.Contains(wanted, l) {
			wanted = append(wanted, l)
		}
	}
	for _, l := range v.unasked(&sound) {
		if !slices.Contains(wanted, l) {
			wanted = append(wanted, l)
		}
	}
	var out [][]geom.PointMM
	for _, l := range wanted {
		out = append(out, l.pts)
	}
	if len(out) > 0 || slices.ContainsFunc(v.open.ports, func(l *loop) bool { return onAny(l, sound.Ports) }) {
		return out
	}
	// Where the two faces have no port in common, small things passed for ports on the guide's, and these are the ports.
	var largest float64
	for _, want := range sound.Ports {
		largest = max(largest, math.Abs(signedArea(want)))
	}
	for _, l := range v.open.ports {
		if l.areaMM2 > largest {
			out = append(out, l.pts)
		}
	}
	return out
}

// sounder returns the opening of the first look that lies where want does and is much less ragged, or of which want is but a part; nil where
// there is none. One of two faces shows it with a stain on its edge or a shadow across it, which the other does not have.
func (v *Survey) sounder(want []geom.PointMM) *loop {
	const more, asLarge = 0.05, 1.3
	rough := func(pts []geom.PointMM) float64 {
		o := resampleClosed(pts, 0.7) // grain is not what makes an edge longer than its hull's
		return pathLength(o) / pathLength(convexHull(o))
	}
	for _, l := range v.open.ports {
		if partOf(want, l.pts) && solidity(l) > minSolidity {
			return l
		}
		if !contains(l.pts, centroid(want)) || !contains(want, centroid(l.pts)) {
			continue
		}
		ratio := math.Abs(signedArea(convexHull(l.pts)) / signedArea(convexHull(want)))
		if ratio < asLarge && 1/ratio < asLarge && rough(want) > rough(l.pts)+more {
			return l
		}
	}
	return nil
}

// sureMM is how much of the port's edge was measured.
func sureMM(p face.Port) float64 { return share(p.Sure) * pathLength(p.Outline) }

// partOf tells whether a lies in b, is much smaller and has part of its edge in common with it: what a shadow left of an opening. An opening
// in a patch of dye lies well within that.
func partOf(a, b []geom.PointMM) bool {
	const mostArea, slackMM, inside, common = 0.6, 3.0, 0.9, 0.3 // shares but for the slack
	if math.Abs(signedArea(a)) > mostArea*math.Abs(signedArea(b)) {
		return false
	}
	ix := geom.NewIndex(geom.Outline(b))
	var in, near float64
	for _, p := range a {
		switch _, _, d := ix.Nearest(p); {
		case d < slackMM:
			near++
		case contains(b, p):
			in++
		}
	}
	n := float64(len(a))
	return near+in > inside*n && near > common*n
}

func (v *Survey) unasked(g *Guide) []*loop {
	// An opening that differs this much in area from every port that is known is something else: a water passage, a stain.
	const likeAreas = 2.5
	smallest, largest := math.Inf(1), 0.0
	for _, want := range g.Ports {
		a := math.Abs(signedArea(want))
		smallest, largest = math.Min(smallest, a), math.Max(largest, a)
	}
	var out []*loop
	for _, l := range v.open.ports {
		like := len(g.Ports) == 0 || l.areaMM2 > smallest/likeAreas && l.areaMM2 < largest*likeAreas
		if like && !onAny(l, g.Ports) {
			out = append(out, l)
		}
	}
	return out
}

// onAny tells whether the opening shares ground with one of the ports.
func onAny(l *loop, ports [][]geom.PointMM) bool {
	c := centroid(l.pts)
	for _, want := range ports {
		if contains(want, c) || contains(l.pts, centroid(want)) {
			return true
		}
	}
	return false
}

// shareGround tells whether one curve lies in the other for the most part.
func shareGround(a, b []geom.PointMM) bool {
	within := func(a, b []geom.PointMM) bool {
		in := 0
		for _, p := range a {
			if contains(b, p) {
				in++
			}
		}
		return 2*in > len(a) || contains(b, centroid(a))
	}
	return within(a, b) || within(b, a)
}

// leastTrusted is the share of a port's edge that must have been measured for the port to be believed whatever another face shows,
// and for an opening to be believed that only another face shows.
const leastTrusted = 0.75

// trusted tells whether enough of the port's edge was measured. A shadow across an opening leaves half of one.
func trusted(p face.Port) bool { return p.CutByFrame || share(p.Sure) >= leastTrusted }

// Trusted returns f, which Trace returned, with those of its ports only of which enough of the edge was measured.
func Trusted(f *face.Face) *face.Face {
	out := *f
	out.Ports = nil
	for _, p := range f.Ports {
		if trusted(p) {
			out.Ports = append(out.Ports, p)
		}
	}
	return &out
}

// Seek looks for openings that the first look has not found, where the guide wants them, and adds what it finds to f, which
// Trace returned. A port of f gives way to what is found on its ground, and what is but a part of an opening, or shows less of its edge, to
// the whole, however little of that shows: two faces have seen it. An opening that runs off the photo is added as such, with no edge that
// counts; one whose edge shows nowhere is not added.
func (v *Survey) Seek(ctx context.Context, f *face.Face, g *Guide) error {
	for _, want := range g.Ports {
		if err := ctx.Err(); err != nil {
			return err
		}
		if slices.ContainsFunc(f.Ports, func(p face.Port) bool { return alike(p.Outline, want) }) {
			continue // however little of its edge shows
		}
		if !v.inFrame(want) {
			f.Ports = append(f.Ports, cutPort(want))
			continue
		}
		st := []start{guidedStart(want)}
		if v.besideMM > 0 {
			st[0].beside(v.besideMM)
		}
		base := v.locate(st, v.edge)[0]
		port := v.measurePort(st[0], base, v.edge)
		onItsGround := func(p face.Port) bool { return shareGround(p.Outline, port.Outline) }
		poorer := func(p face.Port) bool {
			return onItsGround(p) && (partOf(p.Outline, want) || sureMM(p) < sureMM(port))
		}
		if share(port.Sure) >= leastTrusted || slices.ContainsFunc(f.Ports, poorer) {
			f.Ports = append(slices.DeleteFunc(f.Ports, onItsGround), port)
		}
	}
	if len(g.Ports) > 0 {
		numberPorts(f.Ports)
	}
	return nil
}

// inFrame tells whether the photo shows all of a curve of the face frame.
func (v *Survey) inFrame(curve []geom.PointMM) bool {
	right, bottom := float64(v.s.photo.Width-1), float64(v.s.photo.Height-1)
	for _, p := range curve {
		if q := v.s.pixel(p); q.U < 0 || q.V < 0 || q.U > right || q.V > bottom {
			return false
		}
	}
	return true
}

// cutPort is an opening that runs off the photo, drawn where it should be.
func cutPort(curve []geom.PointMM) face.Port {
	const spacingMM = 1
	o := resampleClosed(curve, spacingMM)
	n := len(o)
	return face.Port{CutByFrame: true,
		Edge: face.Edge{Outline: o, SigmaMM: make([]float64, n), BiasMM: make([]float64, n), Sure: make([]bool, n), CorrMM: spacingMM}}
}

func share(of []bool) float64 {
	n := 0
	for _, yes := range of {
		if yes {
			n++
		}
	}
	return float64(n) / float64(max(len(of), 1))
}
