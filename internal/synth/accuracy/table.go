package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strings"
)

// summary is one line of the table: a class, or all of them.
type summary struct {
	class                    string
	scenes, refused, broken  int
	right, honest            int
	silent                   int
	ports, missed, invented  int
	notMeasured, marked      int
	tooClose, falseVerdicts  int
	step                     []float64 // |errors| of both steps, ports that carry figures and no mark
	stepMarked               []float64
	areaPct                  []float64 // |errors| of target and work area, %
	covered, stated          int
	u                        []float64
	areasCovered, areaStated int
	took                     []float64
}

func summarize(class string, rows []sceneRow) summary {
	s := summary{class: class}
	for _, r := range rows {
		s.scenes++
		s.took = append(s.took, r.tookS)
		switch r.outcome {
		case right:
			s.right++
		case honest:
			s.honest++
		case refused:
			s.refused++
		case broken:
			s.broken++
		case silent:
			s.silent++
		}
		for _, p := range r.ports {
			switch {
			case p.missed:
				s.missed++
				continue
			case p.invented:
				s.invented++
				continue
			}
			s.ports++
			if p.falseVerdict {
				s.falseVerdicts++
			}
			if p.verdict == "too close to call" {
				s.tooClose++
			}
			if p.marked {
				s.marked++
			}
			if !p.measured {
				s.notMeasured++
				continue
			}
			for _, e := range [][2]float64{{p.removeErr, p.removeU}, {p.pastErr, p.pastU}} {
				a := math.Abs(e[0])
				if p.marked {
					s.stepMarked = append(s.stepMarked, a)
				} else {
					s.step = append(s.step, a)
				}
				// A step that is not there, and said not to be, has nothing to cover.
				if e[1] == 0 && a == 0 {
					continue
				}
				s.stated++
				if a <= e[1]+1e-9 {
					s.covered++
				}
				s.u = append(s.u, e[1])
			}
			s.areaPct = append(s.areaPct, math.Abs(p.areaErrPct[0]), math.Abs(p.areaErrPct[1]))
			for _, c := range p.areaCovered {
				s.areaStated++
				if c {
					s.areasCovered++
				}
			}
		}
	}
	return s
}

// quantile of v, by the nearest rank; NaN of none.
func quantile(v []float64, q float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	v = slices.Clone(v)
	slices.Sort(v)
	return v[min(len(v)-1, int(math.Ceil(q*float64(len(v))))-1+boolInt(q == 0))]
}

func boolInt(b bool) int {
	if b {
		return 1
	}
	return 0
}

func share(a, b int) string {
	if b == 0 {
		return "-"
	}
	return fmt.Sprintf("%.0f %%", 100*float64(a)/float64(b))
}

func mm(v float64) string {
	if math.IsNaN(v) {
		return "-"
	}
	return fmt.Sprintf("%.3f", v)
}

func count(n int) string {
	if n == 0 {
		return "."
	}
	return fmt.Sprint(n)
}

// printTable prints one line a class in Markdown.
func printTable(w io.Writer, title string, lines []summary) {
	fmt.Fprintf(w, "\n%s\n\n", title)
	head := []string{"class", "scenes", "right", "honest", "refused", "broken", "silent wrong", "ports", "missed", "invented", "marked", "not measured", "too close", "false verdicts",
		"step error, median", "95 %", "worst", "area error 95 %, in %", "U covers", "median U", "area U covers"}
	cells := [][]string{head}
	for _, s := range lines {
		area := "-"
		if len(s.areaPct) > 0 {
			area = fmt.Sprintf("%.2f", quantile(s.areaPct, 0.95))
		}
		cells = append(cells, []string{s.class, fmt.Sprint(s.scenes), count(s.right), count(s.honest), count(s.refused), count(s.broken), count(s.silent), fmt.Sprint(s.ports), count(s.missed), count(s.invented),
			count(s.marked), count(s.notMeasured), count(s.tooClose), count(s.falseVerdicts),
			mm(quantile(s.step, 0.5)), mm(quantile(s.step, 0.95)), mm(quantile(s.step, 1)), area, share(s.covered, s.stated), mm(quantile(s.u, 0.5)), share(s.areasCovered, s.areaStated)})
	}
	width := make([]int, len(head))
	for _, row := range cells {
		for i, c := range row {
			width[i] = max(width[i], len(c))
		}
	}
	for k, row := range cells {
		for i, c := range row {
			if i == 0 {
				fmt.Fprintf(w, "| %-*s ", width[i], c)
			} else {
				fmt.Fprintf(w, "| %*s ", width[i], c)
			}
		}
		fmt.Fprintln(w, "|")
		if k == 0 {
			for i := range head {
				fmt.Fprintf(w, "|%s", strings.Repeat("-", width[i]+2))
			}
			fmt.Fprintln(w, "|")
		}
	}
}

// printOutlines says for each class how far the traced outlines themselves stand from the truth, so which picture a wrong step
// comes from.
func printOutlines(w io.Writer, order []string, rows []sceneRow) {
	fmt.Fprint(w, "\nTraced outlines against the truth of their own picture (mm, positive outwards; ports with figures)\n\n")
	fmt.Fprintf(w, "| %-12s | %-38s | %-38s |\n", "class", "target: mean, median RMS, 95 %, worst", "work: mean, median RMS, 95 %, worst")
	fmt.Fprintf(w, "|%s|%s|%s|\n", strings.Repeat("-", 14), strings.Repeat("-", 40), strings.Repeat("-", 40))
	for _, class := range order {
		var cell [2]string
		for k := range cell {
			var mean, rms, p95, most []float64
			for _, r := range rows {
				for _, p := range r.ports {
					e := []outlineError{p.target, p.work}[k]
					if r.class == class && p.measured && e.known {
						mean, rms, p95, most = append(mean, e.mean), append(rms, e.rms), append(p95, e.p95), append(most, e.most)
					}
				}
			}
			if len(mean) > 0 {
				m := 0.0
				for _, v := range mean {
					m += v / float64(len(mean))
				}
				cell[k] = fmt.Sprintf("%+.3f  %.3f  %.3f  %.3f", m, quantile(rms, 0.5), quantile(p95, 0.95), quantile(most, 1))
			}
		}
		fmt.Fprintf(w, "| %-12s | %-38s | %-38s |\n", class, cell[0], cell[1])
	}
}

func countOutcomes(rows []sceneRow) map[string]int {
	n := map[string]int{}
	for _, r := range rows {
		n[r.outcome]++
	}
	return n
}

// printCounts says how the scenes came out, all together.
func printCounts(w io.Writer, rows []sceneRow) {
	n := countOutcomes(rows)
	fmt.Fprintf(w, "\n%d pairs: %d right, %d honest, %d refused with a message, %d silent wrong, %d broken\n", len(rows), n[right], n[honest], n[refused], n[silent], n[broken])
}

var digits = regexp.MustCompile(`[0-9]+(\.[0-9]+)?`)
var files = regexp.MustCompile(`\S+\.jpg`)

// printReasons counts refusals by what was said, numbers and file names left out.
func printReasons(w io.Writer, rows []sceneRow) {
	n := map[string]int{}
	classes := map[string][]string{}
	for _, r := range rows {
		if r.outcome != refused && r.outcome != broken {
			continue
		}
		k := digits.ReplaceAllString(files.ReplaceAllString(r.reason, "FILE"), "#")
		n[k]++
		if !slices.Contains(classes[k], r.class) {
			classes[k] = append(classes[k], r.class)
		}
	}
	if len(n) == 0 {
		return
	}
	fmt.Fprint(w, "\nRefusals by reason\n\n")
	keys := make([]string, 0, len(n))
	for k := range n {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b string) int {
		if n[a] != n[b] {
			return n[b] - n[a]
		}
		return strings.Compare(a, b)
	})
	for _, k := range keys {
		fmt.Fprintf(w, "%4d  %s  (%s)\n", n[k], k, strings.Join(classes[k], ", "))
	}
}

// writeCSV writes one line a port, and one a scene that has none.
func writeCSV(w io.Writer, rows []sceneRow) error {
	c := csv.NewWriter(w)
	_ = c.Write([]string{"class", "scene", "seed", "outcome", "port", "verdict", "marked", "touched", "missed", "invented", "false_verdict",
		"remove_true_mm", "remove_error_mm", "remove_U_mm", "past_true_mm", "past_error_mm", "past_U_mm",
		"target_area_error_pct", "work_area_error_pct", "remove_area_error_pct", "past_area_error_pct",
		"target_outline_mean_mm", "target_outline_rms_mm", "target_outline_worst_mm", "work_outline_mean_mm", "work_outline_rms_mm", "work_outline_worst_mm", "seconds", "reason"})
	f := func(v float64) string { return fmt.Sprintf("%.4f", v) }
	for _, r := range rows {
		head := []string{r.class, r.name, fmt.Sprint(r.seed), r.outcome}
		if len(r.ports) == 0 {
			line := append(head, make([]string, 23)...)
			_ = c.Write(append(line, f(r.tookS), r.reason))
		}
		for _, p := range r.ports {
			line := append(slices.Clone(head), p.port, p.verdict, fmt.Sprint(p.marked), fmt.Sprint(p.touched), fmt.Sprint(p.missed), fmt.Sprint(p.invented), fmt.Sprint(p.falseVerdict))
			if p.measured {
				line = append(line, f(p.removeTrue), f(p.removeErr), f(p.removeU), f(p.pastTrue), f(p.pastErr), f(p.pastU),
					f(p.areaErrPct[0]), f(p.areaErrPct[1]), f(p.areaErrPct[2]), f(p.areaErrPct[3]),
					f(p.target.mean), f(p.target.rms), f(p.target.most), f(p.work.mean), f(p.work.rms), f(p.work.most))
			} else {
				line = append(line, make([]string, 16)...)
			}
			_ = c.Write(append(line, f(r.tookS), strings.TrimSpace(p.reason+" "+p.why)))
		}
	}
	c.Flush()
	return c.Error()
}
