package main

import (
	"io/fs"
	"maps"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"portmatch/internal/job"
	"portmatch/internal/synth/torture"
)

// Faults that strike the whole program while it measures and writes. Those of the job folder alone, many more a second, are
// tried in internal/job.

// quick is the cheapest job there is: an outline file as the target, the smallest photo as the work.
type quick struct{ target, work string }

func newQuick(t *testing.T) quick {
	return quick{trueTrace(t, t.TempDir(), "throttle-gasket"), scenes()["throttle-face"].file}
}

func (q quick) match(dir string) []string {
	return []string{"match", "--target", q.target, "--work", q.work, "--flipped", "no", "--turned", "0", "--job", dir}
}

func (q quick) recheck(dir string) []string {
	return []string{"recheck", "--work", q.work, "--job", dir}
}

// started runs the program as a process of its own and returns it, running.
func started(t *testing.T, args []string) (*exec.Cmd, *strings.Builder) {
	t.Helper()
	cmd, talk := process(t, nil, args...)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	return cmd, talk
}

// killed starts the program and kills it, without warning, at a moment before or a little after it would have ended.
func killed(t *testing.T, rnd *rand.Rand, usual time.Duration, args []string) {
	t.Helper()
	cmd, _ := started(t, args)
	time.Sleep(time.Duration(1.1 * rnd.Float64() * float64(usual)))
	if err := cmd.Process.Signal(unix.SIGKILL); err != nil && err != os.ErrProcessDone {
		t.Fatal(err)
	}
	_ = cmd.Wait() // killed, or done
}

// deepSnapshot returns every file below dir with its content.
func deepSnapshot(t *testing.T, dir string) map[string]string {
	t.Helper()
	files := make(map[string]string)
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		files[path[len(dir):]] = string(b)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

// checkJob makes sure that a job can be read, that every pass is as it was saved, and that nothing else lies about.
func checkJob(t *testing.T, dir string, passes int) {
	t.Helper()
	j, err := job.Open(dir)
	if err != nil {
		t.Fatalf("the job can't be read: %v", err)
	}
	if changed, err := j.Verify(t.Context()); err != nil || len(changed) > 0 {
		t.Errorf("damaged: %q, %v", changed, err)
	}
	if len(j.Passes) != passes {
		t.Errorf("%d passes, want %d", len(j.Passes), passes)
	}
	if status, _, stderr := portmatch(t, "show", "--job", dir); status != statusDone {
		t.Errorf("show: status %d: %s", status, stderr)
	}
}

func passesIn(t *testing.T, dir string) int {
	t.Helper()
	j, err := job.Open(dir)
	if err != nil {
		t.Fatalf("the job can't be read: %v", err)
	}
	return len(j.Passes)
}

// usualTime is how long a command takes that nobody disturbs.
func usualTime(t *testing.T, args []string) time.Duration {
	t.Helper()
	began := time.Now()
	cmd, talk := started(t, args)
	if err := cmd.Wait(); err != nil {
		t.Fatalf("%v: %s", err, talk)
	}
	return time.Since(began)
}

// A match that is killed leaves a whole job, or a name that the next match may use; that one says what it found.
func TestKilledProgramMatch(t *testing.T) {
	rnd, q := torture.Dice(t), newQuick(t)
	usual := usualTime(t, q.match(filepath.Join(t.TempDir(), "job")))
	whole, begun := 0, 0
	n := torture.Rounds(t, 2)
	for range n {
		dir := filepath.Join(t.TempDir(), "job")
		killed(t, rnd, usual, q.match(dir))
		if _, err := os.Stat(filepath.Join(dir, "job.json")); err == nil {
			whole++
			checkJob(t, dir, 1)
			continue
		}
		left, _ := os.ReadDir(dir)
		// A lock that nothing is written into yet says nothing, and nothing is lost.
		left = slices.DeleteFunc(left, func(e fs.DirEntry) bool {
			info, err := e.Info()
			return err == nil && info.Mode().IsRegular() && info.Size() == 0
		})
		status, _, stderr := portmatch(t, q.match(dir)...)
		if status != statusDone {
			t.Fatalf("the name can't be used again: status %d: %s", status, stderr)
		}
		if len(left) > 0 {
			begun++
			if !strings.Contains(stderr, "stopped before it had finished") {
				t.Errorf("the next run says nothing of the one that stopped: %s", stderr)
			}
		}
		checkJob(t, dir, 1)
	}
	t.Logf("match killed %d times: %d whole jobs, %d begun and cleaned away, %d not begun", n, whole, begun, n-whole-begun)
}

// A recheck that is killed leaves the earlier passes byte for byte, and its own whole or not at all; the next goes on.
func TestKilledProgramRecheck(t *testing.T) {
	rnd, q := torture.Dice(t), newQuick(t)
	first := filepath.Join(t.TempDir(), "job")
	must(t, q.match(first)...)
	was := deepSnapshot(t, filepath.Join(first, "pass-1"))
	usual := usualTime(t, q.recheck(copied(t, first)))
	saved, begun := 0, 0
	n := torture.Rounds(t, 2)
	for range n {
		dir := copied(t, first)
		killed(t, rnd, usual, q.recheck(dir))
		passes := passesIn(t, dir)
		saved += passes - 1
		checkJob(t, dir, passes)
		left, err := os.ReadDir(dir)
		if err != nil {
			t.Fatal(err)
		}
		halfDone := slices.ContainsFunc(left, func(e fs.DirEntry) bool { return strings.HasPrefix(e.Name(), ".") })
		status, _, stderr := portmatch(t, q.recheck(dir)...)
		if status != statusDone {
			t.Fatalf("the next run can't go on: status %d: %s", status, stderr)
		}
		if halfDone {
			begun++
			if !strings.Contains(stderr, "the last run on this job") {
				t.Errorf("the next run says nothing of the one that stopped: %s", stderr)
			}
		}
		checkJob(t, dir, passes+1)
		if !maps.Equal(was, deepSnapshot(t, filepath.Join(dir, "pass-1"))) {
			t.Error("pass 1 was changed")
		}
		os.RemoveAll(dir)
	}
	t.Logf("recheck killed %d times: %d passes saved, %d begun and cleaned away", n, saved, begun)
}

// A picture that somebody has deleted from an earlier pass is missed in the report and keeps nobody from the next pass.
func TestDeletedPicture(t *testing.T) {
	q := newQuick(t)
	dir := filepath.Join(t.TempDir(), "job")
	must(t, q.match(dir)...)
	for _, name := range []string{overlayName, screenName(overlayName), closeUpName(1), screenName(closeUpName(1))} {
		if err := os.Remove(filepath.Join(dir, "pass-1", name)); err != nil {
			t.Fatal(err)
		}
	}
	status, stdout, stderr := portmatch(t, q.recheck(dir)...)
	if status != statusDone || !strings.Contains(stdout, "Pass 2") || !strings.Contains(stderr, overlayName+" of pass 1 is gone") {
		t.Errorf("status %d, stdout %q, stderr %q", status, stdout, stderr)
	}
}

// Ctrl-C during a recheck leaves the job as it was, or with the new pass whole, and nothing else.
func TestInterruptedRecheck(t *testing.T) {
	rnd, q := torture.Dice(t), newQuick(t)
	dir := filepath.Join(t.TempDir(), "job")
	must(t, q.match(dir)...)
	was := deepSnapshot(t, filepath.Join(dir, "pass-1"))
	for range torture.Rounds(t, 3) {
		passes := passesIn(t, dir)
		cmd, talk := started(t, q.recheck(dir))
		time.Sleep(time.Duration(rnd.Float64() * float64(time.Second)))
		if err := cmd.Process.Signal(os.Interrupt); err != nil && err != os.ErrProcessDone {
			t.Fatal(err)
		}
		_ = cmd.Wait()
		if cmd.ProcessState.ExitCode() == statusDone {
			passes++
		}
		checkJob(t, dir, passes)
		if !maps.Equal(was, deepSnapshot(t, filepath.Join(dir, "pass-1"))) {
			t.Error("pass 1 was changed")
		}
		for _, e := range entriesOf(t, dir) {
			if strings.HasPrefix(e.Name(), ".") && cmd.ProcessState.ExitCode() != -1 { // -1: before the program had begun to listen
				t.Errorf("%s was left behind: %s", e.Name(), talk)
			}
		}
	}
}

func copied(t *testing.T, dir string) string {
	t.Helper()
	to := filepath.Join(t.TempDir(), "job")
	if err := os.CopyFS(to, os.DirFS(dir)); err != nil {
		t.Fatal(err)
	}
	return to
}

// A recheck that finds the disk full at some write says so; the earlier pass stays byte for byte, and once there is room the
// next recheck goes on.
func TestFullDiskProgram(t *testing.T) {
	disk := t.TempDir()
	if err := unix.Mount("portmatch-test", disk, "tmpfs", 0, "size=64m"); err != nil {
		t.Skipf("no disk in memory: %v", err)
	}
	t.Cleanup(func() { unix.Unmount(disk, unix.MNT_DETACH) })
	rnd, q := torture.Dice(t), newQuick(t)
	dir := filepath.Join(disk, "job")
	must(t, q.match(dir)...)
	was := deepSnapshot(t, dir)
	needed := 0
	for _, data := range was {
		needed += len(data)
	}
	full := 0
	n := torture.Rounds(t, 2)
	for i := range n {
		// The pass takes as much as the first, and the report of two passes takes more than that of one.
		room := int64(rnd.Float64() * 2.2 * float64(needed))
		if i == 0 {
			room = int64(needed) / 2 // full for sure
		}
		ballast := filepath.Join(disk, "ballast")
		fill(t, disk, ballast, room)
		cmd, talk := started(t, q.recheck(dir))
		err := cmd.Wait()
		os.Remove(ballast)
		if err != nil {
			full++
			if cmd.ProcessState.ExitCode() != statusFile || !strings.Contains(talk.String(), "full") {
				t.Errorf("room for %d bytes: %v: %s", room, err, talk)
			}
		}
		checkJob(t, dir, passesIn(t, dir))
		if !maps.Equal(inPass1(was), inPass1(deepSnapshot(t, dir))) {
			t.Error("pass 1 was changed")
		}
		for _, e := range entriesOf(t, dir) {
			if strings.HasPrefix(e.Name(), ".") {
				t.Errorf("%s was left behind", e.Name())
			}
			if e.Name() != "pass-1" && strings.HasPrefix(e.Name(), "pass-") { // make room again
				os.RemoveAll(filepath.Join(dir, e.Name()))
			}
		}
	}
	t.Logf("%d runs: the disk was full in %d", n, full)
	if full == 0 {
		t.Error("the disk was never full")
	}
	must(t, q.recheck(dir)...)
}

func entriesOf(t *testing.T, dir string) []fs.DirEntry {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	return entries
}

func inPass1(files map[string]string) map[string]string {
	out := make(map[string]string)
	for name, data := range files {
		if strings.HasPrefix(name, "/pass-1/") {
			out[name] = data
		}
	}
	return out
}

// fill leaves room for so many bytes on the disk.
func fill(t *testing.T, disk, ballast string, room int64) {
	t.Helper()
	var st unix.Statfs_t
	if err := unix.Statfs(disk, &st); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(ballast, make([]byte, max(0, int64(st.Bavail)*st.Bsize-room)), 0o666); err != nil {
		t.Fatal(err)
	}
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// Two rechecks at once: one adds its pass, the other says that it has to wait.
func TestTwoPrograms(t *testing.T) {
	q := newQuick(t)
	dir := filepath.Join(t.TempDir(), "job")
	must(t, q.match(dir)...)
	for range torture.Rounds(t, 1) {
		passes := passesIn(t, dir)
		one, oneSaid := started(t, q.recheck(dir))
		for lock := filepath.Join(dir, ".portmatch-lock"); !exists(lock); {
			time.Sleep(time.Millisecond)
		}
		two, twoSaid := started(t, q.recheck(dir))
		errs := []error{one.Wait(), two.Wait()}
		said := oneSaid.String() + twoSaid.String()
		if (errs[0] == nil) == (errs[1] == nil) || !strings.Contains(said, "another portmatch is working on this job") {
			t.Errorf("one should have been told to wait: %v: %s", errs, said)
		}
		checkJob(t, dir, passes+1)
		os.RemoveAll(filepath.Join(dir, "pass-2"))
	}
}
