package scalecard

import (
	"portmatch/internal/face"
	"portmatch/internal/geom"
	"portmatch/internal/photo"
)

// Solution is a solved photo: the camera with its uncertainty, and how well every strip agrees with it.
type Solution struct {
	Camera       Camera
	Strips       []StripFit
	RMSPx        float64 // reprojection residual over all corners used
	TiltDeg      float64 // between the optical axis and the plane's normal
	HeightMM     float64 // camera centre above the printed surface
	PrintedScale [2]float64
	// StripQuadsPx are the outlines of the whole printed strips (190 x 28 mm) in the photo, in the order of Strips, so
	// that nobody looks for openings on them.
	StripQuadsPx [][4]geom.PointPx
	// BlurPx is the standard deviation of the edge blur measured on the tags, median over the photo.
	BlurPx float64
	// WhiteBurnt tells that the strips' white paper is as bright as the photo can store: its edges look sharper than the photo is.
	WhiteBurnt bool
	// NoiseLevel is the standard deviation of one pixel in linear light at mid grey (0.18); 0 for a scan without a strip.
	NoiseLevel float64
	// Tone is the tone curve that was used, the photo's own.
	Tone photo.Tone
	// Tags are the tags as measured, in the order of their numbers.
	Tags []TagFit

	// ScanDPI is a flat-bed scan's resolution along u and v, by its strips or, without one, as stated; 0 for a photo.
	ScanDPI [2]float64
	// Warnings are about this photo, in the user's words; Photo is left empty.
	Warnings []face.Warning

	fit  *fitted
	bent []photo.Tone // Tone bent by one standard uncertainty, in independent ways
	// rendering is what the phone makes of light; nil where the card does not tell.
	rendering *rendering
}

// TagFit is one measured tag. Corners are those of the nominal tag, in the order of strip.TagCorners.
type TagFit struct {
	Strip, Tag int // strip number; place on the strip, 0 at its left end
	CornersPx  [4]geom.PointPx
	ResidualPx [4]geom.PointPx // measured less solved
	Weight     float64         // 0 to 1: how far the solve believed it
	// GrowthPx is how far black reaches past its nominal edge, across the strip's x and y: ink, and what is left of the
	// tone curve.
	GrowthPx [2]float64
}

// StripFit is one strip's place in the plane and how well it fits.
type StripFit struct {
	Number    int
	PlaneFrom geom.Rigid // plane_from_strip
	Tags      int        // tags used
	RMSPx     float64
}
