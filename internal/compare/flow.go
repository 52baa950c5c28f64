package compare

import "math"

// FlowDirection says which way the gas goes through the joint.
type FlowDirection string

const (
	FlowUnknown FlowDirection = ""
	IntoWork    FlowDirection = "into-work"   // from the target's side into the work: an exhaust manifold under its head
	OutOfWork   FlowDirection = "out-of-work" // from the work to the target's side: an inlet manifold
)

// What a step is to the flow.
const (
	Lip   = "lip"   // metal stands in the way
	Ledge = "ledge" // the wall falls away
)

// FlowResult is what the joint does to the flow: an indication only, see FlowLimits.
type FlowResult struct {
	Direction  FlowDirection `json:"direction"`
	RemoveStep string        `json:"remove_step"` // "lip" or "ledge"
	PastStep   string        `json:"past_step"`
	// AreaRatio is the area behind the joint over that before it, along the flow.
	AreaRatio float64 `json:"area_ratio"`
	Change    string  `json:"change"` // "expansion", "contraction", "none"
	// Loss is the published range of the loss coefficient for so sudden a change, referred to the velocity in the smaller
	// section; one value twice where there is one formula.
	Loss [2]float64 `json:"loss"`
}

// FlowLimits goes with every loss coefficient that is shown.
const FlowLimits = "The loss coefficients are for steady flow in pipes with a sudden change of area all round; a port pulses and its step is on one side, so they say which joint is worse, not what power it costs."

// FlowThrough says what a joint with the given areas does to a flow. Past and remove steps are lips or ledges by direction:
// work metal inside the target opening faces a flow that comes from the target, target metal inside the work opening one
// that comes from the work.
func FlowThrough(targetMM2, workMM2 float64, d FlowDirection) FlowResult {
	before, behind := targetMM2, workMM2
	f := FlowResult{Direction: d, RemoveStep: Lip, PastStep: Ledge}
	if d == OutOfWork {
		before, behind = behind, before
		f.RemoveStep, f.PastStep = Ledge, Lip
	}
	f.AreaRatio = behind / before
	switch {
	case behind > before:
		f.Change = "expansion"
		k := SuddenExpansion(before / behind)
		f.Loss = [2]float64{k, k}
	case behind < before:
		f.Change = "contraction"
		crane, idelchik := SuddenContraction(behind / before)
		f.Loss = [2]float64{crane, idelchik}
	default:
		f.Change = "none"
	}
	return f
}

// SuddenExpansion returns the loss coefficient of a sudden expansion with the given ratio of the smaller to the larger area,
// referred to the smaller section's velocity: (1 - n)² (Borda-Carnot).
func SuddenExpansion(n float64) float64 { return (1 - n) * (1 - n) }

// SuddenContraction returns two published loss coefficients of a sudden contraction with the given ratio of the smaller to
// the larger area, referred to the smaller section's velocity: 0.5 (1 - n) (Crane TP-410M) and 0.5 (1 - n)^0.75 (Idelchik,
// Handbook of Hydraulic Resistance, Re > 1e4).
func SuddenContraction(n float64) (crane, idelchik float64) {
	return 0.5 * (1 - n), 0.5 * math.Pow(1-n, 0.75)
}
