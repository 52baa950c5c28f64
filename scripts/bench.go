//go:build ignore

// Bench times whole runs of portmatch match beside OpenCV's bare colour decode of the same two JPEGs, in turns, and prints
// a row for BENCHMARKS.md. The decode is timed inside a running process, the decode calls alone; portmatch is timed from
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
	var stages strings.Builder
	for _, mp := range strings.Split(*sizes, ",") {
		pair(dir, mp, &stages)
	}
	fmt.Printf("\n| pair | stage | s | cpu s | s / decode | allocations | MB allocated |\n|---|---|---|---|---|---|---|\n%s", stages.String())
	help()
}

func pair(dir, mp string, stages io.Writer) {
	n, err := strconv.Atoi(mp)
	check(err)
	target, work := resized(dir, targetJPEG, n), resized(dir, workJPEG, n)
	var wall, cpu, bare, ratio, mem []float64
	var staged [][]timing
	timings := filepath.Join(dir, "timings.json")
	for i := range *runs {
		b := bareDecode(target) + bareDecode(work)
		job := filepath.Join(dir, fmt.Sprintf("job-%s-%d", mp, i))
		m := measure(*portmatch, "match", "--target", target, "--target-height", "1.2", "--work", work, "--job", job, "--timings", timings)
		wall, cpu, bare = append(wall, m.wall), append(cpu, m.cpu), append(bare, b)
		ratio, mem = append(ratio, m.wall/b), append(mem, m.maxMB)
		check(os.RemoveAll(job))
		data, err := os.ReadFile(timings)
		check(err)
		var ts []timing
		check(json.Unmarshal(data, &ts))
		staged = append(staged, ts)
	}
	fmt.Printf("| 2 x %s MP | %.2f | %.2f | %.3f | **%.1f** (%.1f to %.1f) | %.0f |\n", mp, median(wall), median(cpu), median(bare),
		median(ratio), slices.Min(ratio), slices.Max(ratio), slices.Max(mem))
	for k, t := range staged[0] {
		of := func(get func(timing) float64) float64 {
			var v []float64
			for _, ts := range staged {
				v = append(v, get(ts[k]))
			}
			return median(v)
		}
		seconds := of(func(t timing) float64 { return t.Seconds })
		fmt.Fprintf(stages, "| 2 x %s MP | %s | %.2f | %.2f | %.2f | %.0f | %.0f |\n", mp, t.Stage, seconds, of(func(t timing) float64 { return t.CPUSeconds }),
			seconds/median(bare), of(func(t timing) float64 { return t.Allocs }), of(func(t timing) float64 { return t.AllocMB }))
	}
}

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

type run struct{ wall, cpu, maxMB float64 }

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
	return run{wall, (cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()).Seconds(), float64(u.Maxrss) / 1024}
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
