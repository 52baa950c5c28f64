//go:build ignore

// Bench times whole runs of portmatch match, and of portmatch recheck after it, beside OpenCV's bare colour decode of the same
// JPEGs, in turns, and prints rows for BENCHMARKS.md. The decode is timed inside a running process, the decode calls alone; portmatch is timed from
// start to end, with all its files written.
//
//	go run scripts/bench.go -portmatch bin/portmatch -decode photo.test [-runs 10] [-mp 12]
package main

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"image"
	"image/jpeg"
	"io"
	"log"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"

	"golang.org/x/image/draw"
)

var (
	portmatch = flag.String("portmatch", "bin/portmatch", "the program")
	decode    = flag.String("decode", "", "the photo package's test binary")
	runs      = flag.Int("runs", 10, "paired runs")
	sizes     = flag.String("mp", "3,12,48", "megapixels of the pairs, comma-separated")
	resize    = flag.String("resize", "", "make this JPEG -mp megapixels large, into the folder that is the only argument")
)

const (
	targetJPEG = "samples/gasket.jpg"
	workJPEG   = "samples/manifold-before.jpg"
	groundJPEG = "samples/manifold-after.jpg"
)

func main() {
	flag.Parse()
	log.SetFlags(0)
	if *resize != "" {
		n, err := strconv.Atoi(*sizes)
		check(err)
		makeResized(flag.Arg(0), *resize, n)
		return
	}
	dir, err := os.MkdirTemp("", "portmatch-bench-")
	check(err)
	defer os.RemoveAll(dir)
	fmt.Printf("| pair | match s | cpu s | decode s | match / decode (least to most) | peak memory MB |\n|---|---|---|---|---|---|\n")
	var stages, rechecks strings.Builder
	for _, mp := range strings.Split(*sizes, ",") {
		pair(dir, mp, &stages, &rechecks)
	}
	fmt.Printf("\n| photo | recheck s | drawing s | cpu s | decode s | (recheck - drawing) / decode (least to most) |\n|---|---|---|---|---|---|\n%s", rechecks.String())
	fmt.Printf("\n| pair | stage | s | cpu s | s / decode | allocations | MB allocated |\n|---|---|---|---|---|---|---|\n%s", stages.String())
	help()
}

func pair(dir, mp string, stages, rechecks io.Writer) {
	n, err := strconv.Atoi(mp)
	check(err)
	target, work, ground := resized(dir, targetJPEG, n), resized(dir, workJPEG, n), resized(dir, groundJPEG, n)
	timings := filepath.Join(dir, "timings.json")
	var match, again series
	for i := range *runs {
		job := filepath.Join(dir, fmt.Sprintf("job-%s-%d", mp, i))
		bare := bareDecode(target) + bareDecode(work)
		match.add(bare, measure(*portmatch, "match", "--target", target, "--target-height", "1.2", "--work", work, "--job", job, "--timings", timings), timings)
		bare = bareDecode(ground)
		again.add(bare, measure(*portmatch, "recheck", "--job", job, "--work", ground, "--timings", timings), timings)
		check(os.RemoveAll(job))
	}
	ratios := func(s *series, seconds func(run) float64) string {
		var v []float64
		for i, r := range s.runs {
			v = append(v, seconds(r)/s.bare[i])
		}
		return fmt.Sprintf("**%.2f** (%.2f to %.2f)", median(v), slices.Min(v), slices.Max(v))
	}
	wall := func(r run) float64 { return r.wall }
	cpu := func(r run) float64 { return r.cpu }
	memory := func(r run) float64 { return r.maxMB }
	drawing := func(r run) float64 { return r.stages[len(r.stages)-1].Seconds }
	fmt.Printf("| 2 x %s MP | %.2f | %.2f | %.3f | %s | %.0f |\n", mp, match.median(wall), match.median(cpu), median(match.bare), ratios(&match, wall), slices.Max(match.of(memory)))
	fmt.Fprintf(rechecks, "| %s MP | %.2f | %.2f | %.2f | %.3f | %s |\n", mp, again.median(wall), again.median(drawing), again.median(cpu), median(again.bare),
		ratios(&again, func(r run) float64 { return r.wall - drawing(r) }))
	for _, s := range []struct {
		of string
		*series
	}{{"2 x " + mp + " MP", &match}, {mp + " MP, recheck", &again}} {
		for k, t := range s.runs[0].stages {
			of := func(get func(timing) float64) float64 {
				return s.median(func(r run) float64 { return get(r.stages[k]) })
			}
			seconds := of(func(t timing) float64 { return t.Seconds })
			fmt.Fprintf(stages, "| %s | %s | %.2f | %.2f | %.2f | %.0f | %.0f |\n", s.of, t.Stage, seconds, of(func(t timing) float64 { return t.CPUSeconds }),
				seconds/median(s.bare), of(func(t timing) float64 { return t.Allocs }), of(func(t timing) float64 { return t.AllocMB }))
		}
	}
}

// series is a command's runs, each with the bare decode of its photos beside it, in seconds.
type series struct {
	bare []float64
	runs []run
}

func (s *series) add(bare float64, r run, timings string) {
	data, err := os.ReadFile(timings)
	check(err)
	check(json.Unmarshal(data, &r.stages))
	s.bare, s.runs = append(s.bare, bare), append(s.runs, r)
}

func (s *series) of(get func(run) float64) []float64 {
	var v []float64
	for _, r := range s.runs {
		v = append(v, get(r))
	}
	return v
}

func (s *series) median(get func(run) float64) float64 { return median(s.of(get)) }

// timing is what portmatch --timings says of a stage.
type timing struct {
	Stage      string  `json:"stage"`
	Seconds    float64 `json:"seconds"`
	CPUSeconds float64 `json:"cpu_seconds"`
	Allocs     float64 `json:"allocs"`
	AllocMB    float64 `json:"alloc_mb"`
}

func help() {
	var ms []float64
	for range *runs {
		ms = append(ms, 1000*measure(*portmatch, "--help").wall)
	}
	info, err := os.Stat(*portmatch)
	check(err)
	commit, _ := exec.Command("git", "rev-parse", "--short", "HEAD").Output()
	fmt.Printf("\n%d paired runs, medians; start-up (`--help`) %.0f ms; binary %.1f MB; %s, %d processors, %s, commit %s\n", *runs, median(ms),
		float64(info.Size())/1e6, processor(), runtime.NumCPU(), runtime.Version(), strings.TrimSpace(string(commit)))
}

type run struct {
	wall, cpu, maxMB float64 // s, s, MB
	stages           []timing
}

func measure(name string, args ...string) run {
	cmd := exec.Command(name, args...)
	var talk bytes.Buffer
	cmd.Stderr = &talk
	start := time.Now()
	if err := cmd.Run(); err != nil {
		log.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, talk.String())
	}
	wall := time.Since(start).Seconds()
	u := cmd.ProcessState.SysUsage().(*syscall.Rusage)
	return run{wall: wall, cpu: (cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()).Seconds(), maxMB: float64(u.Maxrss) / 1024}
}

var perOp = regexp.MustCompile(`BenchmarkBareColourDecode\S*\s+\d+\s+(\d+) ns/op`)

// bareDecode returns seconds for one decode of the file, the mean of five calls after one to warm up.
func bareDecode(file string) float64 {
	cmd := exec.Command(*decode, "-test.run=^$", "-test.bench=^BenchmarkBareColourDecode$", "-test.benchtime=5x")
	cmd.Env = append(os.Environ(), "PORTMATCH_BENCH_JPEG="+file)
	out, err := cmd.CombinedOutput()
	m := perOp.FindSubmatch(out)
	if err != nil || m == nil {
		log.Fatalf("bare decode of %s: %v\n%s", file, err, out)
	}
	ns, err := strconv.ParseFloat(string(m[1]), 64)
	check(err)
	return ns / 1e9
}

// resized returns the name of a JPEG of about n megapixels made from file. It is made in a process of its own: the peak
// memory that the kernel reports for a child begins with that of the process that started it.
func resized(dir, file string, n int) string {
	self, err := os.Executable()
	check(err)
	cmd := exec.Command(self, "-resize", file, "-mp", strconv.Itoa(n), dir)
	cmd.Stderr = os.Stderr
	check(cmd.Run())
	return resizedName(dir, file, n)
}

func resizedName(dir, file string, n int) string {
	return filepath.Join(dir, fmt.Sprintf("%d-%s", n, filepath.Base(file)))
}

// makeResized keeps the EXIF data, so that the copy knows its lens; a sample that has the size already is copied as it is.
func makeResized(dir, file string, n int) {
	data, err := os.ReadFile(file)
	check(err)
	img, err := jpeg.Decode(bytes.NewReader(data))
	check(err)
	b := img.Bounds()
	scale := math.Sqrt(float64(n) * 1e6 / float64(b.Dx()*b.Dy()))
	if math.Abs(scale-1) >= 0.02 {
		out := image.NewRGBA(image.Rect(0, 0, int(scale*float64(b.Dx())+.5), int(scale*float64(b.Dy())+.5)))
		draw.CatmullRom.Scale(out, out.Bounds(), img, b, draw.Src, nil)
		var enc bytes.Buffer
		check(jpeg.Encode(&enc, out, &jpeg.Options{Quality: 92}))
		data = slices.Concat(enc.Bytes()[:2], exif(data), enc.Bytes()[2:])
	}
	check(os.WriteFile(resizedName(dir, file, n), data, 0o644))
}

// exif returns the JPEG's APP1 segment.
func exif(data []byte) []byte {
	for i := 2; i+4 < len(data) && data[i] == 0xff && data[i+1] != 0xda; {
		size := 2 + int(data[i+2])<<8 + int(data[i+3])
		if data[i+1] == 0xe1 {
			return data[i : i+size]
		}
		i += size
	}
	return nil
}

func processor() string {
	info, _ := os.ReadFile("/proc/cpuinfo")
	for line := range strings.Lines(string(info)) {
		if name, ok := strings.CutPrefix(line, "model name"); ok {
			return strings.TrimSpace(strings.TrimLeft(name, "\t :"))
		}
	}
	return runtime.GOARCH
}

func median(v []float64) float64 {
	s := slices.Sorted(slices.Values(v))
	return (s[(len(s)-1)/2] + s[len(s)/2]) / 2
}

func check(err error) {
	if err != nil {
		log.Fatal(err)
	}
}
