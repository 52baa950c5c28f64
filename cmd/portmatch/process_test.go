package main

import (
	"context"
	"errors"
	"flag"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/urfave/cli/v2"
)

// The test binary is portmatch itself when this is set, for tests of a whole process.
const asPortmatch = "PORTMATCH_TEST_AS_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(asPortmatch) == "1" {
		ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
		defer stop()
		os.Exit(run(ctx, os.Args, os.Stdout, os.Stderr))
	}
	os.Exit(m.Run())
}

// process prepares portmatch as a process of its own, behind the given command where there is one.
func process(t *testing.T, before []string, args ...string) (*exec.Cmd, *strings.Builder) {
	t.Helper()
	argv := slices.Concat(before, []string{os.Args[0]}, args)
	cmd := exec.CommandContext(t.Context(), argv[0], argv[1:]...)
	cmd.Env = append(os.Environ(), asPortmatch+"=1")
	var talk strings.Builder
	cmd.Stderr = &talk
	return cmd, &talk
}

// promptly is what Ctrl-C may take: a second on an idle machine, which one that runs tests is not.
const promptly = 3 * time.Second

// A stage that takes longer than it may is given up, whether what runs in it knows of that or not.
func TestStageLimit(t *testing.T) {
	app := newApp(io.Discard, io.Discard)
	for name, work := range map[string]func(ctx context.Context) error{
		"reading a picture": (&sight{shot: shot{path: scenes()["gasket"].file}}).look,
		"what never ends": func(ctx context.Context) error {
			_, err := abandoned(ctx, func() (int, error) { select {} })
			return err
		},
	} {
		c := cli.NewContext(app, flag.NewFlagSet("", flag.ContinueOnError), &cli.Context{Context: t.Context()})
		p := newProgress(c, 1)
		p.allowed = time.Millisecond
		p.stage(name)
		err := work(c.Context)
		p.done()
		if !as[*stageError](err) || statusOf(err) != statusPhoto || !strings.HasPrefix(err.Error(), name) {
			t.Errorf("%s: %v, want a stage that was given up", name, err)
		}
	}
}

// TestInterrupt stops match with Ctrl-C at several moments: nothing of the job is left.
func TestInterrupt(t *testing.T) {
	dir := t.TempDir()
	gasket := trueTrace(t, dir, "gasket")
	for _, after := range []time.Duration{50 * time.Millisecond, 300 * time.Millisecond, 900 * time.Millisecond} {
		jobDir := filepath.Join(dir, "job")
		cmd, talk := process(t, nil, "match", "--target", gasket, "--work", scenes()["manifold-before"].file, "--job", jobDir)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(after)
		if err := cmd.Process.Signal(os.Interrupt); err != nil {
			t.Fatal(err)
		}
		began := time.Now()
		err := cmd.Wait()
		if took := time.Since(began); took > promptly {
			t.Errorf("after %v: it took %v to stop", after, took)
		}
		if err == nil { // a fast machine: it was done before
			if err := os.RemoveAll(jobDir); err != nil {
				t.Fatal(err)
			}
			continue
		}
		var exit *exec.ExitError
		if !errors.As(err, &exit) || exit.ExitCode() != statusStopped && exit.ExitCode() != -1 { // -1: before the program had begun
			t.Errorf("after %v: %v, %q; want status %d", after, err, talk, statusStopped)
		}
		if _, err := os.Stat(jobDir); !os.IsNotExist(err) {
			t.Errorf("after %v: the job folder was left behind: %v", after, err)
		}
	}
}

// TestNoNetwork runs a job where there is no network at all, not even a loopback.
func TestNoNetwork(t *testing.T) {
	apart := []string{"unshare", "--net"}
	if os.Geteuid() != 0 {
		apart = append(apart, "--map-root-user")
	}
	if out, err := exec.Command(apart[0], append(apart[1:], "true")...).CombinedOutput(); err != nil {
		t.Logf("some containers forbid it (%v, %s): the job runs with whatever network there is", err, out)
		apart = nil
	}
	dir := t.TempDir()
	throttle := trueTrace(t, dir, "throttle-gasket")
	for _, args := range [][]string{
		{"card", "--out", filepath.Join(dir, "card.pdf")},
		{"match", "--target", throttle, "--work", scenes()["throttle-face"].file, "--flipped", "no", "--turned", "0", "--job", filepath.Join(dir, "job")},
		{"show", "--job", filepath.Join(dir, "job")},
	} {
		cmd, talk := process(t, apart, args...)
		if err := cmd.Run(); err != nil {
			t.Errorf("portmatch %s without a network: %v\n%s", args[0], err, talk)
		}
	}
}
