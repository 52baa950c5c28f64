package synth

import (
	"fmt"
	"math"

	sf "github.com/peterstace/simplefeatures/geom"

	"portmatch/internal/geom"
)

// Truth is what is exactly so in one picture: a superset of what the scoring reads. Lengths in mm of the part frame.
type Truth struct {
	Scene       string `json:"scene"`
	Image       string `json:"image"`
	Class       string `json:"class"`
	Describe    string `json:"describe"`
	Kind        string `json:"kind"`
	Mirrored    bool   `json:"mirrored"`
	Conventions struct {
		DesignFromPart [2][2]float64 `json:"design_from_part"`
		Pixel          string        `json:"pixel"`
		PartFrame      string        `json:"part_frame"`
	} `json:"conventions"`
	PlaneOffset struct {
		FaceMinusStripsMM float64 `json:"face_minus_strips_mm"`
	} `json:"plane_offset"`
	BenchMM       float64      `json:"bench_below_face_mm"`
	Camera        TruthCamera  `json:"camera"`
	Strips        []TruthStrip `json:"strips"`
	Ports         []TruthPort  `json:"ports"`
	Holes         []TruthHole  `json:"holes"`
	PartOutline   [][2]float64 `json:"part_outline"`
	PartOutlinePx [][2]float64 `json:"part_outline_px"`
}

// TruthCamera is the camera in the part frame.
type TruthCamera struct {
	Model           string      `json:"model"`
	Width           int         `json:"width"`
	Height          int         `json:"height"`
	FX              float64     `json:"fx,omitempty"`
	FY              float64     `json:"fy,omitempty"`
	CX              float64     `json:"cx,omitempty"`
	CY              float64     `json:"cy,omitempty"`
	K1              float64     `json:"k1"`
	K2              float64     `json:"k2"`
	R               *[9]float64 `json:"R_row_major,omitempty"`
	T               *[3]float64 `json:"t,omitempty"`
	AffinePartToPx  *[6]float64 `json:"affine_part_to_px_row_major,omitempty"`
	Focal35         float64     `json:"focal_length_35mm,omitempty"`
	TiltDeg         float64     `json:"tilt_deg"`
	DeclaredDPI     float64     `json:"declared_dpi,omitempty"`
	ExifOrientation int         `json:"exif_orientation,omitempty"`
	BlurPx          float64     `json:"blur_px"`
	MMPerPx         float64     `json:"mm_per_px"`
	ToneKind        string      `json:"tone"`
	ToneS           float64     `json:"tone_s,omitempty"`
	ToneGamma       float64     `json:"tone_gamma,omitempty"`
}

// TruthStrip is one strip; corners lower left, lower right, upper right, upper left.
type TruthStrip struct {
	Strip     int                 `json:"strip"`
	Origin    [3]float64          `json:"origin"`
	RotDeg    float64             `json:"rot_deg"`
	LiftMM    float64             `json:"lift_mm,omitempty"`
	CornersPx [][2]float64        `json:"corners_px"`
	Tags      map[string]TruthTag `json:"tags"`
}

// TruthTag holds the corners of a tag's black border.
type TruthTag struct {
	CornersPx [][2]float64 `json:"corners_px"`
}

// TruthPort is one opening: where the flat face ends.
type TruthPort struct {
	ID          string       `json:"id"`
	Outline     [][2]float64 `json:"outline"`
	OutlinePx   [][2]float64 `json:"outline_px"`
	AreaMM2     float64      `json:"area_mm2"`
	Centroid    [2]float64   `json:"centroid"`
	EdgeBreakMM float64      `json:"edge_break_mm,omitempty"`
	Rounded     bool         `json:"rounded,omitempty"`
}

// TruthHole is one hole.
type TruthHole struct {
	ID           string     `json:"id"`
	Kind         string     `json:"kind"`
	Centre       [2]float64 `json:"centre"`
	Diameter     float64    `json:"diameter"`
	EdgeDiameter float64    `json:"edge_diameter_at_face"`
}

// PairTruth is what target and work differ by. Frame: the design frame as looked at, shifted and turned to the target's
// dowel holes (or bolt holes).
type PairTruth struct {
	Target   string  `json:"target"`
	Face     string  `json:"face"`
	Class    string  `json:"class"`
	Seed     uint64  `json:"seed"`
	Edge     string  `json:"edge"`
	Frame    string  `json:"frame"`
	TargetMM float64 `json:"target_height_mm"`
	WorkMM   float64 `json:"work_height_mm"`
	// Scale is by how much both pictures measure too long, and these figures with them; 0 means 1.
	Scale float64 `json:"length_scale,omitempty"`
	// PairFromWork takes the work picture's part frame to the pair's, row-major [a, b, tx, c, d, ty].
	PairFromWork *[6]float64 `json:"pair_from_work_part,omitempty"`
	Ports        []PairPort  `json:"ports"`
	Holes        []PairHole  `json:"holes"`
}

// PairPort is one port of the pair. Steps by the definition of the scoring: remove = largest distance from a target vertex
// outside the work opening to the work outline; overhang (past) = the other way round.
type PairPort struct {
	Port           string      `json:"port"`
	TargetAreaMM2  float64     `json:"target_area_mm2"`
	PortAreaMM2    float64     `json:"port_area_mm2"`
	RemoveAreaMM2  float64     `json:"area_to_remove_mm2"`
	PastAreaMM2    float64     `json:"overhang_area_mm2"`
	RemoveStepMM   float64     `json:"max_step_to_remove_mm"`
	RemoveAt       *[2]float64 `json:"max_step_to_remove_at"`
	PastStepMM     float64     `json:"max_overhang_step_mm"`
	PastAt         *[2]float64 `json:"max_overhang_step_at"`
	TargetCentroid [2]float64  `json:"target_centroid"`
	PortCentroid   [2]float64  `json:"port_centroid"`
}

// PairHole is a hole of the target in the pair's frame.
type PairHole struct {
	X    float64 `json:"x"`
	Y    float64 `json:"y"`
	Kind string  `json:"kind"`
}

func xy(p geom.PointMM) [2]float64 { return [2]float64{round(p.X, 5), round(p.Y, 5)} }

func round(v float64, digits int) float64 {
	k := math.Pow(10, float64(digits))
	return math.Round(v*k) / k
}

func xys(p []geom.PointMM) [][2]float64 {
	q := make([][2]float64, len(p))
	for i := range p {
		q[i] = xy(p[i])
	}
	return q
}

// Truth describes the scene exactly; image is the picture's file name.
func (s *Scene) Truth(image string) *Truth {
	t := &Truth{Scene: s.Name, Image: image, Class: s.Class, Describe: s.Describe, Kind: "face", Mirrored: s.Part.Mirrored, BenchMM: s.BenchMM}
	if s.Part.Gasket {
		t.Kind = "gasket"
	}
	t.Conventions.DesignFromPart = [2][2]float64{{1, 0}, {0, 1}}
	if s.Part.Mirrored {
		t.Conventions.DesignFromPart[0][0] = -1
	}
	t.Conventions.Pixel = "pixels of the picture as displayed, after EXIF orientation; the centre of the top left pixel is (0, 0), u right, v down"
	t.Conventions.PartFrame = "mm; x right, y up, z to the viewer, as seen in the picture; z = 0 is the measured face"
	t.PlaneOffset.FaceMinusStripsMM = s.HeightMM
	c, o := &s.Camera, &s.Optics
	px := func(p geom.PointMM, z float64) [2]float64 {
		q := c.PixelFromPlane(p, z)
		return [2]float64{round(q.U, 4), round(q.V, 4)}
	}
	pxs := func(p []geom.PointMM, z float64) [][2]float64 {
		q := make([][2]float64, len(p))
		for i := range p {
			q[i] = px(p[i], z)
		}
		return q
	}
	mid := centroidOf(s.Part.Outline)
	t.Camera = TruthCamera{Model: "pinhole + radial", Width: c.WidthPx, Height: c.HeightPx, K1: c.K1, K2: c.K2, Focal35: s.Focal35MM, TiltDeg: s.TiltDeg,
		DeclaredDPI: s.DeclaredDPI, ExifOrientation: s.Orientation, BlurPx: o.BlurPx, ToneKind: o.Tone.Kind, ToneS: o.Tone.S, ToneGamma: o.Tone.Gamma,
		MMPerPx: 1 / c.PixelFromPlane(mid, 0).Dist(c.PixelFromPlane(mid.Add(geom.PointMM{X: 1}), 0))}
	if c.Scan != nil {
		t.Camera.Model = "orthographic"
		t.Camera.AffinePartToPx = &[6]float64{c.Scan.A, c.Scan.B, c.Scan.Tu, c.Scan.C, c.Scan.D, c.Scan.Tv}
	} else {
		t.Camera.FX, t.Camera.FY, t.Camera.CX, t.Camera.CY = c.FocalPx, c.FocalPx, c.CxPx, c.CyPx
		t.Camera.R, t.Camera.T = &c.R, &c.T
	}
	for i := range s.Strips {
		g := newStripOf(&s.Strips[i], s.HeightMM)
		at := func(u, v float64) [2]float64 {
			p := g.point(u, v)
			return px(geom.PointMM{X: p.X, Y: p.Y}, p.Z)
		}
		ts := TruthStrip{Strip: g.Number, Origin: [3]float64{g.Origin.X, g.Origin.Y, -s.HeightMM}, RotDeg: g.TurnDeg, LiftMM: g.LiftMM, Tags: map[string]TruthTag{},
			CornersPx: [][2]float64{at(0, 0), at(stripLengthMM, 0), at(stripLengthMM, stripHeightMM), at(0, stripHeightMM)}}
		for k := range 9 {
			var tag TruthTag
			for _, q := range tagCorners(k) {
				tag.CornersPx = append(tag.CornersPx, at(q.X, q.Y))
			}
			ts.Tags[fmt.Sprint(10*(g.Number-1)+k)] = tag
		}
		t.Strips = append(t.Strips, ts)
	}
	for _, p := range s.Part.Ports {
		t.Ports = append(t.Ports, TruthPort{ID: p.ID, Outline: xys(p.Outline), OutlinePx: pxs(p.Outline, 0), AreaMM2: signedAreaMM2(p.Outline),
			Centroid: xy(centroidOf(p.Outline)), EdgeBreakMM: p.BreakMM, Rounded: p.Rounded})
	}
	for _, h := range s.Part.Holes {
		kind := "bolt"
		if h.Dowel {
			kind = "dowel"
		}
		t.Holes = append(t.Holes, TruthHole{h.ID, kind, xy(h.Centre), h.DiameterMM, h.EdgeDiameterMM})
	}
	t.PartOutline, t.PartOutlinePx = xys(s.Part.Outline), pxs(s.Part.Outline, 0)
	return t
}

// design takes a point of the part frame to the design frame.
func (p *Part) design() geom.Rigid {
	if p.Mirrored {
		return geom.Rigid{A: -1, D: 1}
	}
	return geom.Identity()
}

// Truth lays the work face on the target by their dowel holes, or by all bolt holes where there are fewer than two, and
// compares the outlines. Parts that don't belong together have no rows.
func (k *Case) Truth() (*PairTruth, error) {
	target, work := k.Target, k.Work
	t := &PairTruth{Target: target.Name, Face: work.Name, Class: k.Class, Seed: k.Seed, Edge: "visible", TargetMM: k.TargetHeightMM, WorkMM: k.WorkHeightMM, Scale: k.TruthScale}
	if k.Unrelated {
		return t, nil
	}
	td, wd := target.Part.design(), work.Part.design()
	holes := func(dowel bool) (a, b []geom.PointMM) {
		for _, h := range work.Part.Holes {
			for _, g := range target.Part.Holes {
				if g.ID == h.ID && (g.Dowel || !dowel) {
					a, b = append(a, wd.Apply(h.Centre)), append(b, td.Apply(g.Centre))
				}
			}
		}
		return a, b
	}
	a, b := holes(true)
	t.Frame = "dowel frame"
	if len(a) < 2 {
		a, b = holes(false)
		t.Frame = "bolt frame"
	}
	if len(a) < 2 {
		return nil, fmt.Errorf("pair %s, %s: %d holes in common, 2 needed", target.Name, work.Name, len(a))
	}
	targetFromWork := fitRigid(a, b)
	var o geom.PointMM
	for _, p := range b {
		o = o.Add(p.Scale(1 / float64(len(b))))
	}
	dir := geom.PointMM{X: 1}
	if t.Frame == "dowel frame" {
		dir = b[1].Sub(b[0]).Scale(1 / b[1].Dist(b[0]))
	}
	pairFromTarget := geom.Rigid{A: dir.X, B: dir.Y, C: -dir.Y, D: dir.X}
	pairFromTarget.Tx, pairFromTarget.Ty = -pairFromTarget.Turn(o).X, -pairFromTarget.Turn(o).Y
	for _, h := range target.Part.Holes {
		p := pairFromTarget.Apply(td.Apply(h.Centre))
		kind := "bolt"
		if h.Dowel {
			kind = "dowel"
		}
		t.Holes = append(t.Holes, PairHole{p.X, p.Y, kind})
	}
	m := pairFromTarget.After(targetFromWork).After(wd)
	t.PairFromWork = &[6]float64{m.A, m.B, m.Tx, m.C, m.D, m.Ty}
	for _, g := range target.Part.Ports {
		for _, p := range work.Part.Ports {
			if p.ID != g.ID {
				continue
			}
			row, err := comparePort(mapped(g.Outline, pairFromTarget.After(td)), mapped(p.Outline, m))
			if err != nil {
				return nil, fmt.Errorf("pair %s, %s, port %s: %w", target.Name, work.Name, g.ID, err)
			}
			row.Port = g.ID
			if k.TruthScale != 0 {
				row.scale(k.TruthScale)
			}
			t.Ports = append(t.Ports, row)
		}
	}
	return t, nil
}

// scale multiplies every length by v.
func (p *PairPort) scale(v float64) {
	for _, a := range []*float64{&p.TargetAreaMM2, &p.PortAreaMM2, &p.RemoveAreaMM2, &p.PastAreaMM2} {
		*a *= v * v
	}
	p.RemoveStepMM *= v
	p.PastStepMM *= v
	for _, at := range []*[2]float64{&p.TargetCentroid, &p.PortCentroid, p.RemoveAt, p.PastAt} {
		if at != nil {
			at[0] *= v
			at[1] *= v
		}
	}
}

// fitRigid is the proper rigid map that takes a to b in the least-squares sense.
func fitRigid(a, b []geom.PointMM) geom.Rigid {
	var ca, cb geom.PointMM
	n := 1 / float64(len(a))
	for i := range a {
		ca, cb = ca.Add(a[i].Scale(n)), cb.Add(b[i].Scale(n))
	}
	var dot, cross float64
	for i := range a {
		p, q := a[i].Sub(ca), b[i].Sub(cb)
		dot += p.Dot(q)
		cross += p.Cross(q)
	}
	t := math.Atan2(cross, dot)
	r := geom.Rigid{A: math.Cos(t), B: -math.Sin(t), C: math.Sin(t), D: math.Cos(t)}
	m := cb.Sub(r.Turn(ca))
	r.Tx, r.Ty = m.X, m.Y
	return r
}

func comparePort(target, work []geom.PointMM) (PairPort, error) {
	p := PairPort{TargetAreaMM2: signedAreaMM2(target), PortAreaMM2: signedAreaMM2(work), TargetCentroid: xy(centroidOf(target)), PortCentroid: xy(centroidOf(work))}
	g, h := polygon(target), polygon(work)
	rem, err := sf.Difference(g, h)
	if err != nil {
		return p, err
	}
	past, err := sf.Difference(h, g)
	if err != nil {
		return p, err
	}
	p.RemoveAreaMM2, p.PastAreaMM2 = rem.Area(), past.Area()
	p.RemoveStepMM, p.RemoveAt = farthestOutside(target, work)
	p.PastStepMM, p.PastAt = farthestOutside(work, target)
	return p, nil
}

func polygon(p []geom.PointMM) sf.Geometry {
	c := make([]float64, 0, 2*len(p)+2)
	for _, q := range p {
		c = append(c, q.X, q.Y)
	}
	c = append(c, p[0].X, p[0].Y)
	return sf.NewPolygon([]sf.LineString{sf.NewLineString(sf.NewSequence(c, sf.DimXY))}).AsGeometry()
}

// farthestOutside is the largest distance to the outline of b over the vertices of a that lie outside b.
func farthestOutside(a, b []geom.PointMM) (float64, *[2]float64) {
	best := 0.0
	var at *[2]float64
	for _, p := range a {
		if inside(p, b) {
			continue
		}
		d := math.Inf(1)
		for i := range b {
			d = math.Min(d, distToSegment(p, b[i], b[(i+1)%len(b)]))
		}
		if d > best {
			best = d
			q := xy(p)
			at = &q
		}
	}
	return best, at
}

func inside(p geom.PointMM, o []geom.PointMM) bool {
	in := false
	for i := range o {
		a, b := o[i], o[(i+1)%len(o)]
		if (a.Y > p.Y) != (b.Y > p.Y) && p.X < a.X+(p.Y-a.Y)/(b.Y-a.Y)*(b.X-a.X) {
			in = !in
		}
	}
	return in
}
