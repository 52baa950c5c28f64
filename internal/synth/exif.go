package synth

import (
	"encoding/binary"
	"math"
)

// withHeader puts an EXIF segment (CIPA DC-008) and, for a scan, a JFIF segment with the resolution after the JPEG's
// start marker.
func withHeader(jpg []byte, s *Scene) []byte {
	out := append([]byte(nil), jpg[:2]...)
	if s.DeclaredDPI > 0 {
		jfif := []byte{0xff, 0xe0, 0, 16, 'J', 'F', 'I', 'F', 0, 1, 1, 1, 0, 0, 0, 0, 0, 0}
		d := uint16(math.Round(s.DeclaredDPI))
		binary.BigEndian.PutUint16(jfif[12:], d)
		binary.BigEndian.PutUint16(jfif[14:], d)
		out = append(out, jfif...)
	} else if e := exif(s); e != nil {
		out = append(out, 0xff, 0xe1)
		out = binary.BigEndian.AppendUint16(out, uint16(len(e)+2))
		out = append(out, e...)
	}
	return append(out, jpg[2:]...)
}

// exif is a little TIFF: orientation in IFD0, focal length in 35 mm film in the EXIF IFD.
func exif(s *Scene) []byte {
	o := max(1, s.Orientation)
	if o == 1 && s.Focal35MM == 0 {
		return nil
	}
	be := binary.BigEndian
	short := func(b []byte, tag, v uint16) []byte {
		b = be.AppendUint16(b, tag)
		b = be.AppendUint16(b, 3)
		b = be.AppendUint32(b, 1)
		b = be.AppendUint16(b, v)
		return be.AppendUint16(b, 0)
	}
	b := append([]byte("Exif\x00\x00"), 'M', 'M', 0, 42, 0, 0, 0, 8)
	b = be.AppendUint16(b, 2)
	b = short(b, 0x0112, uint16(o))
	b = be.AppendUint16(b, 0x8769)
	b = be.AppendUint16(b, 4)
	b = be.AppendUint32(b, 1)
	b = be.AppendUint32(b, 8+2+2*12+4)
	b = be.AppendUint32(b, 0)
	b = be.AppendUint16(b, 1)
	b = short(b, 0xa405, uint16(math.Round(s.Focal35MM)))
	return be.AppendUint32(b, 0)
}
