package scalecard

import "portmatch/internal/geom"

// Solution is a solved photo: the camera with its uncertainty, and how well every strip agrees with it.
type Solution struct {
	Camera       Camera
	Strips       []StripFit
	RMSPx        float64 // reprojection residual over all corners used
	TiltDeg      float64 // between the optical axis and the plane's normal
	HeightMM     float64 // camera centre above the printed surface
	PrintedScale [2]float64
	// TagBoxesPx are the outlines of the printed strips in the photo, so that nobody looks for openings on them.
	StripQuadsPx [][4]geom.PointPx
	// BlurPx is the standard deviation of the edge blur measured on the tags, median over the photo.
	BlurPx float64
	// NoiseLevel is the standard deviation of one pixel in linear light at mid grey.
	NoiseLevel float64
}

// StripFit is one strip's place in the plane and how well it fits.
type StripFit struct {
	Number    int
	PlaneFrom geom.Rigid // plane_from_strip
	Tags      int        // tags used
	RMSPx     float64
}

// FaceFields returns the independent errors of the mapping from pixels to the surface heightMM above the strips, as
// displacement fields over the region (face frame, mm) spanned by lo and hi; the height itself, known to sigmaHeightMM
// (standard uncertainty), is one of them.
//
//	func (s *Solution) FaceFields(heightMM, sigmaHeightMM float64, lo, hi geom.PointMM) []geom.Field
