package contour

import (
	"errors"

	"portmatch/internal/prose"
)

// What can be wrong with a face in a photo; test with errors.Is. The error itself is an *Error.
var (
	ErrNoOpening = errors.New("no opening found")
	ErrTooCoarse = errors.New("picture too coarse")
	ErrBlurred   = errors.New("picture too blurred for its scale")
)

// Error says why no outline could be measured, in the user's words.
type Error struct {
	Path string     // the photo
	Err  error      // one of the Err values above
	What prose.Text // what was seen, measured value against limit
	Try  string     // what to do about it
}

func (e *Error) Error() string { return e.Text().Words }

// Text is the message with its lengths.
func (e *Error) Text() prose.Text { return prose.Sprintf("%s: %s; %s", e.Path, e.What, e.Try) }

func (e *Error) Unwrap() error { return e.Err }
