package compare

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
)

// ErrImplausible says that a result holds what no comparison gives.
var ErrImplausible = errors.New("it holds what no comparison gives")

// Bounds on what a result may hold, so that whoever draws a stored one is not led astray: a part is metres across at most, and
// a port has tens of thousands of points at most.
const (
	maxPlaceMM = 2000
	maxFigure  = 1e9 // mm³ of metal, the largest figure there is, at a metre's size
	maxPoints  = 200_000
	maxPorts   = 1000
)

var verdicts = []string{Matched, Grind, PastLine, GrindPast, TooClose, NotMeasured}

// Validate tells whether r could have come from a comparison: numbers of a size that a part can have, ports numbered once,
// known verdicts. It is for results that were stored; errors match ErrImplausible.
func (r *Result) Validate() error {
	if len(r.Ports) > maxPorts || len(r.Holes) > maxPorts {
		return implausible("%d ports and %d holes", len(r.Ports), len(r.Holes))
	}
	if err := checkFigures(reflect.ValueOf(*r), "result"); err != nil {
		return err
	}
	seen := map[int]bool{}
	for i := range r.Ports {
		p := &r.Ports[i]
		if p.Port < 1 || seen[p.Port] {
			return implausible("port number %d twice, or not 1 or more", p.Port)
		}
		seen[p.Port] = true
		if !slices.Contains(verdicts, p.Verdict) {
			return implausible("port %d: verdict %q", p.Port, p.Verdict)
		}
		if len(p.TargetOutline)+len(p.WorkOutline)+len(p.Profile) > maxPoints {
			return implausible("port %d: %d points", p.Port, len(p.TargetOutline)+len(p.WorkOutline)+len(p.Profile))
		}
	}
	return nil
}

func implausible(format string, args ...any) error {
	return fmt.Errorf("%w: "+format, append([]any{ErrImplausible}, args...)...)
}

// checkFigures looks at every number below v: places, which are pairs of coordinates, and figures.
func checkFigures(v reflect.Value, name string) error {
	switch v.Kind() {
	case reflect.Float64:
		if !(math.Abs(v.Float()) <= maxFigure) {
			return implausible("%s is %g", name, v.Float())
		}
	case reflect.Array, reflect.Slice:
		if at, ok := v.Interface().([2]float64); ok && !(math.Abs(at[0]) <= maxPlaceMM && math.Abs(at[1]) <= maxPlaceMM) {
			return implausible("%s is (%g, %g)", name, at[0], at[1])
		}
		for i := range v.Len() {
			if err := checkFigures(v.Index(i), name); err != nil {
				return err
			}
		}
	case reflect.Pointer:
		if !v.IsNil() {
			return checkFigures(v.Elem(), name)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if err := checkFigures(v.Field(i), v.Type().Field(i).Name); err != nil {
				return err
			}
		}
	}
	return nil
}
