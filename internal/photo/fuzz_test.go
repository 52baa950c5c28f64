package photo

import (
	"context"
	"encoding/binary"
	"errors"
	"math"
	"testing"
)

// addSeeds gives the fuzzer the odd files, but not the long ones, which it would only spend its time on shortening.
func addSeeds(f *testing.F) {
	for _, o := range oddFiles(f) {
		if len(o.data) <= 8192 {
			f.Add(o.data)
		}
	}
}

// FuzzHead feeds header readers with anything: a head with a size, or an error of a known kind; no panic.
func FuzzHead(f *testing.F) {
	addSeeds(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		h, err := readHead(data)
		if err != nil {
			checkKindKnown(t, err)
			return
		}
		if h.width <= 0 || h.height <= 0 || h.bytesPerPixel <= 0 {
			t.Errorf("%s: %d x %d pixels of %d bytes", h.format, h.width, h.height, h.bytesPerPixel)
		}
		if o := h.orientation(); o < 1 || o > 8 {
			t.Errorf("orientation %d", o)
		}
		tone, _ := toneOf(h)
		for _, v := range tone.Linear {
			if !(v >= 0 && v <= 1) {
				t.Fatalf("tone curve holds %g", v)
			}
		}
	})
}

func checkKindKnown(t *testing.T, err error) {
	t.Helper()
	for _, kind := range []error{ErrUnreadable, ErrNotPicture, ErrUnsupported, ErrTooLarge, ErrTooSmall, ErrDamaged} {
		if errors.Is(err, kind) {
			return
		}
	}
	t.Errorf("error of an unknown kind: %v", err)
}

// FuzzEXIF: whatever the block says, what comes out is usable.
func FuzzEXIF(f *testing.F) {
	for _, order := range []binary.ByteOrder{binary.LittleEndian, binary.BigEndian} {
		f.Add(buildEXIF(order, []ifdEntry{short(tagOrientation, 6), rational(tagXResolution, 300, 1), rational(tagYResolution, 300, 1)},
			[]ifdEntry{rational(tagFocalLength, 425, 100), short(tagFocalLength35, 26), long(tagPixelX, 4000), long(tagPixelY, 3000),
				rational(tagFocalPlaneX, 4000, 6), rational(tagFocalPlaneY, 4000, 6), short(tagColorSpace, 0xFFFF), long(tagInteropIFD, 8)}))
	}
	f.Fuzz(func(t *testing.T, block []byte) {
		x, ok := parseEXIF(block)
		if !ok && x != (exifInfo{}) {
			t.Error("refused, yet something was read")
		}
		if x.orientation < 0 || x.orientation > 8 {
			t.Errorf("orientation %d", x.orientation)
		}
		dx, dy := x.dpi()
		for _, v := range []float64{x.focal35(), dx, dy} {
			if !(v >= 0) || math.IsInf(v, 0) {
				t.Errorf("focal length or resolution %g", v)
			}
		}
		x.cropped(4000, 3000)
	})
}

// FuzzLoad decodes for real, C code included, within small limits.
func FuzzLoad(f *testing.F) {
	addSeeds(f)
	opt := Options{MaxPixels: 100_000, MaxMemory: 8 << 20}.withDefaults()
	f.Fuzz(func(t *testing.T, data []byte) {
		h, err := readHead(data)
		if err != nil || checkSize(h, opt) != nil || h.format == "heic" {
			return // HEIC runs in a sandbox, at a second a file
		}
		pl, err := decode(context.Background(), data, h)
		if err != nil {
			checkKindKnown(t, err)
			return
		}
		p := assemble("fuzz", h, pl)
		if len(p.Gray) != p.Width*p.Height {
			t.Fatalf("%d grey levels for %d x %d pixels", len(p.Gray), p.Width, p.Height)
		}
		p.Preview(50)
	})
}
