package job

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"portmatch/internal/synth/torture"
)

// The faults of this file are real ones: processes killed, disks full, permissions taken. A second process is this test
// binary again, told by helperEnv what to do.
const helperEnv = "PORTMATCH_JOB_TEST_HELPER" // "match DIR", "recheck DIR", "hold DIR"

func TestMain(m *testing.M) {
	if what := os.Getenv(helperEnv); what != "" {
		os.Exit(helper(what))
	}
	os.Exit(m.Run())
}

// helper is the second process. It says "ready" on its standard output before it begins to write, and ends with 0, or with
// 5 and the error on its standard error.
func helper(what string) int {
	verb, dir, _ := strings.Cut(what, " ")
	if err := help(verb, dir); err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 5
	}
	return 0
}

func help(verb, dir string) error {
	var s *Session
	var err error
	if verb == "match" {
		s, err = Create(dir)
	} else {
		s, err = OpenForWork(dir)
	}
	if err != nil {
		return err
	}
	defer s.Close()
	if verb == "hold" {
		fmt.Println("ready")
		io.Copy(io.Discard, os.Stdin)
		return nil
	}
	s.Job.Settings, s.Job.Target = testSettings(), testTarget()
	in := testInput()
	in.Photo = bytes.Repeat([]byte("photo"), 200<<10/5)
	_, err = s.AddPass(context.Background(), in, func(_ context.Context, dir string, n int) error {
		fmt.Println("ready")
		return writeSlowly(dir, n)
	})
	if err != nil {
		return err
	}
	return s.WriteReport(func(w io.Writer) error { _, err := w.Write(bytes.Repeat([]byte("report "), 20<<10)); return err })
}

// writeSlowly writes ten files in small pieces, so that a fault may strike anywhere.
func writeSlowly(dir string, n int) error {
	for i := range 10 {
		f, err := os.Create(filepath.Join(dir, fmt.Sprintf("port-%d.png", i)))
		if err != nil {
			return err
		}
		for range 8 {
			if _, err := f.Write(bytes.Repeat([]byte{byte(n)}, 4<<10)); err != nil {
				f.Close()
				return err
			}
			time.Sleep(200 * time.Microsecond)
		}
		if err := f.Close(); err != nil {
			return err
		}
	}
	return nil
}

func helperCommand(verb, dir string) *exec.Cmd {
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), helperEnv+"="+verb+" "+dir)
	return cmd
}

// start runs a helper until it is ready to write.
func start(t *testing.T, cmd *exec.Cmd) (stderr *bytes.Buffer) {
	t.Helper()
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	stderr = &bytes.Buffer{}
	cmd.Stderr = stderr
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	if line, err := bufio.NewReader(out).ReadString('\n'); err != nil || line != "ready\n" {
		cmd.Wait()
		t.Fatalf("the helper said %q: %v %s", line, err, stderr)
	}
	return stderr
}

// A match that is killed leaves either a whole job or a name that the next match may use; it says what it found.
func TestKilledMatch(t *testing.T) {
	rnd := torture.Dice(t)
	usual := usualTime(t)
	whole, nothing := 0, 0
	for range torture.Rounds(t, 10) {
		dir := filepath.Join(t.TempDir(), "job")
		killAtRandom(t, rnd, usual, helperCommand("match", dir))
		j, err := Open(dir)
		if err == nil {
			whole++
			checkWhole(t, j, 1)
			continue
		}
		if !errors.Is(err, ErrNotJob) {
			t.Errorf("after the kill: %v", err)
		}
		nothing++
		s, err := Create(dir)
		if err != nil {
			t.Fatalf("the name can't be used again: %v", err)
		}
		if len(s.Job.Notes) != 1 || s.Job.Notes[0] != stoppedNote {
			t.Errorf("notes %q", s.Job.Notes)
		}
		s.Job.Settings, s.Job.Target = testSettings(), testTarget()
		if _, err := s.AddPass(context.Background(), testInput(), writeTwo); err != nil {
			t.Error(err)
		}
		s.Close()
		checkNothingLeft(t, dir)
	}
	t.Logf("killed %d times: %d whole jobs, %d times nothing", whole+nothing, whole, nothing)
}

// A recheck that is killed leaves the earlier passes byte for byte, and its own whole or not at all.
func TestKilledRecheck(t *testing.T) {
	rnd := torture.Dice(t)
	dir := newJob(t, 1)
	usual := usualTime(t)
	kept, lost := 0, 0
	for range torture.Rounds(t, 10) {
		before := snapshot(t, dir)
		j, err := Open(dir)
		if err != nil {
			t.Fatal(err)
		}
		passes := len(j.Passes)
		killAtRandom(t, rnd, usual, helperCommand("recheck", dir))
		if j, err = Open(dir); err != nil {
			t.Fatalf("the job can't be read after the kill: %v", err)
		}
		checkKept(t, before, snapshot(t, dir))
		switch len(j.Passes) {
		case passes:
			lost++
		case passes + 1:
			kept++
		default:
			t.Errorf("%d passes, were %d", len(j.Passes), passes)
		}
		checkWhole(t, j, len(j.Passes))

		s, err := OpenForWork(dir)
		if err != nil {
			t.Fatalf("the next run can't go on: %v", err)
		}
		if len(j.Passes) == passes && len(s.Job.Notes) == 0 {
			t.Error("the next run says nothing of the one that stopped")
		}
		if _, err := s.AddPass(context.Background(), testInput(), writeTwo); err != nil {
			t.Error(err)
		}
		s.Close()
		checkNothingLeft(t, dir)
	}
	t.Logf("killed %d times: %d passes saved, %d not", kept+lost, kept, lost)
}

// killAtRandom kills the helper at a moment between its first write and a little after its end.
func killAtRandom(t *testing.T, rnd *rand.Rand, usual time.Duration, cmd *exec.Cmd) {
	t.Helper()
	start(t, cmd)
	time.Sleep(time.Duration(rnd.Float64() * 1.3 * float64(usual)))
	cmd.Process.Signal(syscall.SIGKILL)
	cmd.Wait()
}

// usualTime is how long a match takes from its first write to its end, undisturbed.
func usualTime(t *testing.T) time.Duration {
	t.Helper()
	cmd := helperCommand("match", filepath.Join(t.TempDir(), "job"))
	start(t, cmd)
	began := time.Now()
	if err := cmd.Wait(); err != nil {
		t.Fatal(err)
	}
	return time.Since(began)
}

func checkWhole(t *testing.T, j *Job, passes int) {
	t.Helper()
	if len(j.Passes) != passes {
		t.Errorf("%d passes, want %d", len(j.Passes), passes)
	}
	if changed, err := j.Verify(context.Background()); err != nil || len(changed) > 0 {
		t.Errorf("damaged: %q, %v", changed, err)
	}
}

func TestTwoProcesses(t *testing.T) {
	dir := newJob(t, 1)
	cmd := helperCommand("hold", dir)
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	start(t, cmd)
	for range 3 {
		_, err := OpenForWork(dir)
		checkError(t, err, ErrLocked, dir)
		if want := fmt.Sprintf("process %d", cmd.Process.Pid); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v doesn't name %s", err, want)
		}
	}
	if j, err := Open(dir); err != nil || len(j.Notes) != 0 {
		t.Errorf("looking while another works: %v, notes %q", err, j.Notes)
	}
	_, err = Create(dir)
	checkError(t, err, ErrExists, dir)
	in.Close()
	if err := cmd.Wait(); err != nil {
		t.Error(err)
	}
	s, err := OpenForWork(dir)
	if err != nil {
		t.Fatal(err)
	}
	s.Close()
	checkNothingLeft(t, dir)
}

// Two matches into one new folder: one makes the job, the other is told so.
func TestTwoMatches(t *testing.T) {
	for range torture.Rounds(t, 5) {
		dir := filepath.Join(t.TempDir(), "job")
		const n = 4
		errs := make(chan error, n)
		for range n {
			cmd := helperCommand("match", dir)
			go func() {
				out, err := cmd.CombinedOutput()
				if err != nil {
					err = fmt.Errorf("%w: %s", err, out)
				}
				errs <- err
			}()
		}
		failed := 0
		for range n {
			if err := <-errs; err != nil {
				failed++
				if s := err.Error(); !strings.Contains(s, "exit status 5") || !strings.Contains(s, "another portmatch") && !strings.Contains(s, "holds a job already") {
					t.Errorf("unclear: %s", s)
				}
			}
		}
		if failed != n-1 {
			t.Errorf("%d of %d failed, want all but one", failed, n)
		}
		j, err := Open(dir)
		if err != nil {
			t.Fatal(err)
		}
		checkWhole(t, j, 1)
		checkNothingLeft(t, dir)
	}
}

// Another computer's lock, seen over a network drive, can only be respected.
func TestLockOfAnotherComputer(t *testing.T) {
	dir := newJob(t, 1)
	path := filepath.Join(dir, lockName)
	if err := os.WriteFile(path, nil, 0o666); err != nil {
		t.Fatal(err)
	}
	st, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	text := fmt.Sprintf(`{"pid":%d,"host":"bench-2","since":"2020-01-01T10:00:00Z","inode":%d}`, os.Getpid(), st.Sys().(*syscall.Stat_t).Ino)
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	_, err = OpenForWork(dir)
	checkError(t, err, ErrLocked, dir)
	if err == nil || !strings.Contains(err.Error(), "bench-2") || !strings.Contains(err.Error(), lockName) {
		t.Errorf("%v names neither the computer nor the file", err)
	}
	// What no program wrote is no lock.
	if err := os.WriteFile(path, []byte("\x00\x00\x00"), 0o666); err != nil {
		t.Fatal(err)
	}
	s, err := OpenForWork(dir)
	if err != nil {
		t.Fatal(err)
	}
	s.Close()
}

// The kernel's count of a process's start tells it from a later one with its number.
func TestStartTicks(t *testing.T) {
	me := startTicks(os.Getpid())
	parent := startTicks(os.Getppid())
	if me == 0 || parent == 0 || me < parent {
		t.Errorf("started at %d, parent at %d", me, parent)
	}
	if (&owner{PID: os.Getpid(), StartTicks: me + 1}).alive() || !(&owner{PID: os.Getpid(), StartTicks: me}).alive() {
		t.Error("a process is taken for another")
	}
	// Process numbers go up to 2^22 at most (proc(5), pid_max).
	if startTicks(1<<22+1) != 0 {
		t.Error("a process that can't be has started")
	}
}

// On a full disk a pass fails in words, the earlier ones stay, and once there is room the job goes on.
func TestFullDisk(t *testing.T) {
	rnd := torture.Dice(t)
	for _, fill := range fullDisks(t) {
		dir := filepath.Join(fill.dir, "job")
		s, err := Create(dir)
		if err != nil {
			t.Fatal(err)
		}
		s.Job.Settings, s.Job.Target = testSettings(), testTarget()
		if _, err := s.AddPass(context.Background(), testInput(), func(context.Context, string, int) error { return nil }); err != nil {
			t.Fatal(err)
		}
		s.Close()
		failed := 0
		for i := range torture.Rounds(t, 8) {
			before := snapshot(t, dir)
			// A pass of the helper takes some 530 kB and its report 140 kB.
			empty := fill.leave(rnd.Int64N(900<<10) * int64(min(i, 1))) // none at all in the first round
			cmd := helperCommand("recheck", dir)
			fill.limit(cmd)
			out, err := cmd.CombinedOutput()
			empty()
			if err != nil {
				failed++
				if !strings.Contains(string(out), "full") && !strings.Contains(string(out), fill.words) {
					t.Errorf("unclear: %s", out)
				}
			}
			j, err := Open(dir)
			if err != nil {
				t.Fatalf("the job can't be read: %v", err)
			}
			after := snapshot(t, dir)
			checkKept(t, before, after)
			checkWhole(t, j, len(j.Passes))
			checkNothingLeft(t, dir)
			if last, _ := j.Last(); last.Number > 1 { // make room again
				for _, p := range j.Passes[1:] {
					os.RemoveAll(filepath.Join(dir, passDir(p.Number)))
				}
			}
		}
		if failed == 0 {
			t.Error("the disk was never full")
		}
		t.Logf("%s: %d runs found no room", fill.name, failed)
	}
}

// smallDisk is a place that runs out of room.
type smallDisk struct {
	name, dir string
	words     string // what the system calls it where it isn't called full
	leave     func(bytes int64) (empty func())
	limit     func(*exec.Cmd)
}

// fullDisks gives a small disk in memory where this process may mount one, and anywhere a process that may not write files
// longer than 20 kB, for which the system fails a write in the middle just the same.
func fullDisks(t *testing.T) []smallDisk {
	t.Helper()
	disks := []smallDisk{{
		name: "file size limit", dir: t.TempDir(), words: "too large",
		leave: func(int64) func() { return func() {} },
		limit: func(cmd *exec.Cmd) {
			// prlimit on the shell's own process: sh is everywhere, and ulimit counts in 512 bytes there (POSIX).
			cmd.Args = []string{"sh", "-c", `ulimit -f 40 && exec "$0"`, cmd.Path}
			cmd.Path = "/bin/sh"
		},
	}}
	dir := t.TempDir()
	if err := unix.Mount("portmatch-test", dir, "tmpfs", 0, "size=2m"); err != nil {
		t.Logf("no disk in memory: %v", err)
		return disks
	}
	t.Cleanup(func() { unix.Unmount(dir, unix.MNT_DETACH) })
	return append(disks, smallDisk{
		name: "disk in memory", dir: dir, words: "full",
		limit: func(*exec.Cmd) {},
		leave: func(bytes int64) func() {
			var st unix.Statfs_t
			if err := unix.Statfs(dir, &st); err != nil {
				t.Fatal(err)
			}
			ballast := filepath.Join(dir, "ballast")
			if err := os.WriteFile(ballast, make([]byte, max(0, int64(st.Bavail)*st.Bsize-bytes)), 0o666); err != nil {
				t.Fatal(err)
			}
			return func() { os.Remove(ballast) }
		},
	})
}

// Permission is taken away while a pass is written: it fails in words and the earlier ones stay. Root is held back by
// nothing, so there the helper runs as nobody.
func TestPermissionTakenAway(t *testing.T) {
	rnd := torture.Dice(t)
	const nobody = 65534
	base, err := os.MkdirTemp("", "portmatch-test-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(base) })
	dir := filepath.Join(base, "job")
	if err := os.Rename(newJob(t, 1), dir); err != nil {
		t.Fatal(err)
	}
	binary := os.Args[0]
	root := os.Geteuid() == 0
	if root {
		binary = filepath.Join(base, "helper") // the test binary's own folder is closed to others
		data, err := os.ReadFile(os.Args[0])
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(os.WriteFile(binary, data, 0o755), os.Chmod(base, 0o755)); err != nil {
			t.Fatal(err)
		}
		if err := filepath.WalkDir(dir, func(path string, _ fs.DirEntry, err error) error {
			return errors.Join(err, os.Chown(path, nobody, nobody))
		}); err != nil {
			t.Fatal(err)
		}
	}
	usual := usualTime(t)
	failed := 0
	for i := range torture.Rounds(t, 5) {
		before := snapshot(t, dir)
		cmd := helperCommand("recheck", dir)
		cmd.Path, cmd.Args, cmd.Dir = binary, []string{binary}, base
		if root {
			cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: nobody, Gid: nobody}}
		}
		stderr := start(t, cmd)
		if i > 0 { // the first round strikes at once, so that one fails for sure
			time.Sleep(time.Duration(rnd.Float64() * 0.7 * float64(usual)))
		}
		if err := os.Chmod(dir, 0o555); err != nil {
			t.Fatal(err)
		}
		if err := cmd.Wait(); err != nil {
			failed++
			if !strings.Contains(stderr.String(), "permission") {
				t.Errorf("unclear: %s", stderr)
			}
		}
		j, err := Open(dir)
		if err != nil {
			t.Fatalf("the job can't be read: %v", err)
		}
		checkKept(t, before, snapshot(t, dir))
		checkWhole(t, j, len(j.Passes))
		if err := os.Chmod(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		s, err := OpenForWork(dir)
		if err != nil {
			t.Fatalf("the next run can't go on: %v", err)
		}
		s.Close()
		checkNothingLeft(t, dir)
	}
	t.Logf("permission was taken from %d of them while they wrote", failed)
	if failed == 0 {
		t.Error("no run noticed")
	}
}
