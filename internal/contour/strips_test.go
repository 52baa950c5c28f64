package contour

import (
	"errors"
	"math"
	"testing"

	"portmatch/internal/geom"
)

// What runs along a strip for most of its length is its shadow; an opening may still come close to one.
func TestStripShadowsAreNoOpenings(t *testing.T) {
	v, _ := surveyOf(t, "plain", 7001, true)
	strip := v.s.stripCurves(v.sol.StripQuadsPx)[0]
	along, up := strip[1].Sub(strip[0]), strip[3].Sub(strip[0])
	along, up = along.Scale(1/along.Norm()), up.Scale(1/up.Norm())
	box := func(x, y, w, h float64) *loop { // from the strip's lower left corner
		l := &loop{}
		for _, p := range []geom.PointMM{{X: x, Y: y}, {X: x + w, Y: y}, {X: x + w, Y: y + h}, {X: x, Y: y + h}} {
			l.pts = append(l.pts, strip[0].Add(along.Scale(p.X)).Add(up.Scale(p.Y)))
		}
		l.areaMM2 = w * h
		return l
	}
	shadow, port := box(4, -13, 180, 12), box(60, -33, 40, 31)
	got := v.withoutStripShadows([]*loop{shadow, port})
	if len(got) != 1 || got[0] != port {
		t.Errorf("%d of a strip's shadow and a port 2 mm from the strip are left, want the port", len(got))
	}
}

// An opening that lies outside the part's edge is another part's, and says nothing of this one; it is not left out without a word.
func TestOpeningsOfAnotherPartAreLeftOut(t *testing.T) {
	for _, c := range []struct {
		class string
		seed  uint64
		ports int // more than it has
	}{{"plain", 7002, 1}, {"nodowels", 7001, 2}} {
		v, _ := surveyOf(t, c.class, c.seed, true)
		var far float64
		for _, p := range v.roughPart().Outline {
			far = math.Max(far, p.X)
		}
		own := len(v.open.ports)
		for i := range c.ports {
			l := &loop{areaMM2: 30 * 30}
			for _, p := range circleOf(15, 60) {
				l.pts = append(l.pts, p.Add(geom.PointMM{X: far + 30, Y: float64(40 * i)}))
			}
			v.open.ports = append(v.open.ports, l)
		}
		said := len(v.doubts)
		v.dropForeign()
		if len(v.open.ports) != own || len(v.doubts) != said+1 {
			t.Errorf("%s-%d: %d ports, want %d; %d new warnings, want 1", c.class, c.seed, len(v.open.ports), own, len(v.doubts)-said)
		}
		v.dropForeign()
		if len(v.open.ports) != own || len(v.doubts) != said+1 {
			t.Errorf("%s-%d: a part alone lost ports", c.class, c.seed)
		}
	}
}

// Edges that spread wider than can be measured on the part are refused however few pixels that is.
func TestBlurIsMeasuredOnThePart(t *testing.T) {
	v, truth := surveyOf(t, "plain", 7001, true)
	px := v.s.mmPerPx(truth[0][0])
	v.sol.BlurPx = 1.1 * mostBlurMM / px
	if _, err := v.Trace(t.Context(), nil); !errors.Is(err, ErrBlurred) {
		t.Errorf("edges spread over %.2f mm: %v, want %v", 1.1*mostBlurMM, err, ErrBlurred)
	}
	v.sol.BlurPx = 0.9 * mostBlurMM / px
	if _, err := v.Trace(t.Context(), nil); err != nil {
		t.Errorf("edges spread over %.2f mm: %v", 0.9*mostBlurMM, err)
	}
}
