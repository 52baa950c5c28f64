package render

import (
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"math"
	"net/http"
	"strconv"
	"strings"

	"portmatch/internal/compare"
	"portmatch/internal/face"
)

// Report is what report.html shows: a whole job.
type Report struct {
	Job    string // its name
	Units  Units
	Passes []ReportPass // in order; at least one
	// Dimensions are what calipers can check on the real part.
	Dimensions []Dimension
	// Assumed are lines about what was taken for granted beyond what the results themselves hold: the printer's scale, how
	// a port count was settled, …
	Assumed []string
}

// ReportPass is one pass with its pictures, PNG or JPEG as they lie in the job folder; missing ones are left out.
type ReportPass struct {
	Result   *compare.Result
	Overlay  []byte
	CloseUps map[int][]byte // by port number
	// Head and TargetHead are what a third face adds: what to grind on the head, and the head against the target; nil without.
	Head, TargetHead *compare.Result
}

// Dimension is a length that a caliper can check, with the reading if there is one.
type Dimension struct {
	Name   string // "A"
	What   string // where to lay the caliper
	Length compare.Quantity
	ReadMM *float64 // what the caliper read
	Says   string   // whether the reading agrees, in words
}

// NoPassError says that there is nothing to report.
type NoPassError struct{ Job string }

func (e *NoPassError) Error() string { return fmt.Sprintf("job %s has no pass to report", e.Job) }

//go:embed report.html
var reportPage string

// HTML writes the report as one file that needs no other: pictures are inside, nothing is fetched and no script runs. It
// returns a *NoPassError for a job without a pass.
func HTML(w io.Writer, rep Report) error {
	if len(rep.Passes) == 0 {
		return &NoPassError{rep.Job}
	}
	page, err := template.New("report").Parse(reportPage)
	if err != nil {
		return fmt.Errorf("reading the built-in report page: %w", err)
	}
	return page.Execute(w, reportView(rep))
}

// reportData is the page's content, ready to be set.
type reportData struct {
	Job, Tolerance         string
	Length, Area, UnitName string
	Colours                map[string]template.CSS
	Passes                 []passView
	Last                   passView
	Ports                  []portView
	Summary                []summaryRow
	Dimensions             []dimensionView
	Assumed                []string
	Calibrations           []calibrationView
	Warnings, Earlier      []warningView // of the last pass, of those before
	Safety                 []string
	Remarks                []string // of the whole face
	Heads                  []headView
}

// headView is a table about the head.
type headView struct {
	Title, Note  string
	Remove, Past string // what its steps are called; without a name for those past the line the areas to remove stand there
	Rows         []summaryRow
}

type passView struct {
	Number   int
	Overlay  picView
	Warnings []face.Warning
	Last     bool
}

type picView struct {
	Src template.HTMLAttr // the attribute whole: as a URL the template engine would read through megabytes of it
	Alt string
	ID  string
}

type portView struct {
	Number         int
	First          bool // the first port explains the chart for all
	Verdict, Words string
	Remarks        []string
	Pictures       []portPicture
	Chart          template.HTML
	Rows           []figureRow
}

type portPicture struct {
	Pass int
	picView
}

// figureRow is one quantity over all passes.
type figureRow struct {
	Name  string
	Cells []figure
}

// figure is a value as shown, and as result.json has it: in mm or mm², to the last digit.
type figure struct {
	Of          string // "2/1/remove_step": pass, port, quantity
	Value, U    string // exact
	Text, UText string // shown
	Beside      string
}

type summaryRow struct {
	Number        int
	Verdict       string
	Remove, Past  figure
	RemoveArea    figure
	WithinPercent string
}

type dimensionView struct {
	Name, What, Length, Read, Says string
}

type calibrationView struct {
	Pass                                int
	Photo, Strips, Height, Camera, Tilt string
	Pixel, Residual                     string
}

type warningView struct {
	Pass             int
	Photo, What, Try string
}

func reportView(rep Report) reportData {
	u := rep.Units
	last := rep.Passes[len(rep.Passes)-1].Result
	d := reportData{
		Job: rep.Job, Length: u.Length(), Area: u.Area(), UnitName: u.Name(),
		Tolerance: u.LengthText(last.ToleranceMM) + " " + u.Length(),
		Colours: map[string]template.CSS{
			"remove": template.CSS(hexOf(inkRemove())), "past": template.CSS(hexOf(inkPast())),
		},
		Assumed: append(assumptions(rep), rep.Assumed...),
		Safety:  safety(),
	}
	for i, p := range rep.Passes {
		d.Passes = append(d.Passes, passView{
			Number: p.Result.Pass, Last: i == len(rep.Passes)-1,
			Overlay: picView{inPage(p.Overlay), overlayAlt(p.Result, u), fmt.Sprintf("o%d", p.Result.Pass)},
		})
		for _, c := range p.Result.Calibration {
			d.Calibrations = append(d.Calibrations, calibration(p.Result.Pass, c, u))
		}
		for _, w := range face.Advised(p.Result.Warnings) {
			what, try := w.Said()
			v := warningView{p.Result.Pass, w.Photo, u.Prose(what), u.Prose(try)}
			if p.Result == last {
				d.Warnings = append(d.Warnings, v)
			} else {
				d.Earlier = append(d.Earlier, v)
			}
		}
	}
	d.Remarks = faceRemarks(last, u)
	d.Heads = headViews(rep.Passes[len(rep.Passes)-1], u)
	d.Last = d.Passes[len(d.Passes)-1]
	for i := range last.Ports {
		p := &last.Ports[i]
		d.Summary = append(d.Summary, summary(last.Pass, p, u))
		v := onePort(rep, p, last.ToleranceMM)
		v.First = i == 0
		v.Remarks = portRemarks(last, p, u)
		d.Ports = append(d.Ports, v)
	}
	for _, m := range rep.Dimensions {
		v := dimensionView{Name: m.Name, What: m.What, Length: u.LengthPM(m.Length), Says: m.Says}
		if m.ReadMM != nil {
			v.Read = u.LengthText(*m.ReadMM)
		}
		d.Dimensions = append(d.Dimensions, v)
	}
	return d
}

func headViews(p ReportPass, u Units) []headView {
	var out []headView
	add := func(file string, r *compare.Result, v headView) {
		if r == nil {
			return
		}
		v.Note = wordHeadClock + "."
		for i := range r.Ports {
			row := summary(p.Result.Pass, &r.Ports[i], u)
			for _, f := range []*figure{&row.Remove, &row.Past, &row.RemoveArea} {
				if f.Of != "" {
					f.Of = file + "/" + f.Of
				}
			}
			v.Rows = append(v.Rows, row)
		}
		out = append(out, v)
	}
	add("head-result", p.Head, headView{Title: wordHeadShare, Remove: "largest step to remove"})
	add("target-head", p.TargetHead, headView{Title: wordTargetHead, Remove: "head smaller by up to", Past: "head larger by up to"})
	return out
}

func summary(pass int, p *compare.PortResult, u Units) summaryRow {
	s := summaryRow{Number: p.Port, Verdict: p.Verdict, WithinPercent: none}
	if p.Verdict != compare.NotMeasured {
		s.Remove = lengthFigure(pass, p, "remove_step", p.RemoveStep.Quantity, stepClock(p.RemoveStep), u)
		s.Past = lengthFigure(pass, p, "past_step", p.PastStep.Quantity, stepClock(p.PastStep), u)
		s.RemoveArea = areaFigure(pass, p, "remove_area", p.RemoveArea, u)
		s.WithinPercent = Percent(p.WithinTolerance)
	}
	return s
}

// onePort collects a port over all passes; p is its last state.
func onePort(rep Report, p *compare.PortResult, toleranceMM float64) portView {
	u := rep.Units
	v := portView{Number: p.Port, Verdict: p.Verdict, Words: verdictWords(p, toleranceMM, u)}
	var measured []*compare.PortResult
	rows := portRows(u)
	v.Rows = make([]figureRow, len(rows))
	for i, r := range rows {
		v.Rows[i].Name = r.name
	}
	for _, pass := range rep.Passes {
		var q *compare.PortResult
		for i := range pass.Result.Ports {
			if pass.Result.Ports[i].Port == p.Port {
				q = &pass.Result.Ports[i]
			}
		}
		if pic := pass.CloseUps[p.Port]; pic != nil && q != nil {
			v.Pictures = append(v.Pictures, portPicture{pass.Result.Pass,
				picView{inPage(pic), closeUpAlt(q, pass.Result, u), fmt.Sprintf("c%d-%d", p.Port, pass.Result.Pass)}})
		}
		if q != nil && q.Verdict != compare.NotMeasured {
			measured = append(measured, q)
		}
		for i, r := range rows {
			f := figure{Text: none}
			if q != nil && (q.Verdict != compare.NotMeasured || r.always) {
				f = r.of(pass.Result.Pass, q)
			}
			v.Rows[i].Cells = append(v.Rows[i].Cells, f)
		}
	}
	if len(measured) > 0 {
		v.Chart = stripChart(measured, toleranceMM, u, fmt.Sprintf("s%d", p.Port),
			fmt.Sprintf("Port %d: step in %s against place round the port. %s", p.Port, u.Length(), v.Words))
	}
	return v
}

type portRow struct {
	name   string
	always bool // shown for a port that was not measured too
	of     func(pass int, p *compare.PortResult) figure
}

func portRows(u Units) []portRow {
	step := func(name, key string, s func(p *compare.PortResult) compare.Step) portRow {
		return portRow{name: name + ", " + u.Length(), of: func(pass int, p *compare.PortResult) figure {
			return lengthFigure(pass, p, key, s(p).Quantity, stepClock(s(p)), u)
		}}
	}
	area := func(name, key string, q func(p *compare.PortResult) compare.Quantity) portRow {
		return portRow{name: name + ", " + u.Area(), of: func(pass int, p *compare.PortResult) figure {
			return areaFigure(pass, p, key, q(p), u)
		}}
	}
	share := func(name, key string, v func(p *compare.PortResult) float64) portRow {
		return portRow{name: name, of: func(pass int, p *compare.PortResult) figure {
			return figure{Of: figureID(pass, p, key), Value: exact(v(p)), Text: Percent(v(p))}
		}}
	}
	return []portRow{
		{"verdict", true, func(pass int, p *compare.PortResult) figure { return figure{Text: p.Verdict} }},
		step("largest step to remove", "remove_step", func(p *compare.PortResult) compare.Step { return p.RemoveStep }),
		step("largest step past the line", "past_step", func(p *compare.PortResult) compare.Step { return p.PastStep }),
		area("area to remove", "remove_area", func(p *compare.PortResult) compare.Quantity { return p.RemoveArea }),
		area("area past the line", "past_area", func(p *compare.PortResult) compare.Quantity { return p.PastArea }),
		area("both together", "mismatch_area", func(p *compare.PortResult) compare.Quantity { return p.MismatchArea }),
		area("opening of the target", "target_area", func(p *compare.PortResult) compare.Quantity { return p.TargetArea }),
		area("opening of the work", "work_area", func(p *compare.PortResult) compare.Quantity { return p.WorkArea }),
		share("joint within tolerance", "within_tolerance", func(p *compare.PortResult) float64 { return p.WithinTolerance }),
		share("chance that all of it is within", "conformance", func(p *compare.PortResult) float64 { return p.Conformance }),
		{"least land after grinding, " + u.Length(), false, func(pass int, p *compare.PortResult) figure {
			if p.LeastLand == nil {
				return figure{Text: none}
			}
			return lengthFigure(pass, p, "least_land", *p.LeastLand, "", u)
		}},
	}
}

func figureID(pass int, p *compare.PortResult, key string) string {
	return fmt.Sprintf("%d/%d/%s", pass, p.Port, key)
}

func lengthFigure(pass int, p *compare.PortResult, key string, q compare.Quantity, at string, u Units) figure {
	f := figure{figureID(pass, p, key), exact(q.Value), exact(q.Uncertainty), u.LengthText(q.Value), u.lengthU(q), ""}
	if at != "" {
		f.Beside = "at " + at
	}
	return f
}

func areaFigure(pass int, p *compare.PortResult, key string, q compare.Quantity, u Units) figure {
	return figure{figureID(pass, p, key), exact(q.Value), exact(q.Uncertainty), u.AreaText(q.Value), u.areaU(q), ""}
}

// inPage puts a picture into the page itself.
func inPage(pic []byte) template.HTMLAttr {
	if len(pic) == 0 {
		return ""
	}
	return template.HTMLAttr(`src="data:` + http.DetectContentType(pic) + ";base64," + base64.StdEncoding.EncodeToString(pic) + `"`)
}

func overlayAlt(r *compare.Result, u Units) string {
	var s []string
	for i := range r.Ports {
		s = append(s, fmt.Sprintf("port %d %s", r.Ports[i].Port, r.Ports[i].Verdict))
	}
	return fmt.Sprintf("Work face in pass %d with the metal to remove marked: %s.", r.Pass, strings.Join(s, "; "))
}

func closeUpAlt(p *compare.PortResult, r *compare.Result, u Units) string {
	return fmt.Sprintf("Port %d in pass %d: %s. %s", p.Port, r.Pass, p.Verdict, verdictWords(p, r.ToleranceMM, u))
}

// assumptions says what every figure rests on, as far as the results know.
func assumptions(rep Report) []string {
	u := rep.Units
	var lines []string
	r := rep.Passes[len(rep.Passes)-1].Result
	hand := "seen from the same side"
	if r.Alignment.Mirrored {
		hand = "the target seen from its other side, so mirrored"
	}
	lines = append(lines,
		fmt.Sprintf("Target and work are lined up on their %s, %s; what is left over is %s %s.", orWord(r.Alignment.On, "edges"), hand, u.LengthText(r.Alignment.ResidualMM), u.Length()),
		fmt.Sprintf("Each photo's scale comes from its strips, taken to be printed at 100 %% unless said otherwise below. Work against target, as a check: %.4f.", r.Alignment.ScaleCheck),
		"The edge that counts is where the flat face ends.",
		"± is the expanded uncertainty, k = 2: the true figure lies within it 19 times in 20.")
	return lines
}

func orWord(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}

func calibration(pass int, c face.Calibration, u Units) calibrationView {
	var strips []string
	for _, n := range c.Strips {
		strips = append(strips, strconv.Itoa(n))
	}
	v := calibrationView{
		Pass: pass, Photo: c.Photo, Strips: orWord(strings.Join(strips, ", "), none),
		Height: u.LengthText(c.HeightMM), Camera: none, Tilt: strconv.FormatFloat(c.TiltDeg, 'f', 1, 64) + "°",
		Pixel: strconv.FormatFloat(u.fromMM(c.MMPerPx), 'f', u.lengthDecimals()+1, 64), Residual: strconv.FormatFloat(c.ReprojectionRMSPx, 'f', 2, 64) + " px",
	}
	if c.FaceOfPass > 0 {
		v.Strips = fmt.Sprintf("none: the holes of pass %d", c.FaceOfPass)
	}
	switch {
	case c.ScanDPI > 0:
		v.Camera, v.Tilt = fmt.Sprintf("scan, %g dpi", math.Round(c.ScanDPI*100)/100), none
	case c.CameraHeightMM > 0:
		v.Camera = strconv.FormatFloat(u.fromMM(c.CameraHeightMM), 'f', u.lengthDecimals()-2, 64)
	}
	return v
}
