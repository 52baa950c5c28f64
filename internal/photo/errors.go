package photo

import (
	"errors"
	"fmt"
)

// What can be wrong with a picture file. Every error that Load returns for a picture is an *Error that matches one of
// these with errors.Is.
var (
	ErrUnreadable  = errors.New("file can't be read")          // missing, no permission, a folder, empty
	ErrNotPicture  = errors.New("not a picture")               // the content is something else
	ErrUnsupported = errors.New("kind of picture not handled") // a picture, but of a kind that can't be measured or decoded
	ErrTooLarge    = errors.New("picture too large")           // refused before decoding
	ErrTooSmall    = errors.New("picture too small")           // under MinSidePx a side
	ErrCrushed     = errors.New("picture compressed too strongly")
	ErrDamaged     = errors.New("picture damaged") // cut short or corrupt: pixels would be invented
)

// Error says what is wrong with one picture file and what to do about it.
type Error struct {
	Path string
	Kind error  // one of the Err values above
	What string // what was found, measured value against limit where there is one
	Try  string // what the user can do; "" where nothing helps
	Err  error  // the cause, nil if there is none beyond What
}

func (e *Error) Error() string {
	s := fmt.Sprintf("%s: %s", e.Path, e.What)
	if e.Try != "" {
		s += ". " + e.Try
	}
	return s
}

// Unwrap lets errors.Is find both the kind and the cause (fs.ErrNotExist and the like).
func (e *Error) Unwrap() []error {
	if e.Err == nil {
		return []error{e.Kind}
	}
	return []error{e.Kind, e.Err}
}
