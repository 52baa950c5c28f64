// Command accuracy measures the tool: it runs "portmatch match" on seeded synthetic pairs of every class of difficulty and on
// ray-traced pairs at hand, and prints what came out against the truth.
//
//	go run ./internal/synth/accuracy -tool bin/portmatch -n 320 -csv accuracy.csv -pairs samples
package main

import (
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"portmatch/internal/synth"
)

type options struct {
	tool    string
	n       int
	seed    uint64
	classes string
	pairs   string
	spoilt  int
	scenes  string
	keep    string
	csv     string
	jobs    int
	verbose bool
}

func main() {
	var o options
	flag.StringVar(&o.tool, "tool", "bin/portmatch", "the program to measure")
	flag.IntVar(&o.n, "n", 320, "how many synthetic scenes, spread over the classes")
	flag.Uint64Var(&o.seed, "seed", 1, "number of the first scene of every class")
	flag.StringVar(&o.classes, "class", "", "these classes only, with commas between")
	flag.StringVar(&o.pairs, "pairs", "", "folders of ray-traced pairs with truth, with commas between")
	flag.IntVar(&o.spoilt, "spoilt", 0, "instead of the ray-traced pairs this many spoilt copies of them, spread over the kinds of spoiling")
	flag.StringVar(&o.scenes, "scenes", "", "folder to keep the drawn scenes in and to take them from; empty it when the drawing code changes")
	flag.StringVar(&o.keep, "keep", "", "folder for the pictures of scenes that went wrong")
	flag.StringVar(&o.csv, "csv", "", "file for one line a port")
	flag.IntVar(&o.jobs, "j", 2, "how many scenes at a time")
	flag.BoolVar(&o.verbose, "v", false, "say what is wrong with every scene that isn't right")
	flag.Parse()
	if err := run(o, os.Stdout, os.Stderr); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func run(o options, out, progress io.Writer) error {
	scenes, err := plan(o)
	if err != nil {
		return err
	}
	dir := o.scenes
	if dir == "" {
		if dir, err = os.MkdirTemp("", "scenes"); err != nil {
			return err
		}
		defer os.RemoveAll(dir)
	}
	rows, err := measureAll(o, scenes, dir, progress)
	if err != nil {
		return err
	}
	report(out, rows, o.verbose)
	if o.csv != "" {
		if err := saveCSV(o.csv, rows); err != nil {
			return err
		}
	}
	if n := countOutcomes(rows)[broken]; n > 0 {
		return fmt.Errorf("%d of %d runs crashed, hung or lost their result", n, len(rows))
	}
	return nil
}

func saveCSV(path string, rows []sceneRow) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	if err := writeCSV(f, rows); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}

// plan lists the scenes: the classes in turn until there are n, then the pairs at hand.
func plan(o options) ([]*scene, error) {
	classes := synth.Classes()
	var want []string
	if o.classes != "" {
		want = strings.Split(o.classes, ",")
		for _, w := range want {
			if w != "traced" && !slices.ContainsFunc(classes, func(c synth.Class) bool { return c.Name == w }) &&
				!slices.ContainsFunc(synth.Spoilings(), func(k synth.Spoiling) bool { return k.Name == w }) {
				return nil, fmt.Errorf("no class %q", w)
			}
		}
		classes = slices.DeleteFunc(classes, func(c synth.Class) bool { return !slices.Contains(want, c.Name) })
	}
	var out []*scene
	for i := 0; i < o.n && len(classes) > 0; i++ {
		c := classes[i%len(classes)]
		k, err := synth.NewCase(c.Name, o.seed+uint64(i/len(classes)))
		if err != nil {
			return nil, err
		}
		out = append(out, newScene(k, c.Workable))
	}
	var pairs []scene
	if o.pairs != "" {
		for _, d := range strings.Split(o.pairs, ",") {
			s, err := rayTraced(d)
			if err != nil {
				return nil, err
			}
			pairs = append(pairs, s...)
		}
	}
	if o.spoilt > 0 {
		return append(out, spoilt(want, pairs, o.spoilt, o.seed)...), nil
	}
	for i := range pairs {
		out = append(out, &pairs[i])
	}
	return out, nil
}

func newScene(k *synth.Case, workable bool) *scene {
	return &scene{class: k.Class, name: fmt.Sprintf("%s-%04d", k.Class, k.Seed), seed: k.Seed, workable: workable, touched: k.Touched, unrelated: k.Unrelated, made: k}
}

func measureAll(o options, scenes []*scene, dir string, progress io.Writer) ([]sceneRow, error) {
	rows := make([]sceneRow, len(scenes))
	errs := make([]error, len(scenes))
	var wg sync.WaitGroup
	var mu sync.Mutex
	turn := make(chan int)
	done := 0
	for range o.jobs {
		wg.Go(func() {
			for i := range turn {
				s := scenes[i]
				if errs[i] = s.draw(dir); errs[i] != nil {
					continue
				}
				a := s.measure(o.tool)
				rows[i] = s.judge(a)
				if o.keep != "" && rows[i].wentWrong() {
					errs[i] = s.copyTo(filepath.Join(o.keep, s.name), &rows[i], a)
				}
				if o.scenes == "" {
					s.remove()
				}
				mu.Lock()
				done++
				fmt.Fprintf(progress, "%d of %d  %s: %s %s\n", done, len(scenes), s.name, rows[i].outcome, rows[i].reason)
				mu.Unlock()
			}
		})
	}
	for i := range scenes {
		turn <- i
	}
	close(turn)
	wg.Wait()
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return rows, nil
}

// wentWrong: what somebody should look at.
func (r *sceneRow) wentWrong() bool {
	return r.outcome == silent || r.outcome == broken || r.outcome == refused && r.workable
}

func (s *scene) files() []string { return append([]string{s.target, s.work}, s.truth...) }

func (s *scene) copyTo(dir string, row *sceneRow, a answer) error {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	for _, f := range s.files() {
		b, err := os.ReadFile(f)
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(dir, filepath.Base(f)), b, 0o666); err != nil {
			return err
		}
	}
	note := fmt.Sprintf("%s: %s\nmatch %s\n\n%s", row.outcome, row.reason, strings.Join(s.args, " "), a.said)
	return os.WriteFile(filepath.Join(dir, "what.txt"), []byte(note), 0o666)
}

func (s *scene) remove() {
	for _, f := range s.drawn {
		_ = os.Remove(f) // a scene left in a temporary folder does no harm
	}
}

// report prints the tables.
func report(w io.Writer, rows []sceneRow, verbose bool) {
	var works, others []summary
	of := func(keep func(sceneRow) bool) []sceneRow {
		var out []sceneRow
		for _, r := range rows {
			if keep(r) {
				out = append(out, r)
			}
		}
		return out
	}
	var order []string
	for _, r := range rows {
		if !slices.Contains(order, r.class) {
			order = append(order, r.class)
		}
	}
	for _, c := range order {
		of := of(func(r sceneRow) bool { return r.class == c })
		if of[0].workable {
			works = append(works, summarize(c, of))
		} else {
			others = append(others, summarize(c, of))
		}
	}
	if len(works) > 0 {
		works = append(works, summarize("all workable", of(func(r sceneRow) bool { return r.workable })))
		printTable(w, "Pictures that must be measured (mm; step errors of ports that carry no mark)", works)
	}
	if len(others) > 0 {
		others = append(others, summarize("all others", of(func(r sceneRow) bool { return !r.workable })))
		printTable(w, "Pictures to be refused or marked", others)
	}
	printCounts(w, rows)
	printOutlines(w, order, rows)
	printReasons(w, rows)
	if verbose {
		fmt.Fprintln(w)
		for _, r := range rows {
			if r.outcome != right {
				fmt.Fprintf(w, "%-20s %-12s %s\n", r.name, r.outcome, r.reason)
			}
		}
	}
}
