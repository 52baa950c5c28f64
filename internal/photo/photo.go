// Package photo reads pictures: decoding, EXIF orientation, focal length, resolution, tone curve.
package photo

// Photo is one picture as the measuring code wants it.
type Photo struct {
	Path          string
	Width, Height int     // after EXIF orientation
	Gray          []uint8 // Width x Height, row-major, after EXIF orientation; gamma-coded as stored
	Orientation   int     // EXIF, 1 to 8, as found in the file; already applied
	Focal35MM     float64 // EXIF FocalLengthIn35mmFilm, 0 if unknown
	DPIX, DPIY    float64 // the file's own resolution along the oriented axes, 0 if unknown
	Format        string  // "jpeg", "png", ...
	Tone          Tone
	Notes         []string // advice about the file itself, in the user's words
}

// Tone takes an 8-bit grey level to linear light; 0 is black, 1 is white.
type Tone struct{ Linear [256]float32 }
