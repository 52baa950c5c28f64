package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"sync"
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
	scale    *knownFace // what serves as the scale where the photo shows no strip; nil: nothing does
	read     readPhoto  // nil: nobody has begun to read the photo
}

// readPhoto waits for a photo that is being read.
type readPhoto func() (*photo.Photo, error)

// readAhead begins to read the first photos, as many as are read side by side anyway.
func readAhead(ctx context.Context, paths []string) []readPhoto {
	var out []readPhoto
	for _, path := range paths[:min(photosAtOnce(), len(paths))] {
		read := sync.OnceValues(func() (*photo.Photo, error) {
			useHugePages()
			return photo.Load(ctx, path, photo.Options{})
		})
		go read() // whoever waits for it gets the error
		out = append(out, read)
	}
	return out
}

func photosAtOnce() int { return max(2, runtime.GOMAXPROCS(0)) }

// sight is a shot that has been measured. A face that comes from a trace file has no photo.
type sight struct {
	shot
	photo    *photo.Photo
	solution *scalecard.Solution
	survey   *contour.Survey
	face     *face.Face
	byFace   *contour.FaceScale // how the face served as the scale; nil where strips or a resolution did
	// noOpening says that the photo by itself shows no opening; nil if it does.
	noOpening error
}

// photoError is a photo that can't serve, for a reason that only the whole job shows.
type photoError struct{ path, what string }

func (e *photoError) Error() string { return e.path + ": " + e.what }

// look reads the photo, finds its camera and takes the first look at the part.
func (v *sight) look(ctx context.Context) (err error) {
	if v.read == nil {
		v.read = readAhead(ctx, []string{v.path})[0]
	}
	if v.photo, err = v.read(); err != nil {
		return err
	}
	opt := contour.Options{HeightMM: v.heightMM, Photo: v.role}
	v.solution, err = scalecard.Solve(ctx, v.photo, v.card)
	if v.scale != nil && showsNoStrip(err) {
		opt = contour.Options{HeightSigmaMM: levelMM, Photo: v.role}
		err = v.lookByFace(ctx, opt)
	}
	if err != nil {
		return err
	}
	survey, err := contour.NewSurvey(ctx, v.photo, v.solution, opt)
	if err != nil {
		return err
	}
	v.survey = survey
	return nil
}

// trace measures the outlines; guide may be nil.
func (v *sight) trace(ctx context.Context, guide *contour.Guide) (err error) {
	if v.face, err = v.survey.Trace(ctx, guide); err == nil && v.byFace != nil {
		v.scale.passOn(v.face, v.byFace)
	}
	return err
}

// traceOrHoles measures the outlines. A face that shows no opening but holes enough to lay it on another waits for what the other shows.
func (v *sight) traceOrHoles(ctx context.Context) error {
	const enough = 3
	err := v.trace(ctx, nil)
	if errors.Is(err, contour.ErrNoOpening) {
		if rough := v.survey.Rough(); len(rough.Holes) >= enough {
			v.face, v.noOpening = rough, err
			return nil
		}
	}
	return err
}

// readOutlines returns the face in a trace file or an SVG drawing, told from a photo by its first character; nil for what is
// neither.
func readOutlines(path string) (*face.Face, error) {
	switch info, err := os.Stat(path); {
	case err != nil:
		return nil, &fileError{path, plain(err), err}
	case !info.Mode().IsRegular(): // a folder is refused as a photo, a pipe can be read only once
		return nil, nil
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, &fileError{path, plain(err), err}
	}
	defer f.Close()
	in := bufio.NewReader(f)
	head, err := in.Peek(512)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, &fileError{path, plain(err), err}
	}
	text := bytes.TrimLeftFunc(bytes.TrimPrefix(head, []byte("\ufeff")), unicode.IsSpace)
	var decode func(io.Reader) (*face.Face, error)
	switch {
	case bytes.HasPrefix(text, []byte("{")):
		decode = face.Decode
	case bytes.HasPrefix(text, []byte("<")):
		decode = face.DecodeSVG
	default:
		return nil, nil
	}
	if bytes.HasPrefix(head, []byte("\ufeff")) {
		if _, err := in.Discard(3); err != nil {
			return nil, &fileError{path, plain(err), err}
		}
	}
	outlines, err := decode(in)
	if err != nil {
		return nil, &fileError{path, err.Error(), err}
	}
	return outlines, nil
}

func base(path string) string { return filepath.Base(path) }
