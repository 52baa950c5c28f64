package render

import (
	"encoding/csv"
	"io"
	"strconv"

	"portmatch/internal/compare"
)

// CSV writes one row a port. Every column's name ends in its unit; the figures in mm are those of result.json to the last
// digit, those in inches the same divided by 25.4. A port that was not measured has empty cells.
func CSV(w io.Writer, r *compare.Result, u Units) error {
	length := func(mm float64) string { return exact(u.fromMM(mm)) }
	area := func(mm2 float64) string { return exact(u.fromMM2(mm2)) }
	l, a := string(u), string(u)+"2"
	type column struct {
		name string
		of   func(p *compare.PortResult) string
	}
	lengthPair := func(name string, q func(p *compare.PortResult) compare.Quantity) []column {
		return []column{
			{name + "_" + l, func(p *compare.PortResult) string { return length(q(p).Value) }},
			{name + "_u_" + l, func(p *compare.PortResult) string { return length(q(p).Uncertainty) }},
		}
	}
	areaPair := func(name string, q func(p *compare.PortResult) compare.Quantity) []column {
		return []column{
			{name + "_" + a, func(p *compare.PortResult) string { return area(q(p).Value) }},
			{name + "_u_" + a, func(p *compare.PortResult) string { return area(q(p).Uncertainty) }},
		}
	}
	step := func(name string, s func(p *compare.PortResult) compare.Step) []column {
		return append(lengthPair(name, func(p *compare.PortResult) compare.Quantity { return s(p).Quantity }),
			column{name + "_x_" + l, func(p *compare.PortResult) string { return length(s(p).At[0]) }},
			column{name + "_y_" + l, func(p *compare.PortResult) string { return length(s(p).At[1]) }},
			column{name + "_clock", func(p *compare.PortResult) string { return s(p).Clock }})
	}
	var columns []column
	columns = append(columns, step("remove_step", func(p *compare.PortResult) compare.Step { return p.RemoveStep })...)
	columns = append(columns, step("past_step", func(p *compare.PortResult) compare.Step { return p.PastStep })...)
	columns = append(columns, areaPair("remove_area", func(p *compare.PortResult) compare.Quantity { return p.RemoveArea })...)
	columns = append(columns, areaPair("past_area", func(p *compare.PortResult) compare.Quantity { return p.PastArea })...)
	columns = append(columns, areaPair("mismatch_area", func(p *compare.PortResult) compare.Quantity { return p.MismatchArea })...)
	columns = append(columns, areaPair("target_area", func(p *compare.PortResult) compare.Quantity { return p.TargetArea })...)
	columns = append(columns, areaPair("work_area", func(p *compare.PortResult) compare.Quantity { return p.WorkArea })...)
	columns = append(columns,
		column{"area_ratio", func(p *compare.PortResult) string { return exact(p.AreaRatio) }},
		column{"within_tolerance", func(p *compare.PortResult) string { return exact(p.WithinTolerance) }},
		column{"conformance", func(p *compare.PortResult) string { return exact(p.Conformance) }},
		column{"offset_x_" + l, func(p *compare.PortResult) string { return length(p.OffsetMM[0]) }},
		column{"offset_y_" + l, func(p *compare.PortResult) string { return length(p.OffsetMM[1]) }},
	)
	landOr := func(pick func(q compare.Quantity) float64) func(p *compare.PortResult) string {
		return func(p *compare.PortResult) string {
			if p.LeastLand == nil {
				return ""
			}
			return length(pick(*p.LeastLand))
		}
	}
	columns = append(columns,
		column{"least_land_" + l, landOr(func(q compare.Quantity) float64 { return q.Value })},
		column{"least_land_u_" + l, landOr(func(q compare.Quantity) float64 { return q.Uncertainty })})

	out := csv.NewWriter(w)
	head := []string{"port", "verdict"}
	for _, c := range columns {
		head = append(head, c.name)
	}
	head = append(head, "tolerance_"+l, "unsure_arcs", "why")
	if err := out.Write(head); err != nil {
		return err
	}
	for i := range r.Ports {
		p := &r.Ports[i]
		row := []string{strconv.Itoa(p.Port), p.Verdict}
		for _, c := range columns {
			cell := ""
			if p.Verdict != compare.NotMeasured {
				cell = c.of(p)
			}
			row = append(row, cell)
		}
		row = append(row, length(r.ToleranceMM), strconv.Itoa(len(p.UnsureArcs)), u.Prose(p.WhyText()))
		if err := out.Write(row); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}
