// Package face is what is known of one photographed face in mm: outlines, holes, the part's own edge, each with its
// uncertainty. It is what contour hands to compare, and what a trace file holds. It knows nothing of pixels or cameras.
package face

import (
	"slices"

	"portmatch/internal/geom"
	"portmatch/internal/prose"
)

// Face is one traced face, in its face frame: mm, x right and y up as seen in the photo. All uncertainties are standard
// uncertainties (k = 1).
type Face struct {
	Ports       []Port
	Holes       []Hole
	PartOutline Edge // empty where the part's own edge was not found
	// Fields are the independent systematic errors of the whole face (camera, height): each displaces every outline and
	// hole together by one standard deviation.
	Fields      []geom.Field
	Calibration Calibration
	Warnings    []Warning
}

// Edge is a closed curve: anticlockwise, first point not repeated, in the face frame. The per-vertex slices have the
// length of Outline.
type Edge struct {
	Outline []geom.PointMM
	// SigmaMM is the standard uncertainty normal to the edge from noise and texture; readings nearer to each other along
	// the edge than CorrMM are fully correlated, further apart independent.
	SigmaMM []float64
	// BiasMM is the standard uncertainty normal to the edge that no averaging along it removes: which of two transitions
	// is the edge, a rounded rim, the tone curve.
	BiasMM []float64
	CorrMM float64
	// Sure is false where no trustworthy edge was found: the outline there is a bridge for display, and no figure rests on it.
	Sure []bool
}

// Port is an opening that carries flow.
type Port struct {
	Number int // as numbered in this photo; 1-based, left to right, then top to bottom
	Edge
	CutByFrame bool // the opening runs off the photo
}

// Hole is a round hole that carries a bolt, stud or dowel.
type Hole struct {
	Centre          geom.PointMM // face frame
	DiameterMM      float64      // of the edge at the face, so with its chamfer if it has one
	SigmaCentreMM   float64      // standard uncertainty of each coordinate of the centre
	SigmaDiameterMM float64
}

// Calibration says how the photo was turned into mm.
type Calibration struct {
	Photo             string  `json:"photo"` // "target", "work"; the file's base name for trace
	ReprojectionRMSPx float64 `json:"reprojection_rms_px"`
	Strips            []int   `json:"strips"`
	CameraHeightMM    float64 `json:"camera_height_mm,omitempty"`
	TiltDeg           float64 `json:"tilt_deg"`
	MMPerPx           float64 `json:"mm_per_px"` // at the middle of the part
	HeightMM          float64 `json:"height_mm"`
	ScanDPI           float64 `json:"scan_dpi,omitempty"` // flat-bed scans: the resolution that was used
	// FaceOfPass is the pass whose holes served as the scale of a photo without strips; 0 for all others.
	FaceOfPass int `json:"face_of_pass,omitempty"`
}

// Warning is a piece of advice for the user, in the user's words; its lengths are in mm, and stand beside for other units.
type Warning struct {
	Photo       string         `json:"photo"`
	What        string         `json:"what"`
	Try         string         `json:"try"`
	WhatLengths []prose.Length `json:"what_lengths,omitempty"`
	TryLengths  []prose.Length `json:"try_lengths,omitempty"`
}

// Warn returns a warning whose texts keep their lengths.
func Warn(photo string, what, try prose.Text) Warning {
	return Warning{Photo: photo, What: what.Words, WhatLengths: what.Lengths, Try: try.Words, TryLengths: try.Lengths}
}

// Advised returns the warnings with advice that the one before gave already left out.
func Advised(list []Warning) []Warning {
	out := slices.Clone(list)
	for i := len(out) - 1; i > 0; i-- {
		if out[i].Try == out[i-1].Try {
			out[i].Try, out[i].TryLengths = "", nil
		}
	}
	return out
}

// Said returns the warning's two texts.
func (w *Warning) Said() (what, try prose.Text) {
	return prose.Text{Words: w.What, Lengths: w.WhatLengths}, prose.Text{Words: w.Try, Lengths: w.TryLengths}
}
