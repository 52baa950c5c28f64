package contour

import (
	"math"
	"slices"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// faceLook is what the part's face looks like, and what shows through its openings, as its measured holes have it: a hole is
// known by its circle alone, whatever the bench looks like, and every opening of a part has the same face round it.
type faceLook struct {
	at []holeLook
	// behind is by how many grey levels what shows in the holes is brighter than the face, negative where it is darker.
	behind float64
	hull   []geom.PointMM // of the holes
}

// holeLook is what one hole looks like, in grey levels of the plan.
type holeLook struct {
	hole            face.Hole
	outside, inside float64
}

// leastHoles is how many holes must agree on what the face looks like. Two stains may, three hardly ever.
const leastHoles = 3

// faceLook returns what the face looks like round the holes; nil where too few of them agree.
func (p *plan) faceLook(holes []face.Hole) *faceLook {
	const fromMM, toMM, places = 1.2, 2.4, 48 // clear of a chamfer and of the plan's blur, within the land
	var all []holeLook
	for _, h := range holes {
		var out, in []float64
		for k := range places {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / places)
			dir := geom.PointMM{X: cos, Y: sin}
			for _, mm := range []float64{fromMM, (fromMM + toMM) / 2, toMM} {
				if v, ok := p.at(h.Centre.Add(dir.Scale(h.DiameterMM/2 + mm))); ok {
					out = append(out, float64(v))
				}
			}
			for _, part := range []float64{0.2, 0.45} {
				if v, ok := p.at(h.Centre.Add(dir.Scale(part * h.DiameterMM / 2))); ok {
					in = append(in, float64(v))
				}
			}
		}
		if len(out) > places && len(in) > places {
			all = append(all, holeLook{h, quantile(out, 0.5), quantile(in, 0.5)})
		}
	}
	return agreed(all)
}

// agreed keeps of the holes those that have the same face round them and the same behind it: the group of most holes times
// contrast, as a bench may have more faint round stains than a part has holes.
func agreed(all []holeLook) *faceLook {
	// How far a hole may be off in what lies round it and in it, in terms of the difference of the two.
	const off, offInside = 0.3, 0.6
	var best []holeLook
	var most float64
	for _, a := range all {
		d := a.inside - a.outside
		if math.Abs(d) < minContrast {
			continue
		}
		like := slices.DeleteFunc(slices.Clone(all), func(b holeLook) bool {
			return math.Abs(b.outside-a.outside) > off*math.Abs(d) || math.Abs(b.inside-a.inside) > offInside*math.Abs(d)
		})
		if w := math.Abs(d) * float64(len(like)); len(like) >= leastHoles && w > most {
			best, most = like, w
		}
	}
	if best == nil {
		return nil
	}
	f := &faceLook{at: best}
	var behind []float64
	var centres []geom.PointMM
	for _, h := range best {
		behind = append(behind, h.inside-h.outside)
		centres = append(centres, h.hole.Centre)
	}
	f.behind, f.hull = quantile(behind, 0.5), convexHull(centres)
	return f
}

// level is the face's grey level near p: that round the holes, the nearer the more, as light falls off across a part.
func (f *faceLook) level(p geom.PointMM) float64 {
	const evenMM = 20.0 // nearer than this all holes count alike
	var sum, weight float64
	for _, h := range f.at {
		d := h.hole.Centre.Sub(p)
		w := 1 / (d.Dot(d) + evenMM*evenMM)
		sum, weight = sum+w*h.outside, weight+w
	}
	return sum / weight
}

// mostDoubt is the doubt at which a curve is as likely an opening as not.
const mostDoubt = 5.5

// boltMM is the usual diameter of the holes.
func (f *faceLook) boltMM() float64 {
	var d []float64
	for _, h := range f.at {
		d = append(d, h.hole.DiameterMM)
	}
	return quantile(d, 0.5)
}

// doubt is how little the curve looks like an opening of the part: the sum of what speaks against it, each in units of the log
// of a likelihood ratio, roughly. No single one decides: an opening may lie in dye or in a shadow, have a lit wall, be faint, or be
// ragged where a stain touches it; what lies beside a part is most often several of these at once.
func (f *faceLook) doubt(l *loop) float64 {
	const most = 20.0
	if l.darkInside != (f.behind < 0) {
		return most
	}
	c := centroid(l.pts)
	level := f.level(c)
	outside := (l.outside - level) / f.behind // 0: the face, 1: what shows in the holes
	inside := (l.inside - level) / f.behind
	beyond := math.Min(beyondMM(f.hull, c)/math.Sqrt(l.areaMM2), 3) // bolts stand round what they close
	faint := math.Log(math.Max(l.wide/math.Abs(f.behind), 0.05))
	return math.Min(most, math.Pow(outside/0.5, 2)+6*math.Max(0.9-inside, 0)+8*(1-compactness(l))+0.5*beyond-math.Min(faint, 0))
}

// sortOut tells ports and holes apart from everything else among the candidates.
func (f *faceLook) sortOut(cands []*loop) openings {
	cands = slices.DeleteFunc(dropLines(cands), func(l *loop) bool {
		return l.wide < minContrast || l.cut || l.holdsStrip || f.doubt(l) > mostDoubt
	})
	var open []*loop
	for _, chain := range chains(cands, make([]bool, len(cands))) {
		if l := outermostSound(chain); solidity(l) >= minSolidity {
			open = append(open, l)
		}
	}
	ports, holes := classify(open, f.boltMM())
	return openings{ports: agreeing(ports), holes: holes}
}

// roundOnes returns the candidates that may be holes, one a place.
func roundOnes(cands []*loop) []*loop {
	var round []*loop
	for _, l := range cands {
		if l.cut || l.holdsStrip || l.wide < minContrast || l.areaMM2 > math.Pi/4*maxHoleMM*maxHoleMM || solidity(l) < minSolidity {
			continue
		}
		if _, _, rel := roundness(l); rel < notRound || rel < lens && l.areaMM2 < smallMM2 && solidity(l) > leastLens {
			round = append(round, l)
		}
	}
	var out []*loop
	for _, c := range chains(round, make([]bool, len(round))) {
		out = append(out, outermostSound(c))
	}
	return out
}
