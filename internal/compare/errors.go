package compare

import (
	"fmt"
	"strings"
)

// MismatchError says that target and work do not belong together, and what disagrees.
type MismatchError struct {
	What string // what was compared and found different, with the figures
	Try  string
	// ScaleRatio is not zero where everything agrees but the size: work over target.
	ScaleRatio float64
}

func (e *MismatchError) Error() string {
	return "target and work don't go together: " + e.What + "; " + e.Try
}

// AmbiguousError says that the parts fit together in more than one way and nothing measured tells which is meant.
type AmbiguousError struct {
	What string
	Flag string // "--flipped yes|no", "--turned 0|180", or both
}

func (e *AmbiguousError) Error() string {
	return fmt.Sprintf("%s; say which way with %s", e.What, e.Flag)
}

// FaceError says that a face handed over can't be compared at all.
type FaceError struct {
	Face string // "target", "work"
	What string
	Try  string
}

func (e *FaceError) Error() string {
	return strings.TrimSuffix(fmt.Sprintf("the %s can't be compared: %s; %s", e.Face, e.What, e.Try), "; ")
}
