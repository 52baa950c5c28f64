package photo

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"flag"
	"image"
	"image/color"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"
)

// oddFile is a file that is broken, strange or not a picture at all, and what must come of it: nil for a picture.
type oddFile struct {
	name string
	data []byte
	want error
	note string // must stand in the notes, if there is a picture
}

func oddFiles(t testing.TB) []oddFile {
	jpg, png := encodeJPEG(t, sceneImage()), encodePNG(t, sceneImage())
	data := func(name string) []byte { return testdata(t, name) }
	cut := func(b []byte, share float64) []byte { return b[:int(share*float64(len(b)))] }
	change := func(b []byte, at int, with ...byte) []byte {
		b = bytes.Clone(b)
		copy(b[at:], with)
		return b
	}
	sized := func(b []byte, marker byte, w, h uint16) []byte { // another size in a JPEG's frame header
		at := bytes.Index(b, []byte{0xFF, marker})
		return change(b, at+5, byte(h>>8), byte(h), byte(w>>8), byte(w))
	}
	frame := bytes.Index(jpg, []byte{0xFF, 0xC0})
	scan := bytes.Index(jpg, []byte{0xFF, mSOS})
	pngSized := func(w, h uint32) []byte {
		ihdr := binary.BigEndian.AppendUint32(nil, w)
		ihdr = append(binary.BigEndian.AppendUint32(ihdr, h), png[24:29]...)
		return append(append(bytes.Clone(png[:8]), pngChunk("IHDR", ihdr)...), png[33:]...)
	}
	tif := func(extra ...ifdEntry) []byte { return buildTIFF(binary.LittleEndian, 3, 1, extra...) }
	eoi := []byte{0xFF, mEOI}
	prog := data("progressive.jpg")
	lastScan := bytes.LastIndex(prog, []byte{0xFF, mSOS})
	non := data("noninterleaved.jpg")
	lastComponent := bytes.LastIndex(non, []byte{0xFF, mSOS})
	// Huffman codes can be damaged without the decoder noticing at once; a long run of ones is no valid code anywhere.
	burnt := change(jpg, (scan+len(jpg))/2, bytes.Repeat([]byte{0xFE}, 200)...)
	heicAt := func(kind string) int { return bytes.Index(data("plain.heic"), []byte(kind)) }
	grey16 := image.NewGray16(image.Rect(0, 0, sceneW, sceneH))

	return []oddFile{
		// Not pictures.
		{"empty.jpg", nil, ErrUnreadable, ""},
		{"one-byte.jpg", []byte{0xFF}, ErrNotPicture, ""},
		{"text.jpg", []byte("This is no picture, whatever its name says."), ErrNotPicture, ""},
		{"zeros.jpg", make([]byte, 4096), ErrNotPicture, ""},
		{"drawing.pdf", []byte("%PDF-1.4\n1 0 obj"), ErrNotPicture, ""},
		{"drawing.svg", []byte("<svg xmlns='http://www.w3.org/2000/svg'/>"), ErrNotPicture, ""},
		{"page.html", []byte("<!DOCTYPE html><html></html>"), ErrNotPicture, ""},
		{"archive.zip", []byte("PK\x03\x04 and so on and so on"), ErrNotPicture, ""},
		{"trace.json", []byte(`{"schema": 1}`), ErrNotPicture, ""},
		{"film.mp4", []byte("\x00\x00\x00\x18ftypisom\x00\x00\x02\x00isommp41"), ErrNotPicture, ""},
		// Pictures of kinds that aren't read.
		{"moving.gif", []byte("GIF89a\x60\x00\x50\x00\x00\x00\x00"), ErrUnsupported, ""},
		{"old.bmp", []byte("BM\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00"), ErrUnsupported, ""},
		{"new.jxl", []byte("\xff\x0a and more than twelve bytes"), ErrUnsupported, ""},
		{"layers.psd", []byte("8BPS\x00\x01\x00\x00\x00\x00\x00\x00"), ErrUnsupported, ""},
		{"big.tif", []byte("II+\x00\x08\x00\x00\x00\x10\x00\x00\x00\x00\x00\x00\x00"), ErrUnsupported, ""},
		{"scene.avif", data("scene.avif"), ErrUnsupported, ""},
		{"moving.webp", data("anim.webp"), ErrUnsupported, ""},
		{"raw.dng", tif(ifdEntry{tag: tagDNGVersion, kind: 4, values: []uint32{1}}), ErrUnsupported, ""},
		{"raw.tif", tif(short(tagPhotometric, 32803)), ErrUnsupported, ""},
		{"raw-with-thumbnail.tif", tif(long(tagNewSubfileType, 1), long(tagSubIFDs, 8)), ErrUnsupported, ""},
		{"raw.cr3", []byte("\x00\x00\x00\x18ftypcrx \x00\x00\x00\x01crx isom and more"), ErrUnsupported, ""},
		{"inks.tif", tif(short(tagPhotometric, 5)), ErrUnsupported, ""},
		{"planes.tif", tif(short(tagPlanarConfig, 2)), ErrUnsupported, ""},
		{"jpeg-inside.tif", tif(short(tagCompression, 7)), ErrUnsupported, ""},
		{"fax.tif", tif(short(tagCompression, 4)), ErrUnsupported, ""},
		{"float.tif", tif(short(tagBitsPerSample, 32, 32, 32), short(tagSampleFormat, 3)), ErrUnsupported, ""},
		{"line-art.tif", buildTIFF(binary.LittleEndian, 1, 1, short(tagBitsPerSample, 1)), ErrUnsupported, ""},
		{"twelve-bits.jpg", change(jpg, frame+4, 12), ErrUnsupported, ""},
		{"lossless.jpg", change(jpg, frame+1, 0xC3), ErrUnsupported, ""},
		{"two-colours.jpg", change(jpg, frame+9, 2), ErrUnsupported, ""},
		// Sizes.
		{"huge.jpg", sized(jpg, 0xC0, 60000, 60000), ErrTooLarge, ""},
		{"huge-progressive.jpg", sized(prog, 0xC2, 60000, 60000), ErrTooLarge, ""},
		{"huge.png", pngSized(60000, 60000), ErrTooLarge, ""},
		{"endless.png", pngSized(1<<31-1, 1<<31-1), ErrTooLarge, ""},
		{"huge.tif", tif(long(tagImageWidth, 60000), long(tagImageLength, 60000)), ErrTooLarge, ""},
		{"huge.webp", change(webpWithEXIF(data("lossless.webp"), nil), 24, 0x5F, 0xEA, 0, 0x5F, 0xEA, 0), ErrDamaged, ""},
		{"huge.heic", change(data("plain.heic"), heicAt("ispe")+8, 0, 0, 0xEA, 0x60, 0, 0, 0xEA, 0x60), ErrTooLarge, ""},
		{"no-size.jpg", sized(jpg, 0xC0, 0, 80), ErrDamaged, ""},
		{"size-comes-later.jpg", sized(jpg, 0xC0, 96, 0), ErrDamaged, ""},
		{"no-size.png", pngSized(0, 80), ErrDamaged, ""},
		{"no-size.tif", tif(long(tagImageWidth, 0)), ErrDamaged, ""},
		{"tiny.png", encodePNG(t, image.NewGray(image.Rect(0, 0, 8, 8))), ErrTooSmall, ""},
		{"thin.png", encodePNG(t, image.NewGray(image.Rect(0, 0, 2000, 63))), ErrTooSmall, ""},
		{"one-pixel.jpg", encodeJPEG(t, image.NewGray(image.Rect(0, 0, 1, 1))), ErrTooSmall, ""},
		{"just-enough.png", encodePNG(t, image.NewGray(image.Rect(0, 0, 64, 64))), nil, ""},
		// Cut short or damaged.
		{"start-only.jpg", jpg[:4], ErrDamaged, ""},
		{"header-cut.jpg", jpg[:frame+6], ErrDamaged, ""},
		{"no-pixels.jpg", jpg[:scan], ErrDamaged, ""},
		{"half.jpg", cut(jpg, 0.5), ErrDamaged, ""},
		{"half-closed.jpg", append(bytes.Clone(cut(jpg, 0.5)), eoi...), ErrDamaged, ""},
		{"nearly-whole.jpg", cut(jpg, 0.97), ErrDamaged, ""},
		{"end-mark-missing.jpg", jpg[:len(jpg)-2], nil, ""},
		{"half-progressive.jpg", cut(prog, 0.5), ErrDamaged, ""},
		{"last-scan-missing.jpg", append(bytes.Clone(prog[:lastScan]), eoi...), ErrDamaged, ""},
		{"colour-missing.jpg", append(bytes.Clone(non[:lastComponent]), eoi...), ErrDamaged, ""},
		{"burnt.jpg", burnt, ErrDamaged, ""},
		{"half-restart.jpg", cut(data("restart.jpg"), 0.6), ErrDamaged, ""},
		{"half.png", cut(png, 0.5), ErrDamaged, ""},
		{"end-missing.png", png[:len(png)-12], ErrDamaged, ""},
		{"wrong-sum.png", change(png, len(png)-20, 0x55, 0xAA), ErrDamaged, ""},
		{"half.tif", cut(tif(), 0.5), ErrDamaged, ""},
		{"cut-strip.tif", tif(long(tagStripCounts, 1<<30, 4608, 4608, 4608, 4608)), ErrDamaged, ""},
		{"too-few-strips.tif", tif(long(tagStripOffsets, 8), long(tagStripCounts, 100)), ErrDamaged, ""},
		{"half.webp", cut(data("lossy.webp"), 0.5), ErrDamaged, ""},
		{"half-lossless.webp", cut(data("lossless.webp"), 0.5), ErrDamaged, ""},
		{"half.heic", cut(data("plain.heic"), 0.5), ErrDamaged, ""},
		{"table-cut.heic", data("plain.heic")[:200], ErrDamaged, ""},
		{"two-sizes.heic", change(data("plain.heic"), heicAt("ispe")+8, 0, 0, 0, 130, 0, 0, 0, 130), ErrDamaged, ""},
		// Strange, but pictures.
		{"photo.png", jpg, nil, ""}, // the name lies
		{"no-extension", png, nil, ""},
		{"trailing.jpg", append(bytes.Clone(jpg), bytes.Repeat([]byte("film "), 1000)...), nil, ""},
		{"broken-exif.jpg", withEXIF(jpg, []byte("II*\x00\xff\xff\xff\xff")), nil, ""},
		{"looping-exif.jpg", withEXIF(jpg, buildEXIF(binary.LittleEndian, []ifdEntry{long(tagExifIFD, 8)}, nil)), nil, ""},
		{"comment.jpg", withSegment(jpg, 0xFE, []byte("hello")), nil, ""},
		{"grey-16.png", encodePNG(t, grey16), nil, ""},
		{"three-pages.tif", buildTIFF(binary.BigEndian, 3, 3), nil, "3 pages"},
		{"see-through.png", data("alpha.png"), nil, "see-through"},
		{"see-through.heic", data("alpha.heic"), nil, ""},
		{"photo with spaces.jpg", jpg, nil, ""},
		{"Krümmer für Öl.jpg", jpg, nil, ""},
		{"-dash.jpg", jpg, nil, ""},
		{"new\nline.jpg", jpg, nil, ""},
	}
}

// oddDir makes TestOddFiles leave the files behind, for the test of the whole program in cmd/portmatch.
var oddDir = flag.String("odd", "", "folder to keep the odd files in")

func TestOddFiles(t *testing.T) {
	files := oddFiles(t)
	if len(files) < 60 {
		t.Fatalf("only %d odd files", len(files))
	}
	dir := *oddDir
	if dir == "" {
		dir = t.TempDir()
	}
	for _, f := range files {
		t.Run(f.name, func(t *testing.T) {
			path := filepath.Join(dir, f.name)
			if err := os.WriteFile(path, f.data, 0o600); err != nil {
				t.Fatal(err)
			}
			p, err := Load(context.Background(), path, Options{})
			checkOutcome(t, path, p, err, f.want)
			if err == nil && f.note != "" && !strings.Contains(strings.Join(p.Notes, "\n"), f.note) {
				t.Errorf("notes %q don't speak of %q", p.Notes, f.note)
			}
			if after, err := os.ReadFile(path); err != nil || !bytes.Equal(after, f.data) {
				t.Error("the file was changed")
			}
		})
	}
}

// checkOutcome makes sure that there is either a picture or an error of the wanted kind that names the file and says what
// to do.
func checkOutcome(t *testing.T, path string, p *Photo, err, want error) {
	t.Helper()
	if want == nil {
		if err != nil {
			t.Errorf("refused: %v", err)
		}
		return
	}
	if p != nil || err == nil {
		t.Fatalf("accepted, want %q", want)
	}
	if !errors.Is(err, want) {
		t.Errorf("%v: is not %q", err, want)
	}
	var e *Error
	if !errors.As(err, &e) {
		t.Fatalf("%v is no *Error", err)
	}
	if e.Path != path || !strings.HasPrefix(err.Error(), path+": ") {
		t.Errorf("%q doesn't begin with the file's name", err)
	}
	if e.What == "" || e.Try == "" {
		t.Errorf("%q says what %q, try %q", err, e.What, e.Try)
	}
}

func TestOddPaths(t *testing.T) {
	dir := t.TempDir()
	jpg := encodeJPEG(t, sceneImage())
	real := filepath.Join(dir, "real.jpg")
	if err := os.WriteFile(real, jpg, 0o600); err != nil {
		t.Fatal(err)
	}
	link, dangling := filepath.Join(dir, "link.jpg"), filepath.Join(dir, "dangling.jpg")
	if err := errors.Join(os.Symlink(real, link), os.Symlink(filepath.Join(dir, "gone.jpg"), dangling)); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		path string
		want error
	}{
		{real, nil},
		{link, nil},
		{dangling, ErrUnreadable},
		{dir, ErrUnreadable},
		{filepath.Join(dir, "missing.jpg"), ErrUnreadable},
		{filepath.Join(real, "inside-a-file.jpg"), ErrUnreadable},
		{filepath.Join(dir, strings.Repeat("x", 300)), ErrUnreadable},
		{"", ErrUnreadable},
		{"/dev/zero", ErrUnreadable},
		{"nul\x00byte", ErrUnreadable},
	} {
		p, err := Load(context.Background(), c.path, Options{})
		checkOutcome(t, c.path, p, err, c.want)
	}
	if _, err := Load(context.Background(), dangling, Options{}); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("%v is not fs.ErrNotExist", err)
	}
}

// Permissions don't hold back root, so what the system answers is put in by hand there.
func TestNoPermission(t *testing.T) {
	path := filepath.Join(t.TempDir(), "locked.jpg")
	if err := os.WriteFile(path, encodeJPEG(t, sceneImage()), 0); err != nil {
		t.Fatal(err)
	}
	_, err := Load(context.Background(), path, Options{})
	if os.Geteuid() == 0 {
		err = cannotOpen(&fs.PathError{Op: "open", Path: path, Err: syscall.EACCES})
	}
	if !errors.Is(err, ErrUnreadable) || !errors.Is(err, fs.ErrPermission) || !strings.Contains(err.Error(), "permission") {
		t.Errorf("got %v", err)
	}
}

func TestPipe(t *testing.T) {
	path := filepath.Join(t.TempDir(), "pipe")
	if err := syscall.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	jpg := encodeJPEG(t, sceneImage())
	go func() {
		if f, err := os.OpenFile(path, os.O_WRONLY, 0); err == nil {
			f.Write(jpg)
			f.Close()
		}
	}()
	checkScene(t, mustLoad(t, path), 1, 1.5, 12)

	// Nobody writes: ctx ends the wait.
	ctx, cancel := context.WithTimeout(context.Background(), 50*time.Millisecond)
	defer cancel()
	if _, err := Load(ctx, path, Options{}); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("a silent pipe gives %v, want %v", err, context.DeadlineExceeded)
	}
}

func TestLimits(t *testing.T) {
	jpg := encodeJPEG(t, sceneImage())
	for _, c := range []struct {
		name string
		opt  Options
	}{
		{"pixels", Options{MaxPixels: sceneW*sceneH - 1}},
		{"bytes", Options{MaxFileBytes: int64(len(jpg)) - 1}},
		{"memory", Options{MaxMemory: sceneW * sceneH}},
	} {
		path := filepath.Join(t.TempDir(), c.name+".jpg")
		if err := os.WriteFile(path, jpg, 0o600); err != nil {
			t.Fatal(err)
		}
		p, err := Load(context.Background(), path, c.opt)
		checkOutcome(t, path, p, err, ErrTooLarge)
	}
	path := filepath.Join(t.TempDir(), "exact.jpg")
	if err := os.WriteFile(path, jpg, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Load(context.Background(), path, Options{MaxPixels: sceneW * sceneH, MaxFileBytes: int64(len(jpg))}); err != nil {
		t.Errorf("at the limit: %v", err)
	}
}

// A header that promises 60 000 x 60 000 pixels must not be believed: no memory is taken for it.
func TestAbsurdHeaderTakesNoMemory(t *testing.T) {
	for _, f := range oddFiles(t) {
		if f.want != ErrTooLarge {
			continue
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := loadBytes(t, f.name, f.data)
		runtime.ReadMemStats(&after)
		if err == nil {
			t.Errorf("%s accepted", f.name)
		}
		if got := after.TotalAlloc - before.TotalAlloc; got > 1<<20 {
			t.Errorf("%s: %d bytes allocated, want under 1 MB", f.name, got)
		}
	}
}

func TestCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	for _, name := range []string{"baseline-420.jpg", "progressive.jpg", "interlaced.png", "plain.heic"} {
		if _, err := Load(ctx, "testdata/"+name, Options{}); !errors.Is(err, context.Canceled) {
			t.Errorf("%s: got %v, want %v", name, err, context.Canceled)
		}
	}
}

// The HEIC decoder takes longer than this to start: it is stopped in the middle of its work.
func TestHEICDecoderIsStopped(t *testing.T) {
	ctx, cancel := context.WithTimeout(context.Background(), 50*time.Millisecond)
	defer cancel()
	_, err := decodeHEICApart(ctx, testdata(t, "plain.heic"))
	if !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("got %v, want %v", err, context.DeadlineExceeded)
	}
}

// A file of many empty scans would keep a progressive decoder busy for hours.
func TestScanBomb(t *testing.T) {
	prog := testdata(t, "progressive.jpg")
	last := bytes.LastIndex(prog, []byte{0xFF, mSOS})
	scan := prog[last : len(prog)-2]
	bomb := bytes.Clone(prog[:len(prog)-2])
	for range 5000 {
		bomb = append(bomb, scan...)
	}
	bomb = append(bomb, 0xFF, mEOI)
	p, err := loadBytes(t, "bomb.jpg", bomb)
	if p != nil || !errors.Is(err, ErrDamaged) || !strings.Contains(err.Error(), "scans") {
		t.Errorf("got %v", err)
	}
}

// The content that was decoded is the content that is kept, with its checksum.
func TestFileIsKept(t *testing.T) {
	p := mustLoad(t, "testdata/grey.jpg")
	if !bytes.Equal(p.File, testdata(t, "grey.jpg")) {
		t.Error("File is not the file's content")
	}
	const want = "6b96497d50580aabdf1b556261c6c7221e9ca276152e254f670e60b3b5af5aeb" // sha256sum, coreutils 9.1
	if got := hex.EncodeToString(p.SHA256[:]); got != want {
		t.Errorf("SHA256 = %s, want %s", got, want)
	}
}

func TestSixteenBitRounding(t *testing.T) {
	m := image.NewGray16(image.Rect(0, 0, 64, 64))
	// 257 is one 8-bit level; halfway cases go up.
	levels := []struct {
		in   uint16
		want uint8
	}{{0, 0}, {128, 0}, {129, 1}, {257, 1}, {32768, 128}, {65535, 255}, {65535 - 129, 254}, {65535 - 128, 255}}
	for i, l := range levels {
		m.SetGray16(i, 0, color.Gray16{Y: l.in})
	}
	p, err := loadBytes(t, "x.png", encodePNG(t, m))
	if err != nil {
		t.Fatal(err)
	}
	for i, l := range levels {
		if p.Gray[i] != l.want {
			t.Errorf("level %d of 65535 became %d, want %d", l.in, p.Gray[i], l.want)
		}
	}
}
