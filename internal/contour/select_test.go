package contour

import (
	"math"
	"testing"

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
