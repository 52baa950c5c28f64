package scalecard

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"portmatch/internal/geom"
	"portmatch/internal/photo"
	"portmatch/internal/scalecard/strip"
)

// setup is a synthetic photo reduced to what a solve needs: tags whose corners come from a known model.
type setup struct {
	model  *model
	photo  *photo.Photo
	noise  float64 // px, of every corner's u and v
	hidden func(number, tag int) bool
}

// rig is a camera over strips laid in the part's frame: x right, y up, mm, origin below the picture's middle.
type rig struct {
	f35, heightMM, tiltDeg, azimuthDeg, rollDeg float64
	k1, k2, cx, cy                              float64 // cx, cy in px off the centre
	strips                                      []laid
	width, height                               int
}

// laid is where a strip's lower-left corner lies, and its turn.
type laid struct{ x, y, deg float64 }

func above() laid { return laid{-95, 62, 1.2} }
func below() laid { return laid{-95, -90, -0.8} }

// twoStrips is the usual photo: 12 MP, a part of 350 x 120 mm, one strip above and one below at opposite ends.
func twoStrips() rig {
	return rig{f35: 26, heightMM: 330, tiltDeg: 8, azimuthDeg: -70, rollDeg: 2, k1: 0.02, k2: -0.01, cx: 9, cy: -12,
		strips: []laid{{-172, 62, 1.2}, {-18, -90, -0.8}}, width: 4000, height: 3000}
}

func (r rig) setup(noise float64) *setup {
	m := &model{width: r.width, height: r.height, scaleX: 1, scaleY: 1}
	for k := range r.strips {
		m.numbers = append(m.numbers, k+1)
	}
	m.x = make([]float64, sharedUnknowns+stripUnknowns*len(r.strips))
	m.x[uLogF] = math.Log(r.f35 / fullFrameDiagonalMM * math.Hypot(float64(r.width), float64(r.height)))
	m.x[uCx], m.x[uCy] = float64(r.width-1)/2+r.cx, float64(r.height-1)/2+r.cy
	m.x[uK1], m.x[uK2] = r.k1, r.k2
	// Camera looking at the part's origin from heightMM along its axis; then the first strip's frame becomes the plane's.
	tilt, az, roll := r.tiltDeg*math.Pi/180, r.azimuthDeg*math.Pi/180, r.rollDeg*math.Pi/180
	down := [9]float64{1, 0, 0, 0, -1, 0, 0, 0, -1}
	lean := rodrigues(tilt*math.Cos(az), tilt*math.Sin(az), 0)
	turn := rodrigues(0, 0, roll)
	R := mul3(turn, mul3(lean, down))
	T := [3]float64{0, 0, r.heightMM}
	pose := func(l laid) geom.Rigid {
		s, c := math.Sincos(l.deg * math.Pi / 180)
		return geom.Rigid{A: c, B: -s, Tx: l.x, C: s, D: c, Ty: l.y}
	}
	first := pose(r.strips[0])
	m.r = mul3(R, [9]float64{first.A, first.B, 0, first.C, first.D, 0, 0, 0, 1})
	for i := range 3 {
		m.x[uTx+i] = T[i] + R[3*i]*first.Tx + R[3*i+1]*first.Ty
	}
	for k, l := range r.strips {
		p := first.Inverse().After(pose(l))
		own := m.x[m.stripIndex(k):]
		own[uTurn], own[uX], own[uY] = math.Atan2(p.C, p.A), p.Tx, p.Ty
	}
	return &setup{model: m, noise: noise, photo: &photo.Photo{Path: "synthetic.jpg", Width: r.width, Height: r.height, Focal35MM: r.f35}}
}

// strip returns the unknowns of the strip of the given index, to be spoilt.
func (s *setup) strip(k int) []float64 { return s.model.x[s.model.stripIndex(k):][:stripUnknowns] }

// tags measures the setup's tags with normal noise.
func (s *setup) tags(rng *rand.Rand) []tagReading {
	v := s.model.view()
	var tags []tagReading
	for k, number := range s.model.numbers {
		for tag := range strip.TagsPer {
			if s.hidden != nil && s.hidden(number, tag) {
				continue
			}
			t := tagReading{strip: number, tag: tag, corners: v.corners(k, tag)}
			inside := true
			for i := range t.corners {
				c := &t.corners[i]
				c.U += s.noise * rng.NormFloat64()
				c.V += s.noise * rng.NormFloat64()
				inside = inside && c.U > 0 && c.V > 0 && c.U < float64(s.model.width-1) && c.V < float64(s.model.height-1)
			}
			for i := range 8 {
				t.cov[9*i] = max(s.noise*s.noise, 1e-8)
			}
			if inside {
				tags = append(tags, t)
			}
		}
	}
	return tags
}

// solver returns a solver that has these tags, solved.
func (s *setup) solver(t testing.TB, rng *rand.Rand, o Options) *solver {
	t.Helper()
	sv := &solver{photo: s.photo, options: o, tags: s.tags(rng)}
	if err := sv.solve(context.Background()); err != nil {
		t.Fatal(err)
	}
	return sv
}

// area lists points of a 350 x 120 mm part between the strips, in the plane frame.
func (s *setup) area(r rig) []geom.PointMM {
	l := r.strips[0]
	sin, cos := math.Sincos(l.deg * math.Pi / 180)
	plane := geom.Rigid{A: cos, B: -sin, Tx: l.x, C: sin, D: cos, Ty: l.y}.Inverse()
	var out []geom.PointMM
	for i := range 15 {
		for j := range 7 {
			out = append(out, plane.Apply(geom.PointMM{X: -175 + 25*float64(i), Y: -60 + 20*float64(j)}))
		}
	}
	return out
}

// mapError returns RMS and largest error of the way from pixels to the plane heightMM up, over points, after a rigid fit.
func mapError(got, want *Camera, at []geom.PointMM, heightMM float64) (rms, worst float64) {
	from := make([]geom.PointMM, len(at))
	for i, p := range at {
		from[i] = got.PlaneFromPixel(want.PixelFromPlane(p, heightMM), heightMM)
	}
	r := rigidFit(from, at)
	for i := range at {
		d := r.Apply(from[i]).Dist(at[i])
		rms += d * d
		worst = max(worst, d)
	}
	return math.Sqrt(rms / float64(len(at))), worst
}
