package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"portmatch/internal/compare"
	"portmatch/internal/synth"
)

// scene is one pair to be measured.
type scene struct {
	class, name  string
	seed         uint64
	workable     bool
	touched      []string
	unrelated    bool
	made         *synth.Case // drawn when its turn comes; nil for pictures at hand
	spoiler      *spoiler    // spoils pictures at hand when their turn comes, nil for none
	known        *known
	truth        []string // files of the truth
	target, work string
	drawn        []string // of all these files, those that were made for this run
	args         []string
}

// answer is what the tool said of a scene.
type answer struct {
	status int // exit status, -1 if killed
	result *compare.Result
	said   string // stderr
	took   time.Duration
	err    error // the tool could not be run, or its result not be read
}

// timeLimit is far beyond what a pair takes on a busy machine; a run that reaches it hangs.
const timeLimit = 5 * time.Minute

// draw makes the pictures in dir, or leaves those that a run before has made: they depend on nothing but class and seed
// and the drawing code.
func (s *scene) draw(dir string) error {
	if s.spoiler != nil {
		return s.spoil(dir)
	}
	if s.made == nil {
		return nil
	}
	f := s.made.Files(dir)
	s.target, s.work, s.truth = f.Target, f.Work, []string{f.TargetTruth, f.WorkTruth, f.PairTruth}
	s.drawn = append([]string{s.target, s.work}, s.truth...)
	s.args = s.made.Args()
	if _, err := os.Stat(f.PairTruth); err != nil {
		if _, err := s.made.Write(dir); err != nil {
			return err
		}
	}
	s.made = nil // its outlines are on disk now
	var err error
	s.known, err = readKnown(f.PairTruth)
	return err
}

// measure runs the tool as a user does.
func (s *scene) measure(tool string) (a answer) {
	tmp, err := os.MkdirTemp("", "accuracy")
	if err != nil {
		a.err = err
		return a
	}
	defer os.RemoveAll(tmp)
	ctx, cancel := context.WithTimeout(context.Background(), timeLimit)
	defer cancel()
	args := append([]string{"match", "--target", s.target, "--work", s.work, "--job", filepath.Join(tmp, "job"), "--json"}, s.args...)
	cmd := exec.CommandContext(ctx, tool, args...)
	var out, said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &said
	start := time.Now()
	err = cmd.Run()
	a.took, a.said = time.Since(start), said.String()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		a.err = err
		return a
	}
	a.status = cmd.ProcessState.ExitCode()
	if a.status == 0 {
		a.result = &compare.Result{}
		a.err = json.Unmarshal(out.Bytes(), a.result)
	}
	return a
}

// lastLine is the tool's message without progress.
func lastLine(said string) string {
	lines := strings.Split(strings.TrimSpace(said), "\n")
	return strings.TrimSpace(lines[len(lines)-1])
}
