package render

import (
	"math"
	"strconv"

	"portmatch/internal/compare"
	"portmatch/internal/prose"
)

// Units is the system that figures are shown in. Inside everything is mm; Units acts only where a figure leaves the tool.
type Units string

// The systems.
const (
	MM   Units = "mm"
	Inch Units = "in"
)

const mmPerInch = 25.4 // exact by definition of the inch

// Length returns the unit of lengths for prose: "mm" or "in".
func (u Units) Length() string { return string(u) }

// Name returns the unit's name where the short form would read as another word: "mm" or "inches".
func (u Units) Name() string {
	if u == Inch {
		return "inches"
	}
	return string(u)
}

// Area returns the unit of areas for prose: "mm²" or "in²".
func (u Units) Area() string { return string(u) + "²" }

// perUnit returns how many mm one unit is.
func (u Units) perUnit() float64 {
	if u == Inch {
		return mmPerInch
	}
	return 1
}

// fromMM turns a length in mm into this unit, fromMM2 an area in mm² into its square.
func (u Units) fromMM(mm float64) float64   { return mm / u.perUnit() }
func (u Units) fromMM2(mm2 float64) float64 { return mm2 / (u.perUnit() * u.perUnit()) }

// Decimals shown. A stated uncertainty is a few hundredths of a mm at best, so hundredths of a mm and thousandths of an
// inch are the last digits that mean anything; areas likewise.
func (u Units) lengthDecimals() int {
	if u == Inch {
		return 3
	}
	return 2
}

func (u Units) areaDecimals() int {
	if u == Inch {
		return 3
	}
	return 1
}

// LengthText shows a length given in mm, without its unit.
func (u Units) LengthText(mm float64) string { return decimal(u.fromMM(mm), u.lengthDecimals()) }

// AreaText shows an area given in mm², without its unit.
func (u Units) AreaText(mm2 float64) string { return decimal(u.fromMM2(mm2), u.areaDecimals()) }

// ruled shows a length that was drawn to a round figure in mm, and what that is in this unit.
func (u Units) ruled(mm float64) string {
	s := decimal(mm, 1) + " " + MM.Length()
	if u == Inch {
		s += " (" + u.LengthText(mm) + " " + u.Length() + ")"
	}
	return s
}

// LengthPM shows a measured length (mm) with its uncertainty, "1.83 ± 0.06".
func (u Units) LengthPM(q compare.Quantity) string {
	return u.LengthText(q.Value) + " ± " + u.lengthU(q)
}

// AreaPM shows a measured area (mm²) with its uncertainty, "168.9 ± 1.2".
func (u Units) AreaPM(q compare.Quantity) string {
	return u.AreaText(q.Value) + " ± " + u.areaU(q)
}

func (u Units) lengthU(q compare.Quantity) string {
	return upward(u.fromMM(q.Uncertainty), u.lengthDecimals())
}

func (u Units) areaU(q compare.Quantity) string {
	return upward(u.fromMM2(q.Uncertainty), u.areaDecimals())
}

// Prose shows a text in this unit.
func (u Units) Prose(t prose.Text) string {
	if u != Inch {
		return t.Words
	}
	return t.With(func(l prose.Length) string {
		// A tenth of a mm and a hundredth of an inch tell a mechanic about as much.
		decimals := l.Decimals + 1
		s := decimal(u.fromMM(l.MM), decimals)
		if l.UMM > 0 {
			s += " ± " + upward(u.fromMM(l.UMM), decimals)
		}
		return s + " " + u.Length()
	})
}

// Percent shows a share (0 to 1) in whole per cent. Only a full share reads 100 % and only an empty one 0 %, so that a
// small stretch out of tolerance can't vanish in the rounding.
func Percent(share float64) string {
	p := math.Round(share * 100)
	switch {
	case p >= 100 && share < 1:
		p = 99
	case p <= 0 && share > 0:
		p = 1
	}
	return strconv.Itoa(int(p)) + " %"
}

// decimal formats with a fixed number of decimals and never says "-0.00".
func decimal(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if zero, err := strconv.ParseFloat(s, 64); err == nil && zero == 0 {
		return strconv.FormatFloat(0, 'f', decimals, 64)
	}
	return s
}

// upward formats an uncertainty rounded up in its last digit: what is shown never claims more than what was found
// (JCGM 100, 7.2.6 allows rounding up).
func upward(v float64, decimals int) string {
	scale := math.Pow(10, float64(decimals))
	// A value that is a whole number of last digits but for floating-point error must not be bumped: 1e-6 of a digit is
	// far above that error and far below anything that matters.
	return decimal(math.Ceil(v*scale-1e-6)/scale, decimals)
}

// exact formats a value so that reading it back gives the same float64: for files that programs read.
func exact(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// micro formats a coordinate in mm to a tenth of a micrometre: finer than any outline is known.
func micro(mm float64) string {
	s := strconv.FormatFloat(mm, 'f', 4, 64)
	if s == "-0.0000" {
		return "0.0000"
	}
	return s
}
