package photo

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/jpeg"
	"slices"
	"testing"
)

// ifdEntry is one TIFF directory entry to be written: kind 2 text, 3 short, 4 long, 5 rational (pairs of values).
type ifdEntry struct {
	tag, kind uint16
	values    []uint32
	text      string
}

func short(tag uint16, v ...uint32) ifdEntry { return ifdEntry{tag: tag, kind: 3, values: v} }
func long(tag uint16, v ...uint32) ifdEntry  { return ifdEntry{tag: tag, kind: 4, values: v} }
func rational(tag uint16, a, b uint32) ifdEntry {
	return ifdEntry{tag: tag, kind: 5, values: []uint32{a, b}}
}

// writeIFD appends a directory at the end of a TIFF structure and its entries' long values behind it.
func writeIFD(out []byte, order binary.ByteOrder, entries []ifdEntry, next uint32) []byte {
	at := len(out)
	extra := at + 2 + 12*len(entries) + 4
	dir := make([]byte, extra-at)
	order.PutUint16(dir, uint16(len(entries)))
	var tail []byte
	for i, e := range entries {
		var v []byte
		count := len(e.values)
		for _, x := range e.values {
			if e.kind == 3 {
				v = append(v, 0, 0)
				order.PutUint16(v[len(v)-2:], uint16(x))
			} else {
				v = append(v, 0, 0, 0, 0)
				order.PutUint32(v[len(v)-4:], x)
			}
		}
		switch e.kind {
		case 2:
			v, count = append([]byte(e.text), 0), len(e.text)+1
		case 5:
			count /= 2
		}
		d := dir[2+12*i:]
		order.PutUint16(d, e.tag)
		order.PutUint16(d[2:], e.kind)
		order.PutUint32(d[4:], uint32(count))
		if len(v) <= 4 {
			copy(d[8:12], v)
		} else {
			order.PutUint32(d[8:], uint32(extra+len(tail)))
			tail = append(tail, v...)
		}
	}
	order.PutUint32(dir[len(dir)-4:], next)
	return append(append(out, dir...), tail...)
}

// buildEXIF makes an EXIF block with the given entries in its two directories; sub may be nil.
func buildEXIF(order binary.ByteOrder, main, sub []ifdEntry) []byte {
	out := tiffHeader(order)
	if sub != nil {
		main = append(main[:len(main):len(main)], long(tagExifIFD, 0))
		// The sub-directory's place is known once the main one has been written.
		length := len(writeIFD(out, order, main, 0))
		main[len(main)-1] = long(tagExifIFD, uint32(length))
	}
	out = writeIFD(out, order, main, 0)
	if sub != nil {
		out = writeIFD(out, order, sub, 0)
	}
	return out
}

func tiffHeader(order binary.ByteOrder) []byte {
	h := []byte("II*\x00\x08\x00\x00\x00")
	if order == binary.ByteOrder(binary.BigEndian) {
		h = []byte("MM\x00*\x00\x00\x00\x08")
	}
	return h
}

func encodeJPEG(t testing.TB, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: 97}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// withSegment puts a marker segment right behind a JPEG's start marker.
func withSegment(jpg []byte, marker byte, body []byte) []byte {
	out := append([]byte{0xFF, mSOI, 0xFF, marker}, byte((len(body)+2)>>8), byte(len(body)+2))
	out = append(out, body...)
	return append(out, jpg[2:]...)
}

func withEXIF(jpg, exif []byte) []byte {
	return withSegment(jpg, mAPP1, append([]byte("Exif\x00\x00"), exif...))
}

// withChunk puts a chunk right behind a PNG's header chunk.
func withChunk(png []byte, kind string, body []byte) []byte {
	const afterIHDR = 8 + 25
	out := append([]byte{}, png[:afterIHDR]...)
	out = append(out, pngChunk(kind, body)...)
	return append(out, png[afterIHDR:]...)
}

func pngChunk(kind string, body []byte) []byte {
	c := binary.BigEndian.AppendUint32(nil, uint32(len(body)))
	c = append(append(c, kind...), body...)
	return binary.BigEndian.AppendUint32(c, crc32.ChecksumIEEE(c[4:]))
}

// buildTIFF makes an uncompressed grey or RGB TIFF of the scene in one strip per 16 rows, with further entries in its
// directory; entries are sorted by tag as TIFF 6.0 demands.
func buildTIFF(order binary.ByteOrder, samples int, pages int, extra ...ifdEntry) []byte {
	out := tiffHeader(order)
	const rows = 16
	var offsets, counts []uint32
	for v0 := 0; v0 < sceneH; v0 += rows {
		offsets = append(offsets, uint32(len(out)))
		for v := v0; v < v0+rows; v++ {
			for u := range sceneW {
				r, g, b := sceneRGB(u, v)
				if samples == 1 {
					out = append(out, uint8(sceneGrey(u, v)+0.5))
				} else {
					out = append(out, r, g, b)
				}
			}
		}
		counts = append(counts, uint32(rows*sceneW*samples))
	}
	photometric := uint32(1)
	bits := []uint32{8}
	if samples == 3 {
		photometric, bits = 2, []uint32{8, 8, 8}
	}
	entries := append([]ifdEntry{
		long(tagImageWidth, sceneW), long(tagImageLength, sceneH), short(tagBitsPerSample, bits...), short(tagCompression, 1),
		short(tagPhotometric, photometric), long(tagStripOffsets, offsets...), short(tagSamplesPerPixel, uint32(samples)),
		long(0x0116, rows), long(tagStripCounts, counts...),
	}, extra...)
	merged := map[uint16]ifdEntry{} // an extra entry replaces a standard one
	var tags []uint16
	for _, e := range entries {
		if _, ok := merged[e.tag]; !ok {
			tags = append(tags, e.tag)
		}
		merged[e.tag] = e
	}
	slices.Sort(tags)
	sorted := make([]ifdEntry, len(tags))
	for i, tag := range tags {
		sorted[i] = merged[tag]
	}
	order.PutUint32(out[4:], uint32(len(out)))
	for page := range pages {
		next := uint32(0)
		if page < pages-1 {
			next = uint32(len(writeIFD(out, order, sorted, 0)))
		}
		out = writeIFD(out, order, sorted, next)
	}
	return out
}
