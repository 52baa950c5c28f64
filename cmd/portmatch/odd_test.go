package main

import (
	"bytes"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"image"
	"image/draw"
	"image/png"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"golang.org/x/image/tiff"

	"portmatch/internal/geom"
)

// oddFolder is a folder of odd files of every kind: those of the picture reader's own test, every format that it reads, and
// names that lead nowhere.
func oddFolder(t *testing.T) (dir string, names []string) {
	t.Helper()
	dir = t.TempDir()
	out, err := exec.Command("go", "test", "-tags", "nodynamic", "-run", "^TestOddFiles$", "portmatch/internal/photo", "-args", "-odd", dir).CombinedOutput()
	if err != nil {
		t.Fatalf("the odd files can't be made: %v\n%s", err, out)
	}
	formats, err := filepath.Glob(filepath.Join(root, "internal/photo/testdata/*.*"))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range formats {
		data, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		put(t, dir, "format-"+filepath.Base(f), string(data))
	}
	for link, to := range map[string]string{"loop-a.jpg": "loop-b.jpg", "loop-b.jpg": "loop-a.jpg", "itself.jpg": "itself.jpg", "nowhere.jpg": "gone.jpg", "to a picture.jpg": "photo.png"} {
		if err := os.Symlink(to, filepath.Join(dir, link)); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Mkdir(filepath.Join(dir, "folder.jpg"), 0o777); err != nil {
		t.Fatal(err)
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return dir, names
}

// Whatever file is given as a photo or as a target, there is a result or a message that names the file, a status that the
// README knows, and nothing left where the output should have been.
func TestOddFolder(t *testing.T) {
	dir, names := oddFolder(t)
	if len(names) < 100 {
		t.Fatalf("only %d odd files", len(names))
	}
	t.Chdir(dir) // so that a name may begin with a dash
	outDir := t.TempDir()
	work := filepath.Join(outDir, "no-such-work.jpg")
	statuses := make(map[int]int)
	for _, name := range names {
		for _, args := range [][]string{
			{"trace", "--photo", name, "--out", filepath.Join(outDir, "trace.json")},
			{"match", "--target", name, "--work", work, "--job", filepath.Join(outDir, "job")},
		} {
			status, stdout, stderr := portmatch(t, args...)
			statuses[status]++
			// None of them shows a strip, so none can have a result; a target that is an outline file fails on the work.
			if status != statusPhoto && status != statusFile {
				t.Errorf("%s of %q: status %d: %s", args[0], name, status, stderr)
			}
			if !strings.Contains(stderr, name) && !strings.Contains(stderr, filepath.Base(work)) {
				t.Errorf("%s of %q: the message doesn't name it: %s", args[0], name, stderr)
			}
			if args[0] == "trace" && !strings.Contains(stderr, name) {
				t.Errorf("%s of %q: the message doesn't name it: %s", args[0], name, stderr)
			}
			if stdout != "" || strings.Contains(stderr, "panic") {
				t.Errorf("%s of %q: stdout %q, stderr %q", args[0], name, stdout, stderr)
			}
			empty(t, outDir)
		}
	}
	t.Logf("%d files; exit statuses %v", len(names), statuses)
	if left, err := os.ReadDir(dir); err != nil || len(left) != len(names) {
		t.Errorf("%d files in the folder, were %d: %v", len(left), len(names), err)
	}
}

// smallPhoto is a sample at half its size, for tests that measure it many times. Its sides are even, as a camera's are: chroma is
// stored by twos, and at an odd side they pair up otherwise in another orientation.
func smallPhoto(t *testing.T, name string) *image.RGBA {
	t.Helper()
	full := decoded(t, scenes()[name].file)
	const n = 2
	out := image.NewRGBA(image.Rect(0, 0, full.Rect.Dx()/n&^1, full.Rect.Dy()/n&^1))
	for i := range out.Pix {
		v, u, c := i/out.Stride, i%out.Stride/4, i%4
		sum := 0
		for dv := range n {
			for du := range n {
				sum += int(full.Pix[(n*v+dv)*full.Stride+4*(n*u+du)+c])
			}
		}
		out.Pix[i] = uint8((sum + n*n/2) / (n * n))
	}
	return out
}

// pngFile encodes a picture; orientation 1 to 8 goes into an eXIf chunk, as CIPA DC-008 numbers it.
func pngFile(t *testing.T, img image.Image, orientation uint16) string {
	t.Helper()
	var b bytes.Buffer
	if err := (&png.Encoder{CompressionLevel: png.BestSpeed}).Encode(&b, img); err != nil {
		t.Fatal(err)
	}
	be := binary.BigEndian
	exif := append([]byte("eXIfMM\x00*\x00\x00\x00\x08\x00\x01\x01\x12\x00\x03\x00\x00\x00\x01"), be.AppendUint16(nil, orientation)...)
	exif = append(exif, 0, 0, 0, 0, 0, 0)
	chunk := be.AppendUint32(nil, uint32(len(exif)-4))
	chunk = be.AppendUint32(append(chunk, exif...), crc32.ChecksumIEEE(exif))
	const afterHeader = 8 + 25
	return string(slices.Concat(b.Bytes()[:afterHeader], chunk, b.Bytes()[afterHeader:]))
}

// storedTurned returns the picture as a camera held in orientation o stores it (CIPA DC-008).
func storedTurned(img *image.RGBA, o int) *image.RGBA {
	w, h := img.Rect.Dx(), img.Rect.Dy()
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	if o >= 5 {
		out = image.NewRGBA(image.Rect(0, 0, h, w))
	}
	for v := range out.Rect.Dy() {
		for u := range out.Rect.Dx() {
			x, y := u, v
			if o >= 5 {
				x, y = v, u
			}
			if o == 2 || o == 3 || o == 6 || o == 7 { // column 0, or row 0, is the scene's right
				x = w - 1 - x
			}
			if o == 3 || o == 4 || o == 7 || o == 8 {
				y = h - 1 - y
			}
			out.SetRGBA(u, v, img.RGBAAt(x, y))
		}
	}
	return out
}

// One picture, stored in all eight orientations and in every lossless format, is one result to within 0.005 mm.
func TestOrientationsAndFormatsAreOneResult(t *testing.T) {
	dir := t.TempDir()
	img := smallPhoto(t, "throttle-face")
	deep := image.NewNRGBA64(img.Rect)
	draw.Draw(deep, deep.Rect, img, image.Point{}, draw.Src)
	files := []string{put(t, dir, "as-seen.png", pngFile(t, img, 1)), put(t, dir, "deep.png", pngFile(t, deep, 1))}
	for o := 2; o <= 8; o++ {
		files = append(files, put(t, dir, "turned-"+string(rune('0'+o))+".png", pngFile(t, storedTurned(img, o), uint16(o))))
	}
	for name, m := range map[string]image.Image{"plain.tif": img, "deep.tif": deep} {
		var b bytes.Buffer
		if err := tiff.Encode(&b, m, &tiff.Options{Compression: tiff.Deflate, Predictor: true}); err != nil {
			t.Fatal(err)
		}
		files = append(files, put(t, dir, name, b.String()))
	}
	var want *traced
	for _, f := range files {
		out := filepath.Join(dir, "trace.json")
		must(t, "trace", "--photo", f, "--out", out)
		var got traced
		readJSON(t, out, &got)
		if want == nil {
			want = &got
			if len(got.Ports) != 1 || len(got.Holes) < 3 {
				t.Fatalf("%d ports and %d holes", len(got.Ports), len(got.Holes))
			}
		}
		compareTraces(t, filepath.Base(f), &got, want)
	}
}

// traced is what a trace file says of places.
type traced struct {
	Ports []struct{ Outline [][2]float64 }
	Holes []struct{ X, Y, Diameter float64 }
}

func compareTraces(t *testing.T, name string, got, want *traced) {
	t.Helper()
	const limitMM = 0.005
	if len(got.Ports) != len(want.Ports) || len(got.Holes) != len(want.Holes) {
		t.Errorf("%s: %d ports and %d holes, want %d and %d", name, len(got.Ports), len(got.Holes), len(want.Ports), len(want.Holes))
		return
	}
	worst := 0.0
	for i, p := range got.Ports {
		ix := geom.NewIndex(outline(want.Ports[i].Outline))
		for _, q := range p.Outline {
			_, _, d := ix.Nearest(point(q))
			worst = max(worst, d)
		}
	}
	for i, h := range got.Holes {
		w := want.Holes[i]
		worst = max(worst, math.Hypot(h.X-w.X, h.Y-w.Y), math.Abs(h.Diameter-w.Diameter))
	}
	t.Logf("%s: %.4f mm", name, worst)
	if !(worst <= limitMM) {
		t.Errorf("%s: differs by %.4f mm, want at most %.3f", name, worst, limitMM)
	}
}

// Names with spaces, umlauts, line ends and leading dashes, and symbolic links, through a whole job; the photos stay as they are.
func TestStrangeNames(t *testing.T) {
	q := newQuick(t)
	photo, err := os.ReadFile(q.work)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	t.Chdir(dir)
	put(t, dir, "-Flansch nach dem Öl.jpg", string(photo))
	realJobs := filepath.Join(dir, "real jobs")
	if err := errors.Join(os.Mkdir(realJobs, 0o777), os.Symlink(realJobs, "jobs"), os.Symlink("-Flansch nach dem Öl.jpg", "link.jpg")); err != nil {
		t.Fatal(err)
	}
	for i, jobDir := range []string{"-left", filepath.Join("jobs", "größer\nals gedacht")} {
		work := []string{"-Flansch nach dem Öl.jpg", "link.jpg"}[i]
		must(t, "match", "--target", q.target, "--work", work, "--flipped", "no", "--turned", "0", "--job", jobDir)
		must(t, "recheck", "--work", work, "--job", jobDir)
		must(t, "show", "--job", jobDir)
		must(t, "map", "--job", jobDir, "--out", "-map.pdf")
		checkJob(t, jobDir, 2)
		if after, err := os.ReadFile(work); err != nil || !bytes.Equal(after, photo) {
			t.Errorf("%s was changed: %v", work, err)
		}
	}
	if st, err := os.Lstat("link.jpg"); err != nil || st.Mode().IsRegular() {
		t.Errorf("the link is now %v, %v", st, err)
	}
}
