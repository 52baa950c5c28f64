package render

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	"portmatch/internal/compare"
)

// none stands where there is nothing to show: no figure is better than one that looks measured.
const none = "-"

// Table writes the result for a terminal of 80 columns: the steps a grinder works by, then the areas, the share of the
// joint within tolerance and the probability that all of it is (JCGM 106), then what there is to say about single ports.
// Lengths are in u, areas in its square; ± is the expanded uncertainty.
func Table(w io.Writer, r *compare.Result, u Units) error {
	var b strings.Builder
	fmt.Fprintf(&b, "Pass %d, tolerance %s %s. ± covers the truth 19 times in 20.\n\n", r.Pass, u.LengthText(r.ToleranceMM), u.Length())

	l, a := u.Length(), u.Area()
	areas := [][]string{
		{"port", "area to remove", "area past line", "in tolerance", "all of it", "least land"},
		{"", a, a, "of the joint", "chance", l}}
	var remarks []string
	for _, p := range r.Ports {
		port := strconv.Itoa(p.Port)
		if p.Why != "" {
			remarks = append(remarks, fmt.Sprintf("Port %d: %s", p.Port, u.Prose(p.WhyText())))
		}
		if p.Verdict == compare.NotMeasured {
			areas = append(areas, []string{port, none, none, none, none, none})
			continue
		}
		areas = append(areas, []string{port, u.AreaPM(p.RemoveArea), u.AreaPM(p.PastArea),
			Percent(p.WithinTolerance), Percent(p.Conformance), landText(p, u)})
		if n := len(p.UnsureArcs); n > 0 && p.Why == "" {
			remarks = append(remarks, fmt.Sprintf("Port %d: %s of its edge could not be seen well enough; no figure rests on %s.",
				p.Port, plural(n, "stretch", "stretches"), choose(n, "it", "them")))
		}
	}
	for i := range r.Ports {
		for _, m := range portRemarks(r, &r.Ports[i], u) {
			remarks = append(remarks, fmt.Sprintf("Port %d: %s", r.Ports[i].Port, m))
		}
	}
	remarks = append(remarks, faceRemarks(r, u)...)
	writeColumns(&b, stepRows(r, u, "step to remove", "step past line"))
	b.WriteByte('\n')
	writeColumns(&b, areas)
	if len(remarks) > 0 {
		b.WriteByte('\n')
		for _, m := range remarks {
			fmt.Fprintln(&b, m)
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// stepRows are a table of every port's verdict and largest steps, with its head.
func stepRows(r *compare.Result, u Units, remove, past string) [][]string {
	rows := [][]string{{"port", "verdict", remove, "at", past, "at"}, {"", "", u.Length(), "", u.Length(), ""}}
	for _, p := range r.Ports {
		port := strconv.Itoa(p.Port)
		if p.Verdict == compare.NotMeasured {
			rows = append(rows, []string{port, p.Verdict, none, "", none, ""})
			continue
		}
		rows = append(rows, []string{port, p.Verdict,
			u.LengthPM(p.RemoveStep.Quantity), stepClock(p.RemoveStep), u.LengthPM(p.PastStep.Quantity), stepClock(p.PastStep)})
	}
	return rows
}

// HeadTables writes what a third face adds: what to grind on the head, where both parts are ground, and how the head stands to the
// target. Either may be nil.
func HeadTables(w io.Writer, head, targetHead *compare.Result, u Units) error {
	var b strings.Builder
	if head != nil {
		fmt.Fprintf(&b, "\n%s. %s.\n\n", wordHeadShare, wordHeadClock)
		rows := [][]string{{"port", "step to remove", "at", "area to remove"}, {"", u.Length(), "", u.Area()}}
		for _, p := range head.Ports {
			row := []string{strconv.Itoa(p.Port), none, "", none}
			if p.Verdict != compare.NotMeasured {
				row = []string{row[0], u.LengthPM(p.RemoveStep.Quantity), stepClock(p.RemoveStep), u.AreaPM(p.RemoveArea)}
			}
			rows = append(rows, row)
		}
		writeColumns(&b, rows)
	}
	if targetHead != nil {
		fmt.Fprintf(&b, "\n%s. %s.\n\n", wordTargetHead, wordHeadClock)
		rows := stepRows(targetHead, u, "head smaller by", "head larger by")
		for i := range rows { // a verdict is about grinding
			rows[i] = append(rows[i][:1:1], rows[i][2:]...)
		}
		writeColumns(&b, rows)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// stepClock says where a step is, empty for a step of no height.
func stepClock(s compare.Step) string {
	if s.Value <= 0 {
		return ""
	}
	return s.Clock
}

func landText(p compare.PortResult, u Units) string {
	if p.LeastLand == nil {
		return none
	}
	return u.LengthPM(*p.LeastLand)
}

// writeColumns sets rows in columns, the first row being the head; words stand left, figures right.
func writeColumns(b *strings.Builder, rows [][]string) {
	width := make([]int, len(rows[0]))
	for _, row := range rows {
		for i, cell := range row {
			width[i] = max(width[i], utf8.RuneCountInString(cell))
		}
	}
	for _, row := range rows {
		var line strings.Builder
		for i, cell := range row {
			if i > 0 {
				line.WriteString("  ")
			}
			pad := strings.Repeat(" ", width[i]-utf8.RuneCountInString(cell))
			if rows[0][i] == "verdict" {
				line.WriteString(cell + pad)
			} else {
				line.WriteString(pad + cell)
			}
		}
		fmt.Fprintln(b, strings.TrimRight(line.String(), " "))
	}
}

func choose(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

func plural(n int, one, many string) string { return fmt.Sprintf("%d %s", n, choose(n, one, many)) }
