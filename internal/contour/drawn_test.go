package contour

import (
	"fmt"
	"math"
	"testing"

	"portmatch/internal/face"
)

// Pictures in which edges went astray: outward along dark milling marks and glare. No place of an edge that is called sure may be
// as far off as that again.
func TestEdgesKeepOffMarksAndGlare(t *testing.T) {
	for _, c := range []struct {
		class  string
		seed   uint64
		work   bool
		mostMM float64
	}{
		{"glare", 7007, true, 0.3},
		{"orientation", 7008, true, 0.2},
	} {
		t.Run(fmt.Sprint(c.class, c.seed), func(t *testing.T) {
			t.Parallel()
			v, truth := surveyOf(t, c.class, c.seed, c.work)
			offTruth(t, v, truth, func(p face.Port, offMM []float64) {
				var worst float64
				for i, d := range offMM {
					if p.Sure[i] {
						worst = math.Max(worst, math.Abs(d))
					}
				}
				if worst > c.mostMM {
					t.Errorf("port %d is %.2f mm off at a place called sure, %.2f at most is wanted", p.Number, worst, c.mostMM)
				}
			})
		})
	}
}

// An edge that goes out round something on the face, 1.4 mm over 8 mm, with the face's brightness behind it, is marked; one that keeps its
// course along a lit wall is not, nor is a high spot with the dark behind it.
func TestMarksOnTheFaceAreNoEdge(t *testing.T) {
	const r, face, pxMM = 15.0, 0.3, 0.1
	for _, c := range []struct {
		name           string
		outMM, behind  float64
		wantUnsureTop  bool
		wantUnsureElse bool
	}{
		{"a mark", 1.4, 0.25, true, false},
		{"a lit wall", 0, 0.25, false, false},
		{"a low spot", 1.4, 0.02, false, false},
	} {
		e := &edgeReading{pxMM: pxMM}
		for _, p := range circleOf(r, 300) {
			along := math.Atan2(p.Y, p.X) * r
			behind := 0.02
			if math.Abs(along) < 4 {
				p = p.Scale(1 + c.outMM/r*(1+math.Cos(along*math.Pi/4))/2)
				behind = c.behind
			}
			e.outline, e.behind, e.onFace, e.sure = append(e.outline, p), append(e.behind, behind), append(e.onFace, face), append(e.sure, true)
		}
		e.marks()
		if e.sure[0] == c.wantUnsureTop || e.sure[150] == c.wantUnsureElse {
			t.Errorf("%s: sure at its top %v, on the other side %v", c.name, e.sure[0], e.sure[150])
		}
	}
}

// Gaskets on the scanner's glass are cut sharp: no place of their edges may be off by more than a pixel, nor their mean by a fifth of one,
// whether the lamp throws a shadow on what lies behind or light changes across the holes, with a strip in the scan or without.
func TestScannedEdgesAreSharp(t *testing.T) {
	for _, c := range []struct {
		class string
		seed  uint64
	}{{"scan", 7001}, {"scan", 7007}, {"scan", 11002}, {"scan", 21002}, {"scanstrip", 7002}, {"scanstrip", 7004}} {
		t.Run(fmt.Sprint(c.class, c.seed), func(t *testing.T) {
			t.Parallel()
			v, truth := surveyOf(t, c.class, c.seed, false)
			px := v.s.mmPerPx(truth[0][0])
			offTruth(t, v, truth, func(p face.Port, offMM []float64) {
				var mean, worst float64
				for _, d := range offMM {
					mean += d / float64(len(offMM))
					worst = math.Max(worst, math.Abs(d))
				}
				if math.Abs(mean) > 0.2*px || worst > px {
					t.Errorf("port %d is %+.3f mm off in the mean and %.3f at worst; a pixel has %.3f mm", p.Number, mean, worst, px)
				}
			})
		})
	}
}

// Without holes a scan says nothing of a lamp's shadow.
func TestNoHolesNoLampShadow(t *testing.T) {
	v, _ := surveyOf(t, "scan", 7001, false)
	if d := v.lampShadowOf(nil); d.Norm() > 0 {
		t.Errorf("a shadow of %.2f mm was seen in no hole", d.Norm())
	}
}
