package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"

	"portmatch/internal/contour"
	"portmatch/internal/face"
	"portmatch/internal/job"
	"portmatch/internal/prose"
	"portmatch/internal/scalecard"
)

// knownFace is the work face as an earlier pass of the job measured it.
type knownFace struct {
	pass int
	face *face.Face
}

// levelMM stands for a height that is known: the face is its own scale. Contour takes 0 for "not said".
const levelMM = 1e-9

// noScaleError is a photo without strips where the face's holes could serve instead.
type noScaleError struct{ err error }

func (e *noScaleError) Error() string { return e.Text().Words }

// Text is the message with its lengths.
func (e *noScaleError) Text() prose.Text {
	return prose.Sprintf("%s; or, where no strip can be laid, give --face-as-scale: the face's holes then serve as the scale, and every figure is less sure", e.err)
}

func (e *noScaleError) Unwrap() error { return e.err }

// showsNoStrip tells whether a photo was refused for having nothing in it that gives the scale.
func showsNoStrip(err error) bool {
	return errors.Is(err, scalecard.ErrNoStrip) || errors.Is(err, scalecard.ErrOtherTags) || errors.Is(err, scalecard.ErrFewTags)
}

// faceAsScale returns the work face of the newest pass that had a scale of its own.
func faceAsScale(j *job.Job) (*knownFace, error) {
	for i := len(j.Passes) - 1; i >= 0; i-- {
		n := j.Passes[i].Number
		data, err := j.ReadPassFile(n, workName)
		if err != nil {
			return nil, err
		}
		f, err := face.Decode(bytes.NewReader(data))
		if err != nil {
			return nil, &fileError{j.PassFile(n, workName), err.Error(), err}
		}
		if f.Calibration.FaceOfPass == 0 {
			return &knownFace{n, f}, nil
		}
	}
	return nil, &fileError{path: j.Dir, what: "no pass of this job has a photo with strips, so nothing is known of its face; photograph it with a strip"}
}

// lookByFace finds the camera from the known face's holes.
func (v *sight) lookByFace(ctx context.Context, opt contour.Options) (err error) {
	if v.byFace, err = contour.SolveOnFace(ctx, v.photo, v.scale.face, opt); err != nil {
		return err
	}
	v.solution, v.heightMM = v.byFace.Solution, 0
	return nil
}

// passOn gives a face that was measured by the known one what is not known of that: its systematic errors, since they displaced
// the holes, are this one's too.
func (k *knownFace) passOn(f *face.Face, by *contour.FaceScale) {
	for _, field := range k.face.Fields {
		field.Name = fmt.Sprintf("pass %d %s", k.pass, field.Name)
		f.Fields = append(f.Fields, field)
	}
	f.Calibration.FaceOfPass = k.pass
	f.Warnings = append(f.Warnings, face.Warn(f.Calibration.Photo,
		prose.Sprintf("no strip in the photo: %d of the face's %d holes, as pass %d measured them, served as the scale; they agree to %s at worst", by.Holes, by.Known, k.pass, prose.MM(by.WorstMM, 2)),
		prose.Sprintf("lay strips beside the face: every figure is then surer")))
}
