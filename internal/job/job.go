// Package job keeps a job folder: settings, target and passes, each saved whole or not at all.
//
// A pass is written into a hidden folder beside the others, synced, and renamed to pass-N: that rename is the moment from
// which it exists. job.json follows; should the run end between the two, the pass is found by its own pass.json. A pass
// folder never changes afterwards. Only a run that adds a pass takes the lock; looking needs nothing but read permission.
package job

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

const (
	stateName  = "job.json"
	passName   = "pass.json"
	reportName = "report.html"

	// maxStateBytes: 40 ports of 50 000 points take some 100 MB of outlines.
	maxStateBytes = 256 << 20
)

// Job is a job folder as it stood when it was opened.
type Job struct {
	Dir      string
	Created  time.Time
	Settings Settings
	Target   Target
	Passes   []Pass    // by number, lowest first
	Readings []Reading // what calipers said, oldest first
	Notes    []string  // what was found in the folder that the user should know
	id       string
}

// Open reads a job folder for looking. It writes nothing and needs no write permission.
func Open(dir string) (*Job, error) {
	j, unlisted, err := read(dir)
	if err != nil {
		return nil, err
	}
	temps, lost, err := leftovers(dir)
	if err != nil || busy(dir) {
		return j, nil // what looks left over is being worked on, or has just been finished
	}
	j.noteUnlisted(unlisted)
	if len(temps) > 0 {
		j.Notes = append(j.Notes, stopNote(lost))
	}
	return j, nil
}

const (
	stoppedNote = "the last run on this job stopped before it had finished; nothing of it was kept"
	cutOffNote  = "the last run on this job was cut off at its end; every pass is whole"
)

func stopNote(passLost bool) string {
	if passLost {
		return stoppedNote
	}
	return cutOffNote
}

func (j *Job) noteUnlisted(passes []int) {
	for _, n := range passes {
		j.Notes = append(j.Notes, fmt.Sprintf("the run that saved pass %d stopped just after; the pass is whole and counts", n))
	}
}

// Last returns the newest pass; ok is false if there is none.
func (j *Job) Last() (Pass, bool) {
	if len(j.Passes) == 0 {
		return Pass{}, false
	}
	return j.Passes[len(j.Passes)-1], true
}

// Pass returns pass n.
func (j *Job) Pass(n int) (Pass, error) {
	for _, p := range j.Passes {
		if p.Number == n {
			return p, nil
		}
	}
	var have []string
	for _, p := range j.Passes {
		have = append(have, strconv.Itoa(p.Number))
	}
	return Pass{}, &Error{Path: j.Dir, Kind: ErrNotFound, What: fmt.Sprintf("has no pass %d", n), Try: "It has " + orNone(have)}
}

func orNone(passes []string) string {
	if len(passes) == 0 {
		return "no pass yet"
	}
	return "pass " + strings.Join(passes, ", ")
}

// PassFile is the path of a file of pass n.
func (j *Job) PassFile(n int, name string) string {
	return filepath.Join(j.Dir, passDir(n), name)
}

// ReadPassFile reads a file of pass n.
func (j *Job) ReadPassFile(n int, name string) ([]byte, error) {
	return readAll(j.PassFile(n, name), maxStateBytes)
}

// PassOfPhoto finds the pass that was measured on the photo with this SHA-256.
func (j *Job) PassOfPhoto(sum [sha256.Size]byte) (number int, ok bool) {
	for _, p := range j.Passes {
		if p.Photo.SHA256 == hex.EncodeToString(sum[:]) {
			return p.Number, true
		}
	}
	return 0, false
}

// Verify compares every file of every pass with the checksum it was saved with and says which have changed or gone.
func (j *Job) Verify(ctx context.Context) (changed []string, err error) {
	for _, p := range j.Passes {
		sums := maps.Clone(p.Files)
		if sums == nil {
			sums = map[string]string{}
		}
		if p.Photo.File != "" {
			sums[p.Photo.File] = p.Photo.SHA256
		}
		for _, name := range slices.Sorted(maps.Keys(sums)) {
			if ctx.Err() != nil {
				return nil, context.Cause(ctx)
			}
			data, err := j.ReadPassFile(p.Number, name)
			switch sum := sha256.Sum256(data); {
			case err != nil:
				changed = append(changed, fmt.Sprintf("%s of pass %d can't be read or is gone", name, p.Number))
			case hex.EncodeToString(sum[:]) != sums[name]:
				changed = append(changed, fmt.Sprintf("%s of pass %d isn't as it was saved", name, p.Number))
			}
		}
	}
	return changed, nil
}

func passDir(n int) string { return "pass-" + strconv.Itoa(n) }

// read puts a job together from job.json and the pass folders, and says which of these aren't in its list.
func read(dir string) (j *Job, unlisted []int, err error) {
	st, err := os.Stat(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, nil, &Error{Path: dir, Kind: ErrNotFound, What: "there is no such job folder", Try: "Check the name, or begin a job with match", Err: err}
	case err != nil:
		return nil, nil, cannotRead(dir, err)
	case !st.IsDir():
		return nil, nil, &Error{Path: dir, Kind: ErrNotJob, What: "is a file, not a job folder", Try: "Name the folder that match made"}
	}
	s, err := readState(dir)
	if err != nil {
		return nil, nil, err
	}
	found, strangers, err := findPasses(dir, s.ID)
	if err != nil {
		return nil, nil, err
	}
	listed := func(n int) bool { return slices.ContainsFunc(s.Passes, func(p Pass) bool { return p.Number == n }) }
	j = &Job{Dir: dir, Created: s.Created, Settings: s.Settings, Target: s.Target, Readings: s.Readings, id: s.ID}
	for _, p := range s.Passes {
		if _, ok := found[p.Number]; !ok {
			j.Notes = append(j.Notes, fmt.Sprintf("pass %d is no longer in the folder: %s is missing or damaged", p.Number, passDir(p.Number)))
		}
	}
	for _, n := range slices.Sorted(maps.Keys(found)) {
		j.Passes = append(j.Passes, found[n])
		if !listed(n) {
			unlisted = append(unlisted, n)
		}
	}
	for _, name := range strangers {
		j.Notes = append(j.Notes, name+" is not a pass of this job; it is left alone")
	}
	if len(unlisted) > 0 {
		// Another run may have saved the pass just now: then the list, which follows, has it by now, or will have.
		if now, err := readState(dir); err == nil {
			s = now
			unlisted = slices.DeleteFunc(unlisted, listed)
		}
	}
	return j, unlisted, nil
}

func readState(dir string) (*state, error) {
	path := filepath.Join(dir, stateName)
	data, err := readAll(path, maxStateBytes)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, &Error{Path: dir, Kind: ErrNotJob, What: "is no job folder: it holds no " + stateName, Try: "Name the folder that match made", Err: err}
	}
	if err != nil {
		return nil, err
	}
	return decodeState(path, data)
}

// findPasses reads the pass folders' own descriptions. Folders named like a pass that aren't one of this job's are strangers.
func findPasses(dir, id string) (found map[int]Pass, strangers []string, err error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, nil, cannotRead(dir, err)
	}
	found = map[int]Pass{}
	for _, e := range entries {
		n, ok := passNumber(e.Name())
		if !ok {
			continue
		}
		var p Pass
		data, err := readAll(filepath.Join(dir, e.Name(), passName), maxStateBytes)
		if err == nil {
			err = json.Unmarshal(data, &p)
		}
		if err != nil || p.Number != n || p.check(id) != nil {
			strangers = append(strangers, e.Name())
			continue
		}
		found[n] = p
	}
	return found, strangers, nil
}

func passNumber(name string) (int, bool) {
	digits, ok := strings.CutPrefix(name, "pass-")
	if !ok {
		return 0, false
	}
	n, err := strconv.Atoi(digits)
	if err != nil || n < 1 || n > maxPasses || passDir(n) != name {
		return 0, false
	}
	return n, true
}

// leftovers lists what unfinished runs have left in dir; passLost is true if there is a pass among it.
func leftovers(dir string) (names []string, passLost bool, err error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, false, err
	}
	for _, e := range entries {
		if isTemp(e.Name()) {
			names = append(names, e.Name())
			passLost = passLost || e.IsDir()
		}
	}
	return names, passLost, nil
}

func isTemp(name string) bool { return strings.HasPrefix(name, tempPrefix) }

// readAll reads a regular file of at most limit bytes.
func readAll(path string, limit int64) ([]byte, error) {
	f, err := os.OpenFile(path, os.O_RDONLY|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, cannotRead(path, err)
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return nil, cannotRead(path, err)
	}
	if !st.Mode().IsRegular() || st.Size() > limit {
		return nil, &Error{Path: path, Kind: ErrDamaged, What: fmt.Sprintf("isn't a file of up to %d MB", limit>>20), Try: "Restore it from a copy of the job folder"}
	}
	data, err := io.ReadAll(io.LimitReader(f, limit))
	if err != nil {
		return nil, cannotRead(path, err)
	}
	return data, nil
}
