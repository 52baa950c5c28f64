package synth

import (
	"math"
	"testing"

	"portmatch/internal/geom"
	"portmatch/internal/scalecard"
)

// flat is a scene in even light without texture, noise or blur: a bright face whose openings are black.
func flat(widthPx, heightPx int, openings ...[]geom.PointMM) *Scene {
	s := &Scene{Seed: 5, HeightMM: 0, BenchMM: 20}
	s.Part = Part{TunnelMM: 40, Outline: RoundedRect(400, 300, 5), Surface: Surface{Kind: "plain", Albedo: grey(0.8)}}
	for _, o := range openings {
		s.Part.Ports = append(s.Part.Ports, Port{ID: "1", Outline: o})
	}
	s.Bench = Bench{Kind: "plain", Albedo: grey(0.8)}
	s.Light = Light{ElevationDeg: 90}
	s.Optics = Optics{White: 0.8, JPEGQuality: 95}
	s.Camera = scalecard.Camera{WidthPx: widthPx, HeightPx: heightPx, FocalPx: 0.8 * float64(widthPx), CxPx: float64(widthPx)/2 + 3.3, CyPx: float64(heightPx)/2 - 5.7, K1: 0.03, K2: -0.01}
	return s
}

// noTexture takes the noise out of a world, so that brightness is exactly known.
func noTexture(w *world) *world {
	clear(w.cloud.v)
	clear(w.grain.v)
	clear(w.marks.v)
	return w
}

// The dark area of a face's round opening, summed over the pixels of an orthographic picture, against the closed form of the
// polygon that approximates the circle. A boundary that stood off by e px everywhere would change the sum by e
// times the perimeter.
func TestAreaOfARenderedDisk(t *testing.T) {
	const pxPerMM = 9.7
	o := Circle(geom.PointMM{X: 0.37, Y: -0.21}, 40)
	s := flat(480, 470, o)
	s.Camera = scalecard.Camera{WidthPx: 480, HeightPx: 470, Scan: &scalecard.Affine{A: pxPerMM, Tu: 239.4, D: -pxPerMM, Tv: 233.8}}
	f := noTexture(newWorld(s)).render()
	face, hole := float64(f.pix[1]), float64(f.pix[3*(235*480+240)+1])
	sum := 0.0
	for i := 1; i < len(f.pix); i += 3 {
		sum += (face - float64(f.pix[i])) / (face - hole)
	}
	want := signedAreaMM2(o) * pxPerMM * pxPerMM
	perimeter := lengthMM(o) * pxPerMM
	if e := (sum - want) / perimeter; math.Abs(e) > 0.003 {
		t.Errorf("area %.2f px², closed form %.2f: the edge stands %.4f px too far out, want within 0.003", sum, want, e)
	}
}

// edgeOffsets locates the edge between two levels along the normals of an outline given in pixels: the place where a
// sharp step would hold as much light as the profile. Positive = outwards.
func edgeOffsets(f *frame, px []geom.PointPx, reach float64) []float64 {
	at := func(u, v float64) float64 {
		iu, iv := int(math.Floor(u)), int(math.Floor(v))
		tu, tv := u-float64(iu), v-float64(iv)
		p := func(x, y int) float64 { return float64(f.pix[3*(y*f.w+x)+1]) }
		return (p(iu, iv)*(1-tu)+p(iu+1, iv)*tu)*(1-tv) + (p(iu, iv+1)*(1-tu)+p(iu+1, iv+1)*tu)*tv
	}
	area := 0.0
	for i := range px {
		j := (i + 1) % len(px)
		area += px[i].U*px[j].V - px[j].U*px[i].V
	}
	var off []float64
	for i := range px {
		a, b := px[(i+len(px)-1)%len(px)], px[(i+1)%len(px)]
		l := a.Dist(b)
		nu, nv := (b.V-a.V)/l, -(b.U-a.U)/l
		if area < 0 {
			nu, nv = -nu, -nv
		}
		const step = 0.05
		n := int(reach / step)
		in, out := at(px[i].U-reach*nu, px[i].V-reach*nv), at(px[i].U+reach*nu, px[i].V+reach*nv)
		sum := 0.0
		for k := -n; k < n; k++ {
			s := (float64(k) + 0.5) * step
			sum += (at(px[i].U+s*nu, px[i].V+s*nv) - out) / (in - out) * step
		}
		off = append(off, sum-reach)
	}
	return off
}

func meanAndRMS(v []float64) (mean, rms float64) {
	for _, x := range v {
		mean += x / float64(len(v))
		rms += x * x / float64(len(v))
	}
	return mean, math.Sqrt(rms)
}

// Edges seen through a tilted camera with distortion, located in the blurred linear picture, stand where the outline projects to.
// The bend of the edge moves a located edge by sigma²/2R: 0.9²/(2·75) = 0.005 px in the corners, a third of the outline.
func TestEdgesStandWhereTheTruthSays(t *testing.T) {
	o := mapped(RoundedRect(60, 44, 12), geom.Rigid{A: math.Cos(0.3), B: -math.Sin(0.3), C: math.Sin(0.3), D: math.Cos(0.3), Tx: 2, Ty: 1})
	s := flat(700, 560, o)
	Look(&s.Camera, geom.PointMM{}, 90, 12, 50, 20)
	w := noTexture(newWorld(s))
	f := w.render()
	f.blur(0.9, 1)
	var px []geom.PointPx
	for i := 0; i < len(o); i += 3 {
		px = append(px, s.Camera.PixelFromPlane(o[i], 0))
	}
	off := edgeOffsets(f, px, 5)
	mean, single := meanAndRMS(off)
	var fives []float64
	for i := 0; i+5 <= len(off); i += 5 {
		m, _ := meanAndRMS(off[i : i+5])
		fives = append(fives, m)
	}
	_, rms := meanAndRMS(fives)
	// 21 rays a pixel leave 0.016 px of random error in one profile, less than half of what a phone's noise does.
	if math.Abs(mean) > 0.006 || single > 0.02 || rms > 0.01 {
		t.Errorf("%d profiles: mean %.4f px, RMS %.4f px, of fives %.4f px; want 0.006, 0.02 and 0.01", len(off), mean, single, rms)
	}
}

// The corners of tags in the truth are where the renderer puts them: every side of every border, in linear light.
func TestTagsStandWhereTheTruthSays(t *testing.T) {
	s := flat(1000, 400)
	s.Strips = []Strip{{Number: 7, Origin: geom.PointMM{X: -95, Y: -14}, TurnDeg: 3, Scale: [2]float64{1, 1}}}
	Look(&s.Camera, geom.PointMM{}, 190, 10, -70, 4)
	f := noTexture(newWorld(s)).render()
	f.blur(0.9, 1)
	var off []float64
	for _, tag := range s.Truth("").Strips[0].Tags {
		for k := range 4 {
			a, b := tag.CornersPx[k], tag.CornersPx[(k+1)%4]
			var side []geom.PointPx
			for i := range 40 {
				r := 0.1 + 0.8*float64(i)/39
				side = append(side, geom.PointPx{U: a[0] + r*(b[0]-a[0]), V: a[1] + r*(b[1]-a[1])})
			}
			// Closed through the middle of the tag, so that outwards is outwards; the ends' normals are not those of the side.
			c := geom.PointPx{}
			for _, q := range tag.CornersPx {
				c.U, c.V = c.U+q[0]/4, c.V+q[1]/4
			}
			side = append(side, c)
			off = append(off, edgeOffsets(f, side, 2.5)[1:39]...)
		}
	}
	mean, rms := meanAndRMS(off)
	if math.Abs(mean) > 0.01 || rms > 0.02 {
		t.Errorf("%d profiles: mean %.4f px, RMS %.4f px, want 0.01 and 0.02", len(off), mean, rms)
	}
}

// Where the cut wall of a sheet 3 mm thick can be seen, it ends at the bench where the outline at the bench's depth projects
// to, and begins at the top edge.
func TestWallBetweenTopEdgeAndBench(t *testing.T) {
	o := RoundedRect(60, 44, 12)
	s := flat(700, 560, o)
	s.BenchMM, s.HeightMM = 3, 0
	Look(&s.Camera, geom.PointMM{}, 110, 14, 0, 0)
	s.Part.Gasket = true
	w := newWorld(s)
	r := newRays(&s.Camera)
	seen := 0
	for i := 0; i < len(o); i += 5 {
		top, foot := s.Camera.PixelFromPlane(o[i], 0), s.Camera.PixelFromPlane(o[i], -3)
		n := outwardNormals(o)[i]
		ray := r.through(top.U, top.V)
		if n.X*ray.MX+n.Y*ray.MY < 0.05 {
			continue // the wall faces away
		}
		seen++
		for _, c := range []struct {
			share float64
			want  uint8
		}{{-0.04, onFace}, {0.04, onWall}, {0.96, onWall}, {1.04, onBench}} {
			u, v := top.U+c.share*(foot.U-top.U), top.V+c.share*(foot.V-top.V)
			if _, id := w.shade(r.through(u, v)); id != c.want {
				t.Fatalf("outline point %v, %.2f of the way from top edge to foot: hit %d, want %d", o[i], c.share, id, c.want)
			}
		}
	}
	if seen < 20 {
		t.Fatalf("wall seen at %d points only", seen)
	}
}

// A broken edge begins at the outline and ends the break's size further in, seen from above.
func TestRimBetweenOutlineAndThroat(t *testing.T) {
	for _, rounded := range []bool{false, true} {
		o := Circle(geom.PointMM{}, 50)
		s := flat(600, 600, o)
		s.Part.Ports[0].BreakMM, s.Part.Ports[0].Rounded = 0.4, rounded
		s.Camera = scalecard.Camera{WidthPx: 600, HeightPx: 600, Scan: &scalecard.Affine{A: 10, Tu: 300, D: -10, Tv: 300}}
		w, r := newWorld(s), newRays(&s.Camera)
		for _, c := range []struct {
			radiusMM float64
			want     uint8
		}{{25.003, onFace}, {24.997, onRim}, {24.603, onRim}, {24.597, onCap}} {
			for k := range 16 {
				p := polar(c.radiusMM*(1+2e-5), float64(k)*math.Pi/8+0.01)
				if _, id := w.shade(r.through(300+10*p.X, 300-10*p.Y)); id != c.want {
					t.Errorf("rounded %v, radius %.3f: hit %d, want %d", rounded, c.radiusMM, id, c.want)
				}
			}
		}
	}
}
