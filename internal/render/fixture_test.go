package render

import (
	"fmt"
	"math"
	"testing"

	"portmatch/internal/compare"
	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// roundedRect is a rectangle w x h mm with corners of radius r, sampled finely enough (0.1 mm) that its area is closed
// form to 1e-4.
func roundedRect(c geom.PointMM, w, h, r float64) geom.Outline {
	var o geom.Outline
	for k, q := range []geom.PointMM{{X: 1, Y: 1}, {X: -1, Y: 1}, {X: -1, Y: -1}, {X: 1, Y: -1}} {
		m := c.Add(geom.PointMM{X: q.X * (w/2 - r), Y: q.Y * (h/2 - r)})
		n := max(1, int(r*math.Pi/2/0.1))
		for i := 0; i <= n; i++ {
			a := math.Pi/2*float64(k) + math.Pi/2*float64(i)/float64(n)
			o = append(o, m.Add(geom.PointMM{X: r * math.Cos(a), Y: r * math.Sin(a)}))
		}
	}
	return o.Resampled(0.1)
}

func circle(c geom.PointMM, r float64) geom.Outline { return roundedRect(c, 2*r, 2*r, r) }

func pairs(o geom.Outline) [][2]float64 {
	p := make([][2]float64, len(o))
	for i, q := range o {
		p[i] = [2]float64{q.X, q.Y}
	}
	return p
}

func clockOf(d geom.PointMM) string {
	half := int(math.Round(math.Mod(math.Pi/2-math.Atan2(d.Y, d.X)+2*math.Pi, 2*math.Pi) / (2 * math.Pi) * 24))
	h := half / 2 % 12
	if h == 0 {
		h = 12
	}
	return fmt.Sprintf("%d:%02d", h, half%2*30)
}

// measured fills in a port's figures for a target and a work opening, as compare would, with made-up uncertainties.
func measured(t testing.TB, number int, verdict string, target, work geom.Outline) compare.PortResult {
	t.Helper()
	remove, err := geom.Difference(geom.RegionOf(target), geom.RegionOf(work))
	if err != nil {
		t.Fatal(err)
	}
	past, err := geom.Difference(geom.RegionOf(work), geom.RegionOf(target))
	if err != nil {
		t.Fatal(err)
	}
	p := compare.PortResult{
		Port: number, Verdict: verdict,
		TargetArea:      compare.Quantity{Value: target.AreaMM2(), Uncertainty: 1.312},
		WorkArea:        compare.Quantity{Value: work.AreaMM2(), Uncertainty: 1.471},
		RemoveArea:      compare.Quantity{Value: remove.AreaMM2(), Uncertainty: 1.2345},
		PastArea:        compare.Quantity{Value: past.AreaMM2(), Uncertainty: 0.871},
		MismatchArea:    compare.Quantity{Value: remove.AreaMM2() + past.AreaMM2(), Uncertainty: 1.51},
		LeastLand:       &compare.Quantity{Value: 6.1234, Uncertainty: 0.0512},
		AreaRatio:       work.AreaMM2() / target.AreaMM2(),
		Conformance:     0.0123,
		TargetOutline:   pairs(target),
		WorkOutline:     pairs(work),
		UnsureArcs:      [][2]float64{},
		OffsetMM:        [2]float64{work.CentroidMM().X - target.CentroidMM().X, work.CentroidMM().Y - target.CentroidMM().Y},
		WithinTolerance: 0,
	}
	p.RemoveStep.Uncertainty, p.PastStep.Uncertainty = 0.0567, 0.0613
	ix := geom.NewIndex(work)
	o := target.StartingAt(target.Rightmost())
	s := o.ArcLengthsMM()
	within := 0
	c := target.CentroidMM()
	for i, q := range o {
		d, _, _ := ix.SignedDistMM(q)
		if math.Abs(d) <= 0.25 {
			within++
		}
		if i%5 == 0 {
			p.Profile = append(p.Profile, compare.ProfilePoint{AlongMM: s[i], At: [2]float64{q.X, q.Y}, StepMM: d, UMM: 0.05, Sure: true})
		}
		if d > p.RemoveStep.Value {
			p.RemoveStep.Value, p.RemoveStep.At, p.RemoveStep.Clock = d, [2]float64{q.X, q.Y}, clockOf(q.Sub(c))
		}
		if -d > p.PastStep.Value {
			p.PastStep.Value, p.PastStep.At, p.PastStep.Clock = -d, [2]float64{q.X, q.Y}, clockOf(q.Sub(c))
		}
	}
	p.WithinTolerance = float64(within) / float64(len(o))
	return p
}

// marineManifold is an invented four-port manifold of a marine inboard, in closed form: openings 50 x 34 with corners of
// 12, 89 mm apart, dowels 344 mm apart.
func marineManifold(t testing.TB) *compare.Result {
	t.Helper()
	at := func(i int) geom.PointMM { return geom.PointMM{X: -133.5 + 89*float64(i)} }
	off := func(p geom.PointMM, x, y float64) geom.PointMM { return p.Add(geom.PointMM{X: x, Y: y}) }
	target := func(i int) geom.Outline { return roundedRect(at(i), 50, 34, 12) }
	r := &compare.Result{
		Schema: 1, Pass: 1, Units: "mm", ToleranceMM: 0.25,
		Calibration: []face.Calibration{
			{Photo: "target", ReprojectionRMSPx: 0.11, Strips: []int{1, 2}, CameraHeightMM: 512.4, TiltDeg: 7.9, MMPerPx: 0.121, HeightMM: 1.2},
			{Photo: "work", ReprojectionRMSPx: 0.09, Strips: []int{1, 2, 3}, CameraHeightMM: 823.1, TiltDeg: 6.5, MMPerPx: 0.141},
		},
		Alignment: compare.Alignment{On: "dowels", ResidualMM: 0.021, ScaleCheck: 1.00021,
			JobFromTarget: [6]float64{1, 0, 0, 0, 1, 0}, JobFromWork: [6]float64{1, 0, 0, 0, 1, 0}},
		Ports: []compare.PortResult{
			measured(t, 1, compare.Grind, target(0), roundedRect(off(at(0), 0.7, 0.4), 46.6, 31, 12)),
			measured(t, 2, compare.GrindPast, target(1), roundedRect(off(at(1), 1.3, 0.3), 48.6, 32.2, 12)),
			measured(t, 3, compare.Matched, target(2), roundedRect(off(at(2), 0.03, -0.02), 50.1, 33.9, 12)),
			measured(t, 4, compare.TooClose, target(3), roundedRect(off(at(3), 0.1, 0.02), 49.7, 33.8, 12)),
		},
		Warnings: []face.Warning{{Photo: "work", What: "only two strips, on one side of the part", Try: "lay one strip above and one below the part"}},
	}
	r.Ports[3].UnsureArcs = [][2]float64{{136, 8}, {60, 70}} // the first runs past the rightmost point
	for i := range r.Ports[3].Profile {
		s := r.Ports[3].Profile[i].AlongMM
		r.Ports[3].Profile[i].Sure = !(s >= 136 || s <= 8 || s >= 60 && s <= 70)
	}
	for _, h := range []compare.HoleResult{
		{X: -172, Kind: "dowel"}, {X: 172, Kind: "dowel"},
		{X: -89, Y: 22, Kind: "bolt"}, {X: 0, Y: -22, Kind: "bolt"}, {X: 89, Y: 22, Kind: "bolt"}, {X: -89, Y: -22, Kind: "bolt"},
	} {
		h.TargetDiameter, h.WorkDiameter = 9, 9.02
		if h.Kind == "dowel" {
			h.TargetDiameter, h.WorkDiameter = 8, 8.01
		}
		r.Holes = append(r.Holes, h)
	}
	r.PartOutline = pairs(roundedRect(geom.PointMM{}, 372, 64, 10))
	return r
}
