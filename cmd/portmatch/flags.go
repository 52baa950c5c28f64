package main

import (
	"fmt"
	"strings"

	"github.com/urfave/cli/v2"
)

// length is a flag's value in mm, within limits.
type length struct {
	mm, min, max float64
	why          string // what the limits are about, for the message
	positive     bool   // min itself is refused
	set          bool
}

func (l *length) Set(text string) error {
	mm, err := parseLength(text)
	if err != nil {
		return err
	}
	if mm < l.min || mm > l.max || l.positive && mm == l.min {
		from := fmt.Sprintf("at least %g", l.min)
		if l.positive {
			from = fmt.Sprintf("more than %g", l.min)
		}
		return fmt.Errorf("%s is out of range: %s must be %s and at most %g mm", text, l.why, from, l.max)
	}
	l.mm, l.set = mm, true
	return nil
}

func (l *length) String() string {
	if l == nil || !l.set && l.mm == 0 {
		return ""
	}
	return fmt.Sprintf("%g", l.mm)
}

func lengthFlag(name, usage string, l *length) cli.Flag {
	return &cli.GenericFlag{Name: name, Usage: usage, Value: l}
}

// mm returns the value of a length flag.
func mm(c *cli.Context, name string) float64 { return c.Generic(name).(*length).mm }

// choice is a flag's value out of a few words.
type choice struct {
	value string
	from  []string
}

func (ch *choice) Set(text string) error {
	for _, w := range ch.from {
		if text == w {
			ch.value = w
			return nil
		}
	}
	list := ch.from[0]
	for i, w := range ch.from[1:] {
		if i == len(ch.from)-2 {
			list += " or " + w
		} else {
			list += ", " + w
		}
	}
	return fmt.Errorf("%q is none of its values: it takes %s", text, list)
}

func (ch *choice) String() string {
	if ch == nil {
		return ""
	}
	return ch.value
}

func choiceFlag(name, usage, preset string, from ...string) cli.Flag {
	return &cli.GenericFlag{Name: name, Usage: usage, Value: &choice{value: preset, from: from}}
}

func chosen(c *cli.Context, name string) string { return c.Generic(name).(*choice).value }

func heightFlag(name, what string) cli.Flag {
	// A face more than 100 mm off its strips is out of focus or the number is not in mm.
	return lengthFlag(name, what, &length{min: -100, max: 100, why: "a height"})
}

func dpiFlag(name, what string) cli.Flag {
	return &cli.GenericFlag{Name: name, Usage: what, Value: &dots{}}
}

// dots is a scan's resolution in dots per inch, 0 if not given.
type dots struct{ perInch float64 }

func (d *dots) Set(text string) error {
	v, err := parseDecimal(text)
	if err != nil {
		return fmt.Errorf("%q is not a resolution (%w); write it like 600", text, err)
	}
	// Coarser than 75 a pixel is wider than any useful tolerance; no flat-bed scanner is finer than 9600.
	if v < 75 || v > 9600 {
		return fmt.Errorf("%s is out of range: a scan has 75 to 9600 dots per inch", text)
	}
	d.perInch = v
	return nil
}

func (d *dots) String() string {
	if d == nil || d.perInch == 0 {
		return ""
	}
	return fmt.Sprintf("%g", d.perInch)
}

func dpi(c *cli.Context, name string) float64 { return c.Generic(name).(*dots).perInch }

func paperFlag(preset string) cli.Flag {
	return choiceFlag("paper", "paper size of the map: a4, letter or a3", preset, "a4", "letter", "a3")
}

func unitsFlag(preset string) cli.Flag {
	return choiceFlag("units", "show lengths in mm or in (inches); a bare number in a flag is mm either way", preset, "mm", "in")
}

func debugFlag() cli.Flag {
	return &cli.StringFlag{Name: "debug", Usage: "write a picture of every stage of the measuring into this folder, `DIR`"}
}

// angle is a flag's value in degrees, between 0 and 90, both refused; 0 if not given.
type angle struct{ deg float64 }

func (a *angle) Set(text string) error {
	v, err := parseDecimal(strings.TrimSuffix(strings.TrimSpace(text), "°"))
	if err != nil {
		return fmt.Errorf("%q is not an angle (%w); write degrees, like 15", text, err)
	}
	if !(v > 0 && v < 90) {
		return fmt.Errorf("%s is out of range: the angle must be more than 0 and less than 90 degrees", text)
	}
	a.deg = v
	return nil
}

func (a *angle) String() string {
	if a == nil || a.deg == 0 {
		return ""
	}
	return fmt.Sprintf("%g", a.deg)
}

func angleFlag(name, what string) cli.Flag {
	return &cli.GenericFlag{Name: name, Usage: what, Value: &angle{}}
}

func degrees(c *cli.Context, name string) float64 { return c.Generic(name).(*angle).deg }

// printedFlags are what calipers read on the card's check lines.
func printedFlags() []cli.Flag {
	l := func() *length { return &length{min: 100, max: 300, why: "a check line"} }
	return []cli.Flag{
		lengthFlag("printed-x", "what calipers read on a strip's check line, `MM` (150 on a true print)", l()),
		lengthFlag("printed-y", "what calipers read on the sheet's upright check line, `MM`", l()),
	}
}
