package contour

import (
	"context"
	"math"
	"slices"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// Unasked returns the openings of the first look, good to about a mm, that look like ports and lie on none of the guide's.
func (v *Survey) Unasked(g *Guide) [][]geom.PointMM {
	var out [][]geom.PointMM
	for _, l := range v.unasked(g) {
		out = append(out, l.pts)
	}
	return out
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
// Trace returned. A port of f gives way to what is found on its ground: two faces have seen that. An opening that runs off the photo
// is added as such, with no edge that counts; one whose edge shows nowhere is not added.
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
		base := v.locate(st, v.edge)[0]
		port := v.measurePort(st[0], base, v.edge)
		if share(port.Sure) >= leastTrusted {
			f.Ports = slices.DeleteFunc(f.Ports, func(p face.Port) bool {
				return shareGround(p.Outline, port.Outline)
			})
			f.Ports = append(f.Ports, port)
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
