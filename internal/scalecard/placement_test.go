package scalecard

import (
	"strings"
	"testing"

	"portmatch/internal/geom"
)

// TestPlacement: a part 350 mm long and 120 wide between (0, 0) and (350, 120).
func TestPlacement(t *testing.T) {
	at := func(x, y float64) StripFit { return StripFit{PlaneFrom: geom.Rigid{A: 1, D: 1, Tx: x, Ty: y}} }
	across := StripFit{PlaneFrom: geom.Rigid{B: -1, C: 1, Tx: 390, Ty: -30}}
	tests := []struct {
		name   string
		strips []StripFit
		says   []string
	}{
		{"opposite ends", []StripFit{at(0, 130), at(160, -40)}, nil},
		{"centred", []StripFit{at(80, 130), at(80, -40)}, []string{"bunched"}},
		{"all four", []StripFit{at(0, 130), at(160, 130), at(0, -40), at(160, -40)}, nil},
		{"end to end on one side", []StripFit{at(-20, 130), at(175, 130)}, []string{"one side"}},
		{"one above, one across the end", []StripFit{at(0, 130), across}, nil},
		{"one", []StripFit{at(80, 130)}, []string{"only one strip"}},
		{"far off", []StripFit{at(0, 260), at(160, -290)}, []string{"far from the part"}},
		{"bunched on one side", []StripFit{at(0, 130), at(0, 165)}, []string{"one side", "bunched"}},
		{"none", nil, nil},
	}
	for _, tt := range tests {
		s := &Solution{Strips: tt.strips}
		for _, turned := range []bool{false, true} {
			lo, hi := geom.PointMM{}, geom.PointMM{X: 350, Y: 120}
			if turned { // the same a quarter turn on
				s = &Solution{}
				q := geom.Rigid{B: -1, C: 1}
				for _, f := range tt.strips {
					s.Strips = append(s.Strips, StripFit{PlaneFrom: q.After(f.PlaneFrom)})
				}
				lo, hi = geom.PointMM{X: -120}, geom.PointMM{Y: 350}
			}
			got := s.PlacementWarnings(lo, hi)
			if len(got) != len(tt.says) {
				t.Errorf("%s, turned %v: %v, want %v", tt.name, turned, got, tt.says)
				continue
			}
			for i, w := range got {
				if !strings.Contains(w.What, tt.says[i]) || w.Try == "" {
					t.Errorf("%s, turned %v: %q (try %q), want %q", tt.name, turned, w.What, w.Try, tt.says[i])
				}
			}
		}
	}
	if w := (&Solution{Camera: Camera{Scan: &Affine{}}, Strips: []StripFit{at(0, 0)}}).PlacementWarnings(geom.PointMM{}, geom.PointMM{X: 300, Y: 100}); len(w) != 0 {
		t.Errorf("a scan is advised %v", w)
	}
}
