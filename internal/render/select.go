package render

import (
	"fmt"
	"slices"

	"portmatch/internal/compare"
	"portmatch/internal/geom"
)

// Side is the side a drawing is seen from.
type Side string

// The sides: the work face as it is looked at, or mirrored, as the gasket's own face shows when the gasket is turned over
// to look at the side that lay on the work.
const (
	FaceSide   Side = "face"
	GasketSide Side = "gasket"
)

// paperFromJob turns the job frame into the drawing's: itself, or mirrored left to right.
func (s Side) paperFromJob() geom.Rigid {
	m := geom.Identity()
	if s == GasketSide {
		m.A = -1
	}
	return m
}

// PortNumberError says that the result has no such port.
type PortNumberError struct {
	Number int
	Have   int // ports are numbered 1 to Have
}

func (e *PortNumberError) Error() string {
	return fmt.Sprintf("there is no port %d: this job has ports 1 to %d", e.Number, e.Have)
}

// selectPorts returns the ports of the given numbers, in the result's order; all of them for no numbers at all. A number
// that no port has is a *PortNumberError.
func selectPorts(r *compare.Result, numbers []int) ([]*compare.PortResult, error) {
	have := func(n int) bool {
		return slices.ContainsFunc(r.Ports, func(p compare.PortResult) bool { return p.Port == n })
	}
	for _, n := range numbers {
		if !have(n) {
			return nil, &PortNumberError{n, len(r.Ports)}
		}
	}
	var ports []*compare.PortResult
	for i := range r.Ports {
		if len(numbers) == 0 || slices.Contains(numbers, r.Ports[i].Port) {
			ports = append(ports, &r.Ports[i])
		}
	}
	return ports, nil
}

// drawnDiameterMM is a hole's size as the work face has it, since drawings are laid on the work face; the target's where
// the work has no such hole.
func drawnDiameterMM(h compare.HoleResult) float64 {
	if h.WorkDiameter > 0 {
		return h.WorkDiameter
	}
	return h.TargetDiameter
}

// locates tells whether the faces were lined up on this hole.
func locates(h compare.HoleResult, a compare.Alignment) bool {
	both := h.TargetDiameter > 0 && h.WorkDiameter > 0
	switch a.On {
	case "dowels":
		return both && h.Kind == "dowel"
	case "bolt holes":
		return both
	}
	return false
}
