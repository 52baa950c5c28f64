package synth

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

// Files are where a case was written.
type Files struct{ Target, Work, TargetTruth, WorkTruth, PairTruth string }

// Files names the files of the case in dir.
func (k *Case) Files(dir string) Files {
	return Files{Target: filepath.Join(dir, k.Target.Name+".jpg"), Work: filepath.Join(dir, k.Work.Name+".jpg"),
		TargetTruth: filepath.Join(dir, k.Target.Name+".truth.json"), WorkTruth: filepath.Join(dir, k.Work.Name+".truth.json"),
		PairTruth: filepath.Join(dir, fmt.Sprintf("%s-%04d.pair.truth.json", k.Class, k.Seed))}
}

// Write draws both pictures into dir, beside their truth; the pair's truth comes last.
func (k *Case) Write(dir string) (Files, error) {
	f := k.Files(dir)
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return f, err
	}
	truth, err := k.Truth()
	if err != nil {
		return f, err
	}
	t, err := k.Target.Picture()
	if err != nil {
		return f, err
	}
	w, err := k.Work.Picture()
	if err != nil {
		return f, err
	}
	if k.Spoil != nil {
		if t, w, err = k.Spoil(t, w); err != nil {
			return f, err
		}
	}
	for _, w := range []struct {
		path string
		data any
	}{{f.Target, t}, {f.Work, w}, {f.TargetTruth, k.Target.Truth(filepath.Base(f.Target))}, {f.WorkTruth, k.Work.Truth(filepath.Base(f.Work))}, {f.PairTruth, truth}} {
		b, ok := w.data.([]byte)
		if !ok {
			if b, err = json.Marshal(w.data); err != nil {
				return f, err
			}
		}
		if err := os.WriteFile(w.path, b, 0o666); err != nil {
			return f, err
		}
	}
	return f, nil
}

// Flags are what the tool is told besides the files.
func (k *Case) Flags() string {
	var b strings.Builder
	for _, f := range k.Args() {
		b.WriteString(f + " ")
	}
	return strings.TrimSpace(b.String())
}

// Args are the flags of the match command that the case needs besides files and job folder.
func (k *Case) Args() []string {
	var a []string
	add := func(flag string, v float64) {
		if v != 0 {
			a = append(a, flag, fmt.Sprint(v))
		}
	}
	add("--target-height", k.TargetHeightMM)
	add("--work-height", k.WorkHeightMM)
	add("--target-dpi", k.TargetDPI)
	add("--work-dpi", k.WorkDPI)
	add("--printed-x", k.PrintedXMM)
	add("--printed-y", k.PrintedYMM)
	return a
}
