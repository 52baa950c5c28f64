package photo

import (
	"fmt"
	"slices"
)

const (
	tagNewSubfileType = 0x00FE
	tagStripOffsets   = 0x0111
	tagStripCounts    = 0x0117
	tagTileOffsets    = 0x0144
	tagTileCounts     = 0x0145
)

const tryRaw = "Export it from the camera's own program as a JPEG or TIFF at full size, without cropping and without straightening"

// readTIFFHead reads the first directory (TIFF 6.0) and checks that all its pixel data lie within the file.
func readTIFFHead(data []byte) (*head, error) {
	f, first, err := openTIFF(data)
	if err != nil {
		return nil, damaged("the TIFF header is cut short")
	}
	d, next, ok := f.dir(first)
	if !ok {
		return nil, damaged("the file ends before the picture's description, or it is broken")
	}
	if err := f.refuseRaw(d); err != nil {
		return nil, err
	}
	h := &head{format: "tiff", exif: f.exif(d)}
	w, _ := f.uint(d, tagImageWidth, 0)
	ht, _ := f.uint(d, tagImageLength, 0)
	if w == 0 || ht == 0 || w > 1<<31-1 || ht > 1<<31-1 {
		return nil, damaged(fmt.Sprintf("the header says %d x %d pixels", w, ht))
	}
	h.width, h.height = int(w), int(ht)
	if err := f.checkKind(d, h); err != nil {
		return nil, err
	}
	if err := f.checkExtents(d); err != nil {
		return nil, err
	}
	if e, ok := d[tagICCProfile]; ok && len(e.value) <= maxProfileBytes {
		h.icc = e.value
	}
	if pages := f.pages(next); pages > 0 {
		h.notes = append(h.notes, fmt.Sprintf("the file holds %d pages; the first is used", pages+1))
	}
	return h, nil
}

// refuseRaw refuses sensor data: DNG, and other camera files built as a TIFF whose first picture is a thumbnail.
func (f tiffFile) refuseRaw(d tiffDir) error {
	_, dng := d[tagDNGVersion]
	_, sub := d[tagSubIFDs]
	reduced, _ := f.uint(d, tagNewSubfileType, 0)
	photometric, _ := f.uint(d, tagPhotometric, 0)
	const colourFilterArray, linearRaw = 32803, 34892
	switch {
	case dng:
		return unsupported("is a DNG, a camera's raw file", tryRaw)
	case sub && reduced&1 != 0, photometric == colourFilterArray, photometric == linearRaw:
		return unsupported("is a camera's raw file", tryRaw)
	}
	return nil
}

// checkKind names what the decoder doesn't take, before it sees the file.
func (f tiffFile) checkKind(d tiffDir, h *head) error {
	value := func(tag uint16, otherwise uint32) uint32 {
		if v, ok := f.uint(d, tag, 0); ok {
			return v
		}
		return otherwise
	}
	samples := value(tagSamplesPerPixel, 1)
	depth := value(tagBitsPerSample, 1)
	switch c := value(tagCompression, 1); c {
	case 1, 5, 8, 32773, 32946: // none, LZW, deflate, PackBits, deflate's old number
	case 6, 7:
		return unsupported("is a TIFF packed as JPEG", trySaveAs)
	default:
		return unsupported(fmt.Sprintf("is a TIFF packed in a rare way (number %d)", c), trySaveAs)
	}
	const whiteIsZero, blackIsZero, rgb, palette = 0, 1, 2, 3
	switch p := value(tagPhotometric, blackIsZero); {
	case p == rgb && (samples == 3 || samples == 4), (p == whiteIsZero || p == blackIsZero || p == palette) && samples == 1:
	case p == 5:
		return unsupported("is a TIFF in printing inks (CMYK)", trySaveAs)
	default:
		return unsupported(fmt.Sprintf("is a TIFF of a rare colour layout (%d, with %d samples a pixel)", p, samples), trySaveAs)
	}
	if depth == 1 {
		return unsupported("is a TIFF in pure black and white", "Scan in grey or colour: edges are found from the shades between")
	}
	if depth != 8 && depth != 16 || value(tagSampleFormat, 1) != 1 {
		return unsupported(fmt.Sprintf("is a TIFF with %d bits a sample; whole numbers of 8 or 16 bits can be read", depth), trySaveAs)
	}
	if samples > 1 && value(tagPlanarConfig, 1) != 1 {
		return unsupported("is a TIFF that stores its colours one after the other", trySaveAs)
	}
	if samples > 1 {
		samples = 4
	}
	h.bytesPerPixel = int(samples*depth/8)*2 + 2 // the picture, a strip that may be all of it, and the planes
	return nil
}

// checkExtents makes sure that every strip or tile lies within the file.
func (f tiffFile) checkExtents(d tiffDir) error {
	offsets, counts := uint16(tagStripOffsets), uint16(tagStripCounts)
	if _, tiled := d[tagTileOffsets]; tiled {
		offsets, counts = tagTileOffsets, tagTileCounts
	}
	n := d[offsets].count
	if n == 0 || d[counts].count != n {
		return damaged("the file doesn't say where its pixels are")
	}
	for i := range int(n) {
		from, ok1 := f.uint(d, offsets, i)
		size, ok2 := f.uint(d, counts, i)
		if !ok1 || !ok2 || int64(from)+int64(size) > int64(len(f.data)) {
			return damaged(fmt.Sprintf("the file is cut short: part %d of %d of the picture lies beyond its end", i+1, n))
		}
	}
	return nil
}

// pages counts the full pictures in the directories from offset on; thumbnails and masks aren't pages.
func (f tiffFile) pages(offset uint32) int {
	const most = 1000
	n := 0
	var seen []uint32
	for offset != 0 && len(seen) < most && !slices.Contains(seen, offset) {
		seen = append(seen, offset)
		d, next, ok := f.dir(offset)
		if !ok {
			break
		}
		if kind, _ := f.uint(d, tagNewSubfileType, 0); kind&(1|4) == 0 {
			n++
		}
		offset = next
	}
	return n
}
