package main

import (
	"fmt"
	"image"
	"image/jpeg"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/image/draw"

	"portmatch/internal/synth/torture"
)

// The program's memory at its peak on a pair of 12 megapixels, and of 48 where there is time to make them.
func TestPeakMemory(t *testing.T) {
	gasket, manifold := scenes()["gasket"].file, scenes()["manifold-before"].file
	peak := peakOfMatch(t, gasket, manifold)
	t.Logf("12 megapixels: %d MB", peak>>20)
	if peak > 600<<20 {
		t.Errorf("a pair of 12 megapixels takes %d MB, want under 600", peak>>20)
	}
	if torture.Rounds(t, 0) == 0 {
		return
	}
	peak = peakOfMatch(t, doubled(t, gasket), doubled(t, manifold))
	t.Logf("48 megapixels: %d MB", peak>>20)
	if peak > 1800<<20 {
		t.Errorf("a pair of 48 megapixels takes %d MB, want under 1800", peak>>20)
	}
}

// peakOfMatch is the largest part of memory that a match took, in bytes. It is asked of the kernel while the program runs: what
// the kernel tells afterwards counts in what this test itself had taken when it started the program.
func peakOfMatch(t *testing.T, target, work string) int64 {
	t.Helper()
	cmd, talk := started(t, []string{"match", "--target", target, "--target-height", "1.2", "--work", work, "--job", filepath.Join(t.TempDir(), "job")})
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	var peak int64
	for tick := time.NewTicker(2 * time.Millisecond); ; {
		select {
		case err := <-ended:
			tick.Stop()
			if err != nil || peak == 0 {
				t.Fatalf("%v: %s (%d bytes)", err, talk, peak)
			}
			return peak
		case <-tick.C:
			peak = max(peak, residentPeak(cmd.Process.Pid))
		}
	}
}

// residentPeak is VmHWM of proc(5) in bytes; 0 where the process has ended.
func residentPeak(pid int) int64 {
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return 0
	}
	_, rest, _ := strings.Cut(string(status), "VmHWM:")
	kB, _, _ := strings.Cut(strings.TrimSpace(rest), " ")
	n, err := strconv.ParseInt(kB, 10, 64)
	if err != nil {
		return 0
	}
	return n << 10
}

// doubled writes the photo at twice its width and height.
func doubled(t *testing.T, path string) string {
	t.Helper()
	in, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	img, err := jpeg.Decode(in)
	if err != nil {
		t.Fatal(err)
	}
	big := image.NewRGBA(image.Rect(0, 0, 2*img.Bounds().Dx(), 2*img.Bounds().Dy()))
	draw.ApproxBiLinear.Scale(big, big.Rect, img, img.Bounds(), draw.Src, nil)
	out, err := os.Create(filepath.Join(t.TempDir(), filepath.Base(path)))
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	if err := jpeg.Encode(out, big, &jpeg.Options{Quality: 92}); err != nil {
		t.Fatal(err)
	}
	return out.Name()
}
