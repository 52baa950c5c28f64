package main

import (
	"runtime/debug"
	"sync"
	"syscall"
	"unsafe"
)

const (
	// hugeHeapBytes is how much of the heap's address space is marked; what no photo needs of it is never touched.
	hugeHeapBytes = 512 << 20
	hugePageBytes = 2 << 20
)

// useHugePages asks the system to hand out the heap's memory in pages of 2 MB where it can. A page of 4 KB costs about six
// microseconds when it is first touched, a match touches 45 000 of them, and many systems hand out large ones only when
// asked to. Go does not ask, so this takes the addresses that the heap grows into first, marks them and gives them back.
//
// It takes a few milliseconds, once; later calls wait for the first.
var useHugePages = sync.OnceFunc(func() {
	// Whoever limits the address space gets the usual pages instead of a crash.
	probe, err := syscall.Mmap(-1, 0, hugeHeapBytes, syscall.PROT_READ|syscall.PROT_WRITE, syscall.MAP_ANON|syscall.MAP_PRIVATE)
	if err != nil {
		return
	}
	_ = syscall.Munmap(probe)
	percent := debug.SetGCPercent(-1) // one collection, at the end
	heap := make([]byte, hugeHeapBytes)
	skip := -uintptr(unsafe.Pointer(&heap[0])) % hugePageBytes
	heap = heap[skip:]
	_ = syscall.Madvise(heap[:len(heap)/hugePageBytes*hugePageBytes], syscall.MADV_HUGEPAGE) // an advice: nothing to do where it isn't taken
	debug.SetGCPercent(percent)
	debug.FreeOSMemory()
})
