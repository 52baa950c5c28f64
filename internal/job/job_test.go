package job

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

var errOwn = errors.New("the writer's own error")

func testSettings() Settings {
	return Settings{ToleranceMM: 0.25, TargetHeightMM: 1.2, Units: "mm", Paper: "a4"}
}

func testTarget() Target {
	return Target{
		Photo: &Photo{Name: "my gasket.jpg", SHA256: "00", Bytes: 3},
		Faces: []json.RawMessage{json.RawMessage(`{"schema":1,"units":"mm","ports":[{"port":1,"outline":[[0,0],[1,0],[1,1]]}]}`)},
	}
}

func testInput() PassInput {
	return PassInput{PhotoName: "Krümmer 1.jpg", PhotoFile: "photo.jpg", Photo: []byte("the photo's bytes"), Settings: testSettings()}
}

// writeTwo writes what a real pass has, in small: two files, one of them big enough to take several writes.
func writeTwo(_ context.Context, dir string, number int) error {
	big := bytes.Repeat([]byte{byte(number)}, 300<<10)
	return errors.Join(
		os.WriteFile(filepath.Join(dir, "result.json"), fmt.Appendf(nil, `{"pass":%d}`, number), 0o666),
		os.WriteFile(filepath.Join(dir, "overlay.png"), big, 0o666))
}

// newJob makes a job with n passes.
func newJob(t testing.TB, n int) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "a job für -x")
	s, err := Create(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	s.Job.Settings, s.Job.Target = testSettings(), testTarget()
	for range n {
		if _, err := s.AddPass(context.Background(), testInput(), writeTwo); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// snapshot is every file below dir with its content's checksum.
func snapshot(t testing.TB, dir string) map[string]string {
	t.Helper()
	files := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		rel, _ := filepath.Rel(dir, path)
		files[rel] = fmt.Sprintf("%x", sha256.Sum256(data))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

// checkKept makes sure that all files of before are there, unchanged; job.json and the report may have been rewritten.
func checkKept(t testing.TB, before, after map[string]string) {
	t.Helper()
	for name, sum := range before {
		if strings.HasPrefix(name, "pass-") && after[name] != sum {
			t.Errorf("%s has changed or gone", name)
		}
	}
}

// checkNothingLeft makes sure that no temporary or lock file is in dir.
func checkNothingLeft(t testing.TB, dir string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), ".") {
			t.Errorf("%s is left", e.Name())
		}
	}
}

func checkError(t testing.TB, err, kind error, path string) {
	t.Helper()
	if !errors.Is(err, kind) {
		t.Errorf("got %v, want %q", err, kind)
		return
	}
	var e *Error
	if !errors.As(err, &e) || e.What == "" || e.Try == "" || !strings.HasPrefix(err.Error(), path) {
		t.Errorf("%q doesn't say where (%s), what, and what to do", err, path)
	}
}

func TestJobRoundTrip(t *testing.T) {
	dir := newJob(t, 2)
	j, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	if j.Settings != testSettings() || len(j.Passes) != 2 || len(j.Notes) != 0 {
		t.Errorf("settings %+v, %d passes, notes %q", j.Settings, len(j.Passes), j.Notes)
	}
	if string(j.Target.Faces[0]) != string(testTarget().Faces[0]) || j.Target.Photo.Name != "my gasket.jpg" {
		t.Errorf("target %s of %+v", j.Target.Faces[0], j.Target.Photo)
	}
	last, ok := j.Last()
	if !ok || last.Number != 2 || last.Photo.Name != "Krümmer 1.jpg" || last.Photo.Bytes != 17 {
		t.Errorf("last pass %+v", last)
	}
	if n, ok := j.PassOfPhoto(sha256.Sum256(testInput().Photo)); !ok || n != 1 {
		t.Errorf("the photo is that of pass %d, %v; want 1", n, ok)
	}
	if data, err := j.ReadPassFile(1, "photo.jpg"); err != nil || string(data) != "the photo's bytes" {
		t.Errorf("photo %q, %v", data, err)
	}
	if _, err := j.Pass(3); err == nil || !strings.Contains(err.Error(), "pass 1, 2") {
		t.Errorf("pass 3: %v", err)
	}
	checkNothingLeft(t, dir)
	if changed, err := j.Verify(context.Background()); err != nil || len(changed) != 0 {
		t.Errorf("Verify: %q, %v", changed, err)
	}
	if st, err := os.Stat(j.PassFile(1, "result.json")); err != nil || st.Mode().Perm()&0o400 == 0 {
		t.Errorf("result.json: %v, %v", st, err)
	}
}

func TestRecheckAddsAPass(t *testing.T) {
	dir := newJob(t, 1)
	before := snapshot(t, dir)
	s, err := OpenForWork(dir)
	if err != nil {
		t.Fatal(err)
	}
	in := testInput()
	in.Settings.WorkHeightMM = 8
	p, err := s.AddPass(context.Background(), in, writeTwo)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.WriteReport(func(w io.Writer) error { _, err := io.WriteString(w, "<html>"); return err }); err != nil {
		t.Fatal(err)
	}
	s.Close()
	s.Close()
	if p.Number != 2 || p.Settings.WorkHeightMM != 8 {
		t.Errorf("pass %+v", p)
	}
	after := snapshot(t, dir)
	checkKept(t, before, after)
	for _, name := range []string{"pass-2/photo.jpg", "pass-2/result.json", "pass-2/overlay.png", "report.html"} {
		if after[name] == "" {
			t.Errorf("%s is missing", name)
		}
	}
	checkNothingLeft(t, dir)
}

func TestNothingIsLeftOfAFailedPass(t *testing.T) {
	halfWritten := func(_ context.Context, dir string, _ int) error {
		return errors.Join(os.WriteFile(filepath.Join(dir, "result.json"), []byte("half"), 0o666), errOwn)
	}
	ctx, cancel := context.WithCancel(context.Background())
	for _, c := range []struct {
		name  string
		ctx   context.Context
		write func(context.Context, string, int) error
		want  error
	}{
		{"writer fails", context.Background(), halfWritten, errOwn},
		{"interrupted", ctx, func(ctx context.Context, dir string, n int) error {
			cancel()
			<-ctx.Done()
			return errors.Join(writeTwo(ctx, dir, n), ctx.Err())
		}, context.Canceled},
		{"interrupted at the end", ctx, writeTwo, context.Canceled},
		{"folder within", context.Background(), func(_ context.Context, dir string, _ int) error {
			return os.Mkdir(filepath.Join(dir, "sub"), 0o777)
		}, nil},
		{"writes pass.json", context.Background(), func(_ context.Context, dir string, _ int) error {
			return os.WriteFile(filepath.Join(dir, passName), nil, 0o666)
		}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			fresh := filepath.Join(t.TempDir(), "job")
			s, err := Create(fresh)
			if err != nil {
				t.Fatal(err)
			}
			s.Job.Settings, s.Job.Target = testSettings(), testTarget()
			_, err = s.AddPass(c.ctx, testInput(), c.write)
			if err == nil || c.want != nil && !errors.Is(err, c.want) {
				t.Errorf("got %v, want %v", err, c.want)
			}
			s.Close()
			if _, err := os.Lstat(fresh); !errors.Is(err, fs.ErrNotExist) {
				t.Errorf("a folder without a pass is left: %v", err)
			}

			dir := newJob(t, 1)
			before := snapshot(t, dir)
			if s, err = OpenForWork(dir); err != nil {
				t.Fatal(err)
			}
			if _, err = s.AddPass(c.ctx, testInput(), c.write); err == nil {
				t.Error("no error")
			}
			s.Close()
			if after := snapshot(t, dir); fmt.Sprint(after) != fmt.Sprint(before) {
				t.Errorf("the job has changed: %v, was %v", after, before)
			}
		})
	}
}

func TestCreateRefuses(t *testing.T) {
	dir := newJob(t, 1)
	file := filepath.Join(t.TempDir(), "file")
	full := t.TempDir()
	if err := errors.Join(os.WriteFile(file, nil, 0o666), os.WriteFile(filepath.Join(full, "holiday.jpg"), nil, 0o666)); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		dir  string
		kind error
	}{
		{dir, ErrExists},
		{file, ErrExists},
		{full, ErrExists},
		{filepath.Join(full, "missing", "job"), ErrUnwritable},
		{filepath.Join(file, "job"), ErrUnwritable},
		{"", ErrUnwritable},
	} {
		s, err := Create(c.dir)
		if err == nil {
			s.Close()
		}
		checkError(t, err, c.kind, c.dir)
	}
	if got := snapshot(t, full); len(got) != 1 {
		t.Errorf("something was written: %v", got)
	}
}

func TestCreateInAnEmptyFolder(t *testing.T) {
	dir := t.TempDir()
	s, err := Create(dir)
	if err != nil {
		t.Fatal(err)
	}
	s.Close()
	if entries, err := os.ReadDir(dir); err != nil || len(entries) != 0 {
		t.Errorf("the user's own folder holds %v, %v", entries, err)
	}
}

func TestOpenRefuses(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o666); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		dir  string
		kind error
	}{
		{filepath.Join(t.TempDir(), "missing"), ErrNotFound},
		{file, ErrNotJob},
		{t.TempDir(), ErrNotJob},
	} {
		_, err := Open(c.dir)
		checkError(t, err, c.kind, c.dir)
		_, err = OpenForWork(c.dir)
		checkError(t, err, c.kind, c.dir)
	}
	if entries, _ := os.ReadDir(t.TempDir()); len(entries) != 0 {
		t.Errorf("OpenForWork wrote into a folder that is no job: %v", entries)
	}
}

func TestDamagedDescriptions(t *testing.T) {
	good, err := os.ReadFile(filepath.Join(newJob(t, 2), stateName))
	if err != nil {
		t.Fatal(err)
	}
	edit := func(from, to string) []byte {
		if !bytes.Contains(good, []byte(from)) {
			t.Fatalf("job.json holds no %s", from)
		}
		return bytes.Replace(good, []byte(from), []byte(to), 1)
	}
	for _, c := range []struct {
		name string
		data []byte
		kind error
	}{
		{"newer", edit(`"schema":1`, `"schema":2`), ErrNewer},
		{"much newer, laid out otherwise", []byte(`{"schema": 9, "passes": "see elsewhere"}`), ErrNewer},
		{"no version", edit(`"schema":1`, `"schema":0`), ErrDamaged},
		{"empty", nil, ErrDamaged},
		{"cut short", good[:len(good)/2], ErrDamaged},
		{"zeros, as after a power cut", make([]byte, len(good)), ErrDamaged},
		{"no target", edit(`"faces":[`, `"faces":[],"was":[`), ErrDamaged},
		{"out of the folder", edit(`"file":"photo.jpg"`, `"file":"../../photo.jpg"`), ErrDamaged},
		{"absurd tolerance", edit(`"tolerance_mm":0.25`, `"tolerance_mm":1e300`), ErrDamaged},
		{"negative tolerance", edit(`"tolerance_mm":0.25`, `"tolerance_mm":-1`), ErrDamaged},
		{"unknown paper", edit(`"paper":"a4"`, `"paper":"a5"`), ErrDamaged},
		{"unknown units", edit(`"units":"mm"`, `"units":"feet"`), ErrDamaged},
		{"pass 0", edit(`"pass":1`, `"pass":0`), ErrDamaged},
		{"pass twice", edit(`"pass":2`, `"pass":1`), ErrDamaged},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := newJob(t, 1)
			path := filepath.Join(dir, stateName)
			if err := os.WriteFile(path, c.data, 0o666); err != nil {
				t.Fatal(err)
			}
			_, err := Open(dir)
			checkError(t, err, c.kind, path)
			_, err = OpenForWork(dir)
			checkError(t, err, c.kind, path)
			checkNothingLeft(t, dir)
			if data, err := os.ReadFile(path); err != nil || !bytes.Equal(data, c.data) {
				t.Error("the damaged file was touched")
			}
		})
	}
}

func TestSettingsAreChecked(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "job")
	s, err := Create(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	s.Job.Target = testTarget()
	for _, v := range []float64{math.NaN(), math.Inf(1), 1e308, -1} {
		s.Job.Settings.ToleranceMM = v
		if _, err := s.AddPass(context.Background(), testInput(), writeTwo); err == nil {
			t.Errorf("a tolerance of %g was saved", v)
		}
	}
}

// A job that is moved, copied or read only still opens.
func TestMovedCopiedReadOnly(t *testing.T) {
	dir := newJob(t, 2)
	moved := filepath.Join(t.TempDir(), "-moved")
	if err := os.Rename(dir, moved); err != nil {
		t.Fatal(err)
	}
	copied := filepath.Join(t.TempDir(), "copy")
	if err := os.CopyFS(copied, os.DirFS(moved)); err != nil {
		t.Fatal(err)
	}
	link := filepath.Join(t.TempDir(), "link")
	if err := os.Symlink(copied, link); err != nil {
		t.Fatal(err)
	}
	for _, d := range []string{moved, copied, link} {
		j, err := Open(d)
		if err != nil {
			t.Fatal(err)
		}
		if changed, err := j.Verify(context.Background()); err != nil || len(changed) > 0 || len(j.Passes) != 2 {
			t.Errorf("%s: %d passes, %q, %v", d, len(j.Passes), changed, err)
		}
	}
	// A copy made while the job was in use holds a lock file, but not the lock.
	held, err := OpenForWork(moved)
	if err != nil {
		t.Fatal(err)
	}
	defer held.Close()
	second := filepath.Join(t.TempDir(), "second copy")
	if err := os.CopyFS(second, os.DirFS(moved)); err != nil {
		t.Fatal(err)
	}
	s, err := OpenForWork(second)
	if err != nil {
		t.Fatalf("the copy's stale lock holds: %v", err)
	}
	s.Close()
}

func TestVerifyNamesWhatChanged(t *testing.T) {
	dir := newJob(t, 2)
	if err := errors.Join(os.WriteFile(filepath.Join(dir, "pass-1", "photo.jpg"), []byte("another"), 0o666),
		os.Remove(filepath.Join(dir, "pass-2", "overlay.png"))); err != nil {
		t.Fatal(err)
	}
	j, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	changed, err := j.Verify(context.Background())
	if err != nil || len(changed) != 2 || !strings.Contains(changed[0], "photo.jpg of pass 1") || !strings.Contains(changed[1], "overlay.png of pass 2") {
		t.Errorf("got %q, %v", changed, err)
	}
}

// Passes go by number: a clock set back between two of them changes nothing.
func TestClockSetBack(t *testing.T) {
	dir := newJob(t, 1)
	past := func() time.Time { return time.Date(1999, 12, 31, 23, 59, 0, 0, time.UTC) }
	s, err := openForWork(dir, past)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	p, err := s.AddPass(context.Background(), testInput(), writeTwo)
	if err != nil {
		t.Fatal(err)
	}
	j, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	if last, _ := j.Last(); p.Number != 2 || last.Number != 2 || last.Time.Year() != 1999 {
		t.Errorf("the newest pass is %d of %v", last.Number, last.Time)
	}
}

// What is in the folder but isn't the job's own is neither used nor touched.
func TestStrangers(t *testing.T) {
	dir := newJob(t, 1)
	other := newJob(t, 3)
	if err := errors.Join(
		os.CopyFS(filepath.Join(dir, "pass-3"), os.DirFS(filepath.Join(other, "pass-3"))), // of another job
		os.Mkdir(filepath.Join(dir, "pass-7"), 0o777),
		os.Mkdir(filepath.Join(dir, "pass-1 (copy)"), 0o777),
		os.WriteFile(filepath.Join(dir, "notes.txt"), []byte("mine"), 0o666),
	); err != nil {
		t.Fatal(err)
	}
	s, err := OpenForWork(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if len(s.Job.Passes) != 1 || len(s.Job.Notes) != 2 {
		t.Errorf("%d passes, notes %q", len(s.Job.Passes), s.Job.Notes)
	}
	p, err := s.AddPass(context.Background(), testInput(), writeTwo)
	if err != nil {
		t.Fatal(err)
	}
	if p.Number != 8 {
		t.Errorf("new pass is %d, want 8: pass-7 is taken", p.Number)
	}
	for _, name := range []string{"pass-3/photo.jpg", "pass-7", "pass-1 (copy)", "notes.txt"} {
		if _, err := os.Stat(filepath.Join(dir, name)); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// A run that ended between the pass's rename and that of job.json has saved the pass.
func TestPassWithoutEntry(t *testing.T) {
	dir := newJob(t, 1)
	old, err := os.ReadFile(filepath.Join(dir, stateName))
	if err != nil {
		t.Fatal(err)
	}
	s, err := OpenForWork(dir)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.AddPass(context.Background(), testInput(), writeTwo); err != nil {
		t.Fatal(err)
	}
	s.Close()
	if err := os.WriteFile(filepath.Join(dir, stateName), old, 0o666); err != nil {
		t.Fatal(err)
	}
	j, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	if len(j.Passes) != 2 || len(j.Notes) != 1 || !strings.Contains(j.Notes[0], "pass 2") {
		t.Errorf("%d passes, notes %q", len(j.Passes), j.Notes)
	}
}

func TestPassDeletedByHand(t *testing.T) {
	dir := newJob(t, 2)
	if err := os.RemoveAll(filepath.Join(dir, "pass-1")); err != nil {
		t.Fatal(err)
	}
	j, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	if len(j.Passes) != 1 || len(j.Notes) != 1 || !strings.Contains(j.Notes[0], "pass 1") {
		t.Errorf("%d passes, notes %q", len(j.Passes), j.Notes)
	}
}

func TestWriteFile(t *testing.T) {
	dir := t.TempDir()
	path, link := filepath.Join(dir, "map.pdf"), filepath.Join(dir, "link.pdf")
	put := func(path, text string) error {
		return WriteFile(path, func(w io.Writer) error { _, err := io.WriteString(w, text); return err })
	}
	content := func() string {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		return string(data)
	}
	if err := errors.Join(put(path, "one"), os.Symlink("map.pdf", link), put(link, "two")); err != nil {
		t.Fatal(err)
	}
	if st, err := os.Lstat(link); err != nil || st.Mode()&fs.ModeSymlink == 0 || content() != "two" {
		t.Errorf("link %v, %v; content %q", st, err, content())
	}
	err := WriteFile(path, func(w io.Writer) error { io.WriteString(w, "half"); return errOwn })
	if !errors.Is(err, errOwn) || content() != "two" {
		t.Errorf("after a failed write: %v, content %q", err, content())
	}
	if err := put("/dev/null", "away"); err != nil {
		t.Errorf("/dev/null: %v", err)
	}
	// /dev/full fails every write with ENOSPC (null(4)).
	checkError(t, put("/dev/full", strings.Repeat("x", 100<<10)), ErrFull, "/dev/full")
	checkError(t, put("/dev/full", "x"), ErrFull, "/dev/full")
	checkError(t, put(dir, "x"), ErrUnwritable, dir)
	missing := filepath.Join(dir, "missing", "map.pdf")
	checkError(t, put(missing, "x"), ErrUnwritable, missing)
	checkNothingLeft(t, dir)
}

// A run that is cut off while it writes the report has saved its pass, and isn't told that nothing was kept.
func TestCutOffAtTheReport(t *testing.T) {
	dir := newJob(t, 1)
	if err := os.WriteFile(filepath.Join(dir, tempPrefix+"REPORT"), []byte("half a report"), 0o666); err != nil {
		t.Fatal(err)
	}
	j, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	s, err := OpenForWork(dir)
	if err != nil {
		t.Fatal(err)
	}
	s.Close()
	for _, notes := range [][]string{j.Notes, s.Job.Notes} {
		if len(notes) != 1 || notes[0] != cutOffNote {
			t.Errorf("notes %q", notes)
		}
	}
	checkNothingLeft(t, dir)
}

// testdata/job-v1 was written by the first version of this program. It must be read by every later one.
func TestVersion1IsRead(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "job")
	if err := os.CopyFS(dir, os.DirFS("testdata/job-v1")); err != nil {
		t.Fatal(err)
	}
	s, err := OpenForWork(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	want := Settings{ToleranceMM: 0.4, TargetHeightMM: 1.2, WorkHeightMM: 8, WorkDPI: 600, Units: "in", Paper: "letter",
		PrintedXMM: 149.4, PrintedYMM: 199.1, Flipped: "yes", Turned: "180", Aim: "head", MinLandMM: 3}
	if s.Job.Settings != want || len(s.Job.Passes) != 2 || len(s.Job.Notes) != 0 {
		t.Errorf("settings %+v, %d passes, notes %q", s.Job.Settings, len(s.Job.Passes), s.Job.Notes)
	}
	if changed, err := s.Job.Verify(context.Background()); err != nil || len(changed) > 0 {
		t.Errorf("%q, %v", changed, err)
	}
	if p, err := s.AddPass(context.Background(), testInput(), writeTwo); err != nil || p.Number != 3 {
		t.Errorf("pass %d, %v", p.Number, err)
	}
}
