package photo

import (
	"bytes"
	"encoding/binary"
	"fmt"
)

// Marker codes of ITU-T T.81, table B.1.
const (
	mSOI  = 0xD8
	mEOI  = 0xD9
	mSOS  = 0xDA
	mDQT  = 0xDB
	mAPP0 = 0xE0
	mAPP1 = 0xE1
	mAPP2 = 0xE2
	mTEM  = 0x01
)

// readJPEGHead walks the segments up to the first scan.
func readJPEGHead(data []byte) (*head, error) {
	h := &head{format: "jpeg"}
	var icc iccChunks
	haveEXIF, haveFrame := false, false
	at := 2
	for {
		// Any number of fill bytes 0xFF may come before a marker.
		for at < len(data) && data[at] != 0xFF {
			at++
		}
		for at < len(data) && data[at] == 0xFF {
			at++
		}
		if at >= len(data) {
			return nil, damaged("the file ends before the picture begins")
		}
		marker := data[at]
		at++
		if marker == 0 || marker == mTEM || marker >= 0xD0 && marker <= mSOI {
			continue // no length follows
		}
		if marker == mEOI {
			return nil, damaged("the file ends before the picture begins")
		}
		if at+2 > len(data) {
			return nil, damaged("the file ends inside its header")
		}
		n := int(binary.BigEndian.Uint16(data[at:]))
		if n < 2 || at+n > len(data) {
			return nil, damaged("the file ends inside its header")
		}
		seg := data[at+2 : at+n]
		at += n
		switch {
		case marker == mSOS:
			if !haveFrame {
				return nil, damaged("the header gives no picture size")
			}
			h.icc = icc.join()
			return h, nil
		case marker >= 0xC0 && marker <= 0xCF && marker != 0xC4 && marker != 0xC8 && marker != 0xCC:
			if haveFrame {
				return nil, damaged("the header gives the picture size twice")
			}
			if err := h.readFrame(marker, seg); err != nil {
				return nil, err
			}
			haveFrame = true
		case marker == mDQT:
			h.readQuanta(seg)
		case marker == mAPP0 && len(seg) >= 12 && bytes.HasPrefix(seg, []byte("JFIF\x00")):
			// JFIF (ITU-T T.871): version 2 bytes, unit (0 none, 1 inch, 2 cm), X and Y density.
			x, y := float64(binary.BigEndian.Uint16(seg[8:])), float64(binary.BigEndian.Uint16(seg[10:]))
			switch seg[7] {
			case 1:
				h.dpiX, h.dpiY = jfifDPI(x, y)
			case 2:
				h.dpiX, h.dpiY = jfifDPI(x*2.54, y*2.54)
			}
		case marker == mAPP1 && !haveEXIF && bytes.HasPrefix(seg, []byte("Exif\x00\x00")):
			h.exif, haveEXIF = parseEXIF(seg)
		case marker == mAPP2 && bytes.HasPrefix(seg, []byte("ICC_PROFILE\x00")) && len(seg) > 14:
			icc.add(int(seg[12]), int(seg[13]), seg[14:])
		}
	}
}

// readQuanta reads the quantisation tables of the brightness and the chroma, which are tables 0 and 1 in every common file (ITU-T T.81, B.2.4.1).
func (h *head) readQuanta(seg []byte) {
	const entries = 64
	for len(seg) > 0 {
		bytesEach, id := 1+int(seg[0]>>4&1), seg[0]&15
		if len(seg) < 1+entries*bytesEach {
			return
		}
		if id <= 1 {
			sum := 0
			for i := range entries {
				entry := seg[1+i*bytesEach:]
				if bytesEach == 1 {
					sum += int(entry[0])
				} else {
					sum += int(binary.BigEndian.Uint16(entry))
				}
			}
			mean := float64(sum) / entries
			if id == 0 {
				h.meanQuantum = mean
			} else {
				h.chromaQuantum = mean
			}
		}
		seg = seg[1+entries*bytesEach:]
	}
}

// jfifDPI drops 72 and 96, which programs write where they know nothing.
func jfifDPI(x, y float64) (float64, float64) {
	if x == y && (x == 72 || x == 96) {
		return 0, 0
	}
	return checkedDPI(x, y)
}

// readFrame reads a frame header (ITU-T T.81, B.2.2).
func (h *head) readFrame(marker byte, seg []byte) error {
	if len(seg) < 6 {
		return damaged("the file ends inside its header")
	}
	precision := int(seg[0])
	h.height, h.width = int(binary.BigEndian.Uint16(seg[1:])), int(binary.BigEndian.Uint16(seg[3:]))
	components := int(seg[5])
	switch marker {
	case 0xC0, 0xC1, 0xC9:
		h.bytesPerPixel = 4 // grey, both chroma planes, and the turned copy of the grey
	case 0xC2, 0xCA:
		h.bytesPerPixel = 4 + 2*components // progressive: the decoder holds every coefficient, 2 bytes each
	default:
		return unsupported("a JPEG of a rare kind (lossless or hierarchical)", trySaveAs)
	}
	if precision != 8 {
		return unsupported(fmt.Sprintf("a JPEG with %d bits a sample; 8 can be read", precision), trySaveAs)
	}
	if components != 1 && components != 3 && components != 4 {
		return unsupported(fmt.Sprintf("a JPEG with %d colour components; 1, 3 or 4 can be read", components), trySaveAs)
	}
	if len(seg) < 6+3*components {
		return damaged("the file ends inside its header")
	}
	if h.width == 0 || h.height == 0 {
		return damaged(fmt.Sprintf("the header says %d x %d pixels", h.width, h.height))
	}
	// Scans written component by component also make the decoder hold every coefficient; it shows only at the scan, so
	// it is allowed for here.
	if components > 1 {
		h.bytesPerPixel = 4 + 2*components
	}
	return nil
}

const (
	trySaveAs    = "Save it as an ordinary JPEG or PNG at full size and use that"
	tryCopyAgain = "Copy it from the camera again, as a file and not through a messenger"
)

// problem is an Error that doesn't know its file yet.
func problem(kind error, what, try string) *Error { return &Error{Kind: kind, What: what, Try: try} }

func damaged(what string) *Error          { return problem(ErrDamaged, what, tryCopyAgain) }
func unsupported(what, try string) *Error { return problem(ErrUnsupported, what, try) }

// iccChunks joins a profile that is spread over segments (ICC.1, annex B.4: sequence number from 1, total count).
type iccChunks struct {
	parts map[int][]byte
	count int
}

func (c *iccChunks) add(seq, count int, data []byte) {
	if c.parts == nil {
		c.parts, c.count = map[int][]byte{}, count
	}
	c.parts[seq] = data
}

func (c *iccChunks) join() []byte {
	if c.parts == nil || len(c.parts) != c.count {
		return nil
	}
	var all []byte
	for i := 1; i <= c.count; i++ {
		part, ok := c.parts[i]
		if !ok {
			return nil
		}
		all = append(all, part...)
	}
	return all
}
