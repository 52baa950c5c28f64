package render

import (
	"math"
	"testing"

	"portmatch/internal/geom"
)

// Two circles of radius 20, centres 2 apart: each crescent is 79.966654 mm² (closed form of the lens, checks.md).
const crescentMM2 = 79.966654

func TestHatchingCoversTheCrescent(t *testing.T) {
	target, work := circle(geom.PointMM{}, 20), circle(geom.PointMM{X: 2}, 20)
	for _, angle := range []float64{math.Pi / 4, -math.Pi / 4, 0, math.Pi / 2, 1} {
		const pitch = 0.2
		var length float64
		for _, s := range hatching(target, work, angle, pitch) {
			length += s.a.Dist(s.b)
			mid := s.a.Add(s.b).Scale(0.5)
			if !target.Contains(mid) || work.Contains(mid) {
				t.Errorf("angle %g: a line through %v, outside the crescent", angle, mid)
			}
		}
		// Lines a pitch apart sample the area as a sum of strips: good to 0.5 % at this pitch (about 200 strips).
		if got := length * pitch; math.Abs(got/crescentMM2-1) > 0.005 {
			t.Errorf("angle %g: hatched %.3f mm², want %.3f", angle, got, crescentMM2)
		}
	}
}

// A line through a vertex counts it once: a square turned by 45° has vertices exactly on lines through the origin's grid.
func TestHatchingThroughVertices(t *testing.T) {
	diamond := geom.Outline{{X: 5}, {Y: 5}, {X: -5}, {Y: -5}}
	segs := hatching(diamond, nil, 0, 1)
	var area float64
	for _, s := range segs {
		area += s.a.Dist(s.b)
	}
	// Rows at -4 … 4 of lengths 2 (5 - |y|): 2·(5 + 2·(4+3+2+1)) = 50, the diamond's area.
	if math.Abs(area-50) > 1e-9 {
		t.Errorf("hatched %g, want 50", area)
	}
}

// A curve that crosses itself is hatched, not refused: a bow tie of two triangles with 100 mm² each.
func TestHatchingOfABowTie(t *testing.T) {
	bow := geom.Outline{{X: -10, Y: -10}, {X: 10, Y: 10}, {X: 10, Y: -10}, {X: -10, Y: 10}}
	var length float64
	for _, s := range hatching(bow, nil, 0, 0.1) {
		length += s.a.Dist(s.b)
	}
	if math.Abs(length*0.1-200) > 1 {
		t.Errorf("hatched %g mm², want 200", length*0.1)
	}
}

// On a square of 10 mm, from its rightmost lowest corner anticlockwise: right side up, top leftwards, left side down,
// bottom rightwards.
func TestStretch(t *testing.T) {
	square := geom.Outline{{X: -5, Y: -5}, {X: 5, Y: -5}, {X: 5, Y: 5}, {X: -5, Y: 5}}
	for _, c := range []struct {
		from, to float64
		want     []geom.PointMM
	}{
		{2, 7, []geom.PointMM{{X: 5, Y: -3}, {X: 5, Y: 2}}},
		{5, 12, []geom.PointMM{{X: 5, Y: 0}, {X: 5, Y: 5}, {X: 3, Y: 5}}},
		{38, 3, []geom.PointMM{{X: 3, Y: -5}, {X: 5, Y: -5}, {X: 5, Y: -2}}},
		{38, 43, []geom.PointMM{{X: 3, Y: -5}, {X: 5, Y: -5}, {X: 5, Y: -2}}},
	} {
		got := stretch(square, c.from, c.to)
		if len(got) != len(c.want) {
			t.Errorf("%g to %g: %v, want %v", c.from, c.to, got, c.want)
			continue
		}
		for i := range got {
			if got[i].Dist(c.want[i]) > 1e-9 {
				t.Errorf("%g to %g: %v, want %v", c.from, c.to, got, c.want)
				break
			}
		}
	}
	if got := stretch(square, 1e300, -1e300); len(got) > 6 {
		t.Errorf("lengths beyond reason: %v", got)
	}
	if got := stretch(nil, 0, 1); got != nil {
		t.Errorf("no outline: %v", got)
	}
}
