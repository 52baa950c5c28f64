package main

import (
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"portmatch/internal/compare"
	"portmatch/internal/face"
)

// edited writes a JPEG made from another and returns its name.
func edited(t *testing.T, dir, name, from string, edit func(*image.RGBA) image.Image) string {
	t.Helper()
	img := decoded(t, from)
	out, err := os.Create(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	if err := jpeg.Encode(out, edit(img), &jpeg.Options{Quality: 92}); err != nil {
		t.Fatal(err)
	}
	return out.Name()
}

// decoded reads a JPEG.
func decoded(t *testing.T, path string) *image.RGBA {
	t.Helper()
	in, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	src, err := jpeg.Decode(in)
	if err != nil {
		t.Fatal(err)
	}
	img := image.NewRGBA(src.Bounds())
	draw.Draw(img, img.Rect, src, image.Point{}, draw.Src)
	return img
}

func put(t *testing.T, dir, name, content string) string {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.WriteFile(path, []byte(content), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// trueTrace writes a scene's exact outlines as a trace file.
func trueTrace(t *testing.T, dir, scene string) string {
	t.Helper()
	return putFace(t, dir, scene, trueFace(t, scene))
}

// trueFace holds a scene's exact outlines and holes.
func trueFace(t *testing.T, scene string) *face.Face {
	t.Helper()
	var truth struct {
		truthFace
		Holes []struct {
			Centre   [2]float64
			Diameter float64 `json:"edge_diameter_at_face"`
		}
	}
	readJSON(t, filepath.Join(root, "testdata/truth", scene+".truth.json"), &truth)
	f := &face.Face{}
	for i, p := range truth.Ports {
		f.Ports = append(f.Ports, face.Port{Number: i + 1, Edge: face.Edge{Outline: outline(p.Outline)}})
	}
	for _, h := range truth.Holes {
		f.Holes = append(f.Holes, face.Hole{Centre: point(h.Centre), DiameterMM: h.Diameter})
	}
	return f
}

func putFace(t *testing.T, dir, name string, f *face.Face) string {
	t.Helper()
	var b strings.Builder
	if err := face.Encode(&b, f); err != nil {
		t.Fatal(err)
	}
	return put(t, dir, name+".json", b.String())
}

// stripBoxes returns the part of the photo that each strip covers.
func stripBoxes(t *testing.T, scene string) []image.Rectangle {
	t.Helper()
	var truth struct {
		Strips []struct {
			CornersPx [4][2]float64 `json:"corners_px"`
		}
	}
	readJSON(t, filepath.Join(root, "testdata/truth", scene+".truth.json"), &truth)
	var boxes []image.Rectangle
	for _, s := range truth.Strips {
		var b image.Rectangle
		for _, c := range s.CornersPx {
			b = b.Union(image.Rect(int(c[0]), int(c[1]), int(c[0])+1, int(c[1])+1))
		}
		boxes = append(boxes, b)
	}
	return boxes
}

func paper(img draw.Image, r image.Rectangle) {
	draw.Draw(img, r, image.NewUniform(color.Gray{170}), image.Point{}, draw.Src)
}

func TestBadPhotos(t *testing.T) {
	dir := t.TempDir()
	work := scenes()["throttle-face"].file
	strips := stripBoxes(t, "throttle-face")
	whole, err := os.ReadFile(work)
	if err != nil {
		t.Fatal(err)
	}
	throttle := trueTrace(t, dir, "throttle-gasket")
	gasket := trueTrace(t, dir, "gasket")

	for _, c := range []struct {
		name, target, work string
		status             int
		says               []string
	}{
		{"missing", throttle, filepath.Join(dir, "none.jpg"), statusFile, []string{"none.jpg"}},
		{"a folder", throttle, dir, statusFile, []string{dir}},
		{"empty", throttle, put(t, dir, "empty.jpg", ""), statusFile, []string{"empty.jpg"}},
		{"text", throttle, put(t, dir, "text.jpg", strings.Repeat("not a picture\n", 20)), statusPhoto, []string{"text.jpg", "picture"}},
		{"cut short", throttle, put(t, dir, "short.jpg", string(whole[:len(whole)/3])), statusPhoto, []string{"short.jpg"}},
		{"no strip", throttle, edited(t, dir, "nostrip.jpg", work, func(img *image.RGBA) image.Image {
			for _, b := range strips {
				paper(img, b.Inset(-10))
			}
			return img
		}), statusPhoto, []string{"nostrip.jpg", "strip"}},
		{"the same strip twice", throttle, edited(t, dir, "twice.jpg", work, func(img *image.RGBA) image.Image {
			to := strips[1]
			paper(img, to)
			draw.Draw(img, image.Rectangle{to.Min, to.Min.Add(strips[0].Size())}, img.SubImage(strips[0]), strips[0].Min, draw.Src)
			return img
		}), statusPhoto, []string{"twice.jpg", "strip 1"}},
		{"cut off by the frame", gasket, edited(t, dir, "cut.jpg", scenes()["manifold-before"].file, func(img *image.RGBA) image.Image {
			return img.SubImage(image.Rect(600, 0, img.Rect.Dx()-600, img.Rect.Dy())) // through port 4; the lens's axis stays midway
		}), statusPhoto, []string{"cut.jpg", "port 4", "right"}},
		{"another part", gasket, work, statusParts, []string{"gasket.json", "throttle-face.jpg", "holes"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			job := filepath.Join(dir, "job of "+c.name)
			status, stdout, stderr := portmatch(t, "match", "--target", c.target, "--work", c.work, "--job", job)
			if status != c.status || stdout != "" {
				t.Errorf("status %d, want %d; stdout %q", status, c.status, stdout)
			}
			for _, s := range c.says {
				if !strings.Contains(stderr, s) {
					t.Errorf("%q says nothing of %q", stderr, s)
				}
			}
			if _, err := os.Stat(job); !os.IsNotExist(err) {
				t.Errorf("the job folder was left behind: %v", err)
			}
		})
	}
}

func TestOneStripIsWeaker(t *testing.T) {
	dir := t.TempDir()
	work := scenes()["throttle-face"].file
	strips := stripBoxes(t, "throttle-face")
	one := edited(t, dir, "one.jpg", work, func(img *image.RGBA) image.Image {
		paper(img, strips[1].Inset(-10))
		return img
	})
	status, _, stderr := portmatch(t, "trace", "--photo", one, "--out", filepath.Join(dir, "one.json"))
	if status != 0 || !strings.Contains(stderr, "one.jpg: ") || !strings.Contains(stderr, "strip") {
		t.Errorf("status %d, %q; want 0 and advice about the strips", status, stderr)
	}
}

func TestBadJobFolders(t *testing.T) {
	dir := t.TempDir()
	foreign := filepath.Join(dir, "holiday")
	if err := os.Mkdir(foreign, 0o755); err != nil {
		t.Fatal(err)
	}
	keep := put(t, foreign, "beach.jpg", "dear to someone")
	work := scenes()["throttle-face"].file
	status, _, stderr := portmatch(t, "match", "--target", work, "--work", work, "--job", filepath.Join(dir, "job"))
	if status != statusParts || !strings.Contains(stderr, "the same picture") {
		t.Errorf("one picture given twice: status %d, %q; want %d", status, stderr, statusParts)
	}
	for _, c := range []struct {
		name, job, target string
		says              string
	}{
		{"a folder with other things", foreign, work, "holiday"},
		{"below a file", filepath.Join(keep, "job"), work, "beach.jpg"},
		{"in a folder that isn't there", filepath.Join(dir, "no", "job"), work, "no"},
		{"where nothing can be written", "/proc/self/job", work, "/proc/self"},
		{"a target that is no trace file", filepath.Join(dir, "job"), put(t, dir, "bad.json", `{"schema":1,"units":"mm","ports":[]}`), "bad.json"},
		{"a target of a newer version", filepath.Join(dir, "job"), put(t, dir, "new.json", `{"schema":99}`), "new.json"},
	} {
		status, stdout, stderr := portmatch(t, "match", "--target", c.target, "--work", work, "--job", c.job)
		if status != statusFile || stdout != "" || !strings.Contains(stderr, c.says) {
			t.Errorf("%s: status %d, stderr %q; want %d and %q", c.name, status, stderr, statusFile, c.says)
		}
	}
	if b, err := os.ReadFile(keep); err != nil || string(b) != "dear to someone" {
		t.Errorf("the foreign file now holds %q, %v", b, err)
	}
	for _, args := range [][]string{
		{"show", "--job", foreign}, {"map", "--job", foreign, "--out", filepath.Join(dir, "m.pdf")},
		{"recheck", "--job", foreign, "--work", work}, {"show", "--job", filepath.Join(dir, "none")},
	} {
		if status, stdout, stderr := portmatch(t, args...); status != statusFile || stdout != "" || stderr == "" {
			t.Errorf("portmatch %v: status %d, stdout %q, stderr %q; want %d", args, status, stdout, stderr, statusFile)
		}
	}
	if _, err := os.Stat(filepath.Join(dir, "job")); !os.IsNotExist(err) {
		t.Errorf("a job folder was left behind: %v", err)
	}
}

// A height that was left out shows in the holes: through a gasket's the bench is seen. A casting may stand as little above its strips as a gasket is
// thick: nothing in one photo speaks against that.
func TestHeightThatContradictsThePicture(t *testing.T) {
	for _, c := range []struct {
		photo, given string
		warned       bool
	}{
		{"gasket", scenes()["gasket"].heightMM, false}, {"gasket", "0", true},
		{"throttle-face", scenes()["throttle-face"].heightMM, false}, {"throttle-face", "1.5", false},
	} {
		_, _, stderr := portmatch(t, "trace", "--photo", scenes()[c.photo].file, "--height", c.given, "--out", filepath.Join(t.TempDir(), "out.json"))
		if warned := strings.Contains(stderr, "the height given"); warned != c.warned {
			t.Errorf("%s at %s mm, true %s: warned %v, want %v: %q", c.photo, c.given, scenes()[c.photo].heightMM, warned, c.warned, stderr)
		}
	}
}

// An opening that the target's photo does not show must be named, not left out, and take no other down.
func TestPortMissingOnTheTarget(t *testing.T) {
	dir := t.TempDir()
	gasket := scenes()["gasket"]
	cut := edited(t, dir, "cut.jpg", gasket.file, func(img *image.RGBA) image.Image {
		const middlePx = 488 // of the gasket's leftmost port, from its outline in the photo's truth
		return img.SubImage(image.Rect(middlePx, 0, img.Rect.Max.X, img.Rect.Max.Y))
	})
	if _, _, stderr := portmatch(t, "trace", "--photo", cut, "--height", gasket.heightMM, "--out", filepath.Join(dir, "cut.json")); !strings.Contains(stderr, "left edge") {
		t.Errorf("trace of a cut photo says %q, want the side that the part runs off", stderr)
	}
	less := trueFace(t, "gasket")
	less.Ports = less.Ports[1:]
	for _, c := range []struct{ name, target, why string }{
		{"cut by the frame", cut, "the target's photo cuts this port off"},
		{"not in the outlines", putFace(t, dir, "less", less), "the target has no opening here"},
	} {
		t.Run(c.name, func(t *testing.T) {
			job := filepath.Join(t.TempDir(), "job")
			must(t, "match", "--target", c.target, "--target-height", gasket.heightMM, "--work", scenes()["manifold-before"].file, "--job", job)
			var r compare.Result
			readJSON(t, filepath.Join(job, "pass-1", "result.json"), &r)
			if len(r.Ports) != 4 {
				t.Fatalf("%d ports, want all 4", len(r.Ports))
			}
			for i, p := range r.Ports {
				if i == 0 && (p.Verdict != compare.NotMeasured || p.Why != c.why) {
					t.Errorf("port 1 is called %q (%s), want it not measured: %s", p.Verdict, p.Why, c.why)
				}
				if i > 0 && p.Verdict != compare.Grind {
					t.Errorf("port %d is called %q, want %q", p.Port, p.Verdict, compare.Grind)
				}
			}
		})
	}
}

// A photo on which no opening shows, whatever the other one does: refused, by the file's name.
func TestPhotoWithoutOpenings(t *testing.T) {
	dir := t.TempDir()
	// Everything darker than the manifold's face but the tags: the bores and tunnels take the face's colour.
	closed := edited(t, dir, "closed.jpg", scenes()["throttle-face"].file, func(img *image.RGBA) image.Image {
		b := img.Bounds()
		mid := image.Pt(b.Dx()/2, b.Dy()/2)
		r := b.Dy() / 5
		for y := mid.Y - r; y < mid.Y+r; y++ {
			for x := mid.X - r; x < mid.X+r; x++ {
				if p := img.RGBAAt(x, y); p.G < 90 {
					img.SetRGBA(x, y, color.RGBA{150, 150, 150, 255})
				}
			}
		}
		return img
	})
	status, _, stderr := portmatch(t, "match", "--target", scenes()["throttle-gasket"].file, "--target-height", "0.8", "--work", closed, "--job", filepath.Join(dir, "job"))
	if status != statusPhoto || !strings.Contains(stderr, "closed.jpg: the work can't be compared: no port was found on it") {
		t.Errorf("status %d: %s", status, stderr)
	}
	if _, err := os.Stat(filepath.Join(dir, "job")); !os.IsNotExist(err) {
		t.Errorf("a job was begun: %v", err)
	}
}
