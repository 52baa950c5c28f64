package compare

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// grid is a part of so many ports, 60 mm apart in rows of ten, each outline of so many points, with bolts and dowels round
// them; the work is 0.5 mm smaller.
func grid(ports, points int) scene {
	const radiusMM, workMM = 20, 19.5
	rng := rand.New(rand.NewPCG(7, uint64(ports)))
	spacing := 2 * math.Pi * radiusMM / float64(points)
	var target, work []blob
	for i := range ports {
		b := randomBlob(rng, geom.PointMM{X: 60 * float64(i%10), Y: 60 * float64(i/10)}, radiusMM)
		target = append(target, b)
		b.radiusMM = workMM
		work = append(work, b)
	}
	right, top := 60*float64(min(ports, 10)), 60*float64((ports+9)/10)
	holes := []face.Hole{hole(-35, -30, 9), hole(right-20, -35, 9), hole(-28, top-28, 9), hole(right-27, top-25, 9),
		hole(-35, 5, 8), hole(right-25, top-60, 8)}
	return scene{exactFace(target, holes, spacing), exactFace(work, holes, spacing*workMM/radiusMM)}
}

func benchmarkGrid(b *testing.B, ports, points int) {
	s := grid(ports, points)
	for b.Loop() {
		if _, err := Match(s.target, s.work, Options{ToleranceMM: 0.25}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/float64(ports*points), "µs/point")
}

// Time and memory should grow in proportion: watch µs/point.
func BenchmarkPorts(b *testing.B) {
	for _, n := range []int{1, 4, 10, 40} {
		b.Run(fmt.Sprint(n), func(b *testing.B) { benchmarkGrid(b, n, 500) })
	}
}

func BenchmarkOutlinePoints(b *testing.B) {
	for _, n := range []int{500, 5000, 50000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) { benchmarkGrid(b, 4, n) })
	}
}
