package compare

import (
	"portmatch/internal/prose"
)

// MismatchError says that target and work do not belong together, and what disagrees.
type MismatchError struct {
	What prose.Text // what was compared and found different, with the figures
	Try  string
	// ScaleRatio is not zero where everything agrees but the size: work over target.
	ScaleRatio float64
}

func (e *MismatchError) Error() string { return e.Text().Words }

// Text is the message with its lengths.
func (e *MismatchError) Text() prose.Text {
	return prose.Sprintf("target and work don't go together: %s; %s", e.What, e.Try)
}

// AmbiguousError says that the parts fit together in more than one way and nothing measured tells which is meant.
type AmbiguousError struct {
	What prose.Text
	Flag string // "--flipped yes|no", "--turned 0|180", or both
}

func (e *AmbiguousError) Error() string { return e.Text().Words }

// Text is the message with its lengths.
func (e *AmbiguousError) Text() prose.Text {
	return prose.Sprintf("%s; say which way with %s", e.What, e.Flag)
}

// FaceError says that a face handed over can't be compared at all.
type FaceError struct {
	Face string // "target", "work"
	What prose.Text
	Try  string
}

func (e *FaceError) Error() string { return e.Text().Words }

// Text is the message with its lengths.
func (e *FaceError) Text() prose.Text {
	t := prose.Sprintf("the %s can't be compared: %s", e.Face, e.What)
	if e.Try != "" {
		t = prose.Sprintf("%s; %s", t, e.Try)
	}
	return t
}

// NoPort is the error for a face, "target" or "work", on which there is nothing to compare.
func NoPort(side string) *FaceError {
	return &FaceError{side, prose.Sprintf("no port was found on it"), "photograph it so that every opening shows whole"}
}
