package job

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"golang.org/x/sync/errgroup"
)

// Session is a job folder held for adding passes: one at a time on one folder. Close it.
type Session struct {
	Job   *Job
	lock  *lock
	fresh bool // no job.json yet
	made  bool // the folder itself is this session's
	now   func() time.Time
}

// Create begins a job in dir, which must not exist or be empty. The folder is made and held at once, so that a second run is
// told so, but it becomes a job only with its first pass; without one, Close takes it away again. Set Job.Settings and
// Job.Target before adding the first pass.
func Create(dir string) (*Session, error) { return create(dir, time.Now) }

func create(dir string, now func() time.Time) (*Session, error) {
	made := true
	if err := os.Mkdir(dir, 0o777); err != nil {
		if !errors.Is(err, fs.ErrExist) {
			return nil, cannotWrite(dir, err)
		}
		if err := mayBegin(dir); err != nil {
			return nil, err
		}
		made = false
	}
	l, err := takeLock(dir, true, now())
	if err != nil {
		if made {
			os.Remove(dir)
		}
		return nil, err
	}
	s := &Session{Job: &Job{Dir: dir, Created: now(), id: rand.Text()}, lock: l, fresh: true, made: made, now: now}
	// Another run may have begun, or even finished, a job between the look and the lock.
	if err := mayBegin(dir); err != nil {
		s.made = false
		l.release()
		return nil, err
	}
	if err := s.clean(); err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

// mayBegin allows an empty folder, or one in which a run stopped before it had become a job.
func mayBegin(dir string) error {
	st, err := os.Stat(dir)
	if err != nil {
		return cannotRead(dir, err)
	}
	if !st.IsDir() {
		return &Error{Path: dir, Kind: ErrExists, What: "is a file", Try: "Choose another name for the job folder"}
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return cannotRead(dir, err)
	}
	abandoned := wasCreating(dir)
	for _, e := range entries {
		if e.Name() == stateName {
			return &Error{Path: dir, Kind: ErrExists, What: "holds a job already", Try: "Add a pass to it with recheck, or choose another name for a new job"}
		}
		ours := e.Name() == lockName || isTemp(e.Name()) || abandoned && e.Name() == passDir(1)
		if !ours {
			return &Error{Path: dir, Kind: ErrExists, What: fmt.Sprintf("exists already and holds other files (%s)", e.Name()), Try: "Choose another name for the job folder"}
		}
	}
	return nil
}

func wasCreating(dir string) bool {
	f, err := os.Open(filepath.Join(dir, lockName))
	if err != nil {
		return false
	}
	defer f.Close()
	o := readOwner(f)
	return o != nil && o.Creating
}

// OpenForWork opens a job folder for adding passes. What an unfinished run left behind is cleaned away and noted.
func OpenForWork(dir string) (*Session, error) { return openForWork(dir, time.Now) }

func openForWork(dir string, now func() time.Time) (*Session, error) {
	if _, _, err := read(dir); err != nil { // before a lock is put into a folder that may be anything
		return nil, err
	}
	l, err := takeLock(dir, false, now())
	if err != nil {
		return nil, err
	}
	j, unlisted, err := read(dir) // once more, now that it holds still
	if err != nil {
		l.release()
		return nil, err
	}
	j.noteUnlisted(unlisted)
	s := &Session{Job: j, lock: l, now: now}
	if err := s.clean(); err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

// clean deletes what unfinished runs left. In a folder that is no job yet that includes a pass saved just before the end.
func (s *Session) clean() error {
	dir := s.Job.Dir
	names, passLost, err := leftovers(dir)
	if err != nil {
		return cannotRead(dir, err)
	}
	if s.fresh && s.lock.left != nil && s.lock.left.Creating {
		if _, err := os.Lstat(filepath.Join(dir, passDir(1))); err == nil {
			names = append(names, passDir(1))
		}
		s.made = true // by the run that stopped
	}
	for _, name := range names {
		if err := os.RemoveAll(filepath.Join(dir, name)); err != nil {
			return cannotWrite(dir, err)
		}
	}
	if len(names) > 0 || s.lock.left != nil {
		s.Job.Notes = append(s.Job.Notes, stopNote(passLost || s.fresh))
	}
	return nil
}

// Close lets go of the folder. A folder that never became a job is taken away again.
func (s *Session) Close() {
	if s.lock == nil {
		return
	}
	if s.fresh {
		if names, _, err := leftovers(s.Job.Dir); err == nil {
			for _, name := range names {
				os.RemoveAll(filepath.Join(s.Job.Dir, name))
			}
		}
	}
	s.lock.release()
	s.lock = nil
	if s.fresh && s.made {
		os.Remove(s.Job.Dir) // fails if anyone has put something into it meanwhile, and then it is theirs
	}
}

// NextPass is the number that the next pass will get.
func (s *Session) NextPass() (int, error) {
	n := 0
	if last, ok := s.Job.Last(); ok {
		n = last.Number
	}
	entries, err := os.ReadDir(s.Job.Dir)
	if err != nil {
		return 0, cannotRead(s.Job.Dir, err)
	}
	for _, e := range entries { // a stranger's folder keeps its name
		if m, ok := passNumber(e.Name()); ok {
			n = max(n, m)
		}
	}
	if n >= maxPasses {
		return 0, &Error{Path: s.Job.Dir, Kind: ErrDamaged, What: fmt.Sprintf("has %d passes", n), Try: "Begin a new job"}
	}
	return n + 1, nil
}

// PassInput is what AddPass needs to know of a pass beyond the files that are written.
type PassInput struct {
	PhotoName string   // as the user named it
	PhotoFile string   // what its copy is to be called: "photo.jpg"
	Photo     []byte   // its content, as measured
	Settings  Settings // as used for this pass
}

// AddPass saves a new pass. write puts the pass's files, all but the photo, into the folder it is given, under plain names and
// without folders of its own; it may write several at once. Only when all is on the disk does the pass appear, whole. After
// an error, or if ctx ended, nothing of it is left and the job is as it was.
//
// Errors are write's own, ctx's own, or *Error.
func (s *Session) AddPass(ctx context.Context, in PassInput, write func(ctx context.Context, dir string, number int) error) (Pass, error) {
	if err := s.checkInput(in); err != nil {
		return Pass{}, err
	}
	if err := s.lock.settled(); err != nil {
		return Pass{}, cannotWrite(s.Job.Dir, err)
	}
	n, err := s.NextPass()
	if err != nil {
		return Pass{}, err
	}
	temp, err := newTemp(s.Job.Dir, func(name string) error { return os.Mkdir(name, 0o777) })
	if err != nil {
		return Pass{}, cannotWrite(s.Job.Dir, err)
	}
	p := Pass{Number: n, Job: s.Job.id, Time: s.now().UTC().Truncate(time.Second), Settings: in.Settings,
		Photo: Photo{Name: in.PhotoName, File: in.PhotoFile, Bytes: int64(len(in.Photo))}}
	if err := s.fillPass(ctx, temp, &p, in.Photo, write); err != nil {
		os.RemoveAll(temp)
		return Pass{}, err
	}
	if err := s.commit(ctx, temp, p); err != nil {
		os.RemoveAll(temp)
		return Pass{}, err
	}
	return p, nil
}

func (s *Session) checkInput(in PassInput) error {
	bad := func(what string) error {
		return &Error{Path: s.Job.Dir, Kind: ErrUnwritable, What: "a pass can't be saved: " + what, Try: "This is a fault of the program; please report it"}
	}
	if !plainName(in.PhotoFile) || in.PhotoFile == passName {
		return bad(fmt.Sprintf("photo file %q", in.PhotoFile))
	}
	if err := errors.Join(in.Settings.check(), s.Job.Settings.check()); err != nil {
		return bad(err.Error())
	}
	if len(s.Job.Target.Faces) == 0 {
		return bad("no target")
	}
	return nil
}

// fillPass lets write do its work while the photo is copied, then puts everything on the disk.
func (s *Session) fillPass(ctx context.Context, temp string, p *Pass, photo []byte, write func(ctx context.Context, dir string, number int) error) error {
	g, gctx := errgroup.WithContext(ctx)
	g.Go(func() error {
		sum := sha256.Sum256(photo)
		p.Photo.SHA256 = hex.EncodeToString(sum[:])
		path := filepath.Join(temp, p.Photo.File)
		if err := os.WriteFile(path, photo, 0o666); err != nil {
			return cannotWrite(filepath.Join(s.Job.Dir, passDir(p.Number), p.Photo.File), err)
		}
		return syncFile(path)
	})
	g.Go(func() error { return inWords(s.Job.Dir, write(gctx, temp, p.Number)) })
	if err := g.Wait(); err != nil {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		return err
	}
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	sums, err := syncAll(temp, p.Photo.File)
	if err != nil {
		return inWords(s.Job.Dir, err)
	}
	p.Files = sums
	return putJSON(filepath.Join(temp, passName), p)
}

// inWords makes a system's error from a caller's writer readable, and leaves all others alone.
func inWords(dir string, err error) error {
	if pe := (*fs.PathError)(nil); errors.As(err, &pe) {
		return cannotWrite(dir, err)
	}
	return err
}

// syncAll puts the pass's files on the disk, several at once since each waits for the disk, and returns their checksums.
func syncAll(dir, photo string) (map[string]string, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	var g errgroup.Group
	g.SetLimit(4)
	list := make([]string, len(entries))
	for i, e := range entries {
		if !e.Type().IsRegular() || !plainName(e.Name()) || e.Name() == passName {
			return nil, fmt.Errorf("a pass can't hold %q", e.Name())
		}
		if e.Name() == photo {
			continue
		}
		g.Go(func() error {
			sum, err := syncAndSum(filepath.Join(dir, e.Name()))
			list[i] = sum
			return err
		})
	}
	if err := g.Wait(); err != nil {
		return nil, err
	}
	sums := map[string]string{}
	for i, e := range entries {
		if e.Name() != photo {
			sums[e.Name()] = list[i]
		}
	}
	return sums, nil
}

func syncAndSum(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), f.Sync()
}

func syncFile(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return cannotWrite(path, err)
	}
	defer f.Close()
	if err := f.Sync(); err != nil {
		return cannotWrite(path, err)
	}
	return nil
}

func putJSON(path string, v any) error {
	staged, err := stageFile(path, jsonWriter(v))
	if err != nil {
		return err
	}
	if err := os.Rename(staged, path); err != nil {
		os.Remove(staged)
		return cannotWrite(path, err)
	}
	return nil
}

func jsonWriter(v any) func(io.Writer) error {
	return func(w io.Writer) error { return json.NewEncoder(w).Encode(v) }
}

// commit makes the pass appear. The new job.json is on the disk before the pass gets its name, so that nothing is left to
// fail for want of room; between the two renames the job is whole already, since a pass is known by its own folder.
func (s *Session) commit(ctx context.Context, temp string, p Pass) error {
	dir := s.Job.Dir
	passes := append(slices.Clone(s.Job.Passes), p)
	path := filepath.Join(dir, stateName)
	staged, err := stageFile(path, jsonWriter(s.state(passes, s.Job.Readings)))
	if err != nil {
		return err
	}
	if ctx.Err() != nil {
		os.Remove(staged)
		return context.Cause(ctx)
	}
	final := filepath.Join(dir, passDir(p.Number))
	err = syncDir(temp)
	if err == nil {
		err = renameNew(temp, final)
	}
	if err != nil {
		os.Remove(staged)
		return cannotWrite(dir, err)
	}
	if err := os.Rename(staged, path); err != nil {
		os.Remove(staged)
		// Back to as it was; if even that fails the pass is there, whole, and counts.
		if e := os.Rename(final, temp); e == nil {
			return cannotWrite(dir, err)
		}
	}
	s.Job.Passes = passes
	if s.fresh {
		s.fresh = false
		syncDir(filepath.Dir(dir)) // the folder's own name; a parent that may not be opened still keeps it
	}
	return syncDir(dir)
}

func (s *Session) state(passes []Pass, readings []Reading) state {
	return state{Schema: Schema, ID: s.Job.id, Created: s.Job.Created, Settings: s.Job.Settings, Target: s.Job.Target,
		Passes: passes, Readings: readings}
}

// AddReading notes what a caliper said; an earlier reading of the same dimension of the same pass gives way to it.
func (s *Session) AddReading(r Reading) error {
	readings := slices.DeleteFunc(slices.Clone(s.Job.Readings), func(old Reading) bool {
		return old.Pass == r.Pass && old.Dimension == r.Dimension
	})
	readings = append(readings, r)
	if err := putJSON(filepath.Join(s.Job.Dir, stateName), s.state(s.Job.Passes, readings)); err != nil {
		return err
	}
	s.Job.Readings = readings
	return syncDir(s.Job.Dir)
}

// WriteReport replaces report.html, whole or not at all.
func (s *Session) WriteReport(write func(io.Writer) error) error {
	return WriteFile(filepath.Join(s.Job.Dir, reportName), write)
}
