package contour

import (
	"math"
	"slices"

	"portmatch/internal/geom"
)

// Layout dye brushed round the ports of a bare face has an edge of its own, and that may close at one grey level and be as strong as an
// opening's. But paint is coloured, and neither the face round it nor what is dark in the holes is.

// coloured is the chroma over brightness of layout dye, at least: bare metal, most rust and grey gaskets have under 0.1, blue dye 0.2 and more.
const coloured = 0.12

// withoutPaint drops the curves that go round patches of paint on a thick part's face: coloured inside and bare outside, with a sound
// opening within.
func (v *Survey) withoutPaint(cands []*loop) []*loop {
	if v.thin || !v.s.photo.HasColour() {
		return cands
	}
	return slices.DeleteFunc(slices.Clone(cands), func(l *loop) bool {
		return l.areaMM2 > smallMM2 && slices.ContainsFunc(cands, func(o *loop) bool { return openingWithin(l, o) }) && v.paintEdge(l)
	})
}

// openingWithin tells whether o is an opening within the patch that l goes round.
func openingWithin(l, o *loop) bool {
	const (
		leastPart = 0.08 // of the patch's area
		asSound   = 0.9  // of the patch's compactness
	)
	return o.darkInside == l.darkInside && !o.cut && o.wide > minContrast && encloses(l, o) && o.areaMM2 > leastPart*l.areaMM2 &&
		solidity(o) > minSolidity && compactness(o) > asSound*compactness(l)
}

// paintEdge tells whether the photo is coloured along the inside of the curve and hardly so along its outside. A bench seen through a
// short port is coloured too, and then it is so in the holes.
func (v *Survey) paintEdge(l *loop) bool {
	const lessOutside = 0.5 // of the colour inside
	paint := v.colourBeside([]*loop{l}, l.wideMM())
	return paint > coloured && v.colourBeside([]*loop{l}, -l.wideMM()) < lessOutside*paint && v.colourInHoles() < lessOutside*paint
}

// colourInHoles is how coloured what shows in the holes is; 0 where none was measured.
func (v *Survey) colourInHoles() float64 {
	const places = 16
	var at []geom.PointMM
	for _, h := range v.holes {
		for k := range places {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / places)
			at = append(at, h.Centre.Add(geom.PointMM{X: cos, Y: sin}.Scale(0.3*h.DiameterMM)))
		}
	}
	return v.s.colourAt(at)
}

// colourBeside is how coloured the photo is along the curves, inMM inside them.
func (v *Survey) colourBeside(curves []*loop, inMM float64) float64 {
	var at []geom.PointMM
	for _, l := range curves {
		ring := resampleClosed(l.pts, 1)
		for i, in := range inwardNormals(ring) {
			at = append(at, ring[i].Add(in.Scale(inMM)))
		}
	}
	return v.s.colourAt(at)
}

// colourAt is the chroma over brightness that is usual at places of the face; 0 where the photo shows none of them.
func (s *surface) colourAt(places []geom.PointMM) float64 {
	var blue, red []float64
	for _, p := range places {
		if q := s.pixel(p); s.inside(q) {
			cb, cr := s.hue(q)
			blue, red = append(blue, float64(cb)), append(red, float64(cr))
		}
	}
	return math.Hypot(quantile(blue, 0.5), quantile(red, 0.5))
}

// seenThroughDye looks again at the openings of a face that is dyed or rusty. A dyed one's bare patches are bright and grey, its dye is
// dark and coloured, and a lit wall of a tunnel dark and grey: neither brightness nor colour alone tells such a wall from the face, but a
// mixture of both does. An opening that the mixture shows larger takes the place of what brightness shows.
func (v *Survey) seenThroughDye() {
	const (
		leastColour = 0.04 // chroma over brightness; bare metal has less
		leastApart  = 3.0  // standard deviations; see mixture
		mostLarger  = 2.5  // of the area
		asCompact   = 0.93
	)
	if v.thin || !v.s.photo.HasColour() || v.colourBeside(v.open.ports, -wideMM) < leastColour {
		return
	}
	hue := v.s.huePlans(v.plan)
	plans := [3]*plan{hue[0], hue[1], v.plan}
	m := discriminant(v.open.ports, plans)
	if m == nil || m.apart < leastApart {
		return
	}
	curves := v.curvesOn([]*plan{m.mixed(plans)})
	for i, l := range v.open.ports {
		best := l
		for _, o := range curves {
			if o.darkInside || o.cut || o.holdsStrip || o.areaMM2 > mostLarger*l.areaMM2 || !encloses(o, l) || compactness(o) < asCompact*compactness(l) || solidity(o) < minSolidity {
				continue
			}
			if best == l || o.wide > best.wide {
				best = o
			}
		}
		if best != l {
			larger := *best
			larger.darkInside = l.darkInside // openings are bright in a mixture
			v.open.ports[i] = larger.evened()
		}
	}
}
