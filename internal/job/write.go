package job

import (
	"bufio"
	"crypto/rand"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"
)

// tempPrefix begins the name of everything that is being written and not yet part of a job.
const tempPrefix = ".portmatch-tmp-"

// WriteFile writes path whole or not at all: beside it first, then synced and renamed over it. A symbolic link is followed;
// a device or pipe is written to as it is.
func WriteFile(path string, write func(io.Writer) error) error {
	switch st, err := os.Stat(path); {
	case err == nil && st.IsDir():
		return &Error{Path: path, Kind: ErrUnwritable, What: "is a folder", Try: "Name a file"}
	case err == nil && !st.Mode().IsRegular():
		return writeThrough(path, write)
	}
	real, err := filepath.EvalSymlinks(path)
	if err != nil {
		real = path // new, or a link to nowhere, which the rename replaces
	}
	staged, err := stageFile(real, write)
	if err != nil {
		return err
	}
	if err := os.Rename(staged, real); err != nil {
		os.Remove(staged)
		return cannotWrite(path, err)
	}
	return syncDir(filepath.Dir(real))
}

func writeThrough(path string, write func(io.Writer) error) error {
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err != nil {
		return cannotWrite(path, err)
	}
	if err := fill(f, path, write); err != nil {
		f.Close()
		return err
	}
	if err := f.Close(); err != nil {
		return cannotWrite(path, err)
	}
	return nil
}

// stageFile writes a synced file beside path and returns its name; on an error nothing is left.
func stageFile(path string, write func(io.Writer) error) (string, error) {
	var f *os.File
	staged, err := newTemp(filepath.Dir(path), func(name string) (err error) {
		f, err = os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
		return err
	})
	if err != nil {
		return "", cannotWrite(path, err)
	}
	err = fill(f, path, write)
	if err == nil {
		if e := f.Sync(); e != nil {
			err = cannotWrite(path, e)
		}
	}
	if e := f.Close(); err == nil && e != nil {
		err = cannotWrite(path, e)
	}
	if err != nil {
		os.Remove(staged)
		return "", err
	}
	return staged, nil
}

// newTemp finds a name that nobody uses. (os.CreateTemp would keep the user's group and others out of the finished file.)
func newTemp(dir string, create func(name string) error) (string, error) {
	for {
		name := filepath.Join(dir, tempPrefix+rand.Text()[:10])
		if err := create(name); !errors.Is(err, fs.ErrExist) {
			return name, err
		}
	}
}

// fill runs the caller's writer through a buffer. A failed write comes back as the disk's error, in words, even if the
// writer swallowed or dressed it up; other errors are the writer's own.
func fill(f *os.File, path string, write func(io.Writer) error) error {
	disk := &diskWriter{w: f}
	buf := bufio.NewWriterSize(disk, 64<<10)
	err := write(buf)
	if err == nil {
		err = buf.Flush()
	}
	if disk.err != nil {
		return cannotWrite(path, disk.err)
	}
	return err
}

type diskWriter struct {
	w   io.Writer
	err error
}

func (d *diskWriter) Write(p []byte) (int, error) {
	n, err := d.w.Write(p)
	if err != nil && d.err == nil {
		d.err = err
	}
	return n, err
}

// syncDir makes renames within dir last. Some network drives can't sync a folder, which is no reason to fail.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return cannotWrite(dir, err)
	}
	defer d.Close()
	if err := d.Sync(); err != nil && !errors.Is(err, unix.EINVAL) && !errors.Is(err, unix.ENOTSUP) {
		return cannotWrite(dir, err)
	}
	return nil
}

// renameNew renames from to to, which must not exist.
func renameNew(from, to string) error {
	err := unix.Renameat2(unix.AT_FDCWD, from, unix.AT_FDCWD, to, unix.RENAME_NOREPLACE)
	if errors.Is(err, unix.EINVAL) || errors.Is(err, unix.ENOSYS) { // not on every file system
		if _, err := os.Lstat(to); err == nil {
			return &fs.PathError{Op: "rename", Path: to, Err: fs.ErrExist}
		}
		return os.Rename(from, to)
	}
	if err != nil {
		return &fs.PathError{Op: "rename", Path: to, Err: err}
	}
	return nil
}
