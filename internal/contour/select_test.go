package contour

import (
	"math"
	"slices"
	"testing"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// What is round is a port or a hole by its size beside the part's other ports and holes.
func TestRoundPortsAmongHoles(t *testing.T) {
	at := geom.PointMM{}
	outline := func(pts []geom.PointMM) *loop {
		at.X += 60
		l := &loop{}
		for _, p := range pts {
			l.pts = append(l.pts, p.Add(at))
		}
		l.areaMM2, l.perimeter = geom.Outline(l.pts).AreaMM2(), pathLength(l.pts)
		l.lo, l.hi = geom.Outline(l.pts).Bounds()
		return l
	}
	round := func(diameterMM float64) *loop { return outline(circleOf(diameterMM/2, 60)) }
	slot := func(lengthMM, widthMM float64) *loop {
		var pts []geom.PointMM
		for _, p := range circleOf(widthMM/2, 60) {
			p.X += math.Copysign((lengthMM-widthMM)/2, p.X)
			pts = append(pts, p)
		}
		return outline(pts)
	}
	bolts := func(d float64) []*loop { return []*loop{round(d), round(d), round(d), round(d), round(d - 0.8)} }
	for _, c := range []struct {
		name  string
		open  []*loop
		ports int
	}{
		{"two round ports of 15 mm among slots of 20 x 14", append(bolts(8.2), slot(20, 14), slot(20, 14), slot(20, 14), round(15.3), round(14.4)), 5},
		{"a water way of 15 mm among ports of 40 x 30", append(bolts(8.2), slot(40, 30), slot(40, 30), round(15)), 2},
		{"bolt holes of 11 mm beside slots of 20 x 14", append(bolts(11), slot(20, 14), slot(20, 14)), 2},
		{"spot faces of 14 mm beside slots of 20 x 14", append(bolts(14), slot(20, 14), slot(20, 14)), 2},
	} {
		ports, holes := classify(c.open, 0)
		if len(ports) != c.ports || len(ports)+len(holes) != len(c.open) {
			t.Errorf("%s: %d ports and %d holes", c.name, len(ports), len(holes))
		}
	}
}

// What lies outside the part, or between its edge and what bridges a bay in it, is no opening of it, unless it is as large as a port and
// sure all round: then the part's edge went wrong.
func TestOpeningsBesideThePart(t *testing.T) {
	part := []geom.PointMM{{X: -100, Y: -40}, {X: 100, Y: -40}, {X: 100, Y: 40}, {X: -100, Y: 40}}
	port := func(x, y, r, sure float64) face.Port {
		p := face.Port{}
		for i, q := range circleOf(r, 80) {
			p.Outline = append(p.Outline, q.Add(geom.PointMM{X: x, Y: y}))
			p.Sure = append(p.Sure, float64(i) < 80*sure)
		}
		return p
	}
	ports := []face.Port{port(-50, 0, 20, 1), port(50, 0, 20, 0.6)}
	for _, c := range []struct {
		name  string
		other face.Port
		kept  bool
	}{
		{"a slit in a bay", port(0, 34.5, 5, 1), false},
		{"a shadow outside", port(0, 55, 10, 1), false},
		{"something large outside without an edge", port(0, 65, 20, 0.5), false},
		{"a port that the part's edge cuts off", port(0, 62, 18, 0.95), true},
		{"a small port near the edge", port(0, 33, 5, 1), true},
		{"a port of which little is seen", port(0, 0, 18, 0.2), true},
	} {
		got := len(withoutBeside(append(slices.Clone(ports), c.other), part))
		if got != len(ports) && !c.kept || got != len(ports)+1 && c.kept {
			t.Errorf("%s: %d of 3 kept", c.name, got)
		}
	}
	if got := len(withoutBeside(append(slices.Clone(ports), port(0, 55, 10, 1)), nil)); got != 3 {
		t.Errorf("no part's edge: %d of 3 kept", got)
	}
}
