package compare

import (
	"fmt"
	"math"
	"math/rand/v2"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// Scenes of parts with exact truth, and faces of them as a camera would give them: noise along edges, bias, fields, noise
// of holes, everything drawn from what the face states about itself.

// blob is an irregular opening: a radius that changes with the angle.
type blob struct {
	centre   geom.PointMM
	radiusMM float64
	wave     [5]float64 // amplitude of waves 2 to 6 round it, mm
	phase    [5]float64
	bumpMM   float64 // a high spot (inward) of about 8 mm at bumpAt
	bumpAt   float64
}

func (b blob) outline(spacingMM float64) geom.Outline {
	n := int(2 * math.Pi * b.radiusMM / spacingMM)
	o := make(geom.Outline, n)
	for i := range o {
		a := 2 * math.Pi * float64(i) / float64(n)
		r := b.radiusMM
		for k := range b.wave {
			r += b.wave[k] * math.Cos(float64(k+2)*a+b.phase[k])
		}
		if x := math.Remainder(a-b.bumpAt, 2*math.Pi) * b.radiusMM; math.Abs(x) < 4 {
			r -= b.bumpMM * (1 + math.Cos(math.Pi*x/4)) / 2
		}
		o[i] = b.centre.Add(geom.PointMM{X: r * math.Cos(a), Y: r * math.Sin(a)})
	}
	return o
}

// randomBlob returns an opening of about the given radius.
func randomBlob(rng *rand.Rand, c geom.PointMM, radiusMM float64) blob {
	b := blob{centre: c, radiusMM: radiusMM, bumpAt: 2 * math.Pi * rng.Float64()}
	for k := range b.wave {
		b.wave[k] = 0.08 * radiusMM * rng.NormFloat64() / float64(k+2)
		b.phase[k] = 2 * math.Pi * rng.Float64()
	}
	return b
}

// scene is a target and a work face in one common frame, as exact faces without uncertainty.
type scene struct{ target, work *face.Face }

func exactFace(blobs []blob, holes []face.Hole, spacingMM float64) *face.Face {
	f := &face.Face{Holes: holes}
	for i, b := range blobs {
		f.Ports = append(f.Ports, face.Port{Number: i + 1, Edge: face.Edge{Outline: b.outline(spacingMM)}})
	}
	return f
}

func hole(x, y, d float64) face.Hole {
	return face.Hole{Centre: geom.PointMM{X: x, Y: y}, DiameterMM: d}
}

// moved returns f in another frame.
func moved(f *face.Face, m geom.Rigid) *face.Face {
	g := *f
	g.Ports = nil
	for _, p := range f.Ports {
		p.Outline = geom.Outline(p.Outline).Mapped(m)
		g.Ports = append(g.Ports, p)
	}
	g.Holes = nil
	for _, h := range f.Holes {
		h.Centre = m.Apply(h.Centre)
		g.Holes = append(g.Holes, h)
	}
	g.PartOutline.Outline = geom.Outline(f.PartOutline.Outline).Mapped(m)
	g.Fields = nil
	for i := range f.Fields {
		g.Fields = append(g.Fields, f.Fields[i].Mapped(m))
	}
	return &g
}

// errors are the standard uncertainties that seen states, and draws from.
// doubt is the bias of two arcs of every edge, about 10 mm long and drawn one by one, where one edge could be another.
type errorsMM struct{ edge, corr, bias, hole, field, doubt float64 }

// seen returns f as traced with errors: every kind of them drawn from a normal distribution as wide as stated.
func seen(rng *rand.Rand, f *face.Face, e errorsMM) *face.Face {
	g := *f
	g.Fields = nil
	for k := range 4 {
		fd := geom.Field{Name: fmt.Sprint("camera ", k), ScaleMM: 150}
		for i := 1; i < 6; i++ { // no rigid shift: the alignment takes it out anyway
			fd.X[i], fd.Y[i] = e.field*rng.NormFloat64()/2, e.field*rng.NormFloat64()/2
		}
		g.Fields = append(g.Fields, fd)
	}
	amount := make([]float64, len(g.Fields))
	for k := range amount {
		amount[k] = rng.NormFloat64()
	}
	displaced := func(p geom.PointMM) geom.PointMM {
		q := p
		for k := range g.Fields {
			q = q.Add(g.Fields[k].At(p).Scale(amount[k]))
		}
		return q
	}
	g.Ports = nil
	for _, p := range f.Ports {
		o := geom.Outline(p.Outline)
		n := len(o)
		along := o.ArcLengthsMM()
		noise := correlated(rng, along, e.corr)
		bias := rng.NormFloat64()
		total := along[n]
		var arcs [2]struct{ at, off float64 }
		for k := range arcs {
			arcs[k].at, arcs[k].off = total*rng.Float64(), rng.NormFloat64()
		}
		q := face.Port{Number: p.Number, Edge: face.Edge{Outline: make([]geom.PointMM, n), SigmaMM: make([]float64, n),
			BiasMM: make([]float64, n), CorrMM: e.corr}}
		for i := range o {
			d := o[(i+1)%n].Sub(o[(i+n-1)%n])
			normal := geom.PointMM{X: d.Y, Y: -d.X}.Scale(1 / d.Norm())
			off := e.edge*noise[i] + e.bias*bias
			q.SigmaMM[i], q.BiasMM[i] = e.edge, e.bias
			for _, a := range arcs {
				if math.Abs(math.Remainder(along[i]-a.at, total)) < 5 {
					off += e.doubt * a.off
					q.BiasMM[i] = math.Hypot(q.BiasMM[i], e.doubt)
				}
			}
			q.Outline[i] = displaced(o[i]).Add(normal.Scale(off))
		}
		g.Ports = append(g.Ports, q)
	}
	g.Holes = nil
	for _, h := range f.Holes {
		h.Centre = displaced(h.Centre).Add(geom.PointMM{X: e.hole * rng.NormFloat64(), Y: e.hole * rng.NormFloat64()})
		h.SigmaCentreMM = e.hole
		g.Holes = append(g.Holes, h)
	}
	return &g
}

// correlated returns unit normal noise along a closed edge that hangs together over about corrMM: independent knots that
// far apart, blended so that the variance stays 1 everywhere.
func correlated(rng *rand.Rand, along []float64, corrMM float64) []float64 {
	n := len(along) - 1
	total := along[n]
	// A knot's blend, a quarter cosine to either side, has 4/π of its spacing for an integral and so (4/π)² of the variance
	// of a mean that a box of that length has.
	knots := max(3, int(total/corrMM*16/(math.Pi*math.Pi)))
	z := make([]float64, knots)
	for k := range z {
		z[k] = rng.NormFloat64()
	}
	out := make([]float64, n)
	for i := range out {
		x := along[i] / total * float64(knots)
		k := int(x) % knots
		a := (x - math.Floor(x)) * math.Pi / 2
		out[i] = math.Cos(a)*z[k] + math.Sin(a)*z[(k+1)%knots]
	}
	return out
}

// fourPorts is a four-port engine like many: bolts and two dowels off every symmetry. step sets how far the work stands
// off the target, mm.
func fourPorts(rng *rand.Rand, stepMM float64, spacingMM float64) scene {
	holes := func(boltMM float64) []face.Hole {
		return []face.Hole{hole(-92, 34, boltMM), hole(0, -36, boltMM), hole(92, 36, boltMM), hole(-150, -35, boltMM),
			hole(163, -31, boltMM), hole(-160, 31, 8), hole(97, -33, 8)}
	}
	var target, work []blob
	for i := range 4 {
		b := randomBlob(rng, geom.PointMM{X: -138 + 92*float64(i)}, 20)
		target = append(target, b)
		w := b
		w.radiusMM -= stepMM * (rng.Float64() - 0.3)
		w.centre = w.centre.Add(geom.PointMM{X: stepMM * rng.NormFloat64() / 3, Y: stepMM * rng.NormFloat64() / 3})
		for k := range w.wave {
			w.wave[k] += stepMM * rng.NormFloat64() / 10
		}
		work = append(work, w)
	}
	return scene{exactFace(target, holes(9), spacingMM), exactFace(work, holes(10), spacingMM)}
}
