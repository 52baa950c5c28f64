package contour

import (
	"math"

	"portmatch/internal/geom"
)

// reach says how far from the curve at hand the edge may lie, mm.
type reach struct{ out, in float64 }

// locate takes a coarse closed curve to where the face ends, by regions, to about a tenth of a mm. atEdge tells that the curve is one along the
// edge, as far as is known, and none that closed at some grey level.
func (s *surface) locate(coarse []geom.PointMM, m edgeModel, far reach, atEdge bool) []geom.PointMM {
	px := s.mmPerPx(centroid(coarse))
	spacing := vertexSpacing(px)
	base := smoothClosed(resampleClosed(coarse, spacing), spacing, 0.8)
	if m.wallMM > 0 && !atEdge {
		// What closes at some grey level may be the wall's foot as well as the face's edge: start half way.
		b := s.unroll(base, -px, px, px, 0, false)
		off := make([]float64, len(base))
		for i, l := range b.lean {
			off[i] = -m.width(l) / 2
		}
		base = resampleClosed(b.moved(smoothOffsets(off, b.spacing, 2.5)), spacing)
	}
	// The face is learned from a ring this wide, so that a bead or a narrow land's edge is the smaller half of it.
	ring := -m.within(5)
	inner, behind := 0.16*ring, 1.0
	if atEdge {
		behind = math.Max(behind, far.in/2)
	}
	const behindMM = 2.5 // that is to be seen of what is behind the edge
	far.out = m.within(far.out)
	for _, lean := range []float64{coarseLean, fineLean} {
		in := far.in + m.wallMM/2
		deepest := in
		if atEdge {
			in, deepest = far.in, math.Max(in, behindMM+m.wallMM)
		}
		b := s.unroll(base, math.Max(ring, -far.out-3)-0.3, deepest, 0.5*px, 1.2, true)
		off := m.faceEnd(b, math.Max(ring, -far.out-3), inner, behind, reach{far.out, in}, lean)
		base = resampleClosed(b.moved(smoothOffsets(off, b.spacing, 0.5)), spacing)
		base = smoothClosed(base, spacing, 0.5)
		inner, behind = 0.1*ring, 1.0
		if atEdge {
			far = reach{far.out * 2 / 3, far.in * 2 / 3}
		} else {
			far = reach{math.Min(far.out, 2), math.Min(far.in, 3)}
		}
	}
	return base
}

// vertexSpacing is the distance between measured places along an outline: closer brings no news, as neighbouring
// profiles share their pixels.
func vertexSpacing(pxMM float64) float64 { return math.Max(0.3, 2*pxMM) }

// profileAverageMM is the length of edge that one profile is averaged over (triangular weights, whole base). A high spot
// 8 mm wide is followed; noise and grain are not.
const profileAverageMM = 1.0

// profiles unrolls the band that the model is fitted in.
func (s *surface) profiles(base []geom.PointMM, m edgeModel, half float64) (b *band, level, spread []float64) {
	px := s.mmPerPx(base[0])
	deep := 0.8*m.wallMM + 1.3*m.rimMM
	out := m.within(2.2)
	if m.beaded {
		out = 5 // so that the bead is the smaller half of it
	}
	b = s.unroll(base, -(half + math.Max(2.4, out)), half+1.5+deep, 0.5*px, profileAverageMM, true)
	level, spread = faceLevels(b, -out, -math.Min(0.5, out/2))
	return b, level, spread
}

// refine fits the edge model to the profiles across base, twice, and returns the sub-pixel edge.
//
// The place where the face ends by regions, base, is a second opinion: where the fit has left it, the edge is less
// certain, and where it has left it far, it is not trusted.
func (s *surface) refine(base []geom.PointMM, m edgeModel) edgeReading {
	var r edgeReading
	var b *band
	regions := geom.NewIndex(geom.Outline(base))
	wide := 0.5
	if m.wall != nil || m.cast != nil {
		wide = 0.8 // a patch of the face that looks like what is behind it leads regions astray by that
	}
	for _, half := range []float64{wide + m.rimMM, 0.25} {
		var level, spread []float64
		b, level, spread = s.profiles(base, m, half)
		e := m.scan(b, half, 0.25*b.pxMM, level, spread)
		r = e.read(m, b, half, level, spread)
		base = resampleClosed(r.outline, b.spacing)
		base = smoothClosed(base, b.spacing, 0.3)
	}
	bleed := 0.0
	if m.rusty {
		r.bare(b)
		r.unlessRusty()
	}
	if m.dyed {
		r.bare(b)
		r.scribed(b)
		bleed = bleedPx
	}
	if m.shades != nil {
		r.shade(b, m)
	}
	r.quantum = s.photo.MeanQuantum
	if m.wallMM > 0 {
		r.bridge(regions)
	}
	// Regions may end the face before a rim or behind it: with what is usual, a whole rim inside. A doubtful rim's edge is not its outer one.
	usual, inside := 0.1+0.3*m.rimMM, 0.7*m.rimMM
	if m.doubt {
		inside = 0
	}
	r.compare(regions, usual, inside, bleed)
	r.soften(m.softMM)
	return r
}

// bleedPx is how far the colour of a dyed face runs over into a dark opening.
const bleedPx = 2.0

func smoothOffsets(off []float64, spacing, sigma float64) []float64 {
	n := len(off)
	k := min(int(math.Ceil(3*sigma/spacing)), (n-1)/2)
	out := make([]float64, n)
	for i := range off {
		var s, w float64
		for a := -k; a <= k; a++ {
			x := float64(a) * spacing / sigma
			g := math.Exp(-x * x / 2)
			s += g * off[(i+a+n)%n]
			w += g
		}
		out[i] = s / w
	}
	return out
}

// every returns a band of every k-th row.
func (b *band) every(k int) *band {
	o := *b
	o.base, o.inward, o.lean, o.pixels, o.rows, o.hue = nil, nil, nil, nil, nil, nil
	for i := 0; i+k <= len(b.base); i += k {
		if b.hue != nil {
			o.hue = append(o.hue, b.hue[2*i*b.n:2*(i+1)*b.n]...)
		}
		o.base, o.inward = append(o.base, b.base[i]), append(o.inward, b.inward[i])
		o.lean, o.pixels = append(o.lean, b.lean[i]), append(o.pixels, b.pixels[i])
		o.rows = append(o.rows, b.row(i)...)
	}
	o.spacing *= float64(k)
	return &o
}
