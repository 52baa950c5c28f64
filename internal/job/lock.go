package job

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

const lockName = ".portmatch-lock"

// owner is what a lock file says of the process that holds it.
type owner struct {
	PID  int    `json:"pid"`
	Host string `json:"host"`
	// StartTicks is the process's start as the kernel counts it, so that a later process with the same number isn't taken
	// for it; no clock that could be set back comes into it.
	StartTicks uint64    `json:"start_ticks"`
	Since      time.Time `json:"since"` // for the message only
	// Inode is the lock file's own number: a lock file that was copied along with the folder has another.
	Inode uint64 `json:"inode"`
	// Creating is true while the folder holds no job yet, so that all of it may be cleaned away.
	Creating bool `json:"creating,omitempty"`
}

// lock is a held lock. The kernel lets go of it when the process ends, however it ends; the words in the file are for the
// people and programs that find it, and for file systems that don't do locks.
type lock struct {
	f    *os.File
	path string
	left *owner // of a run that ended without letting go, nil if there is none
	// settled waits until the file is on the disk. Nobody else need wait for that: the lock holds before.
	settled func() error
}

// takeLock takes dir's lock or fails with ErrLocked at once.
func takeLock(dir string, creating bool, now time.Time) (*lock, error) {
	path := filepath.Join(dir, lockName)
	for {
		f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|unix.O_NOFOLLOW|unix.O_NONBLOCK, 0o666)
		if err != nil {
			return nil, cannotWrite(dir, err)
		}
		l, err := lockFile(f, path, creating, now)
		if err != nil {
			f.Close()
			return nil, err
		}
		if l != nil {
			return l, nil
		}
		f.Close() // deleted by its owner between opening and locking
	}
}

func lockFile(f *os.File, path string, creating bool, now time.Time) (*lock, error) {
	dir := filepath.Dir(path)
	flockErr := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	found := readOwner(f)
	if errors.Is(flockErr, unix.EWOULDBLOCK) {
		return nil, inUse(dir, found)
	}
	st, err := f.Stat()
	if err != nil {
		return nil, cannotRead(path, err)
	}
	if onDisk, err := os.Stat(path); err != nil || !os.SameFile(st, onDisk) {
		return nil, nil
	}
	inode := st.Sys().(*syscall.Stat_t).Ino
	host, err := os.Hostname()
	if err != nil {
		host = "unknown"
	}
	if found != nil && found.Inode == inode {
		// The lock was free, so on this computer its owner has ended. Another computer's lock may not be seen from here,
		// and without locks at all the process has to be looked for.
		elsewhere := found.Host != host
		if elsewhere || flockErr != nil && found.alive() {
			return nil, inUse(dir, found)
		}
	}
	l := &lock{f: f, path: path, left: found}
	me := owner{PID: os.Getpid(), Host: host, StartTicks: startTicks(os.Getpid()), Since: now.UTC().Truncate(time.Second), Inode: inode, Creating: creating}
	if err := l.write(me); err != nil {
		os.Remove(path)
		return nil, cannotWrite(dir, err)
	}
	return l, nil
}

func (l *lock) write(o owner) error {
	data, err := json.Marshal(o)
	if err != nil {
		return err
	}
	if err := l.f.Truncate(0); err != nil {
		return err
	}
	if _, err := l.f.WriteAt(append(data, '\n'), 0); err != nil {
		return err
	}
	done := make(chan error, 1)
	go func() { done <- l.f.Sync() }()
	l.settled = sync.OnceValue(func() error { return <-done })
	return nil
}

// release deletes the lock file before it lets go, so that none is left in the folder.
func (l *lock) release() {
	_ = l.settled() // what could not be written is gone now
	os.Remove(l.path)
	l.f.Close()
}

func readOwner(f *os.File) *owner {
	data, err := io.ReadAll(io.NewSectionReader(f, 0, 4096))
	if err != nil {
		return nil
	}
	var o owner
	if json.Unmarshal(data, &o) != nil || o.PID <= 0 {
		return nil
	}
	return &o
}

func (o *owner) alive() bool {
	t := startTicks(o.PID)
	return t != 0 && t == o.StartTicks
}

// startTicks is field 22 of /proc/PID/stat (proc(5)), 0 if there is no such process.
func startTicks(pid int) uint64 {
	data, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return 0
	}
	// The second field is the program's name in brackets and may hold anything.
	_, rest, _ := strings.Cut(string(data[strings.LastIndexByte(string(data), ')')+1:]), " ")
	fields := strings.Fields(rest)
	const startTime = 22 - 3 // counted from the third field
	if len(fields) <= startTime {
		return 0
	}
	t, err := strconv.ParseUint(fields[startTime], 10, 64)
	if err != nil {
		return 0
	}
	return t
}

func inUse(dir string, o *owner) error {
	e := &Error{Path: dir, Kind: ErrLocked, What: "another portmatch is working on this job", Try: "Wait until it has finished, then run this again"}
	if o == nil {
		return e
	}
	host, _ := os.Hostname()
	if o.Host != host {
		e.What += fmt.Sprintf(" on the computer %q, since %s", o.Host, o.Since.Format("2006-01-02 15:04 MST"))
		e.Try += ". If it has crashed there, delete " + filepath.Join(dir, lockName)
		return e
	}
	e.What += fmt.Sprintf(" (process %d, since %s)", o.PID, o.Since.Local().Format("15:04:05"))
	return e
}

// busy reports whether some process on this computer holds dir's lock, without touching it.
func busy(dir string) bool {
	f, err := os.OpenFile(filepath.Join(dir, lockName), os.O_RDONLY|unix.O_NONBLOCK, 0)
	if err != nil {
		return false
	}
	defer f.Close()
	return errors.Is(unix.Flock(int(f.Fd()), unix.LOCK_SH|unix.LOCK_NB), unix.EWOULDBLOCK)
}
