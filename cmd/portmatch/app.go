package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime/pprof"
	"slices"
	"strings"

	"github.com/urfave/cli/v2"

	"portmatch/internal/job"
	"portmatch/internal/render"
)

const version = "0.1.0"

func newApp(stdout, stderr io.Writer) *cli.App {
	app := &cli.App{
		Name:  "portmatch",
		Usage: "find the metal to grind away from two photos",
		Description: "Photograph a gasket (the target) and a manifold face (the work) with strips of the printed card lying flat\n" +
			"beside them. portmatch says per port how much metal of the work stands inside the target's opening, where the\n" +
			"largest step is, how sure that is, and prints a map of it at true size.\n\n" +
			"   portmatch card  --out card.pdf\n" +
			"   portmatch match --target gasket.jpg --target-height 1.2 --work manifold.jpg --job engine\n\n" +
			"Lengths are mm; write 0.015in, 15thou or 1/4in for inches.\n\n" +
			"Exit status: 0 done; 2 the command line is wrong; 3 a photo can't be trusted; 4 the parts don't go together;\n" +
			"5 a file or the job folder can't be read or written; 130 stopped with Ctrl-C.",
		Version:                   version,
		Writer:                    stdout,
		ErrWriter:                 stderr,
		HideHelpCommand:           true,
		DisableSliceFlagSeparator: true, // a file name may hold a comma
		ExitErrHandler:            func(*cli.Context, error) {},
	}
	app.Commands = []*cli.Command{cardCommand(), traceCommand(), matchCommand(), recheckCommand(), mapCommand(), showCommand(), checkCommand()}
	for _, c := range app.Commands {
		finish(c)
	}
	app.OnUsageError = func(c *cli.Context, err error, _ bool) error { return flagError(err, app.Flags) }
	app.Action = func(c *cli.Context) error {
		if !c.Args().Present() {
			return cli.ShowAppHelp(c)
		}
		var names []string
		for _, cmd := range app.Commands {
			names = append(names, cmd.Name)
		}
		return unknown("command", c.Args().First(), names, "the commands are "+strings.Join(names, ", "))
	}
	return app
}

// finish gives a command what all of them have: plain words for a bad flag, no bare words, the profile.
func finish(c *cli.Command) {
	c.HideHelpCommand = true
	named := slices.Clone(c.Flags)
	c.Flags = append(c.Flags, &cli.StringFlag{Name: "cpuprofile", Hidden: true}, &cli.StringFlag{Name: "timings", Hidden: true})
	c.OnUsageError = func(_ *cli.Context, err error, _ bool) error { return flagError(err, named) }
	action := c.Action
	c.Action = func(ctx *cli.Context) (err error) {
		if ctx.Args().Present() {
			return usagef("I don't know what %q is for: every input goes with a flag, as in portmatch %s --%s FILE",
				ctx.Args().First(), c.Name, c.Flags[0].Names()[0])
		}
		if name := ctx.String("cpuprofile"); name != "" {
			f, err := os.Create(name)
			if err != nil {
				return err
			}
			defer f.Close()
			if err := pprof.StartCPUProfile(f); err != nil {
				return err
			}
			defer pprof.StopCPUProfile()
		}
		err = action(ctx)
		if err != nil {
			err = &unitsError{err, spokenUnits(ctx)}
		}
		if late := (*stageError)(nil); err != nil && errors.As(context.Cause(ctx.Context), &late) {
			return late
		}
		return err
	}
}

// spokenUnits are the units that a command speaks: those of --units, else those of its job, else mm.
func spokenUnits(c *cli.Context) render.Units {
	if u, ok := c.Generic("units").(*choice); ok && u.value != "" {
		return render.Units(u.value)
	}
	if dir := c.String("job"); dir != "" {
		if j, err := job.Open(dir); err == nil && j.Settings.Units != "" {
			return render.Units(j.Settings.Units)
		}
	}
	return render.MM
}

// usageError is a command line that can't be carried out as written.
type usageError struct{ what string }

func (e *usageError) Error() string { return e.what }

func usagef(format string, args ...any) error { return &usageError{fmt.Sprintf(format, args...)} }

// flagError puts the flag package's message in our words and, for an unknown flag, names the nearest that exists.
func flagError(err error, flags []cli.Flag) error {
	text := err.Error()
	if name, ok := strings.CutPrefix(text, "flag provided but not defined: "); ok {
		var names []string
		for _, f := range flags {
			names = append(names, "--"+f.Names()[0])
		}
		return unknown("flag", "--"+strings.TrimLeft(name, "-"), names, "--help lists the flags")
	}
	if name, ok := strings.CutPrefix(text, "flag needs an argument: "); ok {
		return usagef("--%s needs a value after it", strings.TrimLeft(name, "-"))
	}
	if rest, ok := strings.CutPrefix(text, "invalid value "); ok {
		if _, after, ok := strings.Cut(rest, " for flag -"); ok {
			name, why, _ := strings.Cut(after, ": ")
			return usagef("--%s: %s", name, why)
		}
	}
	return &usageError{text}
}

func unknown(kind, got string, known []string, otherwise string) error {
	if near := nearest(got, known); near != "" {
		return usagef("there is no %s %s; did you mean %s?", kind, got, near)
	}
	return usagef("there is no %s %s; %s", kind, got, otherwise)
}

// missing refuses a command whose needed flags are not all there.
func missing(c *cli.Context, names ...string) error {
	for _, n := range names {
		if !c.IsSet(n) || c.String(n) == "" && len(c.StringSlice(n)) == 0 {
			return usagef("--%s is missing; portmatch %s --help shows how it is used", n, c.Command.Name)
		}
	}
	return nil
}
