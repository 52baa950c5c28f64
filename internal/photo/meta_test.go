package photo

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"math"
	"strings"
	"testing"
)

func within(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if math.Abs(got-want) > tol {
		t.Errorf("%s = %g, want %g within %g", what, got, want, tol)
	}
}

func TestFocalLength(t *testing.T) {
	plain := encodeJPEG(t, sceneImage())
	size := []ifdEntry{long(tagPixelX, sceneW), long(tagPixelY, sceneH)}
	// A sensor of 6.4 x 5.333 mm (96 x 80 pixels at 15 a mm) with a lens of 4.25 mm: by the diagonal that is
	// 4.25 * hypot(36, 24) / hypot(6.4, 5.3333) = 22.0726 mm (closed form).
	plane := append([]ifdEntry{rational(tagFocalLength, 425, 100), rational(tagFocalPlaneX, 150, 1), rational(tagFocalPlaneY, 150, 1),
		short(tagFocalPlaneUnit, 3)}, size...)
	for _, c := range []struct {
		name    string
		entries []ifdEntry
		want    float64
		camera  bool
	}{
		{"stated", append([]ifdEntry{short(tagFocalLength35, 26)}, size...), 26, true},
		{"zero means unknown", append([]ifdEntry{short(tagFocalLength35, 0), rational(tagFNumber, 18, 10)}, size...), 0, true},
		{"absurd", append([]ifdEntry{short(tagFocalLength35, 60000)}, size...), 0, true},
		{"from the sensor", plane, 22.0726, true},
		{"the stated one wins", append([]ifdEntry{short(tagFocalLength35, 24)}, plane...), 24, true},
		{"sensor with oblong pixels", append([]ifdEntry{rational(tagFocalLength, 425, 100), rational(tagFocalPlaneX, 150, 1),
			rational(tagFocalPlaneY, 250, 1), short(tagFocalPlaneUnit, 3)}, size...), 0, true},
		{"no sensor size", append([]ifdEntry{rational(tagFocalLength, 425, 100)}, size...), 0, true},
		{"division by zero", append([]ifdEntry{rational(tagFocalLength, 425, 0)}, size...), 0, false},
		{"nothing", size, 0, false},
	} {
		p, err := loadBytes(t, "x.jpg", withEXIF(plain, buildEXIF(binary.BigEndian, nil, c.entries)))
		if err != nil {
			t.Fatal(err)
		}
		within(t, c.name, p.Focal35MM, c.want, 0.001)
		if p.Camera != c.camera {
			t.Errorf("%s: camera %v, want %v", c.name, p.Camera, c.camera)
		}
	}
}

func TestCroppedPicture(t *testing.T) {
	plain := encodeJPEG(t, sceneImage())
	for _, c := range []struct {
		name    string
		w, h    uint32
		cropped bool
	}{
		{"as taken", sceneW, sceneH, false},
		{"on its side", sceneH, sceneW, false},
		{"made smaller", 10 * sceneW, 10 * sceneH, false},
		{"cut", 4000, 2250, true},
		{"not stated", 0, 0, false},
	} {
		exif := buildEXIF(binary.LittleEndian, nil, []ifdEntry{short(tagFocalLength35, 26), long(tagPixelX, c.w), long(tagPixelY, c.h)})
		p, err := loadBytes(t, "x.jpg", withEXIF(plain, exif))
		if err != nil {
			t.Fatal(err)
		}
		if p.Cropped != c.cropped || (p.Focal35MM == 0) != c.cropped || (len(p.Notes) > 0) != c.cropped {
			t.Errorf("%s: cropped %v, focal length %g, notes %q", c.name, p.Cropped, p.Focal35MM, p.Notes)
		}
	}
}

func jfif(unit byte, x, y uint16) []byte {
	b := append([]byte("JFIF\x00\x01\x02"), unit)
	b = binary.BigEndian.AppendUint16(b, x)
	b = binary.BigEndian.AppendUint16(b, y)
	return append(b, 0, 0)
}

// pngPHYs makes a pHYs chunk; unit 1 is per metre (ISO/IEC 15948).
func pngPHYs(x, y uint32, unit byte) []byte {
	b := binary.BigEndian.AppendUint32(nil, x)
	return append(binary.BigEndian.AppendUint32(b, y), unit)
}

func TestResolution(t *testing.T) {
	jpg, png := encodeJPEG(t, sceneImage()), encodePNG(t, sceneImage())
	dpi := func(x, y uint32, unit uint32, more ...ifdEntry) []byte {
		return buildEXIF(binary.LittleEndian, append([]ifdEntry{rational(tagXResolution, x, 1), rational(tagYResolution, y, 1),
			short(tagResolutionUnit, unit)}, more...), nil)
	}
	lens := buildEXIF(binary.LittleEndian, []ifdEntry{rational(tagXResolution, 300, 1), rational(tagYResolution, 300, 1)},
		[]ifdEntry{rational(tagExposureTime, 1, 100)})
	// Units: ITU-T T.871 (JFIF), TIFF 6.0 (ResolutionUnit; memory), ISO/IEC 15948 (pHYs; 300 dpi = 11811 a metre; memory).
	for _, c := range []struct {
		name string
		data []byte
		x, y float64
		note bool
	}{
		{"JFIF per inch", withSegment(jpg, mAPP0, jfif(1, 600, 600)), 600, 600, false},
		{"JFIF per cm", withSegment(jpg, mAPP0, jfif(2, 118, 236)), 299.72, 599.44, false},
		{"JFIF aspect only", withSegment(jpg, mAPP0, jfif(0, 300, 300)), 0, 0, false},
		{"JFIF 72", withSegment(jpg, mAPP0, jfif(1, 72, 72)), 0, 0, false},
		{"EXIF", withEXIF(jpg, dpi(400, 200, 2)), 400, 200, false},
		{"EXIF per cm", withEXIF(jpg, dpi(100, 100, 3)), 254, 254, false},
		{"EXIF 72 means unknown", withEXIF(jpg, dpi(72, 72, 2)), 0, 0, false},
		{"EXIF without unit", withEXIF(jpg, dpi(300, 300, 1)), 0, 0, false},
		{"EXIF absurd", withEXIF(jpg, dpi(4_000_000, 300, 2)), 0, 0, false},
		{"JFIF and EXIF agree", withEXIF(withSegment(jpg, mAPP0, jfif(1, 300, 300)), dpi(300, 300, 2)), 300, 300, false},
		{"JFIF and EXIF disagree", withEXIF(withSegment(jpg, mAPP0, jfif(1, 300, 300)), dpi(600, 600, 2)), 0, 0, true},
		{"on its side", withEXIF(jpg, dpi(400, 200, 2, short(tagOrientation, 6))), 200, 400, false},
		{"through a lens", withEXIF(jpg, lens), 0, 0, false},
		{"PNG 300", withChunk(png, "pHYs", pngPHYs(11811, 11811, 1)), 299.9994, 299.9994, false},
		{"PNG 600", withChunk(png, "pHYs", pngPHYs(23622, 23622, 1)), 599.9988, 599.9988, false},
		{"PNG 96", withChunk(png, "pHYs", pngPHYs(3780, 3780, 1)), 0, 0, false},
		{"PNG without unit", withChunk(png, "pHYs", pngPHYs(11811, 11811, 0)), 0, 0, false},
		{"TIFF", buildTIFF(binary.LittleEndian, 3, 1, rational(tagXResolution, 600, 1), rational(tagYResolution, 600, 1)), 600, 600, false},
	} {
		p, err := loadBytes(t, "x", c.data)
		if err != nil {
			t.Fatal(c.name, err)
		}
		within(t, c.name+": x", p.DPIX, c.x, 0.001)
		within(t, c.name+": y", p.DPIY, c.y, 0.001)
		if (len(p.Notes) > 0) != c.note {
			t.Errorf("%s: notes %q", c.name, p.Notes)
		}
	}
}

// iccProfile builds a profile of the given colour space with these tags.
func iccProfile(space string, tags map[string][]byte) []byte {
	p := make([]byte, 128)
	copy(p[12:], "mntr")
	copy(p[16:], space)
	copy(p[36:], "acsp")
	p = binary.BigEndian.AppendUint32(p, uint32(len(tags)))
	at := len(p) + 12*len(tags)
	var body []byte
	for _, name := range []string{"kTRC", "rTRC", "gTRC", "bTRC", "rXYZ", "gXYZ", "bXYZ"} {
		data, ok := tags[name]
		if !ok {
			continue
		}
		p = append(p, name...)
		p = binary.BigEndian.AppendUint32(p, uint32(at+len(body)))
		p = binary.BigEndian.AppendUint32(p, uint32(len(data)))
		body = append(body, data...)
	}
	p = append(p, body...)
	binary.BigEndian.PutUint32(p, uint32(len(p)))
	return p
}

func fixed(v float64) []byte {
	return binary.BigEndian.AppendUint32(nil, uint32(int32(math.Round(v*65536))))
}

func paraCurve(kind uint16, params ...float64) []byte {
	b := append([]byte("para\x00\x00\x00\x00"), byte(kind>>8), byte(kind), 0, 0)
	for _, p := range params {
		b = append(b, fixed(p)...)
	}
	return b
}

func tableCurve(values ...uint16) []byte {
	b := binary.BigEndian.AppendUint32([]byte("curv\x00\x00\x00\x00"), uint32(len(values)))
	for _, v := range values {
		b = binary.BigEndian.AppendUint16(b, v)
	}
	return b
}

func xyz(y float64) []byte {
	return append(append(append([]byte("XYZ \x00\x00\x00\x00"), fixed(0.3)...), fixed(y)...), fixed(0.1)...)
}

func rgbProfile(curve []byte) []byte {
	return iccProfile("RGB ", map[string][]byte{"rTRC": curve, "gTRC": curve, "bTRC": curve,
		"rXYZ": xyz(0.25), "gXYZ": xyz(0.65), "bXYZ": xyz(0.1)})
}

func TestToneCurves(t *testing.T) {
	jpg, png := encodeJPEG(t, sceneImage()), encodePNG(t, sceneImage())
	inJPEG := func(profile []byte) []byte {
		return withSegment(jpg, mAPP2, append([]byte("ICC_PROFILE\x00\x01\x01"), profile...))
	}
	inPNG := func(profile []byte) []byte {
		var b bytes.Buffer
		b.WriteString("any name\x00\x00")
		z := zlib.NewWriter(&b)
		z.Write(profile)
		z.Close()
		return withChunk(png, "iCCP", b.Bytes())
	}
	linear := make([]uint16, 1024) // gamma 1.8, as a table
	for i := range linear {
		linear[i] = uint16(math.Round(65535 * math.Pow(float64(i)/1023, 1.8)))
	}
	power := func(g float64) func(float64) float64 { return func(v float64) float64 { return math.Pow(v, g) } }
	// The parametric form of IEC 61966-2-1 that wide-gamut phone pictures carry (ICC.1:2022, 10.18, kind 3).
	wide := rgbProfile(paraCurve(3, 2.4, 1/1.055, 0.055/1.055, 1/12.92, 0.04045))
	adobe := buildEXIF(binary.LittleEndian, nil, []ifdEntry{short(tagColorSpace, 2)})
	gamma := func(g uint32) []byte { return withChunk(png, "gAMA", binary.BigEndian.AppendUint32(nil, g)) }
	mixed := iccProfile("RGB ", map[string][]byte{"rTRC": paraCurve(0, 1), "gTRC": paraCurve(0, 2), "bTRC": paraCurve(0, 3),
		"rXYZ": xyz(0.25), "gXYZ": xyz(0.65), "bXYZ": xyz(0.1)})
	for _, c := range []struct {
		name  string
		data  []byte
		curve func(float64) float64
		note  bool
	}{
		{"no profile", jpg, srgbToLinear, false},
		{"wide gamut", inJPEG(wide), srgbToLinear, false},
		{"table, gamma 1.8", inJPEG(rgbProfile(tableCurve(linear...))), power(1.8), false},
		{"one number, gamma 2.2", inPNG(rgbProfile(tableCurve(563))), power(563.0 / 256), false},
		{"linear", inPNG(rgbProfile(tableCurve())), power(1), false},
		{"grey profile", inPNG(iccProfile("GRAY", map[string][]byte{"kTRC": paraCurve(0, 2.2)})), power(2.2), false},
		{"kind 1", inPNG(rgbProfile(paraCurve(1, 2, 1, 0))), power(2), false},
		{"kind 4", inPNG(rgbProfile(paraCurve(4, 2.4, 1/1.055, 0.055/1.055, 1/12.92, 0.04045, 0, 0))), srgbToLinear, false},
		{"channels differ", inPNG(mixed), func(v float64) float64 { return 0.25*v + 0.65*v*v + 0.1*v*v*v }, false},
		{"Adobe's marker in EXIF", withEXIF(jpg, adobe), power(563.0 / 256), false},
		{"PNG gamma 1", gamma(100000), power(1), false},
		{"PNG gamma of sRGB", gamma(45455), srgbToLinear, false},
		{"PNG gamma absurd", gamma(7), srgbToLinear, false},
		{"runs backwards", inPNG(rgbProfile(tableCurve(65535, 30000, 65535))), srgbToLinear, true},
		{"inks", inJPEG(iccProfile("CMYK", nil)), srgbToLinear, true},
		{"no curve", inJPEG(iccProfile("RGB ", nil)), srgbToLinear, true},
		{"noise", inJPEG([]byte(strings.Repeat("noise", 100))), srgbToLinear, true},
	} {
		p, err := loadBytes(t, "x", c.data)
		if err != nil {
			t.Fatal(c.name, err)
		}
		for i, got := range p.Tone.Linear {
			// Fixed-point parameters of 1/65536 and tables of 1/65535 leave some 1e-4.
			if want := c.curve(float64(i) / 255); math.Abs(float64(got)-want) > 3e-4 {
				t.Errorf("%s: level %d is %g in linear light, want %g", c.name, i, got, want)
				break
			}
		}
		if (len(p.Notes) > 0) != c.note {
			t.Errorf("%s: notes %q", c.name, p.Notes)
		}
	}
}

// A profile longer than a segment is spread over several, in any order.
func TestProfileInPieces(t *testing.T) {
	profile := rgbProfile(paraCurve(0, 1.8))
	jpg := encodeJPEG(t, sceneImage())
	half := len(profile) / 2
	jpg = withSegment(jpg, mAPP2, append([]byte("ICC_PROFILE\x00\x01\x02"), profile[:half]...))
	jpg = withSegment(jpg, mAPP2, append([]byte("ICC_PROFILE\x00\x02\x02"), profile[half:]...)) // comes first in the file
	p, err := loadBytes(t, "x.jpg", jpg)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "level 128", float64(p.Tone.Linear[128]), math.Pow(128.0/255, 1.8), 1e-4)
}
