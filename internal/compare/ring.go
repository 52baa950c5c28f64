package compare

import (
	"errors"
	"fmt"

	"portmatch/internal/face"
	"portmatch/internal/geom"
	"portmatch/internal/prose"
)

// ring is one closed edge in one frame, anticlockwise and simple, with its uncertainty at every point.
type ring struct {
	outline     geom.Outline
	sigma, bias []float64 // mm, standard
	sure        []bool
	corrMM      float64 // readings nearer than this along the edge are one reading
	cut         bool    // by the photo's frame
	number      int     // in its own photo
	fault       string  // why the outline can't be used, empty if it can

	arcMM    []float64
	index    *geom.Index
	areaMM2  float64
	centroid geom.PointMM
	sureMM   float64 // length that was measured
}

// leastCorrMM stands in where a face does not say over what length its readings hang together (a drawn outline).
const leastCorrMM = 0.1

// newRing makes an edge simple and fills in what it leaves out. An edge whose slices disagree in length is a fault of the
// caller or of a file, and gives an error; an edge that encloses nothing or crosses itself comes back with its fault.
func newRing(e face.Edge) (ring, error) {
	n := len(e.Outline)
	for _, l := range []int{len(e.SigmaMM), len(e.BiasMM), len(e.Sure)} {
		if l != 0 && l != n {
			return ring{}, fmt.Errorf("its outline has %d points but %d values of one kind", n, l)
		}
	}
	r := ring{corrMM: max(e.CorrMM, leastCorrMM)}
	e = thinned(e)
	n = len(e.Outline)
	o, err := geom.Simple(e.Outline)
	if err != nil {
		r.fault = faultWords(err)
		return r, nil
	}
	// Points that Simple moved or dropped: each point takes the values of the nearest one of before.
	at := make([]int, len(o))
	var before *geom.Index
	j := 0
	for i, p := range o {
		if j < n && p == e.Outline[j] {
			at[i], j = j, j+1
			continue
		}
		if before == nil {
			before = geom.NewIndex(e.Outline)
		}
		_, pl, _ := before.Nearest(p)
		if pl.Fraction > 0.5 {
			pl.Side = (pl.Side + 1) % n
		}
		at[i], j = pl.Side, pl.Side+1
	}
	pick := func(v []float64) []float64 {
		w := make([]float64, len(o))
		for i := range o {
			if len(v) > 0 {
				w[i] = v[at[i]]
			}
		}
		return w
	}
	r.outline, r.sigma, r.bias = o, pick(e.SigmaMM), pick(e.BiasMM)
	r.sure = make([]bool, len(o))
	for i := range o {
		r.sure[i] = len(e.Sure) == 0 || e.Sure[at[i]]
	}
	r.measure()
	return r, nil
}

// faultWords says what is wrong with an outline, without places and areas, which nobody can look up.
func faultWords(err error) string {
	var cross *geom.CrossingError
	if errors.As(err, &cross) {
		return fmt.Sprintf("the outline crosses itself: besides its largest loop there are others of %.1f %% of the area", 100*cross.DroppedMM2/(cross.KeptMM2+cross.DroppedMM2))
	}
	return err.Error()
}

// thinMM is the least spacing of an outline's points that is kept: on a corner of 0.5 mm, sharper than a cutter leaves, the
// chord stands off by 0.03²/(8 · 0.5) = 0.0002 mm.
const thinMM = 0.03

// thinned returns e without the points that lie closer than thinMM to the one before.
func thinned(e face.Edge) face.Edge {
	n := len(e.Outline)
	if n < 3 || geom.Outline(e.Outline).PerimeterMM() > thinMM*float64(n) {
		return e
	}
	t := face.Edge{CorrMM: e.CorrMM}
	for i, p := range e.Outline {
		if k := len(t.Outline); k > 0 && p.Dist(t.Outline[k-1]) < thinMM {
			if len(e.Sure) > 0 && !e.Sure[i] {
				t.Sure[k-1] = false
			}
			continue
		}
		t.Outline = append(t.Outline, p)
		if len(e.SigmaMM) > 0 {
			t.SigmaMM = append(t.SigmaMM, e.SigmaMM[i])
		}
		if len(e.BiasMM) > 0 {
			t.BiasMM = append(t.BiasMM, e.BiasMM[i])
		}
		if len(e.Sure) > 0 {
			t.Sure = append(t.Sure, e.Sure[i])
		}
	}
	return t
}

func (r *ring) measure() {
	r.arcMM = r.outline.ArcLengthsMM()
	r.index = geom.NewIndex(r.outline)
	r.areaMM2 = r.outline.AreaMM2()
	r.centroid = r.outline.CentroidMM()
	r.sureMM = 0
	for i := range r.outline {
		if r.sureAt(geom.Place{Side: i}) {
			r.sureMM += r.arcMM[i+1] - r.arcMM[i]
		}
	}
}

func (r *ring) perimeterMM() float64 { return r.arcMM[len(r.outline)] }

// sureAt tells whether both ends of the side at pl were measured.
func (r *ring) sureAt(pl geom.Place) bool { return r.sure[pl.Side] && r.sure[r.next(pl.Side)] }

func (r *ring) next(i int) int {
	if i+1 == len(r.outline) {
		return 0
	}
	return i + 1
}

func (r *ring) between(v []float64, pl geom.Place) float64 {
	return (1-pl.Fraction)*v[pl.Side] + pl.Fraction*v[r.next(pl.Side)]
}

func (r *ring) alongMM(pl geom.Place) float64 {
	return r.arcMM[pl.Side] + pl.Fraction*(r.arcMM[pl.Side+1]-r.arcMM[pl.Side])
}

// outward is the unit normal of the side at pl, away from the opening.
func (r *ring) outward(pl geom.Place) geom.PointMM {
	d := r.outline[r.next(pl.Side)].Sub(r.outline[pl.Side])
	if l := d.Norm(); l > 0 {
		return geom.PointMM{X: d.Y / l, Y: -d.X / l}
	}
	return geom.PointMM{}
}

// mapped returns r in another frame, starting at its rightmost point there.
func (r *ring) mapped(m geom.Rigid) ring {
	if r.fault != "" {
		return *r
	}
	o := r.outline.Mapped(m)
	n := len(o)
	start := o.Rightmost()
	from := func(i int) int { // the point of r that is point i of the result
		i = (i + start) % n
		if m.Mirrored() {
			return (n - i) % n
		}
		return i
	}
	out := *r
	out.outline = o.StartingAt(start)
	out.sigma, out.bias, out.sure = make([]float64, n), make([]float64, n), make([]bool, n)
	for i := range n {
		out.sigma[i], out.bias[i], out.sure[i] = r.sigma[from(i)], r.bias[from(i)], r.sure[from(i)]
	}
	out.measure()
	return out
}

func portRings(f *face.Face, name string) ([]ring, error) {
	var rs []ring
	for _, p := range f.Ports {
		r, err := newRing(p.Edge)
		if err != nil {
			return nil, &FaceError{Face: name, What: prose.Sprintf("port %d: %v", p.Number, err), Try: "trace it again"}
		}
		r.cut, r.number = p.CutByFrame, p.Number
		rs = append(rs, r)
	}
	return rs, nil
}
