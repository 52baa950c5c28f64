package job

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"time"
)

// Schema is the version of job.json that this program writes. It goes up with any change that an older program would lose
// by reading and rewriting the file. Older versions are read, newer ones refused.
const Schema = 1

// Settings are the choices that hold for every pass of a job, as given to match. Lengths are mm; zero and "" mean not given.
type Settings struct {
	ToleranceMM    float64 `json:"tolerance_mm"`
	TargetHeightMM float64 `json:"target_height_mm"` // surface above the strips
	WorkHeightMM   float64 `json:"work_height_mm"`
	TargetDPI      float64 `json:"target_dpi,omitempty"`
	WorkDPI        float64 `json:"work_dpi,omitempty"`
	Units          string  `json:"units"` // "mm" or "in", for reports
	Paper          string  `json:"paper"` // "a4", "letter" or "a3"
	PrintedXMM     float64 `json:"printed_x_mm,omitempty"`
	PrintedYMM     float64 `json:"printed_y_mm,omitempty"`
	Flipped        string  `json:"flipped,omitempty"` // "yes", "no"
	Turned         string  `json:"turned,omitempty"`  // "0", "180"
	Aim            string  `json:"aim,omitempty"`     // what the target was made from, where not the target face alone
	MinLandMM      float64 `json:"min_land_mm,omitempty"`
	HeadHeightMM   float64 `json:"head_height_mm,omitempty"`
	HeadDPI        float64 `json:"head_dpi,omitempty"`
	OffsetMM       float64 `json:"offset_mm,omitempty"` // the target grown (shrunk if negative) all round
	CircleMM       float64 `json:"circle_mm,omitempty"` // diameter of a round target
	Flow           string  `json:"flow,omitempty"`      // "into-work", "out-of-work"
	StudMM         float64 `json:"stud_mm,omitempty"`
	DowelMM        float64 `json:"dowel_mm,omitempty"`
	BlendDepthMM   float64 `json:"blend_depth_mm,omitempty"`
	BlendAngleDeg  float64 `json:"blend_angle_deg,omitempty"`
}

// Reading is what a caliper said of a dimension that a pass names.
type Reading struct {
	Pass      int       `json:"pass"`
	Dimension string    `json:"dimension"` // its name, "A"
	MM        float64   `json:"mm"`
	Time      time.Time `json:"time"`
}

// Photo says which picture something was measured on.
type Photo struct {
	Name   string `json:"name"`           // as the user named it
	File   string `json:"file,omitempty"` // its copy within the pass, "" if none is kept
	SHA256 string `json:"sha256"`         // of its content, hexadecimal
	Bytes  int64  `json:"bytes"`
}

// Target is the face that the work is ground to.
type Target struct {
	Photo *Photo `json:"photo,omitempty"` // nil if it came from an outline file
	// Faces holds one outline file, as trace writes it, for each face that the target was made from; the first is the
	// target proper.
	Faces []json.RawMessage `json:"faces"`
}

// Pass is one photographing of the work face. A pass is its folder, pass-N; it never changes once it is there.
type Pass struct {
	Number   int       `json:"pass"`
	Job      string    `json:"job"`  // the job's ID
	Time     time.Time `json:"time"` // as the computer's clock had it; passes are ordered by number
	Photo    Photo     `json:"photo"`
	Settings Settings  `json:"settings"` // as used for this pass
	// Files are the folder's other files with the SHA-256 of each.
	Files map[string]string `json:"files"`
}

// state is job.json.
type state struct {
	Schema   int       `json:"schema"`
	ID       string    `json:"id"` // tells this job's passes from another's
	Created  time.Time `json:"created"`
	Settings Settings  `json:"settings"`
	Target   Target    `json:"target"`
	Passes   []Pass    `json:"passes"`
	Readings []Reading `json:"readings,omitempty"`
}

// maxPasses bounds what job.json may claim; nobody grinds and photographs ten thousand times.
const maxPasses = 9999

// decodeState reads job.json and checks all that the program relies on.
func decodeState(path string, data []byte) (*state, error) {
	var version struct {
		Schema int `json:"schema"`
	}
	bad := func(what string) error {
		return &Error{Path: path, Kind: ErrDamaged, What: what, Try: "Restore it from a copy of the job folder"}
	}
	if err := json.Unmarshal(data, &version); err != nil {
		return nil, bad("isn't a readable job description (" + err.Error() + ")")
	}
	if version.Schema > Schema {
		return nil, &Error{Path: path, Kind: ErrNewer, What: fmt.Sprintf("was written by a newer portmatch (version %d of the file; up to %d can be read)",
			version.Schema, Schema), Try: "Use the newer portmatch"}
	}
	if version.Schema < 1 {
		return nil, bad("doesn't say which version of the file it is")
	}
	var s state
	if err := json.Unmarshal(data, &s); err != nil {
		return nil, bad("isn't a readable job description (" + err.Error() + ")")
	}
	if s.ID == "" {
		return nil, bad("has no job number")
	}
	if err := s.Settings.check(); err != nil {
		return nil, bad(err.Error())
	}
	if len(s.Target.Faces) == 0 {
		return nil, bad("holds no target")
	}
	for i, p := range s.Passes {
		if err := p.check(s.ID); err != nil {
			return nil, bad(fmt.Sprintf("pass %d in its list makes no sense: %v", i+1, err))
		}
		if i > 0 && p.Number <= s.Passes[i-1].Number {
			return nil, bad("its list of passes is out of order")
		}
	}
	for _, r := range s.Readings {
		if !(math.Abs(r.MM) <= 1e6) || r.Pass < 1 || r.Pass > maxPasses {
			return nil, bad(fmt.Sprintf("holds a caliper reading of %g mm for pass %d", r.MM, r.Pass))
		}
	}
	return &s, nil
}

func (p *Pass) check(jobID string) error {
	switch {
	case p.Number < 1 || p.Number > maxPasses:
		return fmt.Errorf("number %d", p.Number)
	case p.Job != jobID:
		return fmt.Errorf("it belongs to another job")
	case p.Photo.File != "" && !plainName(p.Photo.File):
		return fmt.Errorf("photo %q", p.Photo.File)
	}
	for name := range p.Files {
		if !plainName(name) {
			return fmt.Errorf("file %q", name)
		}
	}
	return p.Settings.check()
}

// plainName is true for a name that can't lead out of its folder or hide in it.
func plainName(name string) bool {
	return name != "" && name[0] != '.' && name == filepath.Base(name) && len(name) <= 255 && !bytes.ContainsRune([]byte(name), 0)
}

func (s *Settings) check() error {
	for _, v := range []float64{s.ToleranceMM, s.TargetHeightMM, s.WorkHeightMM, s.TargetDPI, s.WorkDPI, s.PrintedXMM, s.PrintedYMM, s.MinLandMM,
		s.HeadHeightMM, s.HeadDPI, s.OffsetMM, s.CircleMM, s.StudMM, s.DowelMM, s.BlendDepthMM, s.BlendAngleDeg} {
		// JSON has no NaN or infinity, but what the flags gave passes through here too.
		if math.IsNaN(v) || math.Abs(v) > 1e6 {
			return fmt.Errorf("a setting is %g", v)
		}
	}
	if s.ToleranceMM < 0 || s.TargetDPI < 0 || s.WorkDPI < 0 || s.PrintedXMM < 0 || s.PrintedYMM < 0 ||
		s.HeadDPI < 0 || s.CircleMM < 0 || s.StudMM < 0 || s.DowelMM < 0 || s.BlendDepthMM < 0 || s.BlendAngleDeg < 0 {
		return fmt.Errorf("a setting is negative")
	}
	if !slices.Contains([]string{"", "mm", "in"}, s.Units) {
		return fmt.Errorf("units %q", s.Units)
	}
	if !slices.Contains([]string{"", "a4", "letter", "a3"}, s.Paper) {
		return fmt.Errorf("paper %q", s.Paper)
	}
	if !slices.Contains([]string{"", "yes", "no"}, s.Flipped) || !slices.Contains([]string{"", "0", "180"}, s.Turned) {
		return fmt.Errorf("flipped %q, turned %q", s.Flipped, s.Turned)
	}
	return nil
}
