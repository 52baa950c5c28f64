package contour

import (
	"encoding/json"
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"portmatch/internal/face"
	"portmatch/internal/geom"
	"portmatch/internal/photo"
	"portmatch/internal/scalecard"
)

// faceTruth is what the ray tracer says of a photo: mm in the part frame.
type faceTruth struct {
	Ports []struct{ Outline [][2]float64 }
	Holes []struct {
		Centre [2]float64
		AtFace float64 `json:"edge_diameter_at_face"`
	}
	Camera struct {
		Fx, Cx, Cy, K1, K2 float64
		R                  [3][3]float64
		T                  [3]float64
	}
}

func readFaceTruth(t *testing.T, name string) *faceTruth {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "truth", name+".truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var tr faceTruth
	if err := json.Unmarshal(b, &tr); err != nil {
		t.Fatal(err)
	}
	return &tr
}

func trueCamera(t *testing.T, name string) *scalecard.Camera {
	t.Helper()
	c := readFaceTruth(t, name).Camera
	return &scalecard.Camera{FocalPx: c.Fx, CxPx: c.Cx, CyPx: c.Cy, K1: c.K1, K2: c.K2, T: c.T,
		R: [9]float64{c.R[0][0], c.R[0][1], c.R[0][2], c.R[1][0], c.R[1][1], c.R[1][2], c.R[2][0], c.R[2][1], c.R[2][2]}}
}

func samplePhoto(t *testing.T, name string) *photo.Photo {
	t.Helper()
	p, err := photo.Load(t.Context(), filepath.Join("..", "..", "samples", name+".jpg"), photo.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// trueFace is the face as an earlier pass would have measured it: the truth's places, each hole off by a normal deviate of
// sigmaMM.
func trueFace(t *testing.T, name string, sigmaMM float64) *face.Face {
	t.Helper()
	tr := readFaceTruth(t, name)
	rng := rand.New(rand.NewPCG(5, 1))
	f := &face.Face{}
	for _, h := range tr.Holes {
		at := geom.PointMM{X: h.Centre[0] + sigmaMM*rng.NormFloat64(), Y: h.Centre[1] + sigmaMM*rng.NormFloat64()}
		f.Holes = append(f.Holes, face.Hole{Centre: at, DiameterMM: h.AtFace, SigmaCentreMM: sigmaMM})
	}
	for i, p := range tr.Ports {
		var o []geom.PointMM
		for _, q := range p.Outline {
			o = append(o, geom.PointMM{X: q[0], Y: q[1]})
		}
		f.Ports = append(f.Ports, face.Port{Number: i + 1, Edge: face.Edge{Outline: o}})
	}
	return f
}

// quarterTurned is the photo held a quarter turn anticlockwise.
func quarterTurned(p *photo.Photo) *photo.Photo {
	q := *p
	q.Width, q.Height = p.Height, p.Width
	q.Gray = make([]uint8, len(p.Gray))
	for v := range p.Height {
		for u := range p.Width {
			q.Gray[(p.Width-1-u)*q.Width+v] = p.Gray[v*p.Width+u]
		}
	}
	return &q
}

// TestSolveOnFace checks the camera that the holes give against the true one: where it puts the ports' edges, in mm.
func TestSolveOnFace(t *testing.T) {
	for _, c := range []struct {
		name, photo string
		change      func(*photo.Photo) *photo.Photo
	}{
		{"before", "manifold-before", nil},
		{"after", "manifold-after", nil},
		{"no lens in the file", "manifold-after", func(p *photo.Photo) *photo.Photo { q := *p; q.Focal35MM = 0; return &q }},
		{"upright", "manifold-before", quarterTurned},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := samplePhoto(t, c.photo)
			width := float64(p.Width)
			turned := c.change != nil && c.name == "upright"
			if c.change != nil {
				p = c.change(p)
			}
			const sigmaMM = 0.02
			known := trueFace(t, c.photo, sigmaMM)
			got, err := SolveOnFace(t.Context(), p, known, Options{HeightSigmaMM: 1e-9})
			if err != nil {
				t.Fatal(err)
			}
			if got.Holes != len(known.Holes) {
				t.Errorf("%d of %d holes were used", got.Holes, len(known.Holes))
			}
			cam := trueCamera(t, c.photo)
			doubt := portDoubtMM(got.Solution, known)
			var worst float64
			for _, port := range known.Ports {
				for _, q := range port.Outline {
					px := cam.PixelFromPlane(q, 0)
					if turned {
						px = geom.PointPx{U: px.V, V: width - 1 - px.U}
					}
					worst = max(worst, got.Solution.Camera.PlaneFromPixel(px, 0).Dist(q))
				}
			}
			t.Logf("worst place %.3f mm off, stated standard uncertainty %.3f; holes agree to %.3f", worst, doubt, got.WorstMM)
			// The holes themselves are off by 0.02 mm, and shift and turn the whole by as much, which the fields leave out.
			if !(worst <= 3*(doubt+sigmaMM)) || worst > 0.15 {
				t.Errorf("a port's edge is put %.3f mm off; the camera is stated to %.3f", worst, doubt)
			}
		})
	}
}

func TestFaceThatGivesNoScale(t *testing.T) {
	p := samplePhoto(t, "manifold-before")
	for _, c := range []struct {
		name, says string
		change     func(f *face.Face)
	}{
		{"too few", "at least 5", func(f *face.Face) { f.Holes = f.Holes[:4] }},
		{"contradiction", "times their uncertainty", func(f *face.Face) { f.Holes[1].Centre.X += 0.8 }},
		{"bunched", "bunched", func(f *face.Face) { // a port 600 mm from the nearest hole
			o := geom.Outline(f.Ports[0].Outline).Mapped(geom.Translation(geom.PointMM{X: -600}))
			f.Ports = append(f.Ports, face.Port{Number: 5, Edge: face.Edge{Outline: o}})
		}},
		{"other part", "were found", func(f *face.Face) {
			for i := range f.Holes {
				f.Holes[i].Centre.Y *= -1.5
			}
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			known := trueFace(t, "manifold-before", 0.02)
			c.change(known)
			_, err := SolveOnFace(t.Context(), p, known, Options{HeightSigmaMM: 1e-9})
			if !errors.Is(err, ErrFaceScale) || !strings.Contains(err.Error(), c.says) {
				t.Errorf("got %v; want it refused with %q", err, c.says)
			}
		})
	}
}
