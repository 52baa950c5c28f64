package compare

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"sort"
	"testing"
)

func TestCoverageStudy(t *testing.T) {
	if os.Getenv("STUDY") == "" {
		return
	}
	for _, e := range []errorsMM{{0.02, 1, 0.02, 0.01, 0.02}, {0.03, 1, 0, 0.01, 0.005}, {0.01, 1, 0.05, 0.01, 0.01}, {0.01, 1, 0.01, 0.02, 0.03}} {
		for _, step := range []float64{0, 0.2, 0.5, 1.5} {
			rng := rand.New(rand.NewPCG(1, 2))
			var us, errs, z []float64
			in, n := 0, 0
			inA, nA := 0, 0
			bias := 0.0
			verd := map[string]int{}
			for range 40 {
				s := fourPorts(rng, step, 0.2)
				truth, err := Match(s.target, s.work, Options{ToleranceMM: 0.25})
				if err != nil {
					t.Fatal(err)
				}
				got, err := Match(seen(rng, s.target, e), seen(rng, s.work, e), Options{ToleranceMM: 0.25})
				if err != nil {
					t.Fatal(err)
				}
				for i := range got.Ports {
					g, w := got.Ports[i], truth.Ports[i]
					for _, q := range [][2]Quantity{{g.RemoveStep.Quantity, w.RemoveStep.Quantity}, {g.PastStep.Quantity, w.PastStep.Quantity}} {
						d := q[0].Value - q[1].Value
						errs = append(errs, math.Abs(d))
						bias += d
						us = append(us, q[0].Uncertainty)
						z = append(z, d/(q[0].Uncertainty/2))
						n++
						if math.Abs(d) <= q[0].Uncertainty {
							in++
						}
					}
					for _, q := range [][2]Quantity{{g.RemoveArea, w.RemoveArea}, {g.PastArea, w.PastArea}, {g.TargetArea, w.TargetArea}, {g.WorkArea, w.WorkArea}} {
						nA++
						if math.Abs(q[0].Value-q[1].Value) <= q[0].Uncertainty {
							inA++
						}
					}
					r, p := w.RemoveStep.Value, w.PastStep.Value
					v := g.Verdict
					if v == Matched && max(r, p) > .25 {
						v = "FALSE matched"
					}
					if (v == Grind || v == GrindPast) && r <= .25 {
						v = "FALSE grind"
					}
					if (v == PastLine || v == GrindPast) && p <= .25 {
						v = "FALSE past"
					}
					verd[v]++
				}
			}
			sort.Float64s(us)
			sort.Float64s(errs)
			fmt.Printf("%+v step %.1f: cover %.3f areas %.3f medU %.3f err95 %.3f max %.3f bias %+.4f  %v\n", e, step, float64(in)/float64(n), float64(inA)/float64(nA), us[len(us)/2], errs[len(errs)*95/100], errs[len(errs)-1], bias/float64(n), verd)
		}
	}
}
