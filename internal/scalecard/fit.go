package scalecard

import (
	"errors"
	"math"

	"portmatch/internal/geom"
)

// prior says what is known of an unknown beforehand: its value to one standard deviation. A sigma of 0 holds the
// unknown, +Inf leaves it free. With nu set, it is Student's distribution of nu degrees of freedom and scale sigma: what
// is usually so, but now and then is not so at all (a strip that lies flat, a focal length in the file), so that data
// which contradict it loudly enough get their way.
type prior struct{ mean, sigma, nu float64 }

// held tells an unknown that is not solved for.
func (p prior) held() bool { return p.sigma == 0 }

// cost returns minus twice the log density at x, less that at the mean.
func (p prior) cost(x float64) float64 {
	if p.held() || math.IsInf(p.sigma, 1) {
		return 0
	}
	z := (x - p.mean) / p.sigma
	if p.nu > 0 {
		return (p.nu + 1) * math.Log1p(z*z/p.nu)
	}
	return z * z
}

// weight returns the weight with which a normal distribution would pull on x just so.
func (p prior) weight(x float64) float64 {
	if math.IsInf(p.sigma, 1) {
		return 0
	}
	w := 1 / (p.sigma * p.sigma)
	if p.nu > 0 {
		z := (x - p.mean) / p.sigma
		w *= (p.nu + 1) / (p.nu + z*z)
	}
	return w
}

// doubt returns the weight for the covariance: like weight, but where nothing speaks against the usual it is that of a
// normal distribution of standard deviation sigma.
func (p prior) doubt(x float64) float64 {
	if p.nu > 0 {
		return p.weight(x) * p.nu / (p.nu + 1)
	}
	return p.weight(x)
}

// problem is a joint least squares fit of a model to the corners of all tags.
type problem struct {
	tags   []observation
	priors []prior
}

// observation is one tag with its whitening: the Cholesky factor of its corners' covariance.
type observation struct {
	k, tag  int // index of the strip, place on it
	corners [4]geom.PointPx
	factor  *spd
}

// fitted is a minimum of a problem.
type fitted struct {
	model  *model
	cost   float64 // Σ squared residuals, whitened and weighted, priors included
	active []int
	cov    []float64 // of the active unknowns, row-major, scaled by the residual
	scale  float64   // observed over expected variance of the corners, at least 1
	weight []float64 // of each tag, 0..1
	norm2  []float64 // squared whitened residual of each tag; 8 is usual
	left   [][4]geom.PointPx
	rmsPx  float64
	rounds int
}

var errNoMinimum = errors.New("the fit does not settle")

// solve minimises from the given start, by Levenberg-Marquardt with robust weights for whole tags.
func (p *problem) solve(start *model) (*fitted, error) {
	m := start.clone()
	var active []int
	for i, pr := range p.priors {
		if !pr.held() {
			active = append(active, i)
		} else {
			m.x[i] = pr.mean
		}
	}
	f := &fitted{model: m, active: active, weight: make([]float64, len(p.tags)), norm2: make([]float64, len(p.tags)),
		left: make([][4]geom.PointPx, len(p.tags))}
	for i := range f.weight {
		f.weight[i] = 1
	}
	lambda := 1e-3
	cost := p.evaluate(m, f)
	spreadOf := func() float64 { return p.variance(f) }
	variance := spreadOf()
	p.reweigh(f, variance)
	cost = p.cost(m, f)
	n := len(active)
	const rounds = 60
	for round := range rounds {
		f.rounds = round + 1
		N, g := p.normal(m, f, active, 1, prior.weight)
		improved := false
		for range 12 {
			D := N.clone()
			for i := range n {
				D.a[i*n+i] *= 1 + lambda
			}
			step := append([]float64(nil), g...)
			if D.chol() {
				D.forward(step)
				D.backward(step)
				t := m.clone()
				for i, a := range active {
					t.x[a] += step[i]
				}
				t.settle()
				ft := &fitted{weight: f.weight, norm2: make([]float64, len(p.tags)), left: make([][4]geom.PointPx, len(p.tags))}
				p.evaluate(t, ft)
				if c := p.cost(t, ft); c <= cost {
					improved = cost-c > 1e-7*(1+c)
					m, cost = t, c
					f.norm2, f.left = ft.norm2, ft.left
					lambda = max(lambda/10, 1e-12)
					break
				}
			}
			lambda *= 10
			if lambda > 1e12 {
				break
			}
		}
		// Weights follow once the fit has come near; from then on the cost is measured with the new ones.
		if round < rounds-10 {
			v := spreadOf()
			changed := p.reweigh(f, v)
			cost = p.cost(m, f)
			if changed > 1e-3 {
				improved = true
			}
		}
		if !improved {
			break
		}
	}
	f.model = m
	if math.IsNaN(cost) || math.IsInf(cost, 0) {
		return nil, errNoMinimum
	}
	f.cost = cost
	variance = spreadOf()
	f.scale = max(1, variance)
	N, _ := p.normal(m, f, active, 1/f.scale, prior.doubt)
	if !N.chol() {
		return nil, errNoMinimum
	}
	f.cov = N.inverse()
	var sum, count float64
	for i, l := range f.left {
		if f.weight[i] < 0.1 {
			continue
		}
		for _, d := range l {
			sum += d.U*d.U + d.V*d.V
			count += 2
		}
	}
	f.rmsPx = math.Sqrt(sum / max(count, 1))
	return f, nil
}

// evaluate fills the residuals and their squared norms.
func (p *problem) evaluate(m *model, f *fitted) float64 {
	v := m.view()
	var sum float64
	var r [8]float64
	for i := range p.tags {
		o := &p.tags[i]
		c := v.corners(o.k, o.tag)
		for j := range c {
			f.left[i][j] = o.corners[j].Sub(c[j])
			r[2*j], r[2*j+1] = f.left[i][j].U, f.left[i][j].V
		}
		o.factor.forward(r[:])
		f.norm2[i] = 0
		for _, x := range r {
			f.norm2[i] += x * x
		}
		sum += f.norm2[i]
	}
	return sum
}

// cost is what solve minimises: weighted squares and priors.
func (p *problem) cost(m *model, f *fitted) float64 {
	var sum float64
	for i, n := range f.norm2 {
		sum += f.weight[i] * n
	}
	for i, pr := range p.priors {
		sum += pr.cost(m.x[i])
	}
	return sum
}

// variance estimates observed over expected variance from the median tag, which bad tags don't reach. The median of a
// χ² of 8 degrees of freedom is 7.344; the unknowns take their share of freedom.
func (p *problem) variance(f *fitted) float64 {
	n := append([]float64(nil), f.norm2...)
	freedom := 1 - float64(min(len(f.active), 7*len(n)))/float64(8*len(n))
	return median(n) / 7.344 / freedom
}

// reweigh sets the tags' weights by Cauchy's function, which halves the weight of a tag as far out as four times the
// usual square, and returns the largest change.
func (p *problem) reweigh(f *fitted, variance float64) float64 {
	change := 0.0
	for i, n := range f.norm2 {
		w := 1 / (1 + max(0, n/(8*max(variance, 1e-12))-1)/3)
		change = max(change, math.Abs(w-f.weight[i]))
		f.weight[i] = w
	}
	return change
}

// normal builds the normal equations by differences, the corners' part multiplied by scale, the priors' weights as given.
func (p *problem) normal(m *model, f *fitted, active []int, scale float64, weight func(prior, float64) float64) (*spd, []float64) {
	n := len(active)
	N, g := newSPD(n), make([]float64, n)
	// Every tag depends on the shared unknowns and on its own strip's.
	views := make([]view, n)
	for a, i := range active {
		moved := m.clone()
		moved.x[i] += stepOf(i)
		views[a] = moved.view()
	}
	var jac [64][8]float64
	var idx [64]int
	for t := range p.tags {
		o := &p.tags[t]
		own := m.stripIndex(o.k)
		count := 0
		for a, i := range active {
			if i >= sharedUnknowns && (i < own || i >= own+stripUnknowns) {
				continue
			}
			for c, p := range views[a].corners(o.k, o.tag) {
				moved := o.corners[c].Sub(p)
				jac[count][2*c] = (f.left[t][c].U - moved.U) / stepOf(i)
				jac[count][2*c+1] = (f.left[t][c].V - moved.V) / stepOf(i)
			}
			o.factor.forward(jac[count][:])
			idx[count] = a
			count++
		}
		var r [8]float64
		for c, d := range f.left[t] {
			r[2*c], r[2*c+1] = d.U, d.V
		}
		o.factor.forward(r[:])
		w := f.weight[t] * scale
		for a := range count {
			for e := range 8 {
				g[idx[a]] += w * jac[a][e] * r[e]
			}
			for b := a; b < count; b++ {
				var s float64
				for e := range 8 {
					s += jac[a][e] * jac[b][e]
				}
				N.add(idx[a], idx[b], w*s)
			}
		}
	}
	for a, i := range active {
		w := weight(p.priors[i], m.x[i])
		N.a[a*n+a] += w
		g[a] -= w * (m.x[i] - p.priors[i].mean)
	}
	return N, g
}

// stepOf is the step of the difference in unknown i: small enough that the second derivative does not matter (it moves a
// corner by 1e-3 px and less, so its square by 1e-6 of that), large enough that rounding does not (1e-13 of 1e3 px over a
// movement of 1e-4 px and more).
func stepOf(i int) float64 {
	if i >= sharedUnknowns {
		switch (i - sharedUnknowns) % stripUnknowns {
		case uTurn, uScale:
			return 1e-6
		}
		return 1e-3
	}
	switch i {
	case uCx, uCy, uTx, uTy, uTz, uShrink:
		return 1e-3
	}
	return 1e-6
}
