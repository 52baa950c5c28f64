// Command portmatch compares a gasket with a manifold face from two photos and says which metal stands in the way.
package main

import (
	"context"
	"io"
	"os"
	"os/signal"
	"runtime"
	"runtime/debug"
	"syscall"
)

// collectAtPercent is by how much the heap may grow between two collections, of what is in use. Half as much as usual costs no time
// here, for what collecting takes longer is saved on pages that the system would have to hand out, and a match takes a seventh
// less memory.
const collectAtPercent = 50

// heapFloorBytes are never touched and take no memory; the collector counts them and leaves a small heap in peace until it has grown by half
// of them. A recheck collects 11 times instead of 44 and takes a tenth less time.
const heapFloorBytes = 48 << 20

func main() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(collectAtPercent)
	}
	go useHugePages() // in good time: reading a photo waits for it
	heapFloor := make([]byte, heapFloorBytes)
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	// The first Ctrl-C ends the work in good order; after it the signals are their old selves, so that a second one ends
	// a run that hangs.
	context.AfterFunc(ctx, stop)
	status := run(ctx, os.Args, os.Stdout, os.Stderr)
	runtime.KeepAlive(heapFloor)
	os.Exit(status)
}

// run is the whole program: args as in os.Args, the result on stdout, talk on stderr, the exit status returned.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	err := newApp(stdout, stderr).RunContext(ctx, args)
	return report(stderr, err)
}
