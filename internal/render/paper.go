package render

import (
	"fmt"

	"portmatch/internal/scalecard/strip"
)

// Paper is a sheet in portrait position, mm.
type Paper = strip.Paper

// A3 is 297 x 420 mm (ISO 216).
func A3() Paper { return Paper{Name: "a3", WidthMM: 297, HeightMM: 420} }

// PaperError says that a name is no sheet known here.
type PaperError struct{ Name string }

func (e *PaperError) Error() string {
	return fmt.Sprintf("paper %q is not known: say a4, letter or a3", e.Name)
}

// ParsePaper finds a sheet by name (a4, letter, a3); anything else is a *PaperError.
func ParsePaper(name string) (Paper, error) {
	for _, p := range []Paper{strip.A4(), strip.Letter(), A3()} {
		if p.Name == name {
			return p, nil
		}
	}
	return Paper{}, &PaperError{name}
}
