// Package photo reads pictures: decoding, EXIF orientation, focal length, resolution, tone curve.
//
// A file is read once and decoded once. Its header is checked before any decoder sees it, so that a hostile or absurd
// header costs neither time nor memory.
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
	MeanQuantum   float64  // of a JPEG: the mean step in which brightness is coded, grey levels; 0 if unknown
	ChromaQuantum float64  // the same of chroma
	Notes         []string // advice about the file itself, in the user's words

	// File is the file's content exactly as read: what is stored in a job is then what was measured, even if the file on
	// disk has changed since. SHA256 is its checksum.
	File   []byte
	SHA256 [32]byte
	// Camera is true when the file says that it was exposed through a lens, so that it can't be a flat-bed scan and its
	// resolution means nothing.
	Camera bool
	// Cropped is true when the file says that the picture was cut after it was taken: the lens's axis is then not at the
	// centre, and Focal35MM is 0.
	Cropped bool

	stored  planes // y is nil: Gray holds it, turned
	chroma  chromaGrid
	applied int // the orientation that took stored to Gray: 1 where the container had turned it already
}

// Tone takes an 8-bit grey level to linear light; 0 is black, 1 is white.
type Tone struct{ Linear [256]float32 }
