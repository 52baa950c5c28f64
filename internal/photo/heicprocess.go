package photo

import (
	"bytes"
	"context"
	"encoding/gob"
	"errors"
	"fmt"
	"image"
	"io"
	"os"
	"os/exec"
	"syscall"
)

// HEIC pictures are decoded by a process of their own: this program once more, told so by heicEnv. The decoder runs as machine
// code that the Go runtime can't interrupt, so that inside this process a garbage collection would wait for it to end, seconds
// later, and with it everything else would, Ctrl-C too. A process can be killed, and gives its memory back whole.
const heicEnv = "PORTMATCH_DECODES_HEIC"

func init() {
	if os.Getenv(heicEnv) == "" {
		return
	}
	if err := answerHEIC(os.Stdin, os.Stdout); err != nil {
		os.Exit(1)
	}
	os.Exit(0)
}

// heicAnswer is what comes back: one of the pictures, or what went wrong.
type heicAnswer struct {
	YCbCr *image.YCbCr
	Gray  *image.Gray
	NRGBA *image.NRGBA
	RGBA  *image.RGBA
	Error string
}

func answerHEIC(in io.Reader, out io.Writer) error {
	data, err := io.ReadAll(in)
	if err != nil {
		return err
	}
	var a heicAnswer
	img, err := decodeHEIC(data)
	switch m := img.(type) {
	case *image.YCbCr:
		a.YCbCr = m
	case *image.Gray:
		a.Gray = m
	case *image.NRGBA:
		a.NRGBA = m
	case *image.RGBA:
		a.RGBA = m
	default:
		err = errors.Join(err, fmt.Errorf("no picture, but %T", img))
	}
	if err != nil {
		a.Error = err.Error()
	}
	return gob.NewEncoder(out).Encode(a)
}

// decodeHEICApart decodes in a process of its own, which ends with ctx.
func decodeHEICApart(ctx context.Context, data []byte) (image.Image, error) {
	cmd := exec.CommandContext(ctx, "/proc/self/exe")
	cmd.Env = append(os.Environ(), heicEnv+"=1")
	cmd.Stdin = bytes.NewReader(data)
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} // a terminal sends Ctrl-C to its whole group: this process passes it on
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return decodeHEIC(data) // no /proc, or no more processes: slower to stop, but a picture
	}
	var a heicAnswer
	err = gob.NewDecoder(out).Decode(&a)
	if e := cmd.Wait(); err == nil {
		err = e
	}
	switch {
	case ctx.Err() != nil:
		return nil, context.Cause(ctx)
	case err != nil:
		return nil, fmt.Errorf("its decoder ended before it was done: %w", err)
	case a.Error != "":
		return nil, errors.New(a.Error)
	case a.YCbCr != nil:
		return a.YCbCr, nil
	case a.Gray != nil:
		return a.Gray, nil
	case a.NRGBA != nil:
		return a.NRGBA, nil
	case a.RGBA != nil:
		return a.RGBA, nil
	}
	return nil, errors.New("its decoder gave no picture")
}
