package contour

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// parallelRows calls f for 0 to n-1 on all processors, in no particular order, some at a time.
func parallelRows(n int, f func(i int)) {
	parallelRowsWith(n, func(i int, _ *struct{}) { f(i) })
}

// parallelRowsWith is parallelRows for an f that needs scratch space: calls that share it follow one another.
func parallelRowsWith[T any](n int, f func(i int, scratch *T)) { parallel(n, 16, f) }

// parallelItems calls f for 0 to n-1 on all processors, one item at a time.
func parallelItems(n int, f func(i int)) {
	parallelItemsWith(n, func(i int, _ *struct{}) { f(i) })
}

// parallelItemsWith is parallelItems for an f that needs scratch space: calls that share it follow one another.
func parallelItemsWith[T any](n int, f func(i int, scratch *T)) { parallel(n, 1, f) }

func parallel[T any](n, chunk int, f func(i int, scratch *T)) {
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), (n+chunk-1)/chunk) {
		wg.Go(func() {
			scratch := new(T)
			for {
				lo := int(next.Add(int64(chunk))) - chunk
				if lo >= n {
					return
				}
				for i := lo; i < min(lo+chunk, n); i++ {
					f(i, scratch)
				}
			}
		})
	}
	wg.Wait()
}
