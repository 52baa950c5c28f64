package scalecard

import (
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"portmatch/internal/geom"
	"portmatch/internal/photo"
)

// truth is what the ray tracer that made a test photo says of it; frames and pixel convention as in testdata/README.md.
type truth struct {
	PlaneOffset struct {
		FaceMinusStripsMM float64 `json:"face_minus_strips_mm"`
	} `json:"plane_offset"`
	Camera struct {
		Fx, Fy, Cx, Cy, K1, K2 float64
		Width, Height          int
		R                      [3][3]float64
		T                      [3]float64
		F35                    float64 `json:"focal_length_35mm"`
	}
	Strips []struct {
		Strip  int
		Matrix [4][4]float64 `json:"matrix_strip_to_part"`
		Tags   map[string]struct {
			CornersPx [4][2]float64 `json:"corners_px"`
		}
	}
	PartOutline [][2]float64 `json:"part_outline"`
}

func (tr *truth) camera() *Camera {
	c := tr.Camera
	return &Camera{WidthPx: c.Width, HeightPx: c.Height, FocalPx: c.Fx, CxPx: c.Cx, CyPx: c.Cy, K1: c.K1, K2: c.K2, T: c.T,
		R: [9]float64{c.R[0][0], c.R[0][1], c.R[0][2], c.R[1][0], c.R[1][1], c.R[1][2], c.R[2][0], c.R[2][1], c.R[2][2]}}
}

// tracedPhotos are the ray-traced photos of the project: picture and truth, relative to the repository.
func tracedPhotos() map[string]string {
	return map[string]string{
		"samples/gasket.jpg":                  "gasket",
		"samples/manifold-before.jpg":         "manifold-before",
		"samples/manifold-after.jpg":          "manifold-after",
		"testdata/photos/head.jpg":            "head",
		"testdata/photos/throttle-gasket.jpg": "throttle-gasket",
		"testdata/photos/throttle-face.jpg":   "throttle-face",
	}
}

func root(name string) string {
	if dir := os.Getenv("PORTMATCH_ROOT"); dir != "" {
		return filepath.Join(dir, name)
	}
	return filepath.Join("..", "..", name)
}

func readTruth(t testing.TB, name string) *truth {
	t.Helper()
	b, err := os.ReadFile(root(filepath.Join("testdata", "truth", name+".truth.json")))
	if err != nil {
		t.Fatal(err)
	}
	var tr truth
	if err := json.Unmarshal(b, &tr); err != nil {
		t.Fatal(err)
	}
	return &tr
}

func load(t testing.TB, name string) *photo.Photo {
	t.Helper()
	p, err := photo.Load(context.Background(), root(name), photo.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// mappingError compares the way from pixels to the face with the truth's, over the part, after a rigid fit.
func mappingError(s *Solution, tr *truth) (rmsMM, worstMM, scale float64) {
	lo, hi := geom.PointMM{X: math.Inf(1), Y: math.Inf(1)}, geom.PointMM{X: math.Inf(-1), Y: math.Inf(-1)}
	for _, p := range tr.PartOutline {
		lo.X, lo.Y = min(lo.X, p[0]), min(lo.Y, p[1])
		hi.X, hi.Y = max(hi.X, p[0]), max(hi.Y, p[1])
	}
	c := tr.camera()
	var from, to []geom.PointMM
	const n = 24
	for i := range n + 1 {
		for j := range n + 1 {
			p := geom.PointMM{X: lo.X + (hi.X-lo.X)*float64(i)/n, Y: lo.Y + (hi.Y-lo.Y)*float64(j)/n}
			px := c.PixelFromPlane(p, 0)
			if px.U < 0 || px.V < 0 || px.U > float64(c.WidthPx) || px.V > float64(c.HeightPx) {
				continue
			}
			from = append(from, s.Camera.PlaneFromPixel(px, tr.PlaneOffset.FaceMinusStripsMM))
			to = append(to, p)
		}
	}
	r := rigidFit(from, to)
	cf, _ := middleMM(from)
	ct, _ := middleMM(to)
	var sum, num, den float64
	for i := range from {
		d := r.Apply(from[i]).Dist(to[i])
		sum += d * d
		worstMM = max(worstMM, d)
		a, b := r.Turn(from[i].Sub(cf)), to[i].Sub(ct)
		num += a.Dot(b)
		den += a.Dot(a)
	}
	return math.Sqrt(sum / float64(len(from))), worstMM, num / den
}

// TestPhotos solves the ray-traced photos and compares the way to the face with the ray tracer's own camera.
func TestPhotos(t *testing.T) {
	for name, truthName := range tracedPhotos() {
		t.Run(truthName, func(t *testing.T) {
			tr := readTruth(t, truthName)
			s, err := Solve(context.Background(), load(t, name), Options{})
			if err != nil {
				t.Fatal(err)
			}
			rms, worst, scale := mappingError(s, tr)
			t.Logf("error %.4f mm RMS, %.4f at worst, scale %.6f; residual %.3f px, blur %.2f px, height %.1f tilt %.2f", rms, worst, scale, s.RMSPx, s.BlurPx, s.HeightMM, s.TiltDeg)
		})
	}
}
