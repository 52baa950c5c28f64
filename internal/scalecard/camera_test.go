package scalecard

import (
	"math"
	"testing"

	"portmatch/internal/geom"
)

// TestHomographyPublished: the worked pair of quadrilaterals on which two independent libraries agree (checks.md).
func TestHomographyPublished(t *testing.T) {
	mm := []geom.PointMM{{X: 0, Y: 0}, {X: 100, Y: 0}, {X: 100, Y: 150}, {X: 0, Y: 150}}
	px := []geom.PointPx{{U: 312, V: 208}, {U: 1422, V: 260}, {U: 1366, V: 1958}, {U: 250, V: 1880}}
	H, ok := homography(mm, px)
	if !ok {
		t.Fatal("no homography")
	}
	want := [9]float64{10.88626606, -0.4235509392, 312, 0.4809206586, 11.06983027, 208, -1.503051593e-4, -4.087042349e-5, 1}
	for i, w := range want {
		// Nine or ten figures are published.
		if math.Abs(H[i]-w) > 1e-8*math.Max(1, math.Abs(w)) {
			t.Errorf("H[%d] = %.10g, want %.10g", i, H[i], w)
		}
	}
	w := H[6]*50 + H[7]*75 + H[8]
	u, v := (H[0]*50+H[1]*75+H[2])/w, (H[3]*50+H[4]*75+H[5])/w
	if math.Abs(u-833.3644) > 1e-4 || math.Abs(v-1073.6430) > 1e-4 {
		t.Errorf("(50, 75) goes to (%.4f, %.4f), want (833.3644, 1073.6430)", u, v)
	}
}

// TestHomographyOfSquare: the closed form agrees with the linear solution.
func TestHomographyOfSquare(t *testing.T) {
	c := [4]geom.PointPx{{U: 312, V: 1880}, {U: 1422, V: 1958}, {U: 1366, V: 260}, {U: 250, V: 208}}
	to := homographyOf(c)
	sq := tagCorners()
	H, _ := homography(sq[:], c[:])
	for _, p := range append(sq[:], geom.PointMM{X: 3, Y: -5}, geom.PointMM{}) {
		w := H[6]*p.X + H[7]*p.Y + H[8]
		want := geom.PointPx{U: (H[0]*p.X + H[1]*p.Y + H[2]) / w, V: (H[3]*p.X + H[4]*p.Y + H[5]) / w}
		if d := to(p).Dist(want); d > 1e-6 {
			t.Errorf("%v goes to %v, want %v", p, to(p), want)
		}
	}
}

// straightDown is a camera distanceMM above the plane's origin.
func straightDown(distanceMM float64) *Camera {
	return &Camera{WidthPx: 4000, HeightPx: 3000, FocalPx: 3000, CxPx: 1999.5, CyPx: 1499.5,
		R: [9]float64{1, 0, 0, 0, -1, 0, 0, 0, -1}, T: [3]float64{0, 0, distanceMM}}
}

// TestLensModel: x_d = x (1 + k1 r² + k2 r⁴) on normalised coordinates (Brown 1966; Zhang 2000), closed form.
func TestLensModel(t *testing.T) {
	c := straightDown(400)
	c.K1, c.K2 = -0.05, 0.02
	// 120 mm and 160 mm off axis at 400 mm: x = 0.3, y = -0.4, r² = 0.25.
	q := c.PixelFromPlane(geom.PointMM{X: 120, Y: 160}, 0)
	f := 1 - 0.05*0.25 + 0.02*0.0625
	want := geom.PointPx{U: 1999.5 + 3000*0.3*f, V: 1499.5 - 3000*0.4*f}
	if d := q.Dist(want); d > 1e-9 {
		t.Errorf("at %v, want %v", q, want)
	}
}

// TestThereAndBack: the way back undoes the way there anywhere in the picture, for lenses of either bend.
func TestThereAndBack(t *testing.T) {
	for _, k := range [][2]float64{{0, 0}, {0.05, -0.02}, {-0.05, 0.02}, {-0.08, 0}, {0.1, 0.03}} {
		m := twoStrips().setup(0).model
		m.x[uK1], m.x[uK2] = k[0], k[1]
		c := m.view().camera
		for u := 0.0; u < 4000; u += 333 {
			for v := 0.0; v < 3000; v += 333 {
				for _, z := range []float64{0, 1.2, -8} {
					q := geom.PointPx{U: u, V: v}
					if d := c.PixelFromPlane(c.PlaneFromPixel(q, z), z).Dist(q); d > 1e-8 {
						t.Errorf("k %v, z %g, %v: back %g px off", k, z, q, d)
					}
				}
			}
		}
	}
}

// TestHeightError: a surface h above the plane, seen from D, is magnified by D/(D - h) (closed form; the two worked values
// from checks.md).
func TestHeightError(t *testing.T) {
	c := straightDown(400)
	for _, tt := range []struct{ h, percent, atMM float64 }{{1.5, 0.376, 0.68}, {5, 1.27, 2.3}} {
		const half = 180.0
		seen := c.PlaneFromPixel(c.PixelFromPlane(geom.PointMM{X: half}, tt.h), 0).X
		if want := half * 400 / (400 - tt.h); math.Abs(seen-want) > 1e-9 {
			t.Errorf("%g mm up: seen at %.6f, want %.6f", tt.h, seen, want)
		}
		if got := 100 * (seen/half - 1); math.Abs(got-tt.percent) > 0.005 {
			t.Errorf("%g mm up: %.4f %% larger, want %.3f", tt.h, got, tt.percent)
		}
		if math.Abs(seen-half-tt.atMM) > 0.05 {
			t.Errorf("%g mm up: %.2f mm out at 180, want %.2f", tt.h, seen-half, tt.atMM)
		}
		if back := c.PlaneFromPixel(c.PixelFromPlane(geom.PointMM{X: half}, tt.h), tt.h).X; math.Abs(back-half) > 1e-9 {
			t.Errorf("at its own height it stands at %.6f", back)
		}
	}
}

func TestScanAffine(t *testing.T) {
	c := &Camera{Scan: &Affine{A: 11.8, B: 0.3, Tu: 40, C: 0.2, D: -11.7, Tv: 3000}}
	for _, p := range []geom.PointMM{{}, {X: 100, Y: 50}, {X: -3, Y: 200}} {
		if d := c.PlaneFromPixel(c.PixelFromPlane(p, 3), 3).Dist(p); d > 1e-9 {
			t.Errorf("%v comes back %g mm off", p, d)
		}
	}
	if q := c.PixelFromPlane(geom.PointMM{X: 10, Y: 10}, 0); q.Dist(geom.PointPx{U: 161, V: 2885}) > 1e-9 {
		t.Errorf("at %v", q)
	}
}
