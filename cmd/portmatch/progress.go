package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"runtime/metrics"
	"strings"
	"syscall"
	"time"

	"github.com/schollz/progressbar/v3"
	"github.com/urfave/cli/v2"
	"golang.org/x/term"
)

// stageLimit ends a run that hangs: a stage of the largest pictures takes seconds, on a slow machine under load a minute.
const stageLimit = 10 * time.Minute

// stageError is a stage that took longer than that.
type stageError struct {
	stage   string
	allowed time.Duration
}

func (e *stageError) Error() string {
	return fmt.Sprintf("%s took more than %v and was given up; try smaller pictures", e.stage, e.allowed)
}

// progress follows a command through its stages. It shows them on a terminal and nowhere else.
type progress struct {
	bar     *progressbar.ProgressBar // nil where there is no terminal
	cancel  context.CancelCauseFunc
	allowed time.Duration // for each stage
	limit   *time.Timer
	timings string // file for the developers' figures, "" for none
	stages  []timing
}

// timing is what one stage took.
type timing struct {
	Stage      string  `json:"stage"`
	Seconds    float64 `json:"seconds"`
	CPUSeconds float64 `json:"cpu_seconds"`
	Allocs     float64 `json:"allocs"`
	AllocMB    float64 `json:"alloc_mb"`
}

// newProgress begins to follow a command. Its context ends when a stage takes too long.
func newProgress(c *cli.Context, stages int) *progress {
	p := &progress{timings: c.String("timings"), allowed: stageLimit}
	c.Context, p.cancel = context.WithCancelCause(c.Context)
	f, ok := c.App.ErrWriter.(*os.File)
	if ok && term.IsTerminal(int(f.Fd())) {
		p.bar = progressbar.NewOptions(stages,
			progressbar.OptionSetWriter(f),
			progressbar.OptionSetWidth(20),
			progressbar.OptionSetElapsedTime(false),
			progressbar.OptionSetPredictTime(false),
			progressbar.OptionClearOnFinish(),
		)
	}
	return p
}

// stage says what comes next; what went before is done.
func (p *progress) stage(what string) {
	if p.bar != nil {
		p.bar.Describe(what)
		if len(p.stages) > 0 {
			_ = p.bar.Add(1) // a terminal that can't be written to is no reason to stop
		}
	}
	p.endStage()
	word, _, _ := strings.Cut(what, " ")
	p.stages = append(p.stages, usage(word))
	p.limit = time.AfterFunc(p.allowed, func() { p.cancel(&stageError{what, p.allowed}) })
}

// endStage takes what the process has used by now less what it had used when the stage began.
func (p *progress) endStage() {
	if p.limit == nil {
		return
	}
	p.limit.Stop()
	p.limit = nil
	began, now := &p.stages[len(p.stages)-1], usage("")
	began.Seconds = now.Seconds - began.Seconds
	began.CPUSeconds = now.CPUSeconds - began.CPUSeconds
	began.Allocs = now.Allocs - began.Allocs
	began.AllocMB = now.AllocMB - began.AllocMB
}

// done clears the line, so that the result starts on a fresh one. It may be called again.
func (p *progress) done() {
	if p.bar != nil {
		_ = p.bar.Finish()
	}
	p.endStage()
	p.cancel(nil)
	if p.timings != "" {
		if b, err := json.Marshal(p.stages); err == nil {
			_ = os.WriteFile(p.timings, b, 0o666) // the developers will miss it
		}
	}
}

// usage is what the process has used since it began; seconds since 1970.
func usage(stage string) timing {
	t := timing{Stage: stage, Seconds: float64(time.Now().UnixNano()) / 1e9}
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err == nil {
		t.CPUSeconds = float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
	}
	heap := []metrics.Sample{{Name: "/gc/heap/allocs:objects"}, {Name: "/gc/heap/allocs:bytes"}}
	metrics.Read(heap)
	t.Allocs, t.AllocMB = float64(heap[0].Value.Uint64()), float64(heap[1].Value.Uint64())/1e6
	return t
}
