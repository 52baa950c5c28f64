package photo

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"fmt"
	"io"
)

// maxProfileBytes bounds a colour profile: real ones with tables run to about 3 MB.
const maxProfileBytes = 8 << 20

// readPNGHead walks all chunks (ISO/IEC 15948), so that a file cut short is noticed before it is decoded.
func readPNGHead(data []byte) (*head, error) {
	h := &head{format: "png"}
	at, first, ended := 8, true, false
	for at+8 <= len(data) && !ended {
		n := int64(binary.BigEndian.Uint32(data[at:]))
		kind := string(data[at+4 : at+8])
		if int64(at)+12+n > int64(len(data)) {
			if first {
				return nil, damaged("the file ends inside its header")
			}
			break
		}
		chunk := data[at+8 : at+8+int(n)]
		at += 12 + int(n)
		if first != (kind == "IHDR") {
			return nil, damaged("the file's header chunk is missing or stands twice")
		}
		first = false
		switch kind {
		case "IHDR":
			if err := h.readIHDR(chunk); err != nil {
				return nil, err
			}
		case "iCCP":
			h.icc = pngProfile(chunk)
		case "sRGB":
			h.sRGB = true
		case "gAMA":
			if len(chunk) == 4 {
				h.gamma = float64(binary.BigEndian.Uint32(chunk)) / 100000
			}
		case "pHYs":
			if len(chunk) == 9 && chunk[8] == 1 { // per metre
				perInch := mmPerInch / 1000
				h.dpiX, h.dpiY = pngDPI(float64(binary.BigEndian.Uint32(chunk))*perInch, float64(binary.BigEndian.Uint32(chunk[4:]))*perInch)
			}
		case "eXIf":
			h.exif, _ = parseEXIF(chunk)
		case "IEND":
			ended = true
		}
	}
	if h.width == 0 {
		return nil, damaged("the file ends inside its header")
	}
	if !ended {
		return nil, damaged("the file is cut short")
	}
	return h, nil
}

// pngDPI drops the 72 and 96 dots per inch that programs write where they know nothing; whole dots per metre round them.
func pngDPI(x, y float64) (float64, float64) {
	for _, unknown := range []float64{72, 96} {
		if x == y && !differBy(x, unknown, 0.001) {
			return 0, 0
		}
	}
	return checkedDPI(x, y)
}

func (h *head) readIHDR(c []byte) error {
	if len(c) != 13 {
		return damaged("the file's header chunk has the wrong length")
	}
	w, ht := binary.BigEndian.Uint32(c), binary.BigEndian.Uint32(c[4:])
	if w == 0 || ht == 0 || w > 1<<31-1 || ht > 1<<31-1 {
		return damaged(fmt.Sprintf("the header says %d x %d pixels", w, ht))
	}
	h.width, h.height = int(w), int(ht)
	depth, colour := int(c[8]), c[9]
	samples := map[byte]int{0: 1, 2: 4, 3: 1, 4: 4, 6: 4}[colour] // as Go's decoder lays them out
	if samples == 0 {
		return damaged("the header names a colour type that doesn't exist")
	}
	h.bytesPerPixel = samples*max(1, depth/8) + 4
	return nil
}

// pngProfile unpacks an iCCP chunk: name, 0, method 0, zlib stream.
func pngProfile(chunk []byte) []byte {
	name := bytes.IndexByte(chunk, 0)
	if name < 0 || name+2 > len(chunk) || chunk[name+1] != 0 {
		return nil
	}
	r, err := zlib.NewReader(bytes.NewReader(chunk[name+2:]))
	if err != nil {
		return nil
	}
	profile, err := io.ReadAll(io.LimitReader(r, maxProfileBytes))
	if err != nil {
		return nil
	}
	return profile
}
