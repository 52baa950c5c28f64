// Package torture sets how long the tests that break things go on.
package torture

import (
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"
)

// roundsEnv is set by make torture to the number of times that each fault is tried.
const roundsEnv = "PORTMATCH_TORTURE"

// Rounds is the number of times to try a fault: short in an ordinary test run.
func Rounds(t testing.TB, short int) int {
	t.Helper()
	v := os.Getenv(roundsEnv)
	if v == "" {
		return short
	}
	n, err := strconv.Atoi(v)
	if err != nil || n < 1 {
		t.Fatalf("%s=%q is no number of rounds", roundsEnv, v)
	}
	return n
}

// Dice is a source of random moments; its seed goes into the test's log, which a failure shows.
func Dice(t testing.TB) *rand.Rand {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	return rand.New(rand.NewPCG(seed, 1))
}
