package main

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"portmatch/internal/compare"
	"portmatch/internal/geom"
)

// withoutTags writes a copy of a ray-traced photo in which every tag is painted grey, and keeps its EXIF block, so that the lens is
// still known.
func withoutTags(t *testing.T, name, path string) {
	t.Helper()
	data, err := os.ReadFile(scenes()[name].file)
	if err != nil {
		t.Fatal(err)
	}
	src, err := jpeg.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	pic := image.NewRGBA(src.Bounds())
	draw.Draw(pic, pic.Bounds(), src, image.Point{}, draw.Src)
	var truth struct {
		Strips []struct {
			Tags map[string]struct {
				Corners [4][2]float64 `json:"corners_px"`
			}
		}
	}
	readJSON(t, filepath.Join(root, "testdata/truth", name+".truth.json"), &truth)
	for _, s := range truth.Strips {
		for _, tag := range s.Tags {
			paint(pic, tag.Corners)
		}
	}
	var out bytes.Buffer
	if err := jpeg.Encode(&out, pic, &jpeg.Options{Quality: 95}); err != nil {
		t.Fatal(err)
	}
	exif := exifSegment(t, data)
	whole := append(append(append([]byte{}, out.Bytes()[:2]...), exif...), out.Bytes()[2:]...)
	if err := os.WriteFile(path, whole, 0o666); err != nil {
		t.Fatal(err)
	}
}

// paint covers a tag, a little beyond its black border.
func paint(pic *image.RGBA, corners [4][2]float64) {
	var mid [2]float64
	for _, c := range corners {
		mid[0], mid[1] = mid[0]+c[0]/4, mid[1]+c[1]/4
	}
	var o geom.Outline
	for _, c := range corners {
		o = append(o, geom.PointMM{X: mid[0] + 1.15*(c[0]-mid[0]), Y: mid[1] + 1.15*(c[1]-mid[1])})
	}
	lo, hi := o.Bounds()
	for v := int(lo.Y); v <= int(hi.Y)+1; v++ {
		for u := int(lo.X); u <= int(hi.X)+1; u++ {
			if o.Contains(geom.PointMM{X: float64(u), Y: float64(v)}) {
				pic.Set(u, v, color.Gray{Y: 0xa0})
			}
		}
	}
}

// exifSegment is the file's APP1 segment (JPEG: ITU-T T.81, B.1.1.3; EXIF: CIPA DC-008, 4.5.4), marker and length included.
func exifSegment(t *testing.T, jpg []byte) []byte {
	t.Helper()
	for i := 2; i+4 < len(jpg) && jpg[i] == 0xff; {
		n := 2 + int(binary.BigEndian.Uint16(jpg[i+2:]))
		if jpg[i+1] == 0xe1 {
			return jpg[i : i+n]
		}
		i += n
	}
	t.Fatal("the photo has no EXIF block")
	return nil
}

// TestFaceAsScale rechecks a photo without a tag in it by the face's own holes, against the truth and against the same photo with
// its strips.
func TestFaceAsScale(t *testing.T) {
	dir := t.TempDir()
	jobDir := filepath.Join(dir, "engine")
	bare := filepath.Join(dir, "bare.jpg")
	withoutTags(t, "manifold-after", bare)
	must(t, "match", "--target", trueTrace(t, dir, "gasket"), "--work", scenes()["manifold-before"].file, "--job", jobDir)

	if status, _, stderr := portmatch(t, "recheck", "--work", bare, "--job", jobDir); status != statusPhoto || !strings.Contains(stderr, "--face-as-scale") {
		t.Errorf("a photo without a strip: status %d, %q; want %d and a word about --face-as-scale", status, stderr, statusPhoto)
	}
	must(t, "recheck", "--work", bare, "--job", jobDir, "--face-as-scale")
	must(t, "recheck", "--work", scenes()["manifold-after"].file, "--job", jobDir, "--face-as-scale")
	var byFace, byStrips compare.Result
	readJSON(t, filepath.Join(jobDir, "pass-2", "result.json"), &byFace)
	readJSON(t, filepath.Join(jobDir, "pass-3", "result.json"), &byStrips)
	if n := byFace.Calibration[1].FaceOfPass; n != 1 {
		t.Errorf("the scale of pass 2 comes from the face of pass %d, want 1", n)
	}
	if c := byStrips.Calibration[1]; c.FaceOfPass != 0 || len(c.Strips) != 2 {
		t.Errorf("pass 3 shows two strips, but its scale comes from strips %v and the face of pass %d", c.Strips, c.FaceOfPass)
	}
	var want truthPair
	readJSON(t, filepath.Join(root, "testdata/truth/after.pair.truth.json"), &want)
	if len(byFace.Ports) != len(want.Ports) || len(byStrips.Ports) != len(want.Ports) {
		t.Fatalf("%d and %d ports, want %d", len(byFace.Ports), len(byStrips.Ports), len(want.Ports))
	}
	large := 0
	for i, p := range byFace.Ports {
		w, s := want.Ports[i], byStrips.Ports[i]
		for _, q := range []struct {
			name        string
			got, strips compare.Quantity
			truth       float64
		}{
			{"remove step", p.RemoveStep.Quantity, s.RemoveStep.Quantity, w.Remove},
			{"past step", p.PastStep.Quantity, s.PastStep.Quantity, w.Past},
			{"work area", p.WorkArea, s.WorkArea, w.WorkArea},
			{"area to remove", p.RemoveArea, s.RemoveArea, w.RemoveArea},
		} {
			t.Logf("port %d: %s %.3f ± %.3f (strips %.3f ± %.3f), truth %.3f", p.Port, q.name, q.got.Value, q.got.Uncertainty, q.strips.Value, q.strips.Uncertainty, q.truth)
			if d := math.Abs(q.got.Value - q.truth); !(d <= q.got.Uncertainty) {
				t.Errorf("port %d: %s %.3f ± %.3f does not cover the truth %.3f", p.Port, q.name, q.got.Value, q.got.Uncertainty, q.truth)
			}
			// Small steps and areas are as sure as the edge is; the scale tells in the large steps.
			if strings.HasSuffix(q.name, "step") && q.truth > 0.5 {
				// An edge's own share differs with how far its step was smoothed along it.
				const own = 0.8
				if large++; !(q.got.Uncertainty > own*q.strips.Uncertainty) {
					t.Errorf("port %d: U of the %s is %.3f by the face and %.3f by strips; the face can't be the better scale", p.Port, q.name, q.got.Uncertainty, q.strips.Uncertainty)
				}
			}
		}
	}
	if large != 2 { // in the truth: port 2 past by 0.597, port 3 short by 0.831
		t.Errorf("%d steps above 0.5 mm, want 2", large)
	}
}
