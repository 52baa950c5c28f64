package compare

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"portmatch/internal/face"
	"portmatch/internal/geom"
)

// A mode is one independent source of error that moves a whole face, a whole edge, or the alignment, together: how far each
// point of the target and of the work is displaced, in the job frame, when the source is off by one standard deviation.
// What the holes do to the alignment is in target's displacement already.
type mode struct {
	name         string
	target, work func(p geom.PointMM) geom.PointMM
}

func still(geom.PointMM) geom.PointMM { return geom.PointMM{} }

// modes lists the sources of a pair of faces, laid by a: every field of either face, with what the alignment makes of it,
// a scale on which they disagree, and three independent motions of the alignment from the holes' own noise.
func modes(target, work *face.Face, a *alignment, jobFromTarget, jobFromWork geom.Rigid) ([]mode, error) {
	inv, err := a.normalInverse()
	if err != nil {
		return nil, err
	}
	workFromJob, targetFromJob := jobFromWork.Inverse(), jobFromTarget.Inverse()
	inJob := func(m motion) func(geom.PointMM) geom.PointMM {
		return func(p geom.PointMM) geom.PointMM { return jobFromWork.Turn(m.at(workFromJob.Apply(p))) }
	}
	var ms []mode
	for k := range target.Fields {
		f := &target.Fields[k]
		targetFromWork := a.workFromTarget.Inverse()
		m := inJob(a.answer(inv, func(p geom.PointMM) geom.PointMM {
			return a.workFromTarget.Turn(f.At(targetFromWork.Apply(p)))
		}))
		ms = append(ms, mode{"target " + f.Name, func(p geom.PointMM) geom.PointMM {
			return jobFromTarget.Turn(f.At(targetFromJob.Apply(p))).Add(m(p))
		}, still})
	}
	for k := range work.Fields {
		f := &work.Fields[k]
		m := inJob(a.answer(inv, func(p geom.PointMM) geom.PointMM { return f.At(p).Scale(-1) }))
		ms = append(ms, mode{"work " + f.Name, m, func(p geom.PointMM) geom.PointMM {
			return jobFromWork.Turn(f.At(workFromJob.Apply(p)))
		}})
	}
	if a.scaleDoubt != 0 {
		// Either photo may be the wrong one, or the holes: what the work is displaced by is anything up to all of it.
		d := func(p geom.PointMM) geom.PointMM { return p.Sub(a.scaleMid).Scale(a.scaleDoubt / 2) }
		m := inJob(a.answer(inv, func(p geom.PointMM) geom.PointMM { return d(p).Scale(-1) }))
		ms = append(ms, mode{"scale", m, func(p geom.PointMM) geom.PointMM { return jobFromWork.Turn(d(workFromJob.Apply(p))) }})
	}
	c := mat.NewSymDense(3, nil)
	for i := range 3 {
		for j := i; j < 3; j++ {
			c.SetSym(i, j, a.cov[i][j])
		}
	}
	var e mat.EigenSym
	if !e.Factorize(c, true) {
		return ms, nil
	}
	var vec mat.Dense
	e.VectorsTo(&vec)
	for k, v := range e.Values(nil) {
		if s := math.Sqrt(max(v, 0)); s > 0 {
			m := motion{geom.PointMM{X: s * vec.At(0, k), Y: s * vec.At(1, k)}, s * vec.At(2, k), a.centre}
			ms = append(ms, mode{"holes", inJob(m), still})
		}
	}
	return ms, nil
}

// linear sums what every source does to one figure: root sum of squares, since the sources are independent (JCGM 100,
// equation 10).
type linear struct{ sum2 float64 }

func (l *linear) add(effect float64) { l.sum2 += effect * effect }

// expanded returns U with k = 2.
func (l *linear) expanded() float64 { return 2 * math.Sqrt(l.sum2) }
