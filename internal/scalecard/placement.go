package scalecard

import (
	"math"

	"portmatch/internal/face"
	"portmatch/internal/geom"
	"portmatch/internal/prose"
	"portmatch/internal/scalecard/strip"
)

const (
	// A part may reach this share of its own length past the strips on either end before the lens there is guesswork.
	maxBeyond = 0.15
	// Strips further from the part than this share of its length measure a different piece of the plane.
	maxAway = 0.35
)

// PlacementWarnings says how the strips could lie better for a part that spans partLo to partHi in the plane frame. Photo
// is left empty in what it returns.
func (s *Solution) PlacementWarnings(partLo, partHi geom.PointMM) []face.Warning {
	if s.Camera.Scan != nil || len(s.Strips) == 0 {
		return nil
	}
	var out []face.Warning
	warn := func(try, what string, args ...any) {
		out = append(out, face.Warn("", prose.Sprintf(what, args...), prose.Sprintf("%s", try)))
	}
	mid := partLo.Add(partHi).Scale(0.5)
	half := partHi.Sub(partLo).Scale(0.5)
	// Along the part's longer side, a, and across it, b.
	ab := func(p geom.PointMM) (a, b float64) {
		p = p.Sub(mid)
		if half.Y > half.X {
			return p.Y, p.X
		}
		return p.X, p.Y
	}
	length := 2 * max(half.X, half.Y)
	width := 2 * min(half.X, half.Y)

	loA, hiA := math.Inf(1), math.Inf(-1)
	var above, below int
	away := math.Inf(1)
	for _, f := range s.Strips {
		sumB := 0.0
		near := math.Inf(1)
		for _, c := range outline() {
			a, b := ab(f.PlaneFrom.Apply(c))
			loA, hiA = min(loA, a), max(hiA, a)
			sumB += b
			near = min(near, math.Hypot(max(0, math.Abs(a)-length/2), max(0, math.Abs(b)-width/2)))
		}
		// A strip across the part's end lies on both sides.
		meanB := sumB / float64(len(outline()))
		if meanB > -width/4 {
			above++
		}
		if meanB < width/4 {
			below++
		}
		away = min(away, near)
	}
	if len(s.Strips) == 1 {
		warn("lay a second strip on the other side of the part, at its other end", "only one strip: the scale is known less well away from it, and nothing shows whether it lies flat")
	} else if above == 0 || below == 0 {
		warn("lay one strip on the other side of the part", "all strips lie on one side of the part")
	}
	if short := max(loA+length/2, length/2-hiA); len(s.Strips) > 1 && short > maxBeyond*length {
		warn("move the strips apart, so that together they span the part's whole length", "the strips are bunched: the part reaches %s past them", prose.MM(short, 0))
	}
	if away > maxAway*length {
		warn("lay the strips close to the part, on the level of its face", "the strips lie far from the part, the nearest %s away", prose.MM(away, 0))
	}
	return out
}

// outline lists points along a strip's long sides, in the strip frame.
func outline() []geom.PointMM {
	var p []geom.PointMM
	for x := 0.0; x <= strip.LengthMM; x += strip.LengthMM / 8 {
		p = append(p, geom.PointMM{X: x}, geom.PointMM{X: x, Y: strip.WidthMM})
	}
	return p
}
