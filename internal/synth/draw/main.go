// Command draw writes synthetic pairs with their truth to a folder, for looking at and for developing against.
//
//	go run ./internal/synth/draw -class plain -seed 1 -n 1 -out DIR
package main

import (
	"flag"
	"fmt"
	"os"
	"time"

	"portmatch/internal/synth"
)

func main() {
	class := flag.String("class", "plain", "kind of difficulty; \"list\" lists them")
	seed := flag.Uint64("seed", 1, "first case")
	n := flag.Int("n", 1, "how many cases")
	out := flag.String("out", ".", "folder")
	flag.Parse()
	if *class == "list" {
		for _, c := range synth.Classes() {
			fmt.Printf("%-14s %v %s\n", c.Name, c.Workable, c.Describe)
		}
		return
	}
	if err := run(*class, *seed, *n, *out); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func run(class string, seed uint64, n int, out string) error {
	for i := range uint64(n) {
		k, err := synth.NewCase(class, seed+i)
		if err != nil {
			return err
		}
		start := time.Now()
		f, err := k.Write(out)
		if err != nil {
			return err
		}
		c := &k.Target.Camera
		fmt.Printf("%s\n%s\n%dx%d and %dx%d, %.1f s\nmatch %s\n", f.Target, f.Work, c.WidthPx, c.HeightPx, k.Work.Camera.WidthPx, k.Work.Camera.HeightPx,
			time.Since(start).Seconds(), k.Flags())
	}
	return nil
}
