package render

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"

	"portmatch/internal/compare"
	"portmatch/internal/geom"
)

// The strip chart: step against place round one port, in the units of an SVG view box that a phone shows at half size.
const (
	chartW, chartH = 640.0, 270.0
	plotLeft       = 64.0
	plotRight      = chartW - 8
	plotTop        = 14.0
	plotBottom     = chartH - 34
)

// stripChart draws the profile of one port over all passes that measured it, the last one boldly, with the tolerance band,
// the last pass's uncertainty and its unsure stretches. Metal to remove points up.
func stripChart(passes []*compare.PortResult, toleranceMM float64, u Units, id, title string) template.HTML {
	last := passes[len(passes)-1]
	total := perimeterMM(last)
	if total == 0 || len(last.Profile) == 0 {
		return ""
	}
	top, bottom := 1.6*toleranceMM, -1.6*toleranceMM
	for _, p := range passes {
		for _, q := range p.Profile {
			if q.Sure {
				top, bottom = math.Max(top, q.StepMM+q.UMM), math.Min(bottom, q.StepMM-q.UMM)
			}
		}
	}
	c := chart{total, top + 0.05*(top-bottom), bottom - 0.05*(top-bottom), id, strings.Builder{}}
	fmt.Fprintf(&c.b, `<svg class="chart" viewBox="0 0 %g %g" role="img" aria-labelledby="%s-t">`, chartW, chartH, id)
	fmt.Fprintf(&c.b, `<title id="%s-t">%s</title>`, id, template.HTMLEscapeString(title))
	fmt.Fprintf(&c.b, `<defs><pattern id="%s-u" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">`+
		`<path d="M0 0V8" stroke="#777" stroke-width="2"/></pattern></defs>`, id)
	fmt.Fprintf(&c.b, `<rect class="band" x="%s" y="%s" width="%s" height="%s"/>`,
		px(plotLeft), px(c.y(toleranceMM)), px(plotRight-plotLeft), px(c.y(-toleranceMM)-c.y(toleranceMM)))
	for _, arc := range last.UnsureArcs {
		c.unsure(arc)
	}
	c.axes(last, toleranceMM, u)
	for _, run := range sureRuns(last.Profile) {
		c.ribbon(run)
		c.beyond(run, toleranceMM, "over")
		c.beyond(run, -toleranceMM, "under")
	}
	for i, p := range passes {
		class := "now"
		if i < len(passes)-1 {
			class = "before"
		}
		for _, run := range sureRuns(p.Profile) {
			c.line(run, class)
		}
	}
	c.b.WriteString("</svg>")
	return template.HTML(c.b.String()) // numbers, fixed words and the escaped title only
}

type chart struct {
	total       float64 // mm round the port
	top, bottom float64 // mm, of the plot
	id          string
	b           strings.Builder
}

func (c *chart) x(alongMM float64) float64 { return plotLeft + alongMM/c.total*(plotRight-plotLeft) }
func (c *chart) y(stepMM float64) float64 {
	return plotTop + (c.top-stepMM)/(c.top-c.bottom)*(plotBottom-plotTop)
}

func px(v float64) string { return strconv.FormatFloat(v, 'f', 1, 64) }

func (c *chart) axes(p *compare.PortResult, toleranceMM float64, u Units) {
	step := niceStep((c.top - c.bottom) / u.perUnit() / 5)
	for k := math.Ceil(c.bottom / u.perUnit() / step); k*step*u.perUnit() <= c.top; k++ {
		y := c.y(k * step * u.perUnit())
		class := "grid"
		if k == 0 {
			class = "zero"
		}
		fmt.Fprintf(&c.b, `<path class="%s" d="M%s %sH%s"/>`, class, px(plotLeft), px(y), px(plotRight))
		fmt.Fprintf(&c.b, `<text x="%s" y="%s" text-anchor="end">%s</text>`, px(plotLeft-6), px(y+6), strconv.FormatFloat(k*step+0, 'g', 6, 64))
	}
	for _, t := range clockTicks(p) {
		x := c.x(t.alongMM)
		fmt.Fprintf(&c.b, `<path class="grid" d="M%s %sV%s"/>`, px(x), px(plotTop), px(plotBottom))
		fmt.Fprintf(&c.b, `<text x="%s" y="%s" text-anchor="middle">%d</text>`, px(math.Min(x, plotRight-10)), px(plotBottom+22), t.hour)
	}
	fmt.Fprintf(&c.b, `<text x="%s" y="%s" text-anchor="end">%s</text>`, px(plotLeft-6), px(plotBottom+22), "o’clock")
}

// niceStep rounds up to 1, 2 or 5 times a power of ten.
func niceStep(v float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range []float64{1, 2, 5} {
		if m*p >= v {
			return m * p
		}
	}
	return 10 * p
}

func (c *chart) unsure(arc [2]float64) {
	from, to := math.Mod(arc[0], c.total), math.Mod(arc[1], c.total)
	parts := [][2]float64{{from, to}}
	if to < from {
		parts = [][2]float64{{from, c.total}, {0, to}} // past the rightmost point
	}
	for _, p := range parts {
		fmt.Fprintf(&c.b, `<rect fill="url(#%s-u)" x="%s" y="%s" width="%s" height="%s"/>`,
			c.id, px(c.x(p[0])), px(plotTop), px(c.x(p[1])-c.x(p[0])), px(plotBottom-plotTop))
	}
}

func (c *chart) line(run []compare.ProfilePoint, class string) {
	fmt.Fprintf(&c.b, `<polyline class="%s" points="`, class)
	for _, q := range run {
		fmt.Fprintf(&c.b, "%s,%s ", px(c.x(q.AlongMM)), px(c.y(q.StepMM)))
	}
	c.b.WriteString(`"/>`)
}

// beyond fills what of a run stands further from zero than the limit.
func (c *chart) beyond(run []compare.ProfilePoint, limitMM float64, class string) {
	out := math.Max
	if limitMM < 0 {
		out = math.Min
	}
	some := false
	var points strings.Builder
	for _, q := range run {
		y := out(q.StepMM, limitMM)
		some = some || y != limitMM
		fmt.Fprintf(&points, "%s,%s ", px(c.x(q.AlongMM)), px(c.y(y)))
	}
	if some {
		fmt.Fprintf(&c.b, `<polygon class="%s" points="%s%s,%s %s,%s"/>`, class, points.String(),
			px(c.x(run[len(run)-1].AlongMM)), px(c.y(limitMM)), px(c.x(run[0].AlongMM)), px(c.y(limitMM)))
	}
}

// ribbon shows the uncertainty of a run of points.
func (c *chart) ribbon(run []compare.ProfilePoint) {
	c.b.WriteString(`<polygon class="ribbon" points="`)
	for _, q := range run {
		fmt.Fprintf(&c.b, "%s,%s ", px(c.x(q.AlongMM)), px(c.y(q.StepMM+q.UMM)))
	}
	for _, q := range slices.Backward(run) {
		fmt.Fprintf(&c.b, "%s,%s ", px(c.x(q.AlongMM)), px(c.y(q.StepMM-q.UMM)))
	}
	c.b.WriteString(`"/>`)
}

// sureRuns returns the stretches of a profile that figures rest on, thinned out to what a chart can show.
func sureRuns(profile []compare.ProfilePoint) [][]compare.ProfilePoint {
	var runs [][]compare.ProfilePoint
	open := false
	for _, q := range profile {
		if !q.Sure {
			open = false
			continue
		}
		if !open {
			runs, open = append(runs, nil), true
		}
		runs[len(runs)-1] = append(runs[len(runs)-1], q)
	}
	for i, run := range runs {
		runs[i] = thinned(run)
	}
	return runs
}

// thinned keeps of every few neighbouring points the first and the one with the largest step, so that no peak is lost.
func thinned(run []compare.ProfilePoint) []compare.ProfilePoint {
	const most = 300
	group := (len(run) + most/2 - 1) / (most / 2)
	if group < 3 {
		return run
	}
	var kept []compare.ProfilePoint
	for g := range slices.Chunk(run, group) {
		peak := 0
		for i, q := range g {
			if math.Abs(q.StepMM) > math.Abs(g[peak].StepMM) {
				peak = i
			}
		}
		kept = append(kept, g[0])
		if peak > 0 {
			kept = append(kept, g[peak])
		}
	}
	if end := run[len(run)-1]; kept[len(kept)-1] != end {
		kept = append(kept, end)
	}
	return kept
}

type clockTick struct {
	alongMM float64
	hour    int
}

// clockTicks finds where along the target outline the hours of the clock face are, seen from the opening's centroid.
func clockTicks(p *compare.PortResult) []clockTick {
	o := outlineOf(p.TargetOutline)
	if len(o) < 3 {
		return nil
	}
	o = o.StartingAt(o.Rightmost())
	s := o.ArcLengthsMM()
	c := o.CentroidMM()
	angle := func(q geom.PointMM) float64 { return math.Atan2(q.Y-c.Y, q.X-c.X) / (math.Pi / 6) } // hours from 3, anticlockwise
	var ticks []clockTick
	seen := map[int]bool{}
	for i, q := range o {
		a, b := angle(q), angle(o[(i+1)%len(o)])
		if b < a-6 {
			b += 12 // across 9 o'clock
		}
		k := math.Ceil(a)
		if k > b || b == a {
			continue
		}
		hour := (3 - int(k) + 24) % 12
		if hour == 0 {
			hour = 12
		}
		if !seen[hour] {
			seen[hour] = true
			ticks = append(ticks, clockTick{s[i] + (s[i+1]-s[i])*(k-a)/(b-a), hour})
		}
	}
	return ticks
}

func perimeterMM(p *compare.PortResult) float64 { return outlineOf(p.TargetOutline).PerimeterMM() }
