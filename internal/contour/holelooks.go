package contour

import (
	"math"
	"slices"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// holeByLooks returns the hole of a gasket near h, which may be a mm off: its edge is where what looks like the face ends, in brightness or in
// hue. It returns nil where that is not all round, or on no circle. Where a bench is about as bright as the gasket on it, one side of a hole shows
// a dark shadow and the other hardly an edge, and the shadow's hue may be the bench's or the face's; but neither looks like the face.
//
// Of 49 holes in ray-traced photos that only hue showed, half were more than 0.085 mm off as the hue's curve goes round them, and one in ten 0.46 mm;
// started from here 0.044 and 0.17 mm. Of those that the brightness shows one in ten is 0.04 mm off as their own fit has them, and 0.19 mm as this
// does.
func (v *Survey) holeByLooks(h face.Hole) *face.Hole {
	const (
		farMM         = 1.2  // how far from h the edge is sought
		mostScatterMM = 0.2  // of the edge about a circle
		seen          = 0.75 // share of the sectors, at least
		centreMM      = 0.06 // standard uncertainty of a centre
		leanShare     = 0.2  // and of what the cut wall hides, which may look like the face
		diameterMM    = 0.07 // standard uncertainty
	)
	l := v.looksAcross(h, farMM)
	if l == nil {
		return nil
	}
	var edge []geom.PointMM
	for k := range l.rows {
		if mm, ok := l.end(k); ok {
			sin, cos := math.Sincos(sectorAngle(k, 0.5))
			edge = append(edge, h.Centre.Add(geom.PointMM{X: cos * mm, Y: sin * mm}))
		}
	}
	if float64(len(edge)) < seen*float64(len(l.rows)) {
		return nil
	}
	fit, err := geom.FitCircle(edge, nil)
	if err != nil {
		return nil
	}
	apart := make([]float64, len(edge))
	for i, p := range edge {
		apart[i] = math.Abs(p.Dist(fit.Centre) - fit.RadiusMM)
	}
	scatter := 1.4826 * quantile(apart, 0.5)
	if scatter > mostScatterMM {
		return nil
	}
	hidden := v.s.lean(fit.Centre).Norm() * v.wallDepth()
	sigma := math.Hypot(math.Hypot(centreMM, leanShare*hidden), scatter*math.Sqrt(2/float64(len(edge))))
	return &face.Hole{Centre: fit.Centre, DiameterMM: 2 * fit.RadiusMM, SigmaCentreMM: sigma, SigmaDiameterMM: math.Hypot(diameterMM, 2*sigma)}
}

// holeLooks is what is seen across the edge of a hole, sector by sector, from the inside outward: brightness and the two parts of the hue, less those
// of the face and over what a sector's means scatter by there.
type holeLooks struct {
	firstMM, stepMM float64 // from the hole's middle
	inside          int     // so many steps of each row lie inside the rough circle
	rows            [][][3]float64
}

const holeSectors = 24

// sectorAngle is the direction of a place in sector k of a hole, rad; share says how far across the sector.
func sectorAngle(k int, share float64) float64 {
	return 2 * math.Pi * (float64(k) + share) / holeSectors
}

// looksAcross looks across the edge of the hole near h, up to farMM to either side of h. It returns nil at the photo's edge.
func (v *Survey) looksAcross(h face.Hole, farMM float64) *holeLooks {
	const (
		places = 8 // of which a sector's mean is made
		stepMM = 0.1
		faceMM = 1.0 // of the face is looked at beyond farMM
		floor  = 1e-4
	)
	r := h.DiameterMM / 2
	first := math.Max(r-farMM, 0)
	n := int((r + farMM + faceMM - first) / stepMM)
	face := int((r + farMM - first) / stepMM)
	l := &holeLooks{first, stepMM, max(1, int((r-first)/stepMM)), make([][][3]float64, holeSectors)}
	var faces [3][]float64
	for k := range l.rows {
		l.rows[k] = make([][3]float64, n)
		for j := range l.rows[k] {
			x, mm := &l.rows[k][j], first+float64(j)*stepMM
			var blue, red, grey float32
			for a := range places {
				sin, cos := math.Sincos(sectorAngle(k, (float64(a)+0.5)/places))
				q := v.s.pixel(h.Centre.Add(geom.PointMM{X: cos * mm, Y: sin * mm}))
				if !v.s.inside(q) {
					return nil
				}
				cb, cr, y := v.s.chroma(q)
				x[0] += greyLevel(float64(v.s.linear(q))) / places
				blue, red, grey = blue+cb, red+cr, grey+y
			}
			x[1], x[2] = float64(blue/(grey+places*hueFloor)), float64(red/(grey+places*hueFloor))
			if j >= face {
				for c := range x {
					faces[c] = append(faces[c], x[c])
				}
			}
		}
	}
	for c, all := range faces {
		usual := quantile(slices.Clone(all), 0.5)
		spread := (quantile(slices.Clone(all), 0.84)-quantile(slices.Clone(all), 0.16))/2 + floor
		for _, row := range l.rows {
			for j := range row {
				row[j][c] = (row[j][c] - usual) / spread
			}
		}
	}
	return l
}

// end is where what does not look like the face ends in sector k, mm from the hole's middle; false where all of it looks like the face.
func (l *holeLooks) end(k int) (mm float64, ok bool) {
	const (
		leastApart = 4.0  // scatters
		like       = 0.25 // of what the usual square inside is beyond that of the face, which is 1: less looks like the face
	)
	row := l.rows[k]
	unlike := make([]float64, len(row)) // mean square
	for j, x := range row {
		unlike[j] = (x[0]*x[0] + x[1]*x[1] + x[2]*x[2]) / 3
	}
	usual := quantile(slices.Clone(unlike[:l.inside]), 0.5)
	if usual < leastApart*leastApart {
		return 0, false
	}
	// The longest way in from the face that looks like it all in all.
	best, least, sum := len(row), 0.0, 0.0
	for j := len(row) - 1; j >= 0; j-- {
		if sum += unlike[j] - 1 - like*(usual-1); sum < least {
			best, least = j, sum
		}
	}
	return l.firstMM + (float64(best)-0.5)*l.stepMM, true
}
