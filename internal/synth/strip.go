package synth

import (
	"math"

	"portmatch/internal/geom"
)

// The strip, as printed at 1:1 (mm): see the scale card in the design.
const (
	stripLengthMM = 190.0
	stripHeightMM = 28.0
	tagMM         = 16.0
	tagPitchMM    = 20.0
	tagFirstMM    = 15.0
	tagMiddleMM   = 16.0
	tagCellMM     = 2.0
)

// tagCellWhite tells whether a cell of the 8 x 8 of tag id is white; row 0 is the top.
func tagCellWhite(id, row, col int) bool {
	if row < 1 || row > 6 || col < 1 || col > 6 {
		return false
	}
	return tagInk36h11[id]>>(35-(6*(row-1)+col-1))&1 == 1
}

type stripOf struct {
	*Strip
	cos, sin float64
	depth    float64 // of the print below the face, mm
	sx, sy   float64
}

func newStripOf(s *Strip, depthMM float64) stripOf {
	a := s.TurnDeg * math.Pi / 180
	o := stripOf{Strip: s, cos: math.Cos(a), sin: math.Sin(a), depth: depthMM, sx: s.Scale[0], sy: s.Scale[1]}
	if o.sx == 0 {
		o.sx, o.sy = 1, 1
	}
	return o
}

// local returns strip coordinates, in mm on the paper as it lies.
func (s *stripOf) local(x, y float64) (u, v float64) {
	x -= s.Origin.X
	y -= s.Origin.Y
	return x*s.cos + y*s.sin, -x*s.sin + y*s.cos
}

// up is how far the paper stands above its plane at u.
func (s *stripOf) up(u float64) float64 {
	t := u / (stripLengthMM * s.sx)
	return s.LiftMM*t + s.CurlMM*4*t*(1-t)
}

// point is a point of the strip in the part frame; u and v as printed at 1:1.
func (s *stripOf) point(u, v float64) point3 {
	u *= s.sx
	v *= s.sy
	return point3{s.Origin.X + u*s.cos - v*s.sin, s.Origin.Y + u*s.sin + v*s.cos, -s.depth + s.up(u)}
}

// tagCorners in the strip frame: lower left, lower right, upper right, upper left.
func tagCorners(i int) [4]geom.PointMM {
	x := tagFirstMM + tagPitchMM*float64(i)
	const h = tagMM / 2
	return [4]geom.PointMM{{X: x - h, Y: tagMiddleMM - h}, {X: x + h, Y: tagMiddleMM - h}, {X: x + h, Y: tagMiddleMM + h}, {X: x - h, Y: tagMiddleMM + h}}
}

// dark tells whether ink covers (u, v), printed coordinates.
func (s *stripOf) dark(u, v float64) bool {
	i := int(math.Floor((u - (tagFirstMM - tagPitchMM/2)) / tagPitchMM))
	if i < 0 || i > 8 {
		return false
	}
	tx, ty := u-(tagFirstMM+tagPitchMM*float64(i))+tagMM/2, tagMiddleMM+tagMM/2-v
	if tx < 0 || ty < 0 || tx >= tagMM || ty >= tagMM {
		return false
	}
	return !tagCellWhite(10*(s.Number-1)+i, int(ty/tagCellMM), int(tx/tagCellMM))
}

func (w *world) shadeStrips(r ray) (RGB, uint8, bool) {
	for i := range w.strips {
		s := &w.strips[i]
		x, y := r.below(s.depth)
		u, v := s.local(x, y)
		if s.LiftMM != 0 || s.CurlMM != 0 {
			for range 4 {
				x, y = r.below(s.depth - s.up(u))
				u, v = s.local(x, y)
			}
		}
		pu, pv := u/s.sx, v/s.sy
		if pu < 0 || pv < 0 || pu > stripLengthMM || pv > stripHeightMM {
			continue
		}
		a, id := w.paper, uint8(onPaper)
		g := s.InkMM
		if s.dark(pu, pv) || g > 0 && (s.dark(pu-g, pv) || s.dark(pu+g, pv) || s.dark(pu, pv-g) || s.dark(pu, pv+g)) {
			a, id = w.ink, onInk
		} else if pv < 9 {
			a = a.mix(w.ink, s.printedLines(pu, pv, w.mmPerPx))
		}
		l := w.lightAt(x, y, -s.depth)
		return a.scaled(l * (1 + 0.01*w.grain.at(x/1.5, y/1.5))), id, true
	}
	return RGB{}, 0, false
}

// printedLines is the ink of the check line with its ticks, and of a label.
func (s *stripOf) printedLines(u, v, px float64) float64 {
	cover := func(d, half float64) float64 { return clamp01((half-d)/px + 0.5) }
	ink := 0.0
	if u > 19.9 && u < 170.1 {
		ink = max(ink, cover(math.Abs(v-3), 0.1))
	}
	for _, t := range []float64{20, 170} {
		if math.Abs(v-3) < 1.5 {
			ink = max(ink, cover(math.Abs(u-t), 0.1))
		}
	}
	// A label, as rows of small strokes.
	if u > 80 && u < 110 && v > 4 && v < 6.2 {
		k := int(u / 0.55)
		if hash(uint32(k), uint32(v/0.75), uint32(s.Number))&3 == 0 {
			ink = 0.9
		}
	}
	return ink
}

// shadowOn is what the strip, heightMM above the bench, leaves of the direct light and of the sky at (x, y) of the bench.
func (s *stripOf) shadowOn(x, y, heightMM float64, w *world) (direct, sky float64) {
	box := func(x, y float64) float64 {
		u, v := s.local(x, y)
		dx := max(-u, u-stripLengthMM*s.sx)
		dy := max(-v, v-stripHeightMM*s.sy)
		if dx > 0 && dy > 0 {
			return math.Hypot(dx, dy)
		}
		return max(dx, dy)
	}
	q := box(x, y)
	if q > 8*heightMM+3 {
		return 1, 1
	}
	soft := 0.05 + heightMM*w.Light.Softness
	direct = ramp(box(x+w.lx*heightMM, y+w.ly*heightMM), -soft, soft)
	sky = 0.5 * (1 + q/hypot(q, heightMM+1e-9))
	return direct, sky
}
