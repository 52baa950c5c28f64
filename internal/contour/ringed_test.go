package contour

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// Where a ring lines the openings of a gasket, the edge is the ring's inner one. Truth is what was drawn; the rings are 1.1 to 2 mm wide, so
// that their outer edge is far beyond what is allowed. Some look like the bench in places (as brown as its wood, as bright as it): no curve
// closes along their inner edge, and what tells of it is their even width only. In the last one edges went
// beyond a bead over part of the way round.
func TestRingBelongsToTheFace(t *testing.T) {
	for _, c := range []struct {
		seed           uint64
		rightMM, share float64
	}{{7010, 0.25, 0.95}, {7022, 0.25, 0.95}, {7011, 0.45, 0.8}, {7032, 0.45, 0.8}, {41006, 0.45, 1}} {
		t.Run(fmt.Sprint(c.seed), func(t *testing.T) {
			t.Parallel()
			near, all := nearDrawn(t, c.seed, c.rightMM)
			if all < 100 || near < c.share*all {
				t.Errorf("%.0f of %.0f places lie within %.2f mm of the drawn edges", near, all, c.rightMM)
			}
		})
	}
}

// nearDrawn counts the sure places of the ports of a drawn gasket, and those that lie within mm of the drawn edges.
func nearDrawn(t *testing.T, seed uint64, mm float64) (near, all float64) {
	t.Helper()
	v, ports := surveyOf(t, "bead", seed, false)
	f, err := v.Trace(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range f.Ports {
		for _, want := range ports {
			if !contains(want, centroid(p.Outline)) {
				continue
			}
			ix := geom.NewIndex(geom.Outline(want))
			for i, q := range p.Outline {
				if !p.Sure[i] {
					continue
				}
				if _, _, d := ix.Nearest(q); math.Abs(d) < mm {
					near++
				}
				all++
			}
		}
	}
	return near, all
}

// A bead 1.7 mm wide lies on the face 0.9 mm outside the opening; its outer edge is taken for the opening's. Truth is closed form.
func TestWithinBead(t *testing.T) {
	const r, land, bead = 20.0, 0.9, 1.7
	const face, bench, dim, shadow, lit = 0.1, 0.25, 0.15, 0.02, 0.6 // linear light
	const outer = r + land + bead
	const wide = 1.9
	beaded := func(behind func(p geom.PointMM) float64) func(p geom.PointMM) float64 {
		return func(p geom.PointMM) float64 {
			switch d := p.Norm(); {
			case d > r+land:
				return lit
			case d > r:
				return face
			}
			return behind(p)
		}
	}
	on := func(light float64) func(geom.PointMM) float64 { return func(geom.PointMM) float64 { return light } }
	around := circleOf(outer, 400)
	// A base that has left the bead's side for the opening's edge over a seventh of the way round.
	left := circleOf(outer, 400)
	for i := range 60 {
		left[i] = left[i].Scale((outer - 2.6*min(1, min(float64(i), float64(59-i))/8)) / outer)
	}
	tests := []struct {
		name  string
		light func(p geom.PointMM) float64 // inside the edge at hand
		base  []geom.PointMM
		want  float64 // how wide the face inside the bead is, mm; 0 for no bead
	}{
		{"bead", beaded(on(bench)), around, land},
		{"bead, and a bench much like the face", beaded(on(dim)), around, land},
		{"bead, and a shadow before the bench", beaded(func(p geom.PointMM) float64 {
			if p.Sub(geom.PointMM{X: 1.5}).Norm() > r {
				return shadow
			}
			return bench
		}), around, land},
		{"bead, and a scratch round the opening inside it", func(p geom.PointMM) float64 {
			switch d := p.Norm(); {
			case d > r+wide:
				return lit
			case math.Abs(d-r-wide/2) < 0.04:
				return 1.8 * face
			case d > r:
				return face
			}
			return bench
		}, around, wide},
		{"bead that the edge leaves", beaded(on(bench)), left, land},
		{"bead of dark metal that glints over a fifth of the way round", func(p geom.PointMM) float64 {
			switch d := p.Norm(); {
			case d > r+land && math.Abs(math.Atan2(p.Y, p.X)) < 0.6:
				return lit
			case d > r+land:
				return shadow
			case d > r:
				return face
			}
			return bench
		}, around, land},
		{"bench", on(bench), around, 0},
		{"shadow on one side", func(p geom.PointMM) float64 {
			if p.Sub(geom.PointMM{X: 1.5}).Norm() > outer {
				return shadow
			}
			return bench
		}, around, 0},
		{"ring at the edge", func(p geom.PointMM) float64 {
			if p.Norm() > outer-bead {
				return lit
			}
			return bench
		}, around, 0},
		{"ring at the edge, and a bench much like the face", func(p geom.PointMM) float64 {
			if p.Norm() > outer-bead {
				return lit
			}
			return dim
		}, around, 0},
	}
	for i, tt := range tests {
		s := drawn{light: func(p geom.PointMM) float64 {
			if p.Norm() > outer {
				return face
			}
			return tt.light(p)
		}, seed: uint64(i)}.surface(t)
		found := s.withinBead(tt.base)
		if (found != nil) != (tt.want > 0) {
			t.Errorf("%s: %v, want land %.1f mm wide", tt.name, found, tt.want)
			continue
		}
		if tt.want == 0 {
			continue
		}
		if math.Abs(found.landMM-tt.want) > 0.2 { // the narrowest quarter of the arcs, in steps of half a pixel
			t.Errorf("%s: land %.2f mm wide, want %.2f", tt.name, found.landMM, tt.want)
		}
		for _, p := range found.sure {
			if math.Abs(p.Norm()-r) > 0.2 {
				t.Errorf("%s: the opening's edge is %.2f mm from its middle, want %.2f", tt.name, p.Norm(), r)
				break
			}
		}
	}
}

// A ring 1.3 mm wide lines the opening; for a fifth of the way round its outer side was taken for the opening's edge. Truth is closed form.
func TestBesideRing(t *testing.T) {
	const r, ring = 20.0, 1.3
	const face, lining, bench, shadow = 0.25, 0.05, 0.06, 0.02 // linear light
	lined := func(p geom.PointMM) float64 {
		switch d := p.Norm(); {
		case d > r+ring:
			return face
		case d > r:
			return lining
		}
		return bench
	}
	left := circleOf(r, 400)
	for i := range 80 {
		left[i] = left[i].Scale((r + ring*min(1, min(float64(i), float64(79-i))/8)) / r)
	}
	for i, c := range []struct {
		name       string
		light      func(p geom.PointMM) float64
		base       []geom.PointMM
		ring, left bool
	}{
		{"lined", lined, circleOf(r, 400), true, false},
		{"lined, edge left", lined, left, true, true},
		{"plain", func(p geom.PointMM) float64 {
			if p.Norm() > r {
				return face
			}
			return bench
		}, circleOf(r, 400), false, false},
		{"shadow on one side taken for the part", func(p geom.PointMM) float64 {
			switch d := p.Norm(); {
			case d > r && p.Sub(geom.PointMM{X: ring}).Norm() > r+ring:
				return face
			case d > r:
				return shadow
			}
			return bench
		}, circleOf(r, 400), false, false},
	} {
		s := drawn{light: c.light, seed: uint64(i)}.surface(t)
		found, gone := s.besideRing(c.base)
		if (found != nil) != c.ring || gone != c.left {
			t.Errorf("%s: ring %v, left %v; want %v, %v", c.name, found != nil, gone, c.ring, c.left)
			continue
		}
		if found == nil {
			continue
		}
		for _, p := range found.sure {
			if math.Abs(p.Norm()-r) > 0.5 { // where the edge is left and come back to
				t.Errorf("%s: the opening's edge is %.2f mm from its middle, want %.2f", c.name, p.Norm(), r)
				break
			}
		}
	}
}

// A shadow that falls to one side, and the narrow band of a cut wall, are no ring.
func TestRingWidth(t *testing.T) {
	circle := func(x, r float64) (out []geom.PointMM) {
		for k := range 180 {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / 180)
			out = append(out, geom.PointMM{X: x + r*cos, Y: r * sin})
		}
		return out
	}
	for _, c := range []struct {
		shift, inner, want float64
	}{
		{0, 18, 2},       // a ring
		{0.4, 18, 1.6},   // with a wall beside it
		{1.5, 18.5, 0},   // a shadow
		{0, 19.6, 0},     // a wall, or blur
		{0, 12, 0},       // something that lies in the opening
		{0, 20.5, 0},     // outside
		{2, 16, 0},       // far from even
		{0.1, 18.9, 1.0}, // narrow
	} {
		got := ringWidthMM(circle(0, 20), circle(c.shift, c.inner))
		if math.Abs(got-c.want) > 0.03 {
			t.Errorf("circle of %.1f mm, %.1f mm aside, in one of 20 mm: %.2f mm wide, want %.2f", c.inner, c.shift, got, c.want)
		}
	}
}

// A bead that runs along an edge is told from milling marks and from a plain face, and its colour is not taken for the face's: what is
// 0.65 mm outside the edge and 1.6 mm wide is the larger part of what lies beside it.
func TestBeadBesideTheEdge(t *testing.T) {
	const r, face, dark = 20.0, 0.2, 0.02
	for _, tt := range []struct {
		name  string
		light func(p geom.PointMM) float64 // of the face
		want  bool
	}{
		{"bead", func(p geom.PointMM) float64 {
			if d := p.Norm(); d > r+0.65 && d < r+2.25 {
				return 3 * face
			}
			return face
		}, true},
		{"milling marks", func(p geom.PointMM) float64 { return face * milled(p) }, false},
		{"scratch across", func(p geom.PointMM) float64 {
			if math.Abs(p.Y-3) < 0.3 {
				return 3 * face
			}
			return face
		}, false},
	} {
		s := drawn{light: func(p geom.PointMM) float64 {
			if p.Norm() < r {
				return dark
			}
			return tt.light(p)
		}, seed: 5}.surface(t)
		var base []geom.PointMM
		for k := range 400 {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / 400)
			base = append(base, geom.PointMM{X: r * cos, Y: r * sin})
		}
		if got := s.beadMM(base) > 0; got != tt.want {
			t.Errorf("%s: a bead is %v, want %v", tt.name, got, tt.want)
		}
		if !tt.want {
			continue
		}
		_, level, _ := s.profiles(base, edgeModel{beaded: true}, 0.5)
		if l := quantile(level, 0.5); math.Abs(l-face) > 0.1*face {
			t.Errorf("%s: the face's level is %.3f, want %.2f", tt.name, l, face)
		}
	}
}

// Where a ring lines most openings, one in which none is made out is not measured; one beside which a ring or a bead is known already is none
// of those. Where rings are seen in one opening only, nothing is doubted, and what goes most of the way round is a shadow.
func TestUnlinedAmongLined(t *testing.T) {
	const r, ring = 9.0, 1.3
	const face, lining, bench = 0.25, 0.03, 0.12 // linear light
	centres := []geom.PointMM{{X: -13, Y: -13}, {X: 13, Y: -13}, {X: -13, Y: 13}, {X: 13, Y: 13}}
	for _, c := range []struct {
		rings          int     // so many of the openings are lined
		round          float64 // share of the way round
		known          bool
		lined, doubted bool
	}{{3, 1, false, true, true}, {3, 1, true, true, false}, {1, 1, false, true, false}, {1, 0.78, false, false, false}, {3, 0.78, true, true, false}} {
		s := drawn{light: func(p geom.PointMM) float64 {
			for i, m := range centres {
				switch d := p.Dist(m); {
				case d > r+ring:
				case d > r && i < c.rings && math.Atan2(p.Y-m.Y, p.X-m.X) < math.Pi*(2*c.round-1):
					return lining
				default:
					return bench
				}
			}
			return face
		}}.surface(t)
		starts, bases := make([]start, len(centres)), make([][]geom.PointMM, len(centres))
		for i, m := range centres {
			for _, p := range circleOf(r+ring, 200) {
				bases[i] = append(bases[i], m.Add(p))
			}
		}
		if c.known {
			starts[3].landMM = 2
		}
		s.lined(starts, bases)
		for i, st := range starts {
			if (c.lined && i < c.rings) != st.lined || st.unlined != (c.doubted && i >= c.rings) {
				t.Errorf("%d rings, %.2f of the way round, one known already %v: opening %d lined %v, in doubt %v", c.rings, c.round, c.known, i, st.lined, st.unlined)
			}
		}
	}
}

// Where most openings have a bead round them, one beside which the face is of another width, or goes on, is in doubt.
func TestWithoutBead(t *testing.T) {
	opening := circleOf(12, 100)
	small := circleOf(5, 100)
	known := func(landMM float64) start { return start{landMM: landMM, besideMM: landMM, alongBead: opening} }
	narrow := start{besideMM: 1.2, alongBead: opening} // a ring's width, which doesn't narrow what is looked at
	tests := []struct {
		name   string
		starts []start
		bases  [][]geom.PointMM
		want   []bool
	}{
		{"one goes on", []start{known(2), known(2.1), {}}, [][]geom.PointMM{opening, opening, opening}, []bool{false, false, true}},
		{"one as wide", []start{known(2), known(2.1), {landMM: 1.7}}, [][]geom.PointMM{opening, opening, opening}, []bool{false, false, false}},
		{"one of another width", []start{known(2), known(2.1), {landMM: 3.5}}, [][]geom.PointMM{opening, opening, opening}, []bool{false, false, true}},
		{"narrow rings, and one without", []start{narrow, narrow, {}}, [][]geom.PointMM{opening, opening, opening}, []bool{false, false, true}},
		{"narrow rings, and a bead as near", []start{narrow, narrow, {besideMM: 1.1, beaded: true}}, [][]geom.PointMM{opening, opening, opening}, []bool{false, false, false}},
		{"too small to tell", []start{known(2), known(2.1), {}}, [][]geom.PointMM{opening, opening, small}, []bool{false, false, false}},
		{"most without", []start{known(2), known(2.1), {}, {}}, [][]geom.PointMM{opening, opening, opening, opening}, []bool{false, false, false, false}},
	}
	for _, tt := range tests {
		withoutBead(tt.starts, tt.bases, usualBesideMM(tt.starts, tt.bases))
		for i, st := range tt.starts {
			if st.unlined != tt.want[i] {
				t.Errorf("%s: opening %d in doubt %v, want %v", tt.name, i, st.unlined, tt.want[i])
			}
		}
	}
}

// A bead that a shadow crosses, beads of which most openings show theirs and two hardly any, for a bench of their own brightness in a dark
// gasket's openings, and rings behind which the bench shows here and a shadow there. All of them had edges 1 to 3 mm off at places called sure.
func TestBeadsAndRingsSeenInPart(t *testing.T) {
	for _, seed := range []uint64{81, 201, 232} {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			t.Parallel()
			v, truth := surveyAt(t, "mixed", seed, false, 1)
			offTruth(t, v, truth, func(p face.Port, offMM []float64) {
				const mostMM = 0.7
				var sure []float64
				for i, d := range offMM {
					if p.Sure[i] {
						sure = append(sure, math.Abs(d))
					}
				}
				if off := quantile(sure, 0.9); off > mostMM {
					t.Errorf("a tenth of port %d, at places called sure, is more than %.2f mm off, %.1f at most is wanted", p.Number, off, mostMM)
				}
			})
		})
	}
}

// Regions have the edge of an opening of 20 mm radius right but for a third of the way round, where they took a shadow as bright as the face for
// it. A faint bead lies 1.4 mm outside the edge: found from where the edge is right, it says where the edge is all round. Without a bead
// there is none. Truth is closed form.
func TestBeadOutsideTheEdge(t *testing.T) {
	const r, land, width = 20.0, 1.4, 1.8
	const lit, bench = 0.12, 0.35 // linear light
	shade := geom.PointMM{X: 2.2}
	for _, bead := range []float64{0.09, lit} {
		s := drawn{light: func(p geom.PointMM) float64 {
			switch d := p.Norm(); {
			case d > r+land && d < r+land+width:
				return bead
			case d > r || p.Sub(shade).Norm() > r: // the face, and its shadow
				return lit
			}
			return bench
		}}.surface(t)
		base := circleOf(r, 400)
		for i, p := range base {
			base[i] = p.Scale(1 - 2/r*max(0, -p.X/r-0.3)) // into the shadow
		}
		look := s.beadBeside(base)
		if (look != nil) != (bead != lit) {
			t.Fatalf("bead %.2f on a face of %.2f: found %v", bead, lit, look)
		}
		if look == nil {
			continue
		}
		if math.Abs(look.beadMM-width) > 0.3 || math.Abs(look.landMM-land) > 0.3 {
			t.Errorf("a bead %.2f mm wide at %.2f mm, drawn %.1f at %.1f", look.beadMM, look.landMM, width, land)
		}
		found := s.beadRoundLike(base, *look)
		if found == nil {
			t.Fatal("the bead is not found all round")
		}
		for _, p := range found.end {
			if math.Abs(p.Norm()-r) > 0.35 {
				t.Fatalf("beside the bead the edge is %.2f mm from the middle, drawn at %.1f", p.Norm(), r)
			}
		}
	}
}

// In a noisy photo colour changes everywhere in every arc, and many arcs agree on any width by chance: as many as a window holds a peak, 1 - (1-p)^n for
// n places with a peak at each with probability p. A ring that all arcs show does not raise that. Without it, a ray-traced gasket's openings were 1.7 mm off.
func TestRingsByChance(t *testing.T) {
	const rows, wide, near, density, atRing = 4000, 60, 4, 0.08, 25
	rng := rand.New(rand.NewPCG(1, 2))
	noise, ring := make([][]int, rows), make([][]int, rows)
	for i := range rows {
		for k := range wide {
			if rng.Float64() < density {
				noise[i] = append(noise[i], k)
			}
		}
		ring[i] = []int{atRing + rng.IntN(3)}
	}
	want := 1 - math.Pow(1-density, 2*near+1)
	if got := byChance(noise, wide, near); math.Abs(got-want) > 0.02 {
		t.Errorf("%.3f of the rows agree by chance, want %.3f", got, want)
	}
	if got := byChance(ring, wide, near); got > 0.01 {
		t.Errorf("%.3f of the rows of a clear ring agree by chance, want none", got)
	}
}
