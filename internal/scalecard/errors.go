package scalecard

import (
	"errors"
	"fmt"
	"strings"

	"portmatch/internal/prose"
)

// What can be wrong with a photo; test with errors.Is. The error itself is an *Error.
var (
	ErrTooSmall   = errors.New("picture too small")
	ErrNoStrip    = errors.New("no scale strip found")
	ErrFewTags    = errors.New("too little of the strips to be seen")
	ErrMirrored   = errors.New("picture is mirrored")
	ErrOtherTags  = errors.New("tags of another family")
	ErrDoubled    = errors.New("the same strip twice")
	ErrBlurred    = errors.New("photo is blurred")
	ErrDark       = errors.New("photo is too dark")
	ErrTinted     = errors.New("photo is tinted")
	ErrLifted     = errors.New("a strip does not lie flat")
	ErrPrintScale = errors.New("strips of different size")
	ErrStretched  = errors.New("picture or print is stretched")
	ErrPoorFit    = errors.New("strips do not fit a camera picture")
	ErrBadOption  = errors.New("bad setting")
)

// Error says why a photo gives no scale, in the user's words.
type Error struct {
	Path   string     // the photo
	Err    error      // one of the Err values above
	What   prose.Text // what was seen, measured value against limit
	Try    string     // what to do about it
	Strips []int      // the strips at fault, where they are known
}

func (e *Error) Error() string { return e.Text().Words }

// Text is the message with its lengths.
func (e *Error) Text() prose.Text {
	t := e.What
	if e.Path != "" {
		t = prose.Sprintf("%s: %s", e.Path, t)
	}
	if e.Try != "" {
		t = prose.Sprintf("%s; %s", t, e.Try)
	}
	return t
}

func (e *Error) Unwrap() error { return e.Err }

// list writes 1, "1 and 2", "1, 2 and 3".
func list(numbers []int) string {
	var b strings.Builder
	for i, n := range numbers {
		switch {
		case i == 0:
		case i == len(numbers)-1:
			b.WriteString(" and ")
		default:
			b.WriteString(", ")
		}
		fmt.Fprint(&b, n)
	}
	return b.String()
}
