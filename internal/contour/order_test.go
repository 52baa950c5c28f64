package contour

import (
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
