package compare

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// Without holes enough the parts are laid on their edges. It hides any shift that the openings have in common, so it is
// the last resort and says so.

const (
	// portReachMM is how far an unground port's middle may stand off the gasket's.
	portReachMM = 4
	// restMM is the spacing of the points of an edge that the fit rests on.
	restMM = 1.5
	// deviationMM is over what length along an edge the parts' own deviations hang together: a side of a port.
	deviationMM = 10
	// A gasket's outer edge that follows the part's this closely was cut to it; a looser one says nothing.
	samePartMM = 0.5
	// Turn of a round port: it changes nothing, and may be anything.
	anyTurnRad = 1e-3
)

// outlineFits returns the ways to lay the target on the work face by their edges: each pattern of openings that fits, or
// for a single opening the best turns, in either hand.
func outlineFits(target, work *face.Face, targetPorts, workPorts []ring) []choice {
	var starts []fit
	if pt, pw := pattern(target, targetPorts), pattern(work, workPorts); len(pt) > 1 && len(pw) > 1 {
		starts = holeFits(pt, pw, portReachMM)
	}
	if len(starts) == 0 {
		starts = turns(targetPorts, workPorts)
	}
	var out []choice
	for _, s := range starts {
		if len(out) > 0 && len(s.pairs) < len(starts[0].pairs) {
			break
		}
		a, err := alignOnOutlines(target, work, targetPorts, workPorts, s.workFromTarget)
		if err != nil {
			continue
		}
		c := choice{alignment: a}
		c.portsMM, c.paired = portsApartMM(targetPorts, workPorts, a.workFromTarget)
		if !slices.ContainsFunc(out, func(d choice) bool { return closeMaps(c.workFromTarget, d.workFromTarget) }) {
			out = append(out, c)
		}
	}
	return out
}

func closeMaps(a, b geom.Rigid) bool {
	if a.Mirrored() != b.Mirrored() {
		return false
	}
	d := b.Inverse().After(a)
	return math.Abs(d.AngleRad()) < 0.01 && math.Hypot(d.Tx, d.Ty) < 1
}

// pattern is the centres of openings, as if they were holes: what a hole pattern is when there is none. A hole that both
// faces may share goes with it; the class is in the diameter, so that a port never pairs with a hole.
func pattern(f *face.Face, ports []ring) []face.Hole {
	var hs []face.Hole
	for i := range ports {
		if ports[i].fault == "" && !ports[i].cut {
			hs = append(hs, face.Hole{Centre: ports[i].centroid, DiameterMM: 2 * math.Sqrt(ports[i].areaMM2/math.Pi)})
		}
	}
	return append(hs, f.Holes...)
}

// turns returns the poses of a single opening on another, centroid on centroid, every 10 degrees in either hand.
func turns(targetPorts, workPorts []ring) []fit {
	var out []fit
	for i := range targetPorts {
		for j := range workPorts {
			t, w := &targetPorts[i], &workPorts[j]
			if t.fault != "" || w.fault != "" || t.cut || w.cut {
				continue
			}
			for k := range 36 {
				for _, hand := range []geom.Rigid{geom.Identity(), {A: -1, D: 1}} {
					r := geom.Rotation(2 * math.Pi * float64(k) / 36).After(hand)
					m := geom.Translation(w.centroid.Sub(r.Apply(t.centroid))).After(r)
					out = append(out, fit{workFromTarget: m})
				}
			}
		}
	}
	return out
}

// alignOnOutlines refines start by moving the target's edges onto the work's: the part's outer edge where both have one of
// the same shape, else the ports.
func alignOnOutlines(target, work *face.Face, targetPorts, workPorts []ring, start geom.Rigid) (alignment, error) {
	ports := pairPorts(targetPorts, workPorts, start)
	if len(ports) == 0 {
		return alignment{}, fmt.Errorf("no port lies on another")
	}
	var edges [][2]*ring
	for _, p := range ports {
		edges = append(edges, [2]*ring{&targetPorts[p.t], &workPorts[p.w]})
	}
	a := alignment{on: "outlines", pairs: pairsWithin(target.Holes, work.Holes, start, holeReachMM), scale: 1}
	var err error
	if a.rests, a.workFromTarget, a.residualMM, err = closest(edges, start); err != nil {
		return a, err
	}
	pt, errT := newRing(target.PartOutline)
	pw, errW := newRing(work.PartOutline)
	if errT == nil && errW == nil && pt.fault == "" && pw.fault == "" && pt.sureMM > 0.8*pt.perimeterMM() && pw.sureMM > 0.8*pw.perimeterMM() {
		if rests, m, rms, err := closest([][2]*ring{{&pt, &pw}}, a.workFromTarget); err == nil && rms < samePartMM {
			a.rests, a.workFromTarget, a.residualMM = rests, m, rms
		}
	}
	for _, r := range a.rests {
		a.centre = a.centre.Add(r.at.Scale(1 / float64(len(a.rests))))
	}
	inv, err := a.normalInverse()
	if err != nil {
		return a, err
	}
	for i := range 3 {
		for j := range 3 {
			a.cov[i][j] = inv.At(i, j)
		}
	}
	return a, nil
}

// closest moves the target's edges onto the work's by least squares of the distances along the work's normals, outliers
// weighted down, until nothing moves. The weights of the rests it returns make the fit's inverse normal matrix its
// covariance: the residual scatter, counted once for every stretch that deviates as one.
func closest(edges [][2]*ring, start geom.Rigid) (rests []rest, m geom.Rigid, rmsMM float64, err error) {
	m = start
	huber := math.Inf(1)
	for range 60 {
		rests = rests[:0]
		var centre geom.PointMM
		var off, sigma []float64
		for _, e := range edges {
			t, w := e[0], e[1]
			n := max(8, int(t.perimeterMM()/restMM))
			for k := range n {
				pl := t.outline.PlaceAlong(t.arcMM, t.perimeterMM()*float64(k)/float64(n))
				p := m.Apply(t.outline.At(pl))
				d, _, at := w.index.SignedDistMM(p)
				if !t.sureAt(pl) || !w.sureAt(at) {
					continue
				}
				rests = append(rests, rest{at: p, normal: w.outward(at)})
				off, sigma = append(off, d), append(sigma, math.Hypot(t.between(t.bias, pl), w.between(w.bias, at)))
				centre = centre.Add(p)
			}
		}
		if len(rests) < 6 {
			return nil, m, 0, fmt.Errorf("too little of the edges was measured")
		}
		centre = centre.Scale(1 / float64(len(rests)))
		normal := mat.NewSymDense(3, []float64{0, 0, 0, 0, 0, 0, 0, 0, 1e-9 / (anyTurnRad * anyTurnRad)})
		b := mat.NewVecDense(3, nil)
		var sum float64
		for i, r := range rests {
			w := 1.0
			if a := math.Abs(off[i]); a > huber {
				w = huber / a
			}
			r.rows(centre, func(j [3]float64, _ geom.PointMM, _ float64) {
				for a := range 3 {
					b.SetVec(a, b.AtVec(a)-w*j[a]*off[i])
					for c := a; c < 3; c++ {
						normal.SetSym(a, c, normal.At(a, c)+w*j[a]*j[c])
					}
				}
			})
			sum += w * off[i] * off[i]
		}
		var x mat.VecDense
		if err := x.SolveVec(normal, b); err != nil {
			return nil, m, 0, err
		}
		step := geom.Translation(centre).After(geom.Rotation(x.AtVec(2))).After(geom.Translation(centre.Scale(-1)))
		step.Tx, step.Ty = step.Tx+x.AtVec(0), step.Ty+x.AtVec(1)
		m = step.After(m)
		rmsMM = math.Sqrt(sum / float64(len(rests)))
		abs := make([]float64, len(off))
		for i := range off {
			abs[i] = math.Abs(off[i])
		}
		slices.Sort(abs)
		huber = max(1.345*1.4826*abs[len(abs)/2], 1e-3) // as for circles
		for i := range rests {
			// One reading for every deviationMM of edge, as uncertain as the scatter and what is common to all of an edge.
			rests[i].weight = restMM / deviationMM / (rmsMM*rmsMM + sigma[i]*sigma[i] + 1e-6)
		}
		if math.Hypot(x.AtVec(0), x.AtVec(1)) < 1e-7 && math.Abs(x.AtVec(2)) < 1e-9 {
			break
		}
	}
	return rests, m, rmsMM, nil
}
