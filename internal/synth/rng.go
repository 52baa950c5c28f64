package synth

import "math/rand/v2"

// dice is a seeded source with the few draws that scenes need.
type dice struct{ *rand.Rand }

func newDice(seed, stream uint64) dice { return dice{rand.New(rand.NewPCG(seed, stream))} }

// in is uniform in [a, b].
func (d dice) in(a, b float64) float64 { return a + (b-a)*d.Float64() }

// sign is -1 or +1.
func (d dice) sign() float64 { return float64(2*d.IntN(2) - 1) }

func (d dice) chance(p float64) bool { return d.Float64() < p }

func pick[T any](d dice, of ...T) T { return of[d.IntN(len(of))] }
