package compare

import (
	"fmt"
	"math"
	"slices"

	"portmatch/internal/geom"
)

// elongated is the ratio of a pattern's spreads along and across from which it has a line of its own; a square has 1, two
// rows of holes twice as long as wide have 4.
const elongated = 1.5

// jobFrame returns the map from the work face to the job frame: x along the line through the locating places, in the sense
// that lies within 90° of the photo's own x axis, origin midway. A pattern as wide as it is long has no line; the side of
// it that lies nearest to the photo's x axis stands in.
func jobFrame(locating []geom.PointMM) geom.Rigid {
	var mid geom.PointMM
	for _, p := range locating {
		mid = mid.Add(p.Scale(1 / float64(len(locating))))
	}
	var sxx, sxy, syy float64
	for _, p := range locating {
		d := p.Sub(mid)
		sxx, sxy, syy = sxx+d.X*d.X, sxy+d.X*d.Y, syy+d.Y*d.Y
	}
	half := math.Hypot((sxx-syy)/2, sxy)
	angle := math.Atan2(2*sxy, sxx-syy) / 2
	if along, across := (sxx+syy)/2+half, (sxx+syy)/2-half; along < elongated*across {
		angle = sideNearestX(locating)
	}
	if math.Cos(angle) < 0 {
		angle += math.Pi
	}
	return geom.Rotation(-angle).After(geom.Translation(mid.Scale(-1)))
}

// sideNearestX returns the direction, within 45° of x if there is one, of the line through two of the points that lies
// nearest to x; neighbours in a crowd, under half the widest distance apart, give no good direction.
func sideNearestX(points []geom.PointMM) float64 {
	var widest float64
	for i, p := range points {
		for _, q := range points[:i] {
			widest = math.Max(widest, p.Dist(q))
		}
	}
	best := math.Pi / 2
	for i, p := range points {
		for _, q := range points[:i] {
			d := p.Sub(q)
			if d.Norm() < widest/2 {
				continue
			}
			if d.X < 0 {
				d = d.Scale(-1)
			}
			if a := math.Atan2(d.Y, d.X); math.Abs(a) < math.Abs(best) {
				best = a
			}
		}
	}
	return best
}

// readingOrder returns the indices of openings from left to right, those above each other from top to bottom: openings
// whose centres lie within half their width of the leftmost of a column belong to it.
func readingOrder(centre []geom.PointMM, widthMM []float64) []int {
	order := make([]int, len(centre))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return compareFloats(centre[a].X, centre[b].X) })
	for i := 0; i < len(order); {
		j := i + 1
		for j < len(order) && centre[order[j]].X-centre[order[i]].X < min(widthMM[order[i]], widthMM[order[j]])/2 {
			j++
		}
		slices.SortStableFunc(order[i:j], func(a, b int) int { return compareFloats(centre[b].Y, centre[a].Y) })
		i = j
	}
	return order
}

func compareFloats(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// clock tells a direction as on a clock face, to the nearest quarter of an hour.
func clock(d geom.PointMM) string {
	quarters := int(math.Round(math.Atan2(d.X, d.Y)/(2*math.Pi)*48)) % 48
	if quarters < 0 {
		quarters += 48
	}
	hour := quarters / 4
	if hour == 0 {
		hour = 12
	}
	return fmt.Sprintf("%d:%02d", hour, quarters%4*15)
}
