// Package prose writes sentences with lengths in them that can be shown in another unit later. Everything inside the tool is mm;
// what a user reads is in the unit of the job, so a sentence keeps its lengths as numbers until it is shown.
package prose

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Length is one length in a text.
type Length struct {
	At       int     `json:"at"`  // where it stands in the text in mm, in bytes of UTF-8
	Len      int     `json:"len"` // how many bytes it takes there, with its unit
	MM       float64 `json:"mm"`
	UMM      float64 `json:"u_mm,omitempty"` // expanded uncertainty (k = 2); 0: none is stated
	Decimals int     `json:"decimals"`       // that are shown in mm
}

// Text is words in mm, and the lengths in them, in the order in which they stand.
type Text struct {
	Words   string
	Lengths []Length
}

// MM is a length for Sprintf, to be shown with so many decimals and the unit: "0.25 mm".
func MM(mm float64, decimals int) Length { return Length{MM: mm, Decimals: decimals} }

// PM is a measured length for Sprintf with its expanded uncertainty: "0.52 ± 0.04 mm".
func PM(mm, uMM float64) Length { return Length{MM: mm, UMM: uMM, Decimals: 2} }

// inMM is the length as it stands in a text. An uncertainty is rounded up in its last digit.
func (l Length) inMM() string {
	s := strconv.FormatFloat(l.MM, 'f', l.Decimals, 64)
	if l.UMM > 0 {
		scale := math.Pow(10, float64(l.Decimals))
		s += " ± " + strconv.FormatFloat(math.Ceil(l.UMM*scale-1e-6)/scale, 'f', l.Decimals, 64)
	}
	return s + " mm"
}

// Texter is what holds a text: Text itself and the errors of this tool that speak of lengths.
type Texter interface{ Text() Text }

// Text returns t.
func (t Text) Text() Text { return t }

func (t Text) String() string { return t.Words }

// Sprintf is fmt.Sprintf for texts: arguments that are a Length or a Texter are written with %s or %v (or %w of Errorf) and keep
// their lengths.
func Sprintf(format string, args ...any) Text {
	// Each such argument stands for itself as a mark that no other text holds, until the rest is written.
	const mark = "\x00"
	var marked []Text
	plain := make([]any, len(args))
	for i, a := range args {
		t, ok := textOf(a)
		if !ok {
			plain[i] = a
			continue
		}
		plain[i] = mark
		marked = append(marked, t)
	}
	var out Text
	pieces := strings.Split(fmt.Sprintf(format, plain...), mark)
	for i, words := range pieces {
		out.append(Text{Words: words})
		if i < len(marked) && i+1 < len(pieces) {
			out.append(marked[i])
		}
	}
	return out
}

func textOf(arg any) (Text, bool) {
	switch a := arg.(type) {
	case Length:
		words := a.inMM()
		a.At, a.Len = 0, len(words)
		return Text{words, []Length{a}}, true
	case Texter:
		return a.Text(), true
	}
	return Text{}, false
}

func (t *Text) append(more Text) {
	for _, l := range more.Lengths {
		l.At += len(t.Words)
		t.Lengths = append(t.Lengths, l)
	}
	t.Words += more.Words
}

// With returns the words with every length as show has it. Lengths that don't lie in the text one behind the other, as a file
// that was changed by hand may have them, leave it as it is.
func (t Text) With(show func(Length) string) string {
	var b strings.Builder
	done := 0
	for _, l := range t.Lengths {
		if l.At < done || l.Len < 0 || l.Len > len(t.Words)-l.At {
			return t.Words
		}
		b.WriteString(t.Words[done:l.At])
		b.WriteString(show(l))
		done = l.At + l.Len
	}
	b.WriteString(t.Words[done:])
	return b.String()
}

// Errorf is fmt.Errorf for errors whose lengths are shown in the user's unit: the error is a Texter, and unwraps to what %w names.
func Errorf(format string, args ...any) error {
	e := &wrapped{text: Sprintf(strings.ReplaceAll(format, "%w", "%v"), args...)}
	for _, a := range args {
		if err, ok := a.(error); ok {
			e.err = err
		}
	}
	return e
}

type wrapped struct {
	text Text
	err  error
}

func (e *wrapped) Error() string { return e.text.Words }
func (e *wrapped) Text() Text    { return e.text }
func (e *wrapped) Unwrap() error { return e.err }
