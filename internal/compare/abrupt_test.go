package compare

import (
	"math"
	"testing"
)

// Two circles 0.1 mm apart. A ledge that swells and fades is measured; one that jumps up and back is a reading gone astray, and
// carries no figure. Truth: closed form.
func TestAbruptLedges(t *testing.T) {
	const radiusMM, widthMM, heightMM = 20.0, 8.0, 0.5
	for _, c := range []struct {
		name   string
		half   float64                       // mm, of the ledge's width
		height func(alongMM float64) float64 // of the ledge, at a distance from its middle
		want   float64
		unsure bool
	}{
		{"a high spot 8 mm wide and 0.5 mm high", widthMM / 2, func(x float64) float64 {
			return heightMM * (1 + math.Cos(2*math.Pi*x/widthMM)) / 2
		}, 0.1 + heightMM, false},
		{"a step of 1.5 mm, 20 mm long", 10, func(float64) float64 { return 1.5 }, 0.1, true},
		// 0.15 mm of its feet are left.
		{"a gentler spike of 0.7 mm, 4.6 mm wide", 2.3, func(x float64) float64 { return 0.7 * math.Min(1, (2.3-math.Abs(x))/1.9) }, 0.25, true},
		{"a spike of 0.7 mm, 4 mm wide", 2, func(x float64) float64 { return 0.7 * math.Min(1, (2-math.Abs(x))/1.3) }, 0.1, true},
	} {
		target, work := twoCircles(radiusMM, radiusMM-0.1, 0)
		o := work.Ports[0].Outline
		for i, p := range o {
			if x := math.Atan2(p.Y, p.X) * radiusMM; math.Abs(x) < c.half {
				o[i] = p.Scale(1 - c.height(x)/p.Norm())
			}
		}
		p := mustMatch(t, target, work)
		near(t, c.name+": remove step", p.RemoveStep.Value, c.want, 0.005)
		if (len(p.UnsureArcs) > 0) != c.unsure {
			t.Errorf("%s: unsure arcs %v", c.name, p.UnsureArcs)
		}
	}
}

// A reading that has gone astray over 40 % of an edge takes the port along, as either edge may be the wrong one, unless the reading has marked the
// stretch itself: then the rest stands. Truth: closed form.
func TestAstrayAndMarked(t *testing.T) {
	const radiusMM, half, astrayMM = 20.0, 25.0, 1.5
	for _, marked := range []bool{false, true} {
		target, work := twoCircles(radiusMM, radiusMM-0.1, 0)
		e := &work.Ports[0].Edge
		e.Sure = make([]bool, len(e.Outline))
		for i, p := range e.Outline {
			inside := math.Abs(math.Atan2(p.Y, p.X)*radiusMM) < half
			e.Sure[i] = !(marked && inside)
			if inside {
				e.Outline[i] = p.Scale(1 - astrayMM/p.Norm())
			}
		}
		p := mustMatch(t, target, work)
		if measured := p.Verdict != NotMeasured; measured != marked {
			t.Errorf("marked %v: %s, %q", marked, p.Verdict, p.Why)
		} else if marked {
			near(t, "remove step beside it", p.RemoveStep.Value, 0.1, 0.005)
		}
	}
}

// A reading that went astray is marked where it jumps away; what leads back from there carries no figure either, though it is farthest off a
// mm beside the mark. Truth: closed form.
func TestPeakBesideWhatIsUnsure(t *testing.T) {
	const radiusMM, heightMM, half, topMM, markedMM = 20.0, 0.6, 4.0, 0.5, -0.5
	for _, marked := range []bool{false, true} {
		target, work := twoCircles(radiusMM, radiusMM-0.1, 0)
		e := &work.Ports[0].Edge
		e.Sure = make([]bool, len(e.Outline))
		for i, p := range e.Outline {
			x := math.Atan2(p.Y, p.X) * radiusMM
			e.Sure[i] = !(marked && x > topMM-half && x < markedMM)
			if math.Abs(x-topMM) < half {
				e.Outline[i] = p.Scale(1 - heightMM*(1+math.Cos(math.Pi*(x-topMM)/half))/2/p.Norm())
			}
		}
		want := 0.1 + heightMM // a high spot, as far as anybody can tell
		if marked {
			want = 0.1
		}
		near(t, "remove step", mustMatch(t, target, work).RemoveStep.Value, want, 0.03)
	}
}
