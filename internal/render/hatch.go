package render

import (
	"math"
	"sort"

	"portmatch/internal/geom"
)

// segment is a straight line in mm.
type segment struct{ a, b geom.PointMM }

// hatching covers the inside of one geom.Outline less the inside of another with parallel lines, angleRad from the x axis, pitch
// apart. The lines pass through the frame's origin's grid, so that hatching runs on across pages. Each line is cut by both
// rings on its own, so no polygon arithmetic is needed and no shape, however broken, can upset it. Lines are measured by
// their even-odd crossings.
func hatching(inside, outside geom.Outline, angleRad, pitchMM float64) []segment {
	along := geom.PointMM{X: math.Cos(angleRad), Y: math.Sin(angleRad)}
	across := geom.PointMM{X: -along.Y, Y: along.X}
	in, out := crossings(inside, along, across, pitchMM), crossings(outside, along, across, pitchMM)
	rows := make([]int, 0, len(in))
	for row := range in {
		rows = append(rows, row)
	}
	sort.Ints(rows)
	var segs []segment
	for _, row := range rows {
		foot := across.Scale(float64(row) * pitchMM)
		for _, iv := range without(in[row], out[row]) {
			segs = append(segs, segment{foot.Add(along.Scale(iv[0])), foot.Add(along.Scale(iv[1]))})
		}
	}
	return segs
}

// crossings returns, for each hatch line by its number, the sorted places along it where the geom.Outline crosses it.
func crossings(r geom.Outline, along, across geom.PointMM, pitchMM float64) map[int][]float64 {
	rows := map[int][]float64{}
	for i, p := range r {
		q := r[(i+1)%len(r)]
		vp, vq := p.Dot(across)/pitchMM, q.Dot(across)/pitchMM
		up, uq := p.Dot(along), q.Dot(along)
		if vp > vq {
			vp, vq, up, uq = vq, vp, uq, up
		}
		// An edge owns its lower end and not its upper one, so that a vertex on a line counts once.
		for row := int(math.Ceil(vp)); float64(row) < vq; row++ {
			t := (float64(row) - vp) / (vq - vp)
			rows[row] = append(rows[row], up+t*(uq-up))
		}
	}
	for _, x := range rows {
		sort.Float64s(x)
	}
	return rows
}

// without returns the stretches between the 1st and 2nd, 3rd and 4th … of in that lie in no such stretch of out.
func without(in, out []float64) [][2]float64 {
	var left [][2]float64
	for i := 0; i+1 < len(in); i += 2 {
		from := in[i]
		for j := 0; j+1 < len(out) && from < in[i+1]; j += 2 {
			if out[j+1] <= from || out[j] >= in[i+1] {
				continue
			}
			if out[j] > from {
				left = append(left, [2]float64{from, out[j]})
			}
			from = math.Max(from, out[j+1])
		}
		if from < in[i+1] {
			left = append(left, [2]float64{from, in[i+1]})
		}
	}
	return left
}
