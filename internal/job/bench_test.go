package job

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"
)

// BenchmarkAddPass saves what a four-port pass of a 12-megapixel photo holds, disk syncs included.
func BenchmarkAddPass(b *testing.B) {
	dir := newJob(b, 1)
	in := testInput()
	in.Photo = make([]byte, 5<<20)
	for b.Loop() {
		s, err := OpenForWork(dir)
		if err != nil {
			b.Fatal(err)
		}
		p, err := s.AddPass(context.Background(), in, func(_ context.Context, dir string, _ int) error {
			for i := range 10 {
				if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("file-%d", i)), make([]byte, 300<<10), 0o666); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			b.Fatal(err)
		}
		s.Close()
		b.StopTimer()
		os.RemoveAll(filepath.Join(dir, passDir(p.Number)))
		b.StartTimer()
	}
}
