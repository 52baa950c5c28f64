package prose

import (
	"errors"
	"fmt"
	"testing"
)

// inches writes lengths as a page in inches would; 25.4 mm are an inch.
func inches(l Length) string {
	if l.UMM > 0 {
		return fmt.Sprintf("%.3f ± %.3f in", l.MM/25.4, l.UMM/25.4)
	}
	return fmt.Sprintf("%.*f in", l.Decimals+1, l.MM/25.4)
}

func TestSprintf(t *testing.T) {
	inner := Sprintf("a land of %v", MM(2.54, 1))
	for _, c := range []struct {
		text   Text
		mm, in string
	}{
		{Sprintf("port %d: smaller by %s at %s", 3, PM(0.508, 0.0254), "12:00"), "port 3: smaller by 0.51 ± 0.03 mm at 12:00", "port 3: smaller by 0.020 ± 0.001 in at 12:00"},
		{Sprintf("%v and %v", MM(25.4, 2), MM(-254, 0)), "25.40 mm and -254 mm", "1.000 in and -10.0 in"},
		{Sprintf("±%s: %v; twice: %v", MM(1, 0), inner, inner), "±1 mm: a land of 2.5 mm; twice: a land of 2.5 mm", "±0.0 in: a land of 0.10 in; twice: a land of 0.10 in"},
		{Sprintf("100 %%, no length"), "100 %, no length", "100 %, no length"},
		{Text{}, "", ""},
	} {
		if c.text.String() != c.mm {
			t.Errorf("%q, want %q", c.text, c.mm)
		}
		if got := c.text.With(inches); got != c.in {
			t.Errorf("%q, want %q", got, c.in)
		}
	}
}

func TestErrorf(t *testing.T) {
	cause := errors.New("cause")
	err := Errorf("photo: %w", Errorf("off by %v: %w", MM(25.4, 1), cause))
	if !errors.Is(err, cause) || err.Error() != "photo: off by 25.4 mm: cause" {
		t.Errorf("%v", err)
	}
	if got := err.(Texter).Text().With(inches); got != "photo: off by 1.00 in: cause" {
		t.Errorf("%q", got)
	}
}

// What a file says of the lengths in its texts may be anything.
func TestWithOfWrongPlaces(t *testing.T) {
	for _, l := range [][]Length{{{At: -1, Len: 2}}, {{At: 2, Len: 9}}, {{At: 0, Len: 3}, {At: 2, Len: 1}}, {{At: 1, Len: -1}}, {{At: 1 << 62, Len: 1 << 62}}} {
		if got := (Text{"5.0 mm", l}).With(inches); got != "5.0 mm" {
			t.Errorf("%v: %q", l, got)
		}
	}
}
