package compare

import (
	"math"
	"sort"
)

// markAbrupt takes what stands out from the rest of a joint between steep flanks for a fault of the reading. Cast, cut and
// ground edges run along each other: a ledge swells and fades, and where the two differ in a corner's radius they part
// at less than steepFlank. An edge that was lost to a far wall, a stain or a cut wall's foot jumps away from the other, and
// back again. Which of the two readings jumps does not matter: no figure may rest on the stretch between.
//
// samples go once round an edge. Where the two outlines are of different shapes, flanks are no sign of a fault, and nothing
// is marked.
func markAbrupt(samples []sample) {
	const (
		steepFlank    = 0.7 // mm of step a mm along the edge: 35° between the two edges
		overMM        = 0.6 // half the length that the slope is taken over
		marginMM      = 1.0 // marked on either side of a flank
		standsOutMM   = 0.5 // from the joint's median step
		differShapeMM = 0.6 // median deviation of the step from its median, beyond which the shapes differ
	)
	n := len(samples)
	median := medianOf(samples, func(s *sample) float64 { return s.stepMM })
	if medianOf(samples, func(s *sample) float64 { return math.Abs(s.stepMM - median) }) > differShapeMM {
		return
	}
	var total float64
	for i := range samples {
		total += samples[i].lenMM
	}
	// within is how many samples lie within so many mm ahead.
	within := func(mm float64) int { return max(1, int(mm*float64(n)/total)) }
	k, margin := within(overMM), within(marginMM)
	if 2*(k+margin) >= n {
		return
	}
	flank := make([]bool, n)
	first := -1
	for i := range samples {
		a, b := &samples[(i+n-k)%n], &samples[(i+k)%n]
		along := math.Mod(b.alongMM-a.alongMM+total, total)
		if math.Abs(b.stepMM-a.stepMM) > steepFlank*along {
			for j := i - margin; j <= i+margin; j++ {
				flank[(j+n)%n] = true
			}
			first = i
		}
	}
	if first < 0 {
		return
	}
	for i := first; i < first+n; {
		j := i
		for j < first+n && flank[j%n] == flank[i%n] {
			j++
		}
		stretch := make([]*sample, 0, j-i)
		for m := i; m < j; m++ {
			stretch = append(stretch, &samples[m%n])
		}
		if flank[i%n] || math.Abs(medianStep(stretch)-median) > standsOutMM {
			for _, s := range stretch {
				s.sure = false
			}
		}
		i = j
	}
}

func medianOf(samples []sample, value func(*sample) float64) float64 {
	v := make([]float64, len(samples))
	for i := range samples {
		v[i] = value(&samples[i])
	}
	sort.Float64s(v)
	return v[len(v)/2]
}

func medianStep(stretch []*sample) float64 {
	v := make([]float64, len(stretch))
	for i, s := range stretch {
		v[i] = s.stepMM
	}
	sort.Float64s(v)
	return v[len(v)/2]
}
