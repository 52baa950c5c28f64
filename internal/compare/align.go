package compare

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"portmatch/internal/face"
	"portmatch/internal/geom"
	"portmatch/internal/prose"
)

// alignment is how the target lies on the work face, and how well that is known.
type alignment struct {
	workFromTarget geom.Rigid
	on             string // "dowels", "bolt holes", "outlines"
	locating       []pair // the holes it rests on; none for outlines
	pairs          []pair // all holes that both faces have
	residualMM     float64
	scale          float64
	// scaleDoubt is by how much the two photos' scales differ, where more than their uncertainties explain; scaleMid is the middle
	// of the holes that say so, in the work frame.
	scaleDoubt float64
	scaleMid   geom.PointMM
	otherSize  bool // and it is so much that the parts can't be compared
	warnings   []face.Warning

	// rests are the places it rests on, in the work frame: how the alignment answers when they are displaced. cov is the
	// covariance of the target's shift (mm) and turn (rad) about centre from the places' own noise.
	rests  []rest
	centre geom.PointMM
	cov    [3][3]float64
}

// rest is one place that the alignment rests on: a hole, which holds in both directions, or a point of an edge, which
// holds along its normal only.
type rest struct {
	at     geom.PointMM
	normal geom.PointMM // zero for a hole
	weight float64      // 1/mm²
}

// motion is a small rigid motion: a shift and a turn about the alignment's centre.
type motion struct {
	shift  geom.PointMM
	turn   float64
	centre geom.PointMM
}

func (m motion) at(p geom.PointMM) geom.PointMM {
	r := p.Sub(m.centre)
	return geom.PointMM{X: m.shift.X - m.turn*r.Y, Y: m.shift.Y + m.turn*r.X}
}

// rows calls f with every scalar equation of the fit: its derivatives with respect to shift and turn, the direction in
// which a displacement counts, and its weight.
func (r rest) rows(centre geom.PointMM, f func(j [3]float64, dir geom.PointMM, w float64)) {
	d := r.at.Sub(centre)
	row := func(n geom.PointMM) { f([3]float64{n.X, n.Y, d.Cross(n)}, n, r.weight) }
	if r.normal != (geom.PointMM{}) {
		row(r.normal)
		return
	}
	row(geom.PointMM{X: 1})
	row(geom.PointMM{Y: 1})
}

// normalMatrix returns the matrix of the least squares, and its inverse.
func (a *alignment) normalInverse() (*mat.Dense, error) {
	n := mat.NewDense(3, 3, nil)
	for _, r := range a.rests {
		r.rows(a.centre, func(j [3]float64, _ geom.PointMM, w float64) {
			for m := range 3 {
				for k := range 3 {
					n.Set(m, k, n.At(m, k)+w*j[m]*j[k])
				}
			}
		})
	}
	var inv mat.Dense
	if err := inv.Inverse(n); err != nil {
		return nil, err
	}
	return &inv, nil
}

// answer returns how the target moves on the work face when every place it rests on is seen displaced by d (target against
// work): the fit moves it back.
func (a *alignment) answer(inverse *mat.Dense, d func(geom.PointMM) geom.PointMM) motion {
	var b [3]float64
	for _, r := range a.rests {
		v := d(r.at)
		r.rows(a.centre, func(j [3]float64, dir geom.PointMM, w float64) {
			for m := range 3 {
				b[m] -= w * j[m] * v.Dot(dir)
			}
		})
	}
	var x [3]float64
	for m := range 3 {
		for k := range 3 {
			x[m] += inverse.At(m, k) * b[k]
		}
	}
	return motion{geom.PointMM{X: x[0], Y: x[1]}, x[2], a.centre}
}

const (
	// What is added to a hole's own uncertainty in its weight, so that one hole read ten times better than the rest does not
	// hold the part alone: holes are drilled and punched to about this.
	holePlaceMM = 0.05
	// A hole that stands off by more than this from where all the others put it, and five times their own scatter, is another
	// hole or a wrong reading: the largest air a medium clearance hole gives up to M8 (ISO 273).
	badHoleMM = 0.5
	// Dowel distances of two parts that fit agree to a few hundredths. Beyond this one of the four is misread or is no dowel.
	badDowelMM = 0.2
)

// alignOnHoles fits the target to the work face on dowels, where there are any, else on all holes that both have.
func alignOnHoles(target, work *face.Face, f fit) (alignment, error) {
	hand := geom.SameHand
	if f.workFromTarget.Mirrored() {
		hand = geom.OtherHand
	}
	a := alignment{pairs: f.pairs, on: "bolt holes", locating: f.pairs}
	if d := dowels(target.Holes, work.Holes, f.pairs); d != nil {
		dt := target.Holes[d[0].t].Centre.Dist(target.Holes[d[1].t].Centre)
		dw := work.Holes[d[0].w].Centre.Dist(work.Holes[d[1].w].Centre)
		if math.Abs(dt-dw) <= badDowelMM {
			a.on, a.locating = "dowels", d
		} else {
			a.warnings = append(a.warnings, face.Warn("work",
				prose.Sprintf("the two holes that look like dowels are %s apart on the target and %s on the work; all holes were used instead", prose.MM(dt, 2), prose.MM(dw, 2)),
				prose.Sprintf("check that both dowel holes are clean and in view")))
		}
	}
	weight := func(ps []pair) []float64 {
		w := make([]float64, len(ps))
		for i, p := range ps {
			st, sw := target.Holes[p.t].SigmaCentreMM, work.Holes[p.w].SigmaCentreMM
			w[i] = 1 / (st*st + sw*sw + holePlaceMM*holePlaceMM)
		}
		return w
	}
	distance := func(m geom.Rigid, p pair) float64 {
		return m.Apply(target.Holes[p.t].Centre).Dist(work.Holes[p.w].Centre)
	}
	if n := len(a.locating); a.on != "dowels" && n >= 4 {
		for i, p := range a.locating {
			others := append(append([]pair(nil), a.locating[:i]...), a.locating[i+1:]...)
			m, err := fitPairs(target.Holes, work.Holes, others, weight(others), hand)
			if err != nil {
				continue
			}
			if off := distance(m.ToFromFrom, p); off > badHoleMM && off > 5*m.RMSMM {
				at := work.Holes[p.w].Centre
				a.warnings = append(a.warnings, face.Warn("work",
					prose.Sprintf("the hole at %s across, %s up in the photo's frame stands %s off where the other %d holes put it; it was left out", prose.MM(at.X, 0), prose.MM(at.Y, 0), prose.MM(off, 2), len(others)),
					prose.Sprintf("check that this hole is round and clean in both photos")))
				a.locating = others
				break
			}
		}
	}
	w := weight(a.locating)
	m, err := fitPairs(target.Holes, work.Holes, a.locating, w, hand)
	if err != nil {
		return a, err
	}
	a.workFromTarget, a.residualMM, a.scale = m.ToFromFrom, m.RMSMM, m.Scale
	allRMSMM := m.RMSMM
	if all, err := fitPairs(target.Holes, work.Holes, a.pairs, nil, hand); err == nil {
		a.scale, allRMSMM = all.Scale, all.RMSMM
	}
	var sw float64
	for i, p := range a.locating {
		at := work.Holes[p.w].Centre
		a.rests = append(a.rests, rest{at: at, weight: w[i]})
		a.centre = a.centre.Add(at.Scale(w[i]))
		sw += w[i]
	}
	a.centre = a.centre.Scale(1 / sw)
	a.checkScale(target, work, allRMSMM)
	return a, a.holeCovariance(target, work)
}

const (
	// A difference of scale that is worth a word: 0.15 mm at the end of a part 300 mm long.
	scaleMatters = 0.001
	// Beyond this at a hole the figures would be of no use: what a punched gasket's holes may be off at most (ASME B16.21).
	uselessScaleMM = 1.0
	// Holes that another scale brings together this many times closer were drilled to one drawing: the scale is wrong, not they.
	scaleExplains = 3
)

// checkScale sees to holes that stand farther apart on one photo than on the other, by more than the uncertainty. The two photos
// then disagree on how long a millimetre is, and every step far from the locating holes is off by it: scaleDoubt takes that into the
// steps' uncertainty, and a warning says so. otherSize is set where it moves a hole by more than uselessScaleMM and no hole but the
// scale is to blame. allRMSMM is the residual of all pairs.
func (a *alignment) checkScale(target, work *face.Face, allRMSMM float64) {
	var mid geom.PointMM
	for _, p := range a.pairs {
		mid = mid.Add(work.Holes[p.w].Centre.Scale(1 / float64(len(a.pairs))))
	}
	var spread, reachMM float64
	for _, p := range a.pairs {
		d := work.Holes[p.w].Centre.Sub(mid)
		spread += d.Dot(d)
		reachMM = max(reachMM, d.Norm())
	}
	// The scale is Σ r·q / Σ r²: what a source displaces the holes by, it changes that by Σ r·d / Σ r².
	var u linear
	for _, side := range []*face.Face{target, work} {
		for k := range side.Fields {
			var e float64
			for _, p := range a.pairs {
				d := side.Fields[k].At(work.Holes[p.w].Centre)
				if side == target {
					d = a.workFromTarget.Turn(side.Fields[k].At(target.Holes[p.t].Centre))
				}
				e += work.Holes[p.w].Centre.Sub(mid).Dot(d) / spread
			}
			u.add(e)
		}
	}
	for _, p := range a.pairs {
		st, sw := target.Holes[p.t].SigmaCentreMM, work.Holes[p.w].SigmaCentreMM
		r2 := work.Holes[p.w].Centre.Sub(mid)
		// Holes are drilled and punched where they should be to holePlaceMM and no better.
		u.sum2 += (st*st + sw*sw + 2*holePlaceMM*holePlaceMM) * r2.Dot(r2) / (spread * spread)
	}
	off := a.scale - 1
	if math.Abs(off) <= max(scaleMatters, u.expanded()) {
		return
	}
	a.scaleDoubt, a.scaleMid = off, mid
	leftMM := math.Sqrt(max(0, allRMSMM*allRMSMM-off*off*spread/float64(len(a.pairs))))
	a.otherSize = len(a.pairs) > 2 && math.Abs(off)*reachMM > uselessScaleMM && scaleExplains*leftMM < allRMSMM
	larger := "larger"
	if off < 0 {
		larger = "smaller"
	}
	a.warnings = append(a.warnings, face.Warning{Photo: "work",
		What: fmt.Sprintf("the holes stand %.2f %% farther apart on one photo than on the other: the work comes out %s", 100*math.Abs(off), larger),
		Try:  "print both cards on one printer at 100 %, and check the heights that were given; the map is as wrong as that"})
}

// holeCovariance fills in cov from the noise of the holes' centres. Where the holes disagree by more than their stated
// uncertainties and those of both faces' fields explain at 95 %, the covariance is scaled up to the disagreement (Birge).
func (a *alignment) holeCovariance(target, work *face.Face) error {
	inv, err := a.normalInverse()
	if err != nil {
		return err
	}
	noise := make([]float64, 0, 2*len(a.rests))
	for _, p := range a.locating {
		st, sw := target.Holes[p.t].SigmaCentreMM, work.Holes[p.w].SigmaCentreMM
		noise = append(noise, st*st+sw*sw, st*st+sw*sw)
	}
	row := 0
	for _, r := range a.rests {
		r.rows(a.centre, func(j [3]float64, _ geom.PointMM, w float64) {
			var g [3]float64 // how shift and turn answer to this coordinate
			for m := range 3 {
				for k := range 3 {
					g[m] += inv.At(m, k) * w * j[k]
				}
			}
			for m := range 3 {
				for k := range 3 {
					a.cov[m][k] += g[m] * g[k] * noise[row]
				}
			}
			row++
		})
	}
	if b := a.birge(target, work, noise); b > 1 {
		for m := range 3 {
			for k := range 3 {
				a.cov[m][k] *= b
			}
		}
	}
	return nil
}

// birge returns the residuals' chi square over its 95 % point.
func (a *alignment) birge(target, work *face.Face, noise []float64) float64 {
	n := len(noise)
	dof := n - 3
	res := mat.NewVecDense(n, nil)
	c := mat.NewSymDense(n, nil)
	for i, v := range noise {
		// A hole whose uncertainty is not stated (a drawing) is taken as good to a micrometre.
		c.SetSym(i, i, v+1e-6)
	}
	disp := mat.NewVecDense(n, nil)
	for _, side := range []*face.Face{target, work} {
		for k := range side.Fields {
			for i, p := range a.locating {
				d := side.Fields[k].At(work.Holes[p.w].Centre)
				if side == target {
					d = a.workFromTarget.Turn(side.Fields[k].At(target.Holes[p.t].Centre))
				}
				disp.SetVec(2*i, d.X)
				disp.SetVec(2*i+1, d.Y)
			}
			c.SymRankOne(c, 1, disp)
		}
	}
	// Only what a rigid motion can't take up counts: give the motions a boundless variance.
	for m := range 3 {
		row := 0
		for _, r := range a.rests {
			r.rows(a.centre, func(j [3]float64, _ geom.PointMM, _ float64) {
				disp.SetVec(row, j[m])
				row++
			})
		}
		c.SymRankOne(c, 1e3, disp)
	}
	for i, p := range a.locating {
		d := a.workFromTarget.Apply(target.Holes[p.t].Centre).Sub(work.Holes[p.w].Centre)
		res.SetVec(2*i, d.X)
		res.SetVec(2*i+1, d.Y)
	}
	var ch mat.Cholesky
	if dof < 1 || !ch.Factorize(c) {
		return 1
	}
	var x mat.VecDense
	if err := ch.SolveVecTo(&x, res); err != nil {
		return 1
	}
	return mat.Dot(res, &x) / distuv.ChiSquared{K: float64(dof)}.Quantile(0.95)
}
