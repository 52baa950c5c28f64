package contour

import (
	"math"
	"slices"
)

// vote gives every candidate the probabilities of its depths. Holes of one diameter are made with one tool: where a chamfer
// looks like the face, or like the bore, the others tell how deep it is.
func vote(fits []*holeFit) {
	if len(fits) > 0 && fits[0].h.wall {
		voteBench(fits)
		return
	}
	evidence, own := make([][]float64, len(fits)), make([][]float64, len(fits))
	for i, f := range fits {
		evidence[i] = f.evidence()
		own[i] = slices.Clone(evidence[i])
		for k, a := range f.at {
			own[i][k] *= depthPrior(a.depth)
		}
		normalise(own[i])
	}
	// Depths of one tool agree to about this; so do bores.
	const depthMM, boreMM = 0.06, 0.08
	// How often a hole has a depth of its own, though others of its bore are there.
	const alone = 0.1
	for i, f := range fits {
		like := make([]float64, len(f.at))
		var most float64
		for k, a := range f.at {
			for j, g := range fits {
				if j == i {
					continue
				}
				for q, b := range g.at {
					x, y := (a.depth-b.depth)/depthMM, (f.bore(k)-g.bore(q))/boreMM
					like[k] += own[j][q] * math.Exp(-(x*x+y*y)/2)
				}
			}
			most = math.Max(most, like[k])
		}
		// Without others of its bore it is as likely to have any depth as before.
		others := math.Min(most, 1) * (1 - alone)
		f.p = make([]float64, len(f.at))
		for k, a := range f.at {
			f.p[k] = evidence[i][k] * ((1-others)*depthPrior(a.depth)/depthPrior(0) + others*like[k]/math.Max(most, 1e-9))
		}
		normalise(f.p)
	}
}

func normalise(p []float64) {
	var sum float64
	for _, x := range p {
		sum += x
	}
	for k := range p {
		p[k] /= sum
	}
}

// bore is the true diameter of the second circle, mm.
func (f *holeFit) bore(k int) float64 {
	t := f.at[k]
	return 2 * t.r / (1 + f.h.shrink*t.depth)
}

// evidence returns how well the hole itself speaks for each of its fits, up to a factor.
func (f *holeFit) evidence() []float64 {
	cost := f.robust()
	best := 0
	for k, c := range cost {
		if c < cost[best] {
			best = k
		}
	}
	// Texture and glitter are not the white noise that the likelihood is made for: its logarithm exaggerates, by half at least
	// (ray-traced photos), and by as much as the sectors' scatter shows.
	sober := 0.5 / math.Max(1, f.at[best].excess)
	p := make([]float64, len(f.at))
	for k := range f.at {
		p[k] = math.Exp(sober * (cost[best] - cost[k]))
	}
	return p
}

// robust returns the costs of the fits with what a sector may say against one of them limited: a bright band of milling that runs
// across a few sectors is no chamfer, however well one fits it.
func (f *holeFit) robust() []float64 {
	// The odds of a sector that is not what the model thinks, log: one in four hundred of the likelihood.
	const most = 4.0
	least := slices.Clone(f.at[0].costs)
	for _, a := range f.at {
		for k, c := range a.costs {
			least[k] = math.Min(least[k], c)
		}
	}
	out := make([]float64, len(f.at))
	for i, a := range f.at {
		for k, c := range a.costs {
			out[i] -= math.Log(math.Exp(least[k]-c) + math.Exp(-most))
			a.cost -= c
		}
		out[i] += a.cost // what is left of it is the price of its looks
	}
	return out
}

// depthPrior is how likely a depth is before looking, up to a factor: many holes have no chamfer, wide ones are rare (common
// practice, no source).
func depthPrior(depth float64) float64 {
	if depth == 0 {
		return 6
	}
	return math.Exp(-depth / 0.6)
}

// voteBench finds the depth of the bench, one for all holes of a gasket.
func voteBench(fits []*holeFit) {
	n := len(fits[0].at)
	logp := make([]float64, n)
	for k := range logp {
		d := float64(k - n/2)
		logp[k] = -d * d / 2
		for _, f := range fits {
			if cost := f.robust(); f.h.isHole(f.h.judge(f.at[n/2].twin)) {
				logp[k] -= 0.5 / math.Max(1, f.at[n/2].excess) * (cost[k] - cost[n/2])
			}
		}
	}
	best := slices.Max(logp)
	p := make([]float64, n)
	for k, l := range logp {
		p[k] = math.Exp(l - best)
	}
	normalise(p)
	for _, f := range fits {
		f.p = p
	}
}
