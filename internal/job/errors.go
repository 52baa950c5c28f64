package job

import (
	"errors"
	"fmt"
	"io/fs"
	"syscall"
)

// What can be wrong with a job folder or a file to be written. Every error of this package, but for those of a caller's own
// writer and of a context, is an *Error that matches one of these with errors.Is.
var (
	ErrNotFound   = errors.New("no such job folder")
	ErrNotJob     = errors.New("not a job folder")
	ErrExists     = errors.New("job folder exists already")
	ErrLocked     = errors.New("job folder in use")
	ErrNewer      = errors.New("job folder written by a newer version")
	ErrDamaged    = errors.New("job folder damaged")
	ErrUnreadable = errors.New("file can't be read")
	ErrUnwritable = errors.New("file can't be written")
	ErrFull       = errors.New("disk full")
)

// Error says what is wrong with one file or folder and what to do about it.
type Error struct {
	Path string
	Kind error  // one of the Err values above
	What string // what was found
	Try  string // what the user can do
	Err  error  // the cause, nil if there is none beyond What
}

func (e *Error) Error() string { return fmt.Sprintf("%s: %s. %s", e.Path, e.What, e.Try) }

// Unwrap lets errors.Is find both the kind and the cause.
func (e *Error) Unwrap() []error {
	if e.Err == nil {
		return []error{e.Kind}
	}
	return []error{e.Kind, e.Err}
}

// cannotWrite puts a failed write into words.
func cannotWrite(path string, err error) error {
	if e := (*Error)(nil); errors.As(err, &e) {
		return err
	}
	e := &Error{Path: path, Kind: ErrUnwritable, Err: err}
	switch {
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		e.Kind, e.What, e.Try = ErrFull, "the disk is full", "Make room on it, then run this again; what was saved before is untouched"
	case errors.Is(err, syscall.EROFS):
		e.What, e.Try = "the disk or card can't be written to", "Choose or copy to another place"
	case errors.Is(err, fs.ErrPermission):
		e.What, e.Try = "no permission to write here", "Change the folder's permissions, or copy it to a place of your own"
	case errors.Is(err, fs.ErrNotExist):
		e.What, e.Try = "the folder it should go into doesn't exist", "Make that folder first, or check the name"
	default:
		e.What, e.Try = "can't be written: "+cause(err), "Choose another place"
	}
	return e
}

// cannotRead puts a failed read into words.
func cannotRead(path string, err error) error {
	e := &Error{Path: path, Kind: ErrUnreadable, Err: err}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		e.What, e.Try = "there is no such file", "Check whether something was moved or deleted from the job folder"
	case errors.Is(err, fs.ErrPermission):
		e.What, e.Try = "no permission to read it", "Change its permissions, or copy the job folder to a place of your own"
	default:
		e.What, e.Try = "can't be read: "+cause(err), "Copy the job folder to another disk and try there"
	}
	return e
}

// cause leaves out the operation and path that the standard library puts before the reason.
func cause(err error) string {
	var no syscall.Errno
	if errors.As(err, &no) {
		return no.Error()
	}
	return err.Error()
}
