package compare

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// The truth files are ray-traced scenes' own outlines: exact to the four digits given.

func readTruth(t testing.TB, name string, into any) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "truth", name+".truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, into); err != nil {
		t.Fatal(err)
	}
}

// truthFace returns a scene's face as it would be traced without any error.
func truthFace(t testing.TB, name string) *face.Face {
	t.Helper()
	var s struct {
		Ports []struct{ Outline [][2]float64 }
		Holes []struct {
			Centre   [2]float64
			Diameter float64 `json:"edge_diameter_at_face"`
		}
		PartOutline [][2]float64 `json:"part_outline"`
	}
	readTruth(t, name, &s)
	points := func(o [][2]float64) []geom.PointMM {
		out := make([]geom.PointMM, len(o))
		for i, p := range o {
			out[i] = geom.PointMM{X: p[0], Y: p[1]}
		}
		return out
	}
	f := &face.Face{}
	for i, p := range s.Ports {
		f.Ports = append(f.Ports, face.Port{Number: i + 1, Edge: face.Edge{Outline: points(p.Outline)}})
	}
	for _, h := range s.Holes {
		f.Holes = append(f.Holes, face.Hole{Centre: geom.PointMM{X: h.Centre[0], Y: h.Centre[1]}, DiameterMM: h.Diameter})
	}
	f.PartOutline.Outline = points(s.PartOutline)
	return f
}

type truthPort struct {
	TargetArea float64    `json:"target_area_mm2"`
	WorkArea   float64    `json:"port_area_mm2"`
	Remove     float64    `json:"area_to_remove_mm2"`
	Past       float64    `json:"overhang_area_mm2"`
	RemoveStep float64    `json:"max_step_to_remove_mm"`
	PastStep   float64    `json:"max_overhang_step_mm"`
	Centroid   [2]float64 `json:"target_centroid"`
}

func truthPair(t testing.TB, name string) []truthPort {
	var s struct{ Ports []truthPort }
	readTruth(t, name+".pair", &s)
	return s.Ports
}

func TestMatchTruth(t *testing.T) {
	pairs := []struct {
		name, target, work string
		mirrored           bool // the job frame looks at the head, the truth's at the manifold
		on                 string
		verdicts           []string // by the truth's ports, at a tolerance of 0.25 mm
	}{
		{"before", "gasket", "manifold-before", false, "dowels", []string{Grind, Grind, Grind, Grind}},
		{"after", "gasket", "manifold-after", false, "dowels", []string{Matched, PastLine, Grind, Matched}},
		{"gasket-head", "gasket", "head", true, "dowels", []string{PastLine, PastLine, Grind, Matched}},
		{"throttle", "throttle-gasket", "throttle-face", false, "bolt holes", []string{Grind}},
	}
	for _, p := range pairs {
		t.Run(p.name, func(t *testing.T) {
			res, err := Match(truthFace(t, p.target), truthFace(t, p.work), Options{ToleranceMM: 0.25})
			if err != nil {
				t.Fatal(err)
			}
			if res.Alignment.Mirrored != p.mirrored || res.Alignment.On != p.on {
				t.Errorf("aligned on %s, mirrored %v; want %s, %v", res.Alignment.On, res.Alignment.Mirrored, p.on, p.mirrored)
			}
			want := truthPair(t, p.name)
			if len(res.Ports) != len(want) {
				t.Fatalf("%d ports, want %d", len(res.Ports), len(want))
			}
			for i, w := range want {
				got := res.Ports[i]
				if p.mirrored {
					got = res.Ports[len(want)-1-i]
				}
				c := geom.Outline(pointsOf(got.TargetOutline)).CentroidMM()
				if p.mirrored {
					c.X = -c.X
				}
				// The slimmed outlines stand within 0.003 mm of the full ones that the truth was computed from.
				near(t, fmt.Sprintf("port %d: centroid x", i+1), c.X, w.Centroid[0], 0.005)
				near(t, fmt.Sprintf("port %d: centroid y", i+1), c.Y, w.Centroid[1], 0.005)
				near(t, fmt.Sprintf("port %d: remove step", i+1), got.RemoveStep.Value, w.RemoveStep, 0.005)
				near(t, fmt.Sprintf("port %d: past step", i+1), got.PastStep.Value, w.PastStep, 0.005)
				near(t, fmt.Sprintf("port %d: target area", i+1), got.TargetArea.Value, w.TargetArea, 3e-4*w.TargetArea)
				near(t, fmt.Sprintf("port %d: work area", i+1), got.WorkArea.Value, w.WorkArea, 3e-4*w.TargetArea)
				near(t, fmt.Sprintf("port %d: remove area", i+1), got.RemoveArea.Value, w.Remove, 3e-4*w.TargetArea)
				near(t, fmt.Sprintf("port %d: past area", i+1), got.PastArea.Value, w.Past, 3e-4*w.TargetArea)
				if got.Verdict != p.verdicts[i] {
					t.Errorf("port %d: %s, want %s", i+1, got.Verdict, p.verdicts[i])
				}
			}
		})
	}
}

func pointsOf(o [][2]float64) []geom.PointMM {
	out := make([]geom.PointMM, len(o))
	for i, p := range o {
		out[i] = geom.PointMM{X: p[0], Y: p[1]}
	}
	return out
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.6f, want %.6f ± %g", what, got, want, tolerance)
	}
}

func BenchmarkMatch(b *testing.B) {
	target, work := truthFace(b, "gasket"), truthFace(b, "manifold-after")
	for b.Loop() {
		if _, err := Match(target, work, Options{ToleranceMM: 0.25}); err != nil {
			b.Fatal(err)
		}
	}
}
