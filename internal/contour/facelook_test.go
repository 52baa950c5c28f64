package contour

import (
	"cmp"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"portmatch/internal/face"
	"portmatch/internal/geom"
	"portmatch/internal/photo"
	"portmatch/internal/scalecard"
	"portmatch/internal/synth"
)

// The first look must find the openings of drawn parts, all of them and nothing else. Truth is what was drawn; a first look is
// good to about a mm, and worse where a stain on the bench touches an edge; 3.5 mm is what the search for the edge reaches.
func TestFirstLookKnowsThePartByItsHoles(t *testing.T) {
	const nearMM = 3.5
	for _, c := range []struct {
		what, class string
		seed        uint64
		work        bool
	}{
		{"a single opening full of wood grain", "samewall", 7004, false},
		{"a single opening with stains, beside round holes", "rims", 7002, false},
		{"round ports beside a strip's large shadow", "tone", 7002, true},
		{"a round port half as large as the others", "faint", 7007, true},
		{"more round stains on the bench than holes in the gasket", "onestrip", 9003, false},
		{"shadows of the part on a bench as bright as its face", "onestrip", 7001, true},
	} {
		t.Run(c.what, func(t *testing.T) {
			t.Parallel()
			v, ports := surveyOf(t, c.class, c.seed, c.work)
			if len(v.open.ports) != len(ports) {
				t.Errorf("%d ports found, %d are drawn", len(v.open.ports), len(ports))
			}
			for i, want := range ports {
				found := false
				for _, l := range v.open.ports {
					found = found || farthest(l.pts, want) < nearMM && farthest(want, l.pts) < nearMM
				}
				if !found {
					t.Errorf("port %d at %.0f: none found within %.1f mm of it", i+1, centroid(want), nearMM)
				}
			}
		})
	}
}

// surveyOf draws one picture of a case and takes the first look at it; it returns the drawn ports in the face frame.
func surveyOf(t *testing.T, class string, seed uint64, work bool) (v *Survey, ports [][]geom.PointMM) {
	t.Helper()
	return surveyAt(t, class, seed, work, 0.6) // quicker to draw
}

// surveyAt does the same of a picture scale times as large.
func surveyAt(t *testing.T, class string, seed uint64, work bool, scale float64) (v *Survey, ports [][]geom.PointMM) {
	t.Helper()
	return surveyWith(t, class, seed, work, scale, func(*synth.Scene) {})
}

// surveyWith does the same of a scene that change has changed.
func surveyWith(t *testing.T, class string, seed uint64, work bool, scale float64, change func(*synth.Scene)) (v *Survey, ports [][]geom.PointMM) {
	t.Helper()
	k, err := synth.NewCase(class, seed)
	if err != nil {
		t.Fatal(err)
	}
	s, heightMM := k.Target, k.TargetHeightMM
	if work {
		s, heightMM = k.Work, k.WorkHeightMM
	}
	if s.DeclaredDPI == 0 { // scans are of the least resolution already, some of them
		s.Resize(scale)
	}
	change(s)
	jpg, err := s.Picture()
	if err != nil {
		t.Fatal(err)
	}
	v = surveyOfPicture(t, jpg, scalecard.Options{DPI: s.DeclaredDPI}, heightMM)
	for _, port := range s.Truth("").Ports {
		var o []geom.PointMM
		for _, q := range port.OutlinePx {
			o = append(o, v.s.face(geom.PointPx{U: q[0], V: q[1]}))
		}
		ports = append(ports, o)
	}
	return v, ports
}

// surveyOfPicture surveys a JPEG.
func surveyOfPicture(t *testing.T, jpg []byte, o scalecard.Options, heightMM float64) *Survey {
	t.Helper()
	path := filepath.Join(t.TempDir(), "face.jpg")
	if err := os.WriteFile(path, jpg, 0o666); err != nil {
		t.Fatal(err)
	}
	p, err := photo.Load(t.Context(), path, photo.Options{})
	if err != nil {
		t.Fatal(err)
	}
	sol, err := scalecard.Solve(t.Context(), p, o)
	if err != nil {
		t.Fatal(err)
	}
	v, err := NewSurvey(t.Context(), p, sol, Options{HeightMM: heightMM})
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// offTruth measures every port and calls f with it and with how far every place of its edge lies from where it was drawn, mm.
func offTruth(t *testing.T, v *Survey, truth [][]geom.PointMM, f func(p face.Port, offMM []float64)) {
	t.Helper()
	got, err := v.Trace(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range truth {
		k := slices.IndexFunc(got.Ports, func(p face.Port) bool { return contains(want, centroid(p.Outline)) })
		if k < 0 {
			t.Errorf("the port drawn %d. was not measured", i+1)
			continue
		}
		ix := geom.NewIndex(geom.Outline(want))
		var off []float64
		for _, q := range got.Ports[k].Outline {
			d, _, _ := ix.SignedDistMM(q)
			off = append(off, d)
		}
		f(got.Ports[k], off)
	}
}

// worstSure is how far the worst of the places is off that are called sure, mm.
func worstSure(p face.Port, offMM []float64) (worst float64) {
	for i, d := range offMM {
		if p.Sure[i] {
			worst = max(worst, math.Abs(d))
		}
	}
	return worst
}

// A level curve that runs out along a milling mark, and round a stain on the bench that touches the edge, must become the circle it
// is else: along the normals of a spur no edge can be followed. Truth is closed form.
func TestRaggedCurveIsEvened(t *testing.T) {
	const radiusMM, spurMM, nearMM = 15.0, 6.0, 0.7
	curve := func(spur float64) *loop {
		l := &loop{}
		for i := range 720 {
			a := float64(i) * math.Pi / 360
			r := radiusMM
			if i%180 < 3 { // 0.8 mm wide
				r += spur
				spur = -spur
			}
			l.pts = append(l.pts, geom.PointMM{X: r * math.Cos(a), Y: r * math.Sin(a)})
		}
		l.lo, l.hi = bounds(l.pts)
		l.areaMM2, l.perimeter = signedArea(l.pts), pathLength(l.pts)
		return l
	}
	for _, p := range curve(spurMM).evened().pts {
		if off := math.Abs(p.Norm() - radiusMM); off > nearMM {
			t.Fatalf("at %.1f the curve stands off the circle by %.2f mm, %.1f is the limit", p, off, nearMM)
		}
	}
	if clean := curve(0); clean.evened() != clean {
		t.Error("a clean circle was changed")
	}
}

// A shadow's edge across an opening makes half an opening of it. What the other face shows there must take its place. Truth is
// what was drawn; 0.4 mm, two pixels, is what a shadow's edge leaves of an edge's place.
func TestShadowedOpeningGivesWayToTheOtherFaces(t *testing.T) {
	const nearMM = 0.4
	v, ports := surveyOf(t, "shadow", 7001, false)
	f, err := v.Trace(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	first := slices.MinFunc(ports, func(a, b []geom.PointMM) int {
		return cmp.Compare(centroid(b).Y-centroid(b).X, centroid(a).Y-centroid(a).X)
	})
	wrong := len(f.Ports)
	if err := v.Seek(t.Context(), f, &Guide{Ports: [][]geom.PointMM{first}}); err != nil {
		t.Fatal(err)
	}
	if len(f.Ports) != wrong {
		t.Errorf("%d ports, %d before", len(f.Ports), wrong)
	}
	for _, p := range f.Ports {
		if off := farthest(p.Outline, first); shareGround(p.Outline, first) && off > nearMM {
			t.Errorf("the port at %.0f stands off by %.2f mm, %.1f is the limit", centroid(p.Outline), off, nearMM)
		}
	}
}
