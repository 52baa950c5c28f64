package scalecard

import (
	"errors"
	"math"
	"slices"

	"portmatch/internal/geom"
)

// prior says what is known of an unknown beforehand: its value to one standard deviation. A sigma of 0 holds the
// unknown, +Inf leaves it free. With nu set, it is Student's distribution of nu degrees of freedom and scale sigma: what
// is usually so, but now and then is not so at all (a strip that lies flat, a focal length in the file), so that data
// which contradict it loudly enough get their way.
type prior struct{ mean, sigma, nu float64 }

// held tells an unknown that is not solved for.
func (p prior) held() bool { return p.sigma == 0 }

// priors is what is known of every unknown of a model.
type priors struct {
	each []prior
	// bound, with sigma set, is what else is known of the focal length: that it is a phone's.
	bound prior
}

func (p priors) clone() priors {
	p.each = slices.Clone(p.each)
	return p
}

// together returns the unknowns that unknown i of a model is usual or unusual with, as a range: a strip that lies badly
// is off in height, slope and bend at once.
func together(i int) (from, to int) {
	if i < sharedUnknowns {
		return i, i + 1
	}
	first := i - (i-sharedUnknowns)%stripUnknowns
	if k := i - first; k >= uLift && k <= uBow {
		return first + uLift, first + uBow + 1
	}
	return i, i + 1
}

// spread returns the sum of squared deviations of i's group, and how many of the group are known at all.
func (p priors) spread(x []float64, i int) (z2, n float64) {
	from, to := together(i)
	for j := from; j < to; j++ {
		if pr := p.each[j]; !pr.held() && !math.IsInf(pr.sigma, 1) {
			z := (x[j] - pr.mean) / pr.sigma
			z2 += z * z
			n++
		}
	}
	return z2, n
}

// cost returns minus twice the log density at x, less that at the means.
func (p priors) cost(x []float64) float64 {
	var sum float64
	for i := 0; i < len(p.each); {
		_, next := together(i)
		z2, n := p.spread(x, i)
		if nu := p.each[i].nu; nu > 0 && n > 0 {
			sum += (nu + n) * math.Log1p(z2/nu)
		} else {
			sum += z2
		}
		i = next
	}
	if b := p.bound; b.sigma > 0 {
		z := (x[uLogF] - b.mean) / b.sigma
		sum += z * z
	}
	return sum
}

// pull returns the weight with which a normal distribution about the mean would pull on x[i] just so.
func (p priors) pull(x []float64, i int) float64 {
	pr := p.each[i]
	if pr.held() || math.IsInf(pr.sigma, 1) {
		return 0
	}
	w := 1 / (pr.sigma * pr.sigma)
	if pr.nu > 0 {
		z2, n := p.spread(x, i)
		w *= (pr.nu + n) / (pr.nu + z2)
	}
	return w
}

// doubt returns the weight for the covariance: like pull, but where nothing speaks against the usual it is that of a
// normal distribution of standard deviation sigma.
func (p priors) doubt(x []float64, i int) float64 {
	w := p.pull(x, i)
	if pr := p.each[i]; pr.nu > 0 && w > 0 {
		_, n := p.spread(x, i)
		w *= pr.nu / (pr.nu + n)
	}
	return w
}

// problem is a joint least squares fit of a model to the corners of all tags.
type problem struct {
	tags   []observation
	priors priors
	// inflate is how many times larger the corners' variance is taken than their own covariances say; at least 1.
	inflate float64
}

// with returns the same problem with other priors.
func (p *problem) with(known priors) *problem { return &problem{p.tags, known, p.inflate} }

// observation is one tag with its whitening: the Cholesky factor of its corners' covariance.
type observation struct {
	k, tag  int // index of the strip, place on it
	corners [4]geom.PointPx
	factor  *spd
}

// state is a model with its residuals.
type state struct {
	model *model
	left  [][4]geom.PointPx // measured less seen
	norm2 []float64         // squared whitened residual of each tag; 8 is usual
	cost  float64           // minus twice the log posterior: robust squares of the tags, and priors
}

// fitted is a minimum of a problem.
type fitted struct {
	state
	active   []int
	cov      []float64 // of the active unknowns, row-major
	weight   []float64 // of each tag, 0..1
	variance float64   // observed over expected variance of the corners, from the usual tag
	rmsPx    float64
	rounds   int
}

var errNoMinimum = errors.New("the fit does not settle")

// solve minimises from the given start by Levenberg-Marquardt steps; robust weights of tags and priors are those of the
// last state, which makes every step one down the robust cost too.
func (p *problem) solve(start *model) (*fitted, error) {
	m := start.clone()
	f := &fitted{}
	for i, pr := range p.priors.each {
		if pr.held() {
			m.x[i] = pr.mean
		} else {
			f.active = append(f.active, i)
		}
	}
	n := len(f.active)
	now := p.evaluate(m)
	lambda := 1e-4
	for f.rounds = 1; f.rounds <= maxRounds; f.rounds++ {
		N, g := p.normal(&now, f.active, p.priors.pull)
		before := now.cost
		for lambda < 1e10 {
			D := N.clone()
			for i := range n {
				D.a[i*n+i] *= 1 + lambda
			}
			step := append([]float64(nil), g...)
			if D.chol() {
				D.forward(step)
				D.backward(step)
				t := now.model.clone()
				for i, a := range f.active {
					t.move(a, step[i])
				}
				t.settle()
				if next := p.evaluate(t); next.cost <= now.cost {
					now = next
					lambda = max(lambda/10, 1e-10)
					break
				}
			}
			lambda *= 10
		}
		if !(before-now.cost > 1e-6*(1+now.cost)) {
			break
		}
	}
	if math.IsNaN(now.cost) || math.IsInf(now.cost, 0) {
		return nil, errNoMinimum
	}
	f.state = now
	N, _ := p.normal(&now, f.active, p.priors.doubt)
	if !N.chol() {
		return nil, errNoMinimum
	}
	f.cov = N.inverse()
	var sum, count float64
	for i, l := range f.left {
		w := robustWeight(f.norm2[i])
		f.weight = append(f.weight, w)
		if w < ignoredWeight {
			continue
		}
		for _, d := range l {
			sum += d.U*d.U + d.V*d.V
			count += 2
		}
	}
	f.rmsPx = math.Sqrt(sum / max(count, 1))
	// The median of a χ² of 8 degrees of freedom is 7.344; the unknowns take their share of freedom.
	freedom := 1 - float64(min(n, 7*len(f.norm2)))/float64(8*len(f.norm2))
	f.variance = median(append([]float64(nil), f.norm2...)) * p.inflate / 7.344 / freedom
	return f, nil
}

const (
	// Twenty rounds are usual, from far off fifty.
	maxRounds = 80
	// A tag of less weight is taken to be misread.
	ignoredWeight = 0.1
)

// robust is the cost of a tag whose squared whitened residual is n: n itself up to the usual 8, from there on growing
// like a logarithm, so that a tag four times as far out in square has half its weight.
func robust(n float64) float64 {
	if n <= 8 {
		return n
	}
	return 8 + 24*math.Log1p((n-8)/24)
}

// robustWeight is the derivative of robust.
func robustWeight(n float64) float64 {
	if n <= 8 {
		return 1
	}
	return 1 / (1 + (n-8)/24)
}

// evaluate computes the residuals of a model and their cost.
func (p *problem) evaluate(m *model) state {
	s := state{model: m, left: make([][4]geom.PointPx, len(p.tags)), norm2: make([]float64, len(p.tags))}
	v := m.view()
	for i := range p.tags {
		o := &p.tags[i]
		for j, c := range v.corners(o.k, o.tag) {
			s.left[i][j] = o.corners[j].Sub(c)
		}
		r := o.whiten(s.left[i])
		for _, x := range r {
			s.norm2[i] += x * x / p.inflate
		}
		s.cost += robust(s.norm2[i])
	}
	s.cost += p.priors.cost(m.x)
	return s
}

// whiten takes displacements of the corners to independent ones of unit variance.
func (o *observation) whiten(d [4]geom.PointPx) (r [8]float64) {
	for j, c := range d {
		r[2*j], r[2*j+1] = c.U, c.V
	}
	o.factor.forward(r[:])
	return r
}

// normal builds the normal equations by differences; weight says how hard what is known of an unknown pulls on it.
func (p *problem) normal(s *state, active []int, weight func(x []float64, i int) float64) (*spd, []float64) {
	n := len(active)
	N, g := newSPD(n), make([]float64, n)
	moved := make([]*model, n)
	views := make([]view, n)
	for a, i := range active {
		moved[a] = s.model.clone()
		moved[a].move(i, stepOf(i))
		views[a] = moved[a].view()
	}
	// Every tag depends on the shared unknowns and on its own strip's.
	var jac [sharedUnknowns + stripUnknowns][8]float64
	var idx [sharedUnknowns + stripUnknowns]int
	for t := range p.tags {
		o := &p.tags[t]
		own := s.model.stripIndex(o.k)
		count := 0
		for a, i := range active {
			if i >= sharedUnknowns && (i < own || i >= own+stripUnknowns) {
				continue
			}
			var d [4]geom.PointPx
			for c, q := range views[a].corners(o.k, o.tag) {
				left := o.corners[c].Sub(q)
				d[c] = geom.PointPx{U: (s.left[t][c].U - left.U) / stepOf(i), V: (s.left[t][c].V - left.V) / stepOf(i)}
			}
			jac[count] = o.whiten(d)
			idx[count] = a
			count++
		}
		r := o.whiten(s.left[t])
		w := robustWeight(s.norm2[t]) / p.inflate
		for a := range count {
			for e := range r {
				g[idx[a]] += w * jac[a][e] * r[e]
			}
			for b := a; b < count; b++ {
				var sum float64
				for e := range r {
					sum += jac[a][e] * jac[b][e]
				}
				N.add(idx[a], idx[b], w*sum)
			}
		}
	}
	// A move may take several unknowns with it.
	slope := make([]float64, n)
	known := func(i int, mean, w float64) {
		if w == 0 {
			return
		}
		for a := range active {
			slope[a] = (moved[a].x[i] - s.model.x[i]) / stepOf(active[a])
		}
		for a := range n {
			if slope[a] == 0 {
				continue
			}
			g[a] -= w * slope[a] * (s.model.x[i] - mean)
			for b := a; b < n; b++ {
				N.add(a, b, w*slope[a]*slope[b])
			}
		}
	}
	for i, pr := range p.priors.each {
		known(i, pr.mean, weight(s.model.x, i))
	}
	if b := p.priors.bound; b.sigma > 0 {
		known(uLogF, b.mean, 1/(b.sigma*b.sigma))
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
