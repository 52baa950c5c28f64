package photo

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"syscall"
	"time"
)

// pipePatience is how long a pipe that nobody writes into is waited for: a program started on the same line opens its end
// within milliseconds, and without an end nothing would ever come.
const pipePatience = 5 * time.Second

// readFile reads a file or pipe to its end, refusing what can't be a picture before reading it.
func readFile(ctx context.Context, path string, limit int64) ([]byte, error) {
	// Without O_NONBLOCK, opening a pipe would wait for its writer, deaf to ctx.
	f, err := os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, cannotOpen(err)
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return nil, cannotOpen(err)
	}
	switch mode := st.Mode(); {
	case mode.IsDir():
		return nil, problem(ErrUnreadable, "is a folder, not a picture", "Name the picture inside it")
	case mode&fs.ModeNamedPipe != 0:
		return readPipe(ctx, f, limit)
	case !mode.IsRegular():
		return nil, problem(ErrUnreadable, "is a device, not a picture", "Name a picture file")
	case st.Size() > limit:
		return nil, tooManyBytes(limit)
	}
	return readRegular(ctx, f, st.Size(), limit)
}

// readRegular reads in pieces, so that a slow card or a network drive can be given up on.
func readRegular(ctx context.Context, f *os.File, size, limit int64) ([]byte, error) {
	const piece = 8 << 20
	data := make([]byte, 0, size+1) // one more than expected, to notice that the file has grown
	for {
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		if len(data) == cap(data) {
			if int64(len(data)) > limit {
				return nil, tooManyBytes(limit)
			}
			data = append(data, 0)[:len(data)]
		}
		n, err := f.Read(data[len(data):min(cap(data), len(data)+piece)])
		data = data[:len(data)+n]
		if err == io.EOF {
			return data, nil
		}
		if err != nil {
			return nil, cannotOpen(err)
		}
	}
}

func readPipe(ctx context.Context, f *os.File, limit int64) ([]byte, error) {
	stop := context.AfterFunc(ctx, func() { f.SetReadDeadline(time.Now()) })
	defer stop()
	var data []byte
	giveUp := time.Now().Add(pipePatience)
	for {
		more, err := io.ReadAll(io.LimitReader(f, limit+1-int64(len(data))))
		data = append(data, more...)
		switch {
		case ctx.Err() != nil:
			return nil, context.Cause(ctx)
		case err != nil:
			return nil, cannotOpen(err)
		case int64(len(data)) > limit:
			return nil, tooManyBytes(limit)
		case len(data) > 0:
			return data, nil
		case time.Now().After(giveUp):
			return nil, problem(ErrUnreadable, "is a pipe that nothing writes to", "Name a picture file")
		}
		select { // no writer has opened the pipe yet
		case <-ctx.Done():
		case <-time.After(20 * time.Millisecond):
		}
	}
}

func tooManyBytes(limit int64) *Error {
	return problem(ErrTooLarge, fmt.Sprintf("the file is larger than %d MB", limit>>20), "Save it as a JPEG")
}

func cannotOpen(err error) *Error {
	e := &Error{Kind: ErrUnreadable, Err: err}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		e.What, e.Try = "there is no such file", "Check the name and the folder"
	case errors.Is(err, fs.ErrPermission):
		e.What, e.Try = "no permission to read it", "Change its permissions, or copy it to a folder of your own"
	default:
		cause := err
		if pe := (*fs.PathError)(nil); errors.As(err, &pe) {
			cause = pe.Err
		}
		e.What, e.Try = "can't be read: "+cause.Error(), "Copy it from the camera or the drive again"
	}
	return e
}
