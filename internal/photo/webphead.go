package photo

import (
	"encoding/binary"
	"fmt"
)

// readWebPHead walks the RIFF chunks (RFC 9649).
func readWebPHead(data []byte) (*head, error) {
	h := &head{format: "webp", bytesPerPixel: 10}
	end := int64(binary.LittleEndian.Uint32(data[4:])) + 8
	if end > int64(len(data)) {
		return nil, damaged("the file is cut short")
	}
	for at := int64(12); at+8 <= end; {
		kind := string(data[at : at+4])
		n := int64(binary.LittleEndian.Uint32(data[at+4:]))
		if at+8+n > end {
			return nil, damaged("the file is cut short")
		}
		c := data[at+8 : at+8+n]
		at += 8 + n + n%2
		switch kind {
		case "VP8X":
			if len(c) < 10 {
				return nil, damaged("the file ends inside its header")
			}
			if c[0]&2 != 0 {
				return nil, unsupported("is a moving picture", "Use a still photo")
			}
			h.width, h.height = 1+uint24(c[4:]), 1+uint24(c[7:])
		case "ICCP":
			h.icc = c
		case "EXIF":
			h.exif, _ = parseEXIF(c)
		case "VP8 ":
			// RFC 6386, 9.1: frame tag 3 bytes, start code 3 bytes, then 14-bit sizes.
			if len(c) < 10 || c[3] != 0x9D || c[4] != 0x01 || c[5] != 0x2A {
				return nil, damaged("the picture's header is broken")
			}
			w, ht := int(binary.LittleEndian.Uint16(c[6:])&0x3FFF), int(binary.LittleEndian.Uint16(c[8:])&0x3FFF)
			if err := h.agree(w, ht); err != nil {
				return nil, err
			}
		case "VP8L":
			if len(c) < 5 || c[0] != 0x2F {
				return nil, damaged("the picture's header is broken")
			}
			bits := binary.LittleEndian.Uint32(c[1:])
			if err := h.agree(1+int(bits&0x3FFF), 1+int(bits>>14&0x3FFF)); err != nil {
				return nil, err
			}
		}
	}
	if h.width == 0 || h.height == 0 {
		return nil, damaged("the file holds no picture")
	}
	return h, nil
}

// agree takes the picture's own size, which must be the container's if that gave one.
func (h *head) agree(w, ht int) error {
	if h.width != 0 && (h.width != w || h.height != ht) {
		return damaged(fmt.Sprintf("the header gives two sizes, %d x %d and %d x %d", h.width, h.height, w, ht))
	}
	h.width, h.height = w, ht
	return nil
}

func uint24(b []byte) int { return int(b[0]) | int(b[1])<<8 | int(b[2])<<16 }
