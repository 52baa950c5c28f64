package scalecard

import "math"

// spd is a symmetric positive definite matrix, n x n, row-major; the upper triangle counts.
type spd struct {
	n int
	a []float64
}

func newSPD(n int) *spd { return &spd{n, make([]float64, n*n)} }

func (m *spd) add(i, j int, v float64) {
	if i > j {
		i, j = j, i
	}
	m.a[i*m.n+j] += v
}

func (m *spd) clone() *spd { return &spd{m.n, append([]float64(nil), m.a...)} }

// chol turns m into the upper factor U with m = Uᵀ U; false if m is not positive definite.
func (m *spd) chol() bool {
	n, a := m.n, m.a
	for k := range n {
		d := a[k*n+k]
		for i := range k {
			d -= a[i*n+k] * a[i*n+k]
		}
		if !(d > 0) {
			return false
		}
		d = math.Sqrt(d)
		a[k*n+k] = d
		for j := k + 1; j < n; j++ {
			s := a[k*n+j]
			for i := range k {
				s -= a[i*n+k] * a[i*n+j]
			}
			a[k*n+j] = s / d
		}
	}
	return true
}

// forward solves Uᵀ y = b in place, m holding U.
func (m *spd) forward(b []float64) {
	n, a := m.n, m.a
	for i := range n {
		s := b[i]
		for k := range i {
			s -= a[k*n+i] * b[k]
		}
		b[i] = s / a[i*n+i]
	}
}

// backward solves U x = y in place, m holding U.
func (m *spd) backward(y []float64) {
	n, a := m.n, m.a
	for i := n - 1; i >= 0; i-- {
		s := y[i]
		for k := i + 1; k < n; k++ {
			s -= a[i*n+k] * y[k]
		}
		y[i] = s / a[i*n+i]
	}
}

// inverse returns the full inverse of the matrix whose factor m holds, row-major.
func (m *spd) inverse() []float64 {
	n := m.n
	inv := make([]float64, n*n)
	col := make([]float64, n)
	for j := range n {
		clear(col)
		col[j] = 1
		m.forward(col)
		m.backward(col)
		for i := range n {
			inv[i*n+j] = col[i]
		}
	}
	return inv
}
