package main

import (
	"io"
	"os"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"
)

// progress shows on a terminal which stage of the work is going on; anywhere else it is silent.
type progress struct {
	bar     *progressbar.ProgressBar
	started bool
}

func newProgress(w io.Writer, stages int) *progress {
	f, ok := w.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return &progress{}
	}
	return &progress{bar: progressbar.NewOptions(stages,
		progressbar.OptionSetWriter(w),
		progressbar.OptionSetWidth(20),
		progressbar.OptionSetElapsedTime(false),
		progressbar.OptionSetPredictTime(false),
		progressbar.OptionClearOnFinish(),
	)}
}

// stage says what comes next; what went before is done.
func (p *progress) stage(what string) {
	if p.bar == nil {
		return
	}
	p.bar.Describe(what)
	if p.started {
		_ = p.bar.Add(1) // a terminal that can't be written to is no reason to stop
	}
	p.started = true
}

// done clears the line, so that the result starts on a fresh one.
func (p *progress) done() {
	if p.bar != nil {
		_ = p.bar.Finish()
	}
}
