package photo

import (
	"bytes"
	"encoding/binary"
	"errors"
	"math"
)

// exifInfo is what the measuring code can use of an EXIF block (CIPA DC-008) or a TIFF directory. Zero means not stated.
type exifInfo struct {
	orientation    int // 1 to 8
	xRes, yRes     float64
	resUnit        int     // 1 none, 2 inch, 3 cm; 2 where not stated (TIFF 6.0)
	focalMM        float64 // of the lens itself
	focal35MM      float64
	focalPlaneX    float64 // sensor pixels per focalPlaneUnit
	focalPlaneY    float64
	focalPlaneUnit int
	pixelX, pixelY int // size of the picture as the camera wrote it
	digitalZoom    float64
	exposed        bool // exposure time, aperture or focal length is stated: a lens took this
	adobeRGB       bool
}

// TIFF and EXIF tags, by their numbers in TIFF 6.0 and CIPA DC-008.
const (
	tagImageWidth       = 0x0100
	tagImageLength      = 0x0101
	tagBitsPerSample    = 0x0102
	tagCompression      = 0x0103
	tagPhotometric      = 0x0106
	tagOrientation      = 0x0112
	tagSamplesPerPixel  = 0x0115
	tagXResolution      = 0x011A
	tagYResolution      = 0x011B
	tagPlanarConfig     = 0x011C
	tagResolutionUnit   = 0x0128
	tagSubIFDs          = 0x014A
	tagSampleFormat     = 0x0153
	tagICCProfile       = 0x8773
	tagExifIFD          = 0x8769
	tagExposureTime     = 0x829A
	tagFNumber          = 0x829D
	tagFocalLength      = 0x920A
	tagColorSpace       = 0xA001
	tagPixelX           = 0xA002
	tagPixelY           = 0xA003
	tagInteropIFD       = 0xA005
	tagFocalPlaneX      = 0xA20E
	tagFocalPlaneY      = 0xA20F
	tagFocalPlaneUnit   = 0xA210
	tagDigitalZoom      = 0xA404
	tagFocalLength35    = 0xA405
	tagDNGVersion       = 0xC612
	tagInteropIndex     = 0x0001
	maxDirectoryEntries = 4096 // real directories have a few dozen; more is an attack or noise
)

var errNotTIFF = errors.New("no TIFF header")

// tiffFile reads directories of a TIFF structure without trusting any number in it.
type tiffFile struct {
	data  []byte
	order binary.ByteOrder
}

// tiffEntry is one directory entry; value holds its bytes, inside the file, or nil when they lie outside.
type tiffEntry struct {
	kind  uint16
	count uint32
	value []byte
}

type tiffDir map[uint16]tiffEntry

func openTIFF(data []byte) (f tiffFile, firstIFD uint32, err error) {
	if len(data) < 8 {
		return f, 0, errNotTIFF
	}
	switch {
	case bytes.HasPrefix(data, []byte("II*\x00")):
		f.order = binary.LittleEndian
	case bytes.HasPrefix(data, []byte("MM\x00*")):
		f.order = binary.BigEndian
	default:
		return f, 0, errNotTIFF
	}
	f.data = data
	return f, f.order.Uint32(data[4:]), nil
}

// typeSize is the size of one value of each TIFF type, 0 for unknown types.
func typeSize(kind uint16) int64 {
	switch kind {
	case 1, 2, 6, 7:
		return 1
	case 3, 8:
		return 2
	case 4, 9, 11, 13:
		return 4
	case 5, 10, 12:
		return 8
	}
	return 0
}

// dir reads the directory at offset and returns it with the offset of the next one, 0 at the end. Entries that make no
// sense are left out; ok is false when there is no directory at all.
func (f tiffFile) dir(offset uint32) (d tiffDir, next uint32, ok bool) {
	size := int64(len(f.data))
	at := int64(offset)
	if at < 8 || at+2 > size {
		return nil, 0, false
	}
	n := int64(f.order.Uint16(f.data[at:]))
	if n > maxDirectoryEntries {
		return nil, 0, false
	}
	at += 2
	d = make(tiffDir, n)
	for range n {
		if at+12 > size {
			return d, 0, true
		}
		e := f.data[at : at+12]
		at += 12
		tag, kind, count := f.order.Uint16(e), f.order.Uint16(e[2:]), f.order.Uint32(e[4:])
		bytes := typeSize(kind) * int64(count)
		if bytes == 0 {
			continue
		}
		v := e[8:]
		if bytes > 4 {
			from := int64(f.order.Uint32(v))
			if from+bytes > size {
				continue
			}
			v = f.data[from : from+bytes]
		}
		if _, seen := d[tag]; !seen {
			d[tag] = tiffEntry{kind, count, v[:bytes]}
		}
	}
	if at+4 <= size {
		next = f.order.Uint32(f.data[at:])
	}
	return d, next, true
}

// uint returns the i-th value of an integer entry.
func (f tiffFile) uint(d tiffDir, tag uint16, i int) (uint32, bool) {
	e, ok := d[tag]
	if !ok || i < 0 || uint32(i) >= e.count {
		return 0, false
	}
	switch e.kind {
	case 1, 7:
		return uint32(e.value[i]), true
	case 3:
		return uint32(f.order.Uint16(e.value[2*i:])), true
	case 4, 13:
		return f.order.Uint32(e.value[4*i:]), true
	}
	return 0, false
}

// float returns a rational or integer entry's first value; a rational with denominator 0 is not stated.
func (f tiffFile) float(d tiffDir, tag uint16) float64 {
	e, ok := d[tag]
	if !ok {
		return 0
	}
	switch e.kind {
	case 5:
		return ratio(float64(f.order.Uint32(e.value)), float64(f.order.Uint32(e.value[4:])))
	case 10:
		return ratio(float64(int32(f.order.Uint32(e.value))), float64(int32(f.order.Uint32(e.value[4:]))))
	case 11:
		return finite(float64(math.Float32frombits(f.order.Uint32(e.value))))
	case 12:
		return finite(math.Float64frombits(f.order.Uint64(e.value)))
	}
	v, _ := f.uint(d, tag, 0)
	return float64(v)
}

func ratio(a, b float64) float64 {
	if b == 0 {
		return 0
	}
	return a / b
}

func finite(x float64) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return 0
	}
	return x
}

// parseEXIF reads an EXIF block: a TIFF structure, with or without the "Exif\0\0" that JPEG puts before it. Nonsense is
// left out rather than refused: a picture with a broken EXIF block is still a picture.
func parseEXIF(block []byte) (x exifInfo, ok bool) {
	block = bytes.TrimPrefix(block, []byte("Exif\x00\x00"))
	f, first, err := openTIFF(block)
	if err != nil {
		return exifInfo{}, false
	}
	d, _, ok := f.dir(first)
	if !ok {
		return exifInfo{}, false
	}
	return f.exif(d), true
}

// exif collects what directory d and the EXIF directory it points to say.
func (f tiffFile) exif(d tiffDir) exifInfo {
	var x exifInfo
	if o, ok := f.uint(d, tagOrientation, 0); ok && o >= 1 && o <= 8 {
		x.orientation = int(o)
	}
	x.xRes, x.yRes = f.float(d, tagXResolution), f.float(d, tagYResolution)
	x.resUnit = 2
	if u, ok := f.uint(d, tagResolutionUnit, 0); ok {
		x.resUnit = int(u)
	}
	at, ok := f.uint(d, tagExifIFD, 0)
	if !ok {
		return x
	}
	e, _, ok := f.dir(at)
	if !ok {
		return x
	}
	x.focalMM = f.float(e, tagFocalLength)
	x.focal35MM = f.float(e, tagFocalLength35)
	x.focalPlaneX, x.focalPlaneY = f.float(e, tagFocalPlaneX), f.float(e, tagFocalPlaneY)
	x.focalPlaneUnit = 2
	if u, ok := f.uint(e, tagFocalPlaneUnit, 0); ok {
		x.focalPlaneUnit = int(u)
	}
	if w, ok := f.uint(e, tagPixelX, 0); ok {
		x.pixelX = int(w)
	}
	if h, ok := f.uint(e, tagPixelY, 0); ok {
		x.pixelY = int(h)
	}
	x.digitalZoom = f.float(e, tagDigitalZoom)
	x.exposed = x.focalMM > 0 || x.focal35MM > 0 || f.float(e, tagExposureTime) > 0 || f.float(e, tagFNumber) > 0

	// Cameras mark the wider of the two DCF colour spaces with interoperability index R03 and colour space "uncalibrated"
	// (CIPA DC-010); some older ones write colour space 2 outright.
	if cs, ok := f.uint(e, tagColorSpace, 0); ok {
		switch cs {
		case 2:
			x.adobeRGB = true
		case 0xFFFF:
			if at, ok := f.uint(e, tagInteropIFD, 0); ok {
				if in, _, ok := f.dir(at); ok {
					x.adobeRGB = bytes.HasPrefix(in[tagInteropIndex].value, []byte("R03"))
				}
			}
		}
	}
	return x
}
