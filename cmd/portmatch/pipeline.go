package main

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"unicode"

	"portmatch/internal/contour"
	"portmatch/internal/face"
	"portmatch/internal/photo"
	"portmatch/internal/scalecard"
)

// shot is one face as the user hands it over: a photo and what is said of it.
type shot struct {
	role     string // "target", "work", or the file's name
	path     string
	heightMM float64
	card     scalecard.Options
}

// sight is a shot that has been measured. A face that comes from a trace file has no photo.
type sight struct {
	shot
	photo    *photo.Photo
	solution *scalecard.Solution
	survey   *contour.Survey
	face     *face.Face
}

// photoError is a photo that can't serve, for a reason that only the whole job shows.
type photoError struct{ path, what string }

func (e *photoError) Error() string { return e.path + ": " + e.what }

// look reads the photo, finds its camera and takes the first look at the part.
func (v *sight) look(ctx context.Context) (err error) {
	if v.photo, err = photo.Load(ctx, v.path, photo.Options{}); err != nil {
		return err
	}
	if v.solution, err = scalecard.Solve(ctx, v.photo, v.card); err != nil {
		return err
	}
	v.survey, err = contour.NewSurvey(ctx, v.photo, v.solution, contour.Options{HeightMM: v.heightMM, Photo: v.role})
	return err
}

// trace measures the outlines; guide may be nil.
func (v *sight) trace(ctx context.Context, guide *contour.Guide) (err error) {
	v.face, err = v.survey.Trace(ctx, guide)
	return err
}

// readTrace returns the face in the file at path if it is a trace file, told by its first character; nil if it is not.
func readTrace(path string) (*face.Face, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, &fileError{path, plain(err), err}
	}
	defer f.Close()
	if info, err := f.Stat(); err != nil || info.IsDir() {
		return nil, &fileError{path: path, what: "is a folder, not a photo"}
	}
	head := make([]byte, 512)
	n, err := io.ReadFull(f, head)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return nil, &fileError{path, plain(err), err}
	}
	if text := bytes.TrimLeftFunc(head[:n], unicode.IsSpace); len(text) == 0 || text[0] != '{' {
		return nil, nil
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return nil, &fileError{path, plain(err), err}
	}
	fc, err := face.Decode(f)
	if err != nil {
		return nil, &fileError{path, err.Error(), err}
	}
	return fc, nil
}

func base(path string) string { return filepath.Base(path) }
