// Package compare lays a work face over its target: alignment on holes, areas, steps, uncertainty, verdict. It works in
// mm only and draws nothing.
package compare

import (
	"portmatch/internal/face"
	"portmatch/internal/geom"
	"portmatch/internal/prose"
)

// Quantity is a measured value with its expanded uncertainty U (k = 2); the unit is in the name of the field that holds it
// (…_area mm², …_step and …_diameter mm).
type Quantity struct {
	Value       float64 `json:"value"`
	Uncertainty float64 `json:"uncertainty"`
}

// Step is a largest step with its place.
type Step struct {
	Quantity
	At    [2]float64 `json:"at"`    // job frame, mm
	Clock string     `json:"clock"` // as on a clock face seen in the job frame, "2:30"
}

// Rough tells whether the step is known less well than to 0.25 mm, k = 2, the usual tolerance: its edge is hard to see there.
func (s *Step) Rough() bool {
	const roughMM = 0.25
	return s.Uncertainty > roughMM
}

// Result is result.json, schema version 1: lengths mm, areas mm², in the job frame.
type Result struct {
	Schema      int                `json:"schema"`
	Pass        int                `json:"pass"`
	Units       string             `json:"units"` // "mm"
	ToleranceMM float64            `json:"tolerance_mm"`
	Calibration []face.Calibration `json:"calibration"`
	Alignment   Alignment          `json:"alignment"`
	Ports       []PortResult       `json:"ports"`
	Holes       []HoleResult       `json:"holes"`
	PartOutline [][2]float64       `json:"part_outline,omitempty"` // of the work face, job frame
	Warnings    []face.Warning     `json:"warnings"`
	// Dimensions are distances on the work that a caliper can verify before anything is ground.
	Dimensions []Dimension `json:"dimensions,omitempty"`
	// Float is what the play of the fasteners can do, where their diameters are given.
	Float *FloatResult `json:"float,omitempty"`
	// Progress is what was done since the pass before, port by port; none in a first pass.
	Progress []Progress `json:"progress,omitempty"`
}

// Alignment says how work and target were laid over each other. Maps are row-major [a, b, tx, c, d, ty].
type Alignment struct {
	On            string     `json:"on"` // "dowels", "bolt holes", "outlines"
	Mirrored      bool       `json:"mirrored"`
	ResidualMM    float64    `json:"residual_mm"`
	ScaleCheck    float64    `json:"scale_check"`
	JobFromTarget [6]float64 `json:"job_from_target"`
	JobFromWork   [6]float64 `json:"job_from_work"`
}

// The verdicts.
const (
	Matched     = "matched"
	Grind       = "grind"
	PastLine    = "past the line"
	GrindPast   = "grind, past the line"
	TooClose    = "too close to call"
	NotMeasured = "not measured"
)

// PortResult is one port's comparison.
type PortResult struct {
	Port            int            `json:"port"`
	Verdict         string         `json:"verdict"`
	Why             string         `json:"why,omitempty"`         // for "not measured" and marked ports: the reason in words, in mm
	WhyLengths      []prose.Length `json:"why_lengths,omitempty"` // the lengths in it
	TargetArea      Quantity       `json:"target_area"`
	WorkArea        Quantity       `json:"work_area"`
	RemoveArea      Quantity       `json:"remove_area"`
	PastArea        Quantity       `json:"past_area"`
	MismatchArea    Quantity       `json:"mismatch_area"`
	RemoveStep      Step           `json:"remove_step"`
	PastStep        Step           `json:"past_step"`
	WithinTolerance float64        `json:"within_tolerance"` // share of the measured joint, 0 to 1
	Conformance     float64        `json:"conformance"`      // probability that no step passes the tolerance (JCGM 106)
	OffsetMM        [2]float64     `json:"offset_mm"`        // work centroid minus target centroid
	AreaRatio       float64        `json:"area_ratio"`       // work over target
	LeastLand       *Quantity      `json:"least_land,omitempty"`
	// Lands are the least lands after grinding to the target, to each neighbour, to the holes and to the part's edge, smallest
	// first.
	Lands         []Land       `json:"lands,omitempty"`
	Flow          *FlowResult  `json:"flow,omitempty"`
	Blend         *BlendResult `json:"blend,omitempty"`
	UnsureArcs    [][2]float64 `json:"unsure_arcs"` // mm along the target outline from its rightmost point, anticlockwise
	TargetOutline [][2]float64 `json:"target_outline"`
	WorkOutline   [][2]float64 `json:"work_outline"`
	// Profile is the step along the target outline, for charts and maps.
	Profile []ProfilePoint `json:"profile,omitempty"`
}

// WhyText is the reason with its lengths.
func (p *PortResult) WhyText() prose.Text { return prose.Text{Words: p.Why, Lengths: p.WhyLengths} }

func (p *PortResult) because(why prose.Text) { p.Why, p.WhyLengths = why.Words, why.Lengths }

// ProfilePoint is the signed step at one place on the joint: positive = work metal stands inside the target (remove),
// negative = past.
type ProfilePoint struct {
	AlongMM float64    `json:"along_mm"` // from the rightmost point of the target outline, anticlockwise
	At      [2]float64 `json:"at"`
	StepMM  float64    `json:"step_mm"`
	UMM     float64    `json:"u_mm"` // expanded, k = 2
	Sure    bool       `json:"sure"`
}

// HoleResult is a hole that both faces have, or one alone (the other diameter 0).
type HoleResult struct {
	X              float64 `json:"x"` // job frame
	Y              float64 `json:"y"`
	TargetDiameter float64 `json:"target_diameter"`
	WorkDiameter   float64 `json:"work_diameter"`
	Kind           string  `json:"kind"` // "dowel", "bolt"
}

// Rigid6 is the row-major form of a rigid map.
func Rigid6(r geom.Rigid) [6]float64 { return [6]float64{r.A, r.B, r.Tx, r.C, r.D, r.Ty} }
