package compare

import (
	"fmt"
	"math"
	"slices"

	"portmatch/internal/geom"
)

// Dimension is a distance on the work that a caliper can verify before anything is ground.
type Dimension struct {
	Name  string     `json:"name"` // "A", "B", ...
	What  string     `json:"what"` // in words: how to put the caliper
	From  [2]float64 `json:"from"` // where its jaws touch, job frame
	To    [2]float64 `json:"to"`
	Value Quantity   `json:"value"`          // mm
	Read  float64    `json:"read,omitempty"` // mm, what the caliper said; 0 is not read yet
}

// Reading is a caliper's verdict on a dimension.
type Reading struct {
	DifferenceMM float64 `json:"difference_mm"` // reading less value
	LimitMM      float64 `json:"limit_mm"`      // what value and reading may differ by
	Agrees       bool    `json:"agrees"`
}

const (
	// CaliperUMM is the expanded uncertainty of a reading on a cast and machined edge: a caliper's own ±0.03 mm (common
	// practice, no source) and a burr or a rounding under the jaws.
	CaliperUMM = 0.06
	// caliperReachMM is how far the common size opens, less what the hand needs.
	caliperReachMM = 145
	// leastSpanMM is a distance under which a caliper says nothing about the photo's scale.
	leastSpanMM = 15
	// A jaw on a wall that is this much off square slips.
	squareDeg = 2
)

// Check compares a caliper's reading with the dimension: they agree if they differ by no more than both uncertainties
// together (the normalised error of ISO/IEC 17043 is at most 1).
func (d *Dimension) Check(readMM float64) Reading {
	r := Reading{DifferenceMM: readMM - d.Value.Value, LimitMM: math.Hypot(d.Value.Uncertainty, CaliperUMM)}
	r.Agrees = math.Abs(r.DifferenceMM) <= r.LimitMM
	return r
}

// dimensions names three to five distances on the work: the metal between two holes, along the part and across it, and
// openings' widths where their walls face each other squarely. Fewer where the part has no more.
func (l *laid) dimensions(joints []joint) []Dimension {
	var out []Dimension
	add := func(d Dimension) {
		d.Name = string(rune('A' + len(out)))
		out = append(out, d)
	}
	for _, d := range l.holeSpans() {
		add(d)
	}
	var ports []int
	for i, j := range joints {
		if w := j.work; w != nil && w.fault == "" && !w.cut {
			ports = append(ports, i)
		}
	}
	if len(ports) > 2 { // the outermost: they say most about the photo's edges
		ports = []int{ports[0], ports[len(ports)-1]}
	}
	for _, i := range ports {
		for _, d := range l.openingWidths(i+1, joints[i].work) {
			if len(out) < 5 {
				add(d)
			}
		}
	}
	return out
}

// holeSpans returns the longest measurable web between two holes, and the longest that lies across it.
func (l *laid) holeSpans() []Dimension {
	type web struct {
		Dimension
		dir geom.PointMM
	}
	var webs []web
	for i, h := range l.work.Holes {
		for _, g := range l.work.Holes[:i] {
			a, b := l.jobFromWork.Apply(h.Centre), l.jobFromWork.Apply(g.Centre)
			d := b.Sub(a)
			n := d.Scale(1 / d.Norm())
			mm := d.Norm() - (h.DiameterMM+g.DiameterMM)/2
			if mm < leastSpanMM || mm > caliperReachMM {
				continue
			}
			from, to := a.Add(n.Scale(h.DiameterMM/2)), b.Sub(n.Scale(g.DiameterMM/2))
			u := l.spanU(n, a, b)
			u.sum2 += h.SigmaCentreMM*h.SigmaCentreMM + g.SigmaCentreMM*g.SigmaCentreMM +
				(h.SigmaDiameterMM*h.SigmaDiameterMM+g.SigmaDiameterMM*g.SigmaDiameterMM)/4
			webs = append(webs, web{Dimension{
				What:  fmt.Sprintf("the metal between two holes: outside jaws, one tip in %s, the other in %s, at the very face", l.holeWords(a), l.holeWords(b)),
				From:  [2]float64{from.X, from.Y},
				To:    [2]float64{to.X, to.Y},
				Value: Quantity{mm, u.expanded()},
			}, n})
		}
	}
	if len(webs) == 0 {
		return nil
	}
	slices.SortStableFunc(webs, func(a, b web) int { return compareFloats(b.Value.Value, a.Value.Value) })
	out := []Dimension{webs[0].Dimension}
	for _, w := range webs[1:] {
		if math.Abs(w.dir.Dot(webs[0].dir)) < math.Cos(math.Pi/3) {
			return append(out, w.Dimension)
		}
	}
	return out
}

// holeWords says which hole is meant by the port beside it: at is its centre in the job frame.
func (l *laid) holeWords(at geom.PointMM) string {
	port, from, near := 0, geom.PointMM{}, math.Inf(1)
	for i, j := range l.joints() {
		r := j.target
		if r == nil {
			r = j.work
		}
		if d := r.centroid.Dist(at); d < near {
			port, from, near = i+1, r.centroid, d
		}
	}
	return fmt.Sprintf("the hole beside port %d, towards its %s", port, clock(at.Sub(from)))
}

// spanU propagates the work's own sources to a distance along n between two of its places.
func (l *laid) spanU(n, a, b geom.PointMM) linear {
	var u linear
	for k := range l.modes {
		u.add(n.Dot(l.modes[k].work(b).Sub(l.modes[k].work(a))))
	}
	return u
}

// openingWidths returns the narrowest and the widest distance across an opening at which both walls stand square to the
// caliper, so that a jaw that slips along the wall reads the same.
func (l *laid) openingWidths(port int, w *ring) []Dimension {
	n := max(60, int(w.perimeterMM()/0.5))
	type wall struct {
		p, n geom.PointMM
		pl   geom.Place
	}
	walls := make([]wall, 0, n)
	for k := range n {
		s := w.perimeterMM() * float64(k) / float64(n)
		pl := w.outline.PlaceAlong(w.arcMM, s)
		if !w.sureAt(pl) {
			continue
		}
		// The direction over 3 mm, as wide as a jaw: single sides are noise.
		a, b := w.outline.At(w.outline.PlaceAlong(w.arcMM, s-1.5)), w.outline.At(w.outline.PlaceAlong(w.arcMM, s+1.5))
		d := b.Sub(a)
		walls = append(walls, wall{w.outline.At(pl), geom.PointMM{X: d.Y, Y: -d.X}.Scale(1 / d.Norm()), pl})
	}
	var narrow, wide *Dimension
	cos := math.Cos(squareDeg * math.Pi / 180)
	for i := range walls {
		for j := range i {
			d := walls[j].p.Sub(walls[i].p)
			mm := d.Norm()
			if mm < leastSpanMM || mm > caliperReachMM {
				continue
			}
			e := d.Scale(1 / mm)
			if walls[i].n.Dot(e) > -cos || walls[j].n.Dot(e) < cos {
				continue
			}
			if narrow != nil && mm >= narrow.Value.Value && mm <= wide.Value.Value {
				continue
			}
			u := l.spanU(e, walls[i].p, walls[j].p)
			for _, x := range []wall{walls[i], walls[j]} {
				u.add(w.between(w.sigma, x.pl))
			}
			u.add(w.between(w.bias, walls[i].pl) + w.between(w.bias, walls[j].pl))
			q := &Dimension{From: [2]float64{walls[i].p.X, walls[i].p.Y}, To: [2]float64{walls[j].p.X, walls[j].p.Y}, Value: Quantity{mm, u.expanded()}}
			if narrow == nil || mm < narrow.Value.Value {
				narrow = q
			}
			if wide == nil || mm > wide.Value.Value {
				wide = q
			}
		}
	}
	if narrow == nil {
		return nil
	}
	name := func(d *Dimension, how string) Dimension {
		d.What = fmt.Sprintf("the %s of port %d: inside jaws at the very face, from the %s wall to the %s wall", how, port,
			clock(geom.PointMM{X: d.From[0], Y: d.From[1]}.Sub(w.centroid)), clock(geom.PointMM{X: d.To[0], Y: d.To[1]}.Sub(w.centroid)))
		return *d
	}
	if wide.Value.Value-narrow.Value.Value < 0.05*wide.Value.Value {
		return []Dimension{name(wide, "width")}
	}
	return []Dimension{name(wide, "length"), name(narrow, "width")}
}
