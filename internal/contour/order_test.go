package contour

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// The order must be that of the standard library's sort, for every length round the change of method, for values of both
// signs, equal values and values that share their upper bytes.
func TestSorterAgreesWithComparing(t *testing.T) {
	const seed = 7
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 0))
	var s sorter
	for _, n := range []int{0, 1, 2, 63, 64, 65, 700, 3000} {
		for name, draw := range map[string]func() float32{
			"both signs": func() float32 { return rng.Float32() - 0.5 },
			"few values": func() float32 { return float32(rng.IntN(3)) - 1 },
			"near one":   func() float32 { return 1 + rng.Float32()/1e5 },
			"one value":  func() float32 { return 0.25 },
		} {
			v := make([]float32, n)
			for i := range v {
				v[i] = draw()
			}
			want := slices.Sorted(slices.Values(v))
			s.sort(v)
			if !slices.Equal(v, want) {
				t.Errorf("%d values, %s: out of order", n, name)
			}
		}
	}
}

// Sliding from window to window must give what each window gives when it is gathered and sorted on its own; rows of unequal
// length, curves shorter than a window, and equal values (a flat or burnt-out face) among them.
func TestShortestHalvesAgreeWithSingleWindows(t *testing.T) {
	const seed = 11
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 0))
	for _, c := range []struct{ n, most, reach, skip int }{{300, 52, 13, 1}, {300, 12, 20, 3}, {25, 9, 13, 1}, {97, 1, 16, 2}, {50, 0, 4, 1}} {
		raw := make([][]float32, c.n)
		for i := range raw {
			for range c.most {
				if x := float32(rng.IntN(200))/100 - 1; rng.IntN(4) > 0 {
					raw[i] = append(raw[i], x)
				}
			}
		}
		centre, sigma := sortRows(c.n, c.most, func(i int, v []float32) []float32 { return append(v, raw[i]...) }).shortestHalves(c.reach, c.skip)
		for i := range raw {
			var v []float32
			for a := -c.reach; a <= c.reach; a += c.skip {
				v = append(v, raw[(i+a+4*c.n)%c.n]...)
			}
			slices.Sort(v)
			if m, s := shortestHalf(v); m != centre[i] || s != sigma[i] {
				t.Fatalf("%+v row %d: %v ± %v, on its own %v ± %v", c, i, centre[i], sigma[i], m, s)
			}
		}
	}
}

// The shortest half of 0 to 10 and a far cluster: by hand.
func TestShortestHalfLeavesOutTheSmallerCluster(t *testing.T) {
	v := []float32{0, 4, 5, 6, 7, 90, 95}
	// Half of seven is three steps: 4 to 7 is the shortest, mean 5.5, length 3.
	if m, s := shortestHalf(v); m != 5.5 || math.Abs(s-3/1.349) > 1e-12 {
		t.Errorf("got %v ± %v", m, s)
	}
}
