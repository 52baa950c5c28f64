package job

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"
)

// FuzzState: whatever job.json holds, it is refused in words, or what comes out keeps all the promises that the program
// relies on and survives being written and read again.
func FuzzState(f *testing.F) {
	good, err := os.ReadFile(filepath.Join(newJob(f, 2), stateName))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good)
	f.Add(good[:len(good)/2])
	f.Add([]byte(`{"schema":2}`))
	f.Add([]byte(`{"schema":1,"id":"x","target":{"faces":[{}]},"passes":[{"pass":1,"job":"x","files":{"../x":""}}]}`))
	f.Add([]byte(`{"schema":1e400}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := decodeState("job.json", data)
		if err != nil {
			return
		}
		last := 0
		for _, p := range s.Passes {
			if p.Number <= last || p.Number > maxPasses {
				t.Errorf("pass %d after %d", p.Number, last)
			}
			last = p.Number
			for name := range p.Files {
				if filepath.Dir(filepath.Join("pass", name)) != "pass" {
					t.Errorf("file %q leads out of its folder", name)
				}
			}
		}
		again, err := json.Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := decodeState("job.json", again); err != nil {
			t.Errorf("not read again: %v", err)
		}
	})
}
