package compare

import (
	"errors"
	"math"
	"testing"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// FuzzMatch compares outlines that cross, touch and repeat themselves: named errors or areas that add up, never a panic.
func FuzzMatch(f *testing.F) {
	square, bowTie := []byte{0, 0, 80, 0, 80, 80, 0, 80}, []byte{0, 0, 80, 80, 80, 0, 0, 80}
	f.Add(square, square)
	f.Add(square, bowTie)
	f.Add(square, []byte{0, 0, 40, 0, 80, 0, 80, 0, 80, 80, 0, 80, 0, 40})
	f.Add(square, []byte{10, 10, 70, 10, 70, 70, 10, 70})
	f.Add(square, []byte{80, 0, 120, 0, 120, 80, 80, 80})
	f.Fuzz(func(t *testing.T, a, b []byte) {
		target, work := faceFromBytes(a), faceFromBytes(b)
		no, zero := false, 0
		r, err := Match(target, work, Options{ToleranceMM: 0.25, Flipped: &no, Turned: &zero})
		if err != nil {
			var fe *FaceError
			var me *MismatchError
			if !errors.As(err, &fe) && !errors.As(err, &me) {
				t.Fatalf("%T: %v", err, err)
			}
			return
		}
		if err := r.Validate(); err != nil {
			t.Fatal(err)
		}
		for _, p := range r.Ports {
			if p.Verdict == NotMeasured {
				continue
			}
			// |T Δ W| = |T| + |W| - 2 |T ∩ W| = (|T| - |T ∩ W|) + (|W| - |T ∩ W|); both rounded edges take their share.
			if d := p.TargetArea.Value - p.RemoveArea.Value - (p.WorkArea.Value - p.PastArea.Value); math.Abs(d) > 1e-3*(1+p.TargetArea.Value) {
				t.Errorf("port %d: target %g less %g and work %g less %g mm² should be the same", p.Port, p.TargetArea.Value, p.RemoveArea.Value,
					p.WorkArea.Value, p.PastArea.Value)
			}
			if d := p.MismatchArea.Value - p.RemoveArea.Value - p.PastArea.Value; math.Abs(d) > 1e-3*(1+p.TargetArea.Value) {
				t.Errorf("port %d: mismatch %g is not %g and %g mm²", p.Port, p.MismatchArea.Value, p.RemoveArea.Value, p.PastArea.Value)
			}
		}
	})
}

// faceFromBytes is a face with one port, a point for every two bytes, and holes that fit one way only.
func faceFromBytes(b []byte) *face.Face {
	f := &face.Face{Holes: []face.Hole{hole(-50, 45, 8), hole(50, -45, 8), hole(-50, -42, 9), hole(48, 47, 9)}}
	var o geom.Outline
	for i := 0; i+1 < len(b) && i < 400; i += 2 {
		o = append(o, geom.PointMM{X: float64(int8(b[i])) / 4, Y: float64(int8(b[i+1])) / 4})
	}
	n := len(o)
	e := face.Edge{Outline: o, SigmaMM: make([]float64, n), BiasMM: make([]float64, n), Sure: make([]bool, n)}
	for i := range o {
		e.SigmaMM[i], e.Sure[i] = 0.01, true
	}
	f.Ports = []face.Port{{Number: 1, Edge: e}}
	return f
}
