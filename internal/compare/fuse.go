package compare

import (
	"fmt"
	"math"

	"portmatch/internal/face"
	"portmatch/internal/geom"
	"portmatch/internal/prose"
)

// Fuse makes one face of several photos of the same side of the same part: in the frame of the first, every place of every
// edge is taken from all that saw it, each weighted by its own uncertainty. What one photo did not see comes from the others.
// Where photos disagree by more than they state, a warning names the place, and the uncertainty there is raised to the
// disagreement. Photos that don't show the same part give a *MismatchError.
func Fuse(faces []*face.Face) (*face.Face, error) {
	if len(faces) == 0 {
		return nil, fmt.Errorf("no face to fuse")
	}
	if len(faces) == 1 {
		return faces[0], nil
	}
	same := false
	views := []view{{face: faces[0], map1: geom.Identity()}}
	for i, f := range faces[1:] {
		a, err := layed(f, faces[0], Options{Flipped: &same})
		if err != nil {
			return nil, prose.Errorf("photos 1 and %d of the face: %w", i+2, err)
		}
		views = append(views, view{face: f, map1: a.workFromTarget, alignment: a})
	}
	for i := range views {
		v := &views[i]
		var err error
		if v.rings, err = portRings(v.face, "work"); err != nil {
			return nil, err
		}
		for k := range v.rings {
			v.rings[k] = v.rings[k].mapped(v.map1)
			if v.alignment != nil {
				v.rings[k].addAlignment(v.alignment, geom.Identity())
			}
		}
	}
	out := *faces[0]
	out.Warnings = append([]face.Warning(nil), faces[0].Warnings...)
	for _, f := range faces[1:] {
		out.Warnings = append(out.Warnings, f.Warnings...)
	}
	share := make([]float64, len(views)) // of every view in all of the edges
	out.Ports = nil
	for k := range views[0].rings {
		p, w := fusePort(views, k, share)
		out.Ports = append(out.Ports, p)
		if w != nil {
			out.Warnings = append(out.Warnings, *w)
		}
	}
	var total float64
	for _, s := range share {
		total += s
	}
	if total > 0 {
		out.Fields = nil
		for i, v := range views {
			for k := range v.face.Fields {
				f := v.face.Fields[k].Mapped(v.map1)
				f.Name = fmt.Sprintf("photo %d: %s", i+1, f.Name)
				for m := range f.X {
					f.X[m] *= share[i] / total
					f.Y[m] *= share[i] / total
				}
				out.Fields = append(out.Fields, f)
			}
		}
	}
	out.Holes = fuseHoles(views)
	return &out, nil
}

// view is one photo of the face.
type view struct {
	face      *face.Face
	map1      geom.Rigid // to the first photo's face frame
	alignment *alignment // to the first, in the first's frame; nil for the first
	rings     []ring     // in the first's frame
}

// disagreeSD is how many standard deviations apart two photos may be at one place: of a few hundred places none is expected
// beyond it by chance.
const disagreeSD = 4

// fusePort fuses port k of the first view with those of the others that lie on it. The first that is whole gives the curve
// along which all are read, each by its distance from it.
func fusePort(views []view, k int, share []float64) (face.Port, *face.Warning) {
	first := &views[0].rings[k]
	rings := make([]*ring, len(views))
	var base *ring
	for i := range views {
		if i == 0 {
			rings[0] = first
		} else {
			for _, p := range pairPorts(views[0].rings, views[i].rings, geom.Identity()) {
				if p.t == k {
					rings[i] = &views[i].rings[p.w]
				}
			}
		}
		if r := rings[i]; r != nil && (r.fault != "" || r.cut) {
			rings[i] = nil
		}
		if r := rings[i]; r != nil && (base == nil || r.sureMM > base.sureMM) {
			base = r
		}
	}
	if base == nil {
		return views[0].face.Ports[k], nil
	}
	n := len(base.outline)
	e := face.Edge{Outline: make([]geom.PointMM, n), SigmaMM: make([]float64, n), BiasMM: make([]float64, n), Sure: make([]bool, n), CorrMM: base.corrMM}
	var worst, worstSD float64
	var worstAt geom.PointMM
	for i, p := range base.outline {
		normal := base.outwardNear(p)
		if !base.sure[i] {
			// A bridge may run any way; what was measured beside it does not.
			for _, r := range rings {
				if r != nil && r != base {
					normal = r.outwardNear(p)
				}
			}
		}
		type reading struct{ off, sigma, bias, weight float64 }
		var rs []reading
		weights := make([]float64, len(views))
		var sw float64
		for v, r := range rings {
			if r == nil {
				continue
			}
			off, sigma, bias, ok := r.readAlong(p, normal, r == base, i)
			if !ok {
				continue
			}
			w := 1 / (sigma*sigma + bias*bias + leastSigmaMM*leastSigmaMM)
			rs = append(rs, reading{off, sigma, bias, w})
			weights[v] = w
			sw += w
		}
		if len(rs) == 0 {
			e.Outline[i], e.SigmaMM[i], e.BiasMM[i] = p, base.sigma[i], base.bias[i]
			continue
		}
		var mean, s2, b2 float64
		for _, r := range rs {
			f := r.weight / sw
			mean += f * r.off
			s2 += f * f * r.sigma * r.sigma
			b2 += f * f * r.bias * r.bias
		}
		for v, w := range weights {
			share[v] += w / sw
		}
		for a := range rs {
			for b := range a {
				d := math.Abs(rs[a].off - rs[b].off)
				u := math.Sqrt(1/rs[a].weight + 1/rs[b].weight + fieldVariance(views, p, normal))
				if d/u > worstSD {
					worst, worstSD, worstAt = d, d/u, p
				}
				if d > disagreeSD*u {
					b2 = max(b2, d*d/4) // it is one or the other
				}
			}
		}
		e.Outline[i] = p.Add(normal.Scale(mean))
		e.SigmaMM[i], e.BiasMM[i], e.Sure[i] = math.Sqrt(s2), math.Sqrt(b2), true
	}
	port := face.Port{Number: views[0].face.Ports[k].Number, Edge: e}
	if worstSD > disagreeSD {
		w := face.Warn("work",
			prose.Sprintf("port %d: the photos of this face disagree by %s at %s, more than they should", port.Number, prose.MM(worst, 2), clock(worstAt.Sub(base.centroid))),
			prose.Sprintf("look at the pictures there: one shows something else than the edge, or a strip or the part moved"))
		return port, &w
	}
	return port, nil
}

// leastSigmaMM keeps an edge whose uncertainty is not stated from having all the weight.
const leastSigmaMM = 0.001

// fuseReachMM is how far another photo's edge may lie off to be read as the same.
const fuseReachMM = 2

// outwardNear is the unit normal of the edge where it comes nearest to p, midway between the sides that meet there.
func (r *ring) outwardNear(p geom.PointMM) geom.PointMM {
	_, at, _ := r.index.Nearest(p)
	normal := r.outward(at)
	switch at.Fraction {
	case 0:
		normal = normal.Add(r.outward(geom.Place{Side: (at.Side + len(r.outline) - 1) % len(r.outline)}))
	case 1:
		normal = normal.Add(r.outward(geom.Place{Side: r.next(at.Side)}))
	}
	return normal.Scale(1 / normal.Norm())
}

// readAlong reads how far r lies off p along the normal, with its uncertainties there; false if it was not measured.
func (r *ring) readAlong(p, normal geom.PointMM, own bool, i int) (off, sigma, bias float64, ok bool) {
	if own {
		return 0, r.sigma[i], r.bias[i], r.sure[i]
	}
	q, at, d := r.index.Nearest(p)
	if d > fuseReachMM || !r.sureAt(at) {
		return 0, 0, 0, false
	}
	return q.Sub(p).Dot(normal), r.between(r.sigma, at), r.between(r.bias, at), true
}

// fieldVariance is what the cameras of all views, but for a shift and turn in common, may move an edge at p.
func fieldVariance(views []view, p, normal geom.PointMM) (v2 float64) {
	for i := range views {
		v := &views[i]
		back := v.map1.Inverse()
		for k := range v.face.Fields {
			d := v.map1.Turn(v.face.Fields[k].At(back.Apply(p))).Dot(normal)
			v2 += d * d
		}
	}
	return v2
}

// fuseHoles averages the holes that several views saw, each weighted by its own uncertainty; a hole that one view alone saw
// is kept.
func fuseHoles(views []view) []face.Hole {
	var out []face.Hole
	var weight []float64
	for _, v := range views {
		for _, h := range v.face.Holes {
			h.Centre = v.map1.Apply(h.Centre)
			w := 1 / (h.SigmaCentreMM*h.SigmaCentreMM + leastSigmaMM*leastSigmaMM)
			k := nearestHole(out, h.Centre)
			if k < 0 || out[k].Centre.Dist(h.Centre) > holeReachMM || !alike(out[k], h) {
				out, weight = append(out, h), append(weight, w)
				continue
			}
			f := w / (weight[k] + w)
			g := &out[k]
			g.Centre = g.Centre.Add(h.Centre.Sub(g.Centre).Scale(f))
			g.DiameterMM += f * (h.DiameterMM - g.DiameterMM)
			g.SigmaCentreMM = math.Hypot((1-f)*g.SigmaCentreMM, f*h.SigmaCentreMM)
			g.SigmaDiameterMM = math.Hypot((1-f)*g.SigmaDiameterMM, f*h.SigmaDiameterMM)
			weight[k] += w
		}
	}
	return out
}
