package contour

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// wave is a mean and two waves, once and twice round.
type wave struct {
	terms   [5]float64 // mean, cosine and sine of the angle, cosine and sine of twice the angle
	scatter float64    // of the values about it, standard deviation
}

// fitWave fits values at angles (rad), with values that stand off counting less; nil where the angles don't tell the waves apart.
func fitWave(angle, value []float64) *wave {
	const rounds = 6
	f := new(wave)
	n := len(angle)
	a, y := mat.NewDense(n, len(f.terms), nil), mat.NewVecDense(n, nil)
	weight, rest := make([]float64, n), make([]float64, n)
	for i := range weight {
		weight[i] = 1
	}
	var c mat.VecDense
	for range rounds {
		for i, t := range angle {
			row := waveTerms(t)
			for k := range row {
				row[k] *= weight[i]
			}
			a.SetRow(i, row[:])
			y.SetVec(i, weight[i]*value[i])
		}
		if err := c.SolveVec(a, y); err != nil {
			return nil
		}
		for k := range f.terms {
			f.terms[k] = c.AtVec(k)
		}
		for i, t := range angle {
			rest[i] = math.Abs(value[i] - f.at(t))
		}
		f.scatter = 0.01 + 1.4826*quantile(slices.Clone(rest), 0.5)
		for i, r := range rest {
			weight[i] = 1 / math.Sqrt(1+r*r/(4*f.scatter*f.scatter))
		}
	}
	return f
}

func waveTerms(angle float64) [5]float64 {
	return [5]float64{1, math.Cos(angle), math.Sin(angle), math.Cos(2 * angle), math.Sin(2 * angle)}
}

// at is the wave's value at an angle, rad.
func (f *wave) at(angle float64) (v float64) {
	for k, x := range waveTerms(angle) {
		v += f.terms[k] * x
	}
	return v
}

// height is how high the wave that goes once round is, over the scatter about all of them; 0 for none.
func (f *wave) height() float64 {
	if f == nil {
		return 0
	}
	return math.Hypot(f.terms[1], f.terms[2]) / f.scatter
}
