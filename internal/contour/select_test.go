package contour

import (
	"math"
	"slices"
	"testing"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// outlineLoop is the curve of the first look round pts.
func outlineLoop(pts []geom.PointMM) *loop {
	l := &loop{pts: pts, areaMM2: geom.Outline(pts).AreaMM2(), perimeter: pathLength(pts)}
	l.lo, l.hi = geom.Outline(pts).Bounds()
	return l
}

// slotAt is a slot along x.
func slotAt(at geom.PointMM, lengthMM, widthMM float64) []geom.PointMM {
	var pts []geom.PointMM
	for _, p := range circleOf(widthMM/2, 60) {
		p.X += math.Copysign((lengthMM-widthMM)/2, p.X)
		pts = append(pts, p.Add(at))
	}
	return pts
}

// The last port of a row may lie far beyond the bolts; what is beside the part seldom has a port's size.
func TestLastPortOfARow(t *testing.T) {
	for _, c := range []struct {
		name  string
		other []geom.PointMM
		kept  bool
	}{
		{"the next port", slotAt(geom.PointMM{X: 135}, 20, 13), true},
		{"a stain twice as large", slotAt(geom.PointMM{X: 150}, 30, 18), false},
		{"something small", slotAt(geom.PointMM{X: 135}, 12, 9), false},
		{"a port's size, far away", slotAt(geom.PointMM{X: 180}, 20, 13), false},
	} {
		v := &Survey{}
		for _, x := range []float64{0, 45, 90} {
			v.open.ports = append(v.open.ports, outlineLoop(slotAt(geom.PointMM{X: x}, 20, 13)))
			for _, y := range []float64{-25, 25} {
				v.holes = append(v.holes, face.Hole{Centre: geom.PointMM{X: x - 20, Y: y}, DiameterMM: 8})
			}
		}
		v.open.ports = append(v.open.ports, outlineLoop(c.other))
		v.dropOutliers()
		if kept := len(v.open.ports) == 4; kept != c.kept || len(v.open.ports) < 3 {
			t.Errorf("%s: %d ports are left", c.name, len(v.open.ports))
		}
	}
}

// What is round is a port or a hole by its size beside the part's other ports and holes.
func TestRoundPortsAmongHoles(t *testing.T) {
	x := 0.0
	next := func() geom.PointMM {
		x += 60
		return geom.PointMM{X: x}
	}
	round := func(diameterMM float64) *loop { return outlineLoop(slotAt(next(), diameterMM, diameterMM)) }
	slot := func(lengthMM, widthMM float64) *loop { return outlineLoop(slotAt(next(), lengthMM, widthMM)) }
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
