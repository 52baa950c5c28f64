package contour

import (
	"math"

	"portmatch/internal/geom"
)

// A thin part's shadow on the bench may be as bright as the part, and then the shadow's rim looks like the part's edge: nothing along the
// edge tells. But a hole's edge is known by its circle, all the way round, and the lamp throws the same shadow behind every edge that
// faces the same way. So the holes show where shadows fall, how wide they are, and whether they look like the part.

const shadeBins = 16 // directions of the inward normal

// shades is, for the edges that face each way, how wide a shadow lies behind them that looks like the part, mm; 0 for none.
type shades [shadeBins]float64

// shadeBin is where an edge with the inward normal d belongs.
func shadeBin(d geom.PointMM) int {
	return int((math.Atan2(d.Y, d.X)+math.Pi)/(2*math.Pi)*shadeBins) % shadeBins
}

// at is the width of the look-alike shadow behind an edge with the inward normal d, mm.
func (s *shades) at(d geom.PointMM) float64 {
	x := (math.Atan2(d.Y, d.X)+math.Pi)/(2*math.Pi)*shadeBins - 0.5
	k := int(math.Floor(x))
	f := x - float64(k)
	return (1-f)*s[(k+shadeBins)%shadeBins] + f*s[(k+1)%shadeBins]
}

// shades looks for the shadows that the holes show.
func (v *Survey) shades() *shades {
	const (
		reachMM, dsMM   = 2.0, 0.05
		rays            = 96
		fewest          = 4    // rays in a bin
		leastStep       = 12.0 // levels from the face to the bench
		alike           = 0.3  // how unlike the face a shadow may be, of the bench, to be taken for it
		alikeBeside     = 0.45 // the same beside a direction where it is
		edgeMM, rimMM   = 0.15, 0.25
		leastMM         = 0.2
		mostOfADiameter = 0.42
	)
	n := int(reachMM/dsMM) + 1
	type place struct{ toBench, unlike, count float64 }
	var seen [shadeBins][]place
	for k := range seen {
		seen[k] = make([]place, n)
	}
	for _, h := range v.holes {
		edge := func(k int) (out, at geom.PointMM) {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / rays)
			out = geom.PointMM{X: cos, Y: sin}
			return out, h.Centre.Add(out.Scale(h.DiameterMM / 2))
		}
		var face, bench []colour
		for k := range rays {
			out, at := edge(k)
			for _, mm := range []float64{0.6, 0.9, 1.2, 1.5} {
				face = append(face, v.s.unshaded(at.Add(out.Scale(mm))))
			}
			for _, f := range []float64{0.1, 0.3, 0.5} {
				bench = append(bench, v.s.unshaded(h.Centre.Add(out.Scale(f*h.DiameterMM/2))))
			}
		}
		f, b := middleColour(face), middleColour(bench)
		step := f.apart(b)
		if !(step > leastStep) {
			continue
		}
		for k := range rays {
			out, at := edge(k)
			in := out.Scale(-1)
			wall := math.Max(0, v.s.lean(at).Dot(in)) * v.wallDepth()
			for j := range n {
				mm := wall + float64(j)*dsMM
				if mm > mostOfADiameter*h.DiameterMM {
					break
				}
				c := v.s.unshaded(at.Add(in.Scale(mm)))
				p := &seen[shadeBin(in)][j]
				p.toBench += c.along(f, b)
				p.unlike += c.apart(f) / step
				p.count++
			}
		}
	}
	var width, unlikeness [shadeBins]float64
	for k, places := range seen {
		end := 0
		for end < n && places[end].count >= fewest && places[end].toBench < 0.5*places[end].count {
			end++
		}
		widthMM := float64(end) * dsMM
		if widthMM < leastMM {
			continue
		}
		var unlike, count float64
		for j := int(edgeMM / dsMM); j < end && (float64(j)*dsMM < widthMM-rimMM || count == 0); j++ {
			unlike, count = unlike+places[j].unlike, count+places[j].count
		}
		width[k], unlikeness[k] = widthMM, unlike/count
	}
	alikeAt := func(k int, limit float64) bool {
		k = (k + shadeBins) % shadeBins
		return width[k] > 0 && unlikeness[k] < limit
	}
	var out shades
	for k := range out {
		if alikeAt(k, alike) || alikeAt(k, alikeBeside) && (alikeAt(k-1, alike) || alikeAt(k+1, alike)) {
			out[k] = width[k]
		}
	}
	return &out
}

// unshaded is the photo's colour at a place of the face, with the chroma that it would have at a middle brightness, which a shadow leaves alone.
func (s *surface) unshaded(p geom.PointMM) colour {
	const middle = 120 // grey levels
	q := s.pixel(p)
	cb, cr := s.photo.ChromaAt(q.U, q.V)
	grey := greyLevel(float64(s.linear(q)))
	scale := middle / (grey + hueFloor)
	return colour{grey, scale * float64(cb), scale * float64(cr)}
}

// along is how far c lies on the way from colour a to colour b, 0 to 1.
func (c colour) along(a, b colour) float64 {
	var dot, square float64
	for k := range c {
		dot += (c[k] - a[k]) * (b[k] - a[k])
		square += (b[k] - a[k]) * (b[k] - a[k])
	}
	return dot / square
}
