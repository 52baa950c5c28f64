package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"portmatch/internal/compare"
	"portmatch/internal/contour"
	"portmatch/internal/job"
	"portmatch/internal/photo"
	"portmatch/internal/prose"
	"portmatch/internal/render"
	"portmatch/internal/scalecard"
)

// The exit statuses, as the README gives them.
const (
	statusDone    = 0
	statusFailed  = 1 // a fault of the program: nothing below fits
	statusUsage   = 2
	statusPhoto   = 3
	statusParts   = 4
	statusFile    = 5
	statusStopped = 130 // as shells report Ctrl-C
)

// report is the one place that turns an error into a message and a status.
func report(stderr io.Writer, err error) int {
	if err == nil {
		return statusDone
	}
	if errors.Is(err, context.Canceled) {
		fmt.Fprintln(stderr, "portmatch: stopped; nothing was written")
		return statusStopped
	}
	fmt.Fprintln(stderr, "portmatch:", message(err))
	return statusOf(err)
}

// unitsError is an error with the units in which its user wants to read it.
type unitsError struct {
	err   error
	units render.Units
}

func (e *unitsError) Error() string { return e.err.Error() }
func (e *unitsError) Unwrap() error { return e.err }

// message puts an error in words, in its user's units where it has any.
func message(err error) string {
	if e := (*unitsError)(nil); errors.As(err, &e) {
		if t, ok := e.err.(prose.Texter); ok {
			return e.units.Prose(t.Text())
		}
	}
	return err.Error()
}

func statusOf(err error) int {
	is := func(target error) bool { return errors.Is(err, target) }
	switch {
	case as[*usageError](err), as[*render.TooLargeError](err), as[*render.PortNumberError](err), is(scalecard.ErrBadOption):
		return statusUsage
	case as[*fileError](err), is(photo.ErrUnreadable):
		return statusFile
	case as[*photo.Error](err), as[*photoError](err):
		return statusPhoto
	case as[*scalecard.Error](err), as[*contour.Error](err), as[*compare.FaceError](err), as[*disagreement](err), as[*stageError](err):
		return statusPhoto
	case as[*compare.MismatchError](err), as[*compare.AmbiguousError](err):
		return statusParts
	case as[*job.Error](err):
		return statusFile
	}
	return statusFailed
}

func as[E error](err error) bool {
	var e E
	return errors.As(err, &e)
}
