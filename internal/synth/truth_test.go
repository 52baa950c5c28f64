package synth

import (
	"bytes"
	"image"
	"image/jpeg"
	"math"
	"testing"

	"portmatch/internal/geom"
)

// Published closed forms: lens of r 20 and r 19, centres 3 apart: crescents 184.726563 and 62.204450 mm², directed steps
// 4 and 2 mm. A polygon of vertices 0.2 mm apart in a circle of radius r is smaller than the circle by 0.2²/(6 r²).
func TestPairTruthOfTwoCircles(t *testing.T) {
	p, err := comparePort(Circle(geom.PointMM{}, 40), Circle(geom.PointMM{X: 3}, 38))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		what            string
		got, want, near float64
	}{
		{"target area", p.TargetAreaMM2, 1256.637061, 0.03},
		{"area to remove", p.RemoveAreaMM2, 184.726563, 0.03},
		{"area past", p.PastAreaMM2, 62.204450, 0.03},
		{"step to remove", p.RemoveStepMM, 4, 1e-3},
		{"step past", p.PastStepMM, 2, 1e-3},
	} {
		if math.Abs(c.got-c.want) > c.near {
			t.Errorf("%s %.6f, want %.6f", c.what, c.got, c.want)
		}
	}
}

// EXIF orientation 6: row 0 of the file is the right-hand side, column 0 the top (CIPA DC-008); the others likewise.
func TestStoredTurnsForEveryOrientation(t *testing.T) {
	img := image.NewYCbCr(image.Rect(0, 0, 4, 3), image.YCbCrSubsampleRatio444)
	for i := range img.Y {
		img.Y[i] = uint8(i)
	}
	shown := func(x, y int) uint8 { return img.Y[y*img.YStride+x] }
	const w, h = 4, 3
	// Which side of the shown picture holds row 0 and column 0 of the file.
	sides := map[int][2]string{1: {"top", "left"}, 2: {"top", "right"}, 3: {"bottom", "right"}, 4: {"bottom", "left"},
		5: {"left", "top"}, 6: {"right", "top"}, 7: {"right", "bottom"}, 8: {"left", "bottom"}}
	for o, s := range sides {
		f := stored(img, o)
		corner := func(a, b string) uint8 {
			x, y := 0, 0
			for _, side := range []string{a, b} {
				switch side {
				case "right":
					x = w - 1
				case "bottom":
					y = h - 1
				}
			}
			return shown(x, y)
		}
		if f.Y[0] != corner(s[0], s[1]) {
			t.Errorf("orientation %d: first pixel %d, want %d", o, f.Y[0], corner(s[0], s[1]))
		}
		// The next pixel of row 0 lies one step along that side, away from column 0.
		opposite := map[string]string{"left": "right", "right": "left", "top": "bottom", "bottom": "top"}
		if last := f.Y[f.Rect.Dx()-1]; last != corner(s[0], opposite[s[1]]) {
			t.Errorf("orientation %d: last pixel of row 0 is %d, want %d", o, last, corner(s[0], opposite[s[1]]))
		}
	}
}

func TestPictureDecodesAndCarriesItsHeader(t *testing.T) {
	s := flat(160, 120, Circle(geom.PointMM{}, 30))
	Look(&s.Camera, geom.PointMM{}, 100, 5, 0, 0)
	s.Focal35MM, s.Orientation = 26, 6
	jpg, err := s.Picture()
	if err != nil {
		t.Fatal(err)
	}
	c, err := jpeg.DecodeConfig(bytes.NewReader(jpg))
	if err != nil || c.Width != 120 || c.Height != 160 {
		t.Fatalf("stored as %d x %d, %v; want 120 x 160 for orientation 6", c.Width, c.Height, err)
	}
	again, err := s.Picture()
	if err != nil || !bytes.Equal(jpg, again) {
		t.Error("the same scene drawn twice gives different files")
	}
	if !bytes.Contains(jpg[:60], []byte("Exif")) || !bytes.Contains(jpg[:100], []byte{0xa4, 0x05, 0, 3, 0, 0, 0, 1, 0, 26}) {
		t.Error("no EXIF with a focal length of 26 mm")
	}
}

// Every class makes cases whose openings, strips and part do not run into each other.
func TestCasesAreSound(t *testing.T) {
	for i, c := range Classes() {
		seed := uint64(i%3 + 1)
		k, err := NewCase(c.Name, seed)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range []*Scene{k.Target, k.Work} {
			for a := range s.Strips {
				for b := range a {
					if s.stripsOverlap(a, b) {
						t.Errorf("%s seed %d: strips %d and %d overlap", s.Name, seed, a, b)
					}
				}
				g := newStripOf(&s.Strips[a], s.HeightMM)
				for _, p := range s.Part.Outline {
					if u, v := g.local(p.X, p.Y); u > -1 && v > -1 && u < stripLengthMM+1 && v < stripHeightMM+1 {
						t.Errorf("%s seed %d: strip %d lies on the part", s.Name, seed, a)
						break
					}
				}
			}
			for a := range s.Part.Ports {
				for b := range a {
					for _, p := range s.Part.Ports[a].Outline {
						if inside(p, s.Part.Ports[b].Outline) {
							t.Fatalf("%s seed %d: openings %d and %d overlap", s.Name, seed, a, b)
						}
					}
				}
			}
		}
	}
}
