package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
)

// fileError is a file or folder that can't be read or written.
type fileError struct {
	path, what string
	err        error
}

func (e *fileError) Error() string { return fmt.Sprintf("%s: %s", e.path, e.what) }
func (e *fileError) Unwrap() error { return e.err }

// checkOutput refuses an output path that can't be written, before any work is done. The inputs are files that the output
// must not replace.
func checkOutput(path string, inputs ...string) error {
	if info, err := os.Stat(path); err == nil {
		if info.IsDir() {
			return &fileError{path: path, what: "is a folder; give a file name"}
		}
		for _, in := range inputs {
			if other, err := os.Stat(in); err == nil && os.SameFile(info, other) {
				return usagef("%s is both input and output; give another --out", path)
			}
		}
		if !info.Mode().IsRegular() { // a pipe or a device has no folder to be written beside it
			return nil
		}
	}
	dir := filepath.Dir(path)
	info, err := os.Stat(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return &fileError{path, "there is no folder " + dir + "; make it first", err}
	case err != nil:
		return &fileError{path, plain(err), err}
	case !info.IsDir():
		return &fileError{path: path, what: dir + " is not a folder"}
	}
	// Whether a file can be made there is known for sure only after making one: permissions, a read-only disk, quotas.
	probe, err := os.CreateTemp(dir, ".portmatch-*")
	if err != nil {
		return &fileError{path, "nothing can be written in " + dir + " (" + plain(err) + ")", err}
	}
	probe.Close()
	if err := os.Remove(probe.Name()); err != nil {
		return &fileError{path, plain(err), err}
	}
	return nil
}

// plain puts the system's reason in words.
func plain(err error) string {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "there is no such file"
	case errors.Is(err, fs.ErrPermission):
		return "no permission"
	case errors.Is(err, syscall.EROFS):
		return "the disk is read-only"
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return "the disk is full"
	case errors.Is(err, syscall.ENAMETOOLONG):
		return "the name is too long"
	}
	var sys *fs.PathError
	if errors.As(err, &sys) {
		return sys.Err.Error()
	}
	return err.Error()
}
