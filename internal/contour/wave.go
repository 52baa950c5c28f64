package contour

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// wave fits values at angles (rad) by a mean and two waves, once and twice round, with values that stand off counting less, and
// returns how high the wave that goes once round is, over the scatter about all of them.
func wave(angle, value []float64) float64 {
	const waves, rounds = 5, 6
	n := len(angle)
	a, y := mat.NewDense(n, waves, nil), mat.NewVecDense(n, nil)
	weight, rest := make([]float64, n), make([]float64, n)
	for i := range weight {
		weight[i] = 1
	}
	var c mat.VecDense
	scatter := 0.0
	for range rounds {
		for i, t := range angle {
			w := weight[i]
			a.SetRow(i, []float64{w, w * math.Cos(t), w * math.Sin(t), w * math.Cos(2*t), w * math.Sin(2*t)})
			y.SetVec(i, w*value[i])
		}
		if err := c.SolveVec(a, y); err != nil {
			return 0
		}
		for i, t := range angle {
			rest[i] = math.Abs(value[i] - c.AtVec(0) - c.AtVec(1)*math.Cos(t) - c.AtVec(2)*math.Sin(t) - c.AtVec(3)*math.Cos(2*t) - c.AtVec(4)*math.Sin(2*t))
		}
		scatter = 0.01 + 1.4826*quantile(slices.Clone(rest), 0.5)
		for i, r := range rest {
			weight[i] = 1 / math.Sqrt(1+r*r/(4*scatter*scatter))
		}
	}
	return math.Hypot(c.AtVec(1), c.AtVec(2)) / scatter
}
