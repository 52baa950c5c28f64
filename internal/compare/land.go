package compare

import (
	"fmt"
	"math"
	"slices"

	"portmatch/internal/face"
	"portmatch/internal/geom"
	"portmatch/internal/prose"
)

// DefaultMinLandMM is the least land that is not warned about: common practice, no source.
const DefaultMinLandMM = 3

// Land is the least metal between an opening, after grinding to the target, and one thing beside it.
type Land struct {
	Quantity
	To  string     `json:"to"`     // "port 2", "a hole", "the part's edge"
	At  [2]float64 `json:"at"`     // on the opening, job frame
	End [2]float64 `json:"end"`    // on the other thing
	Now float64    `json:"now_mm"` // before the grinding, as the work is in the photo
}

// border is the edge of an opening after grinding: where the target lies outside the work's opening the target's edge,
// else the work's.
type border struct {
	port         int
	target, work *ring
	points       []borderPoint
}

type borderPoint struct {
	p      geom.PointMM
	own    geom.Place
	owner  *ring
	isWork bool
}

// landMM is the spacing of the points that land is measured from. Between two of them an edge with a radius of 2 mm comes
// nearer by 0.25²/(2 · 2) = 0.016 mm at most, less than land needs to be known to.
const landMM = 0.5

func newBorder(port int, j joint) border {
	b := border{port: port}
	if j.target != nil && j.target.fault == "" {
		b.target = j.target
	}
	if j.work != nil && j.work.fault == "" {
		b.work = j.work
	}
	add := func(r, other *ring, isWork bool) {
		if r == nil {
			return
		}
		n := max(3, int(r.perimeterMM()/landMM))
		for k := range n {
			pl := r.outline.PlaceAlong(r.arcMM, r.perimeterMM()*float64(k)/float64(n))
			p := r.outline.At(pl)
			if other == nil || !other.index.Contains(p) {
				b.points = append(b.points, borderPoint{p, pl, r, isWork})
			}
		}
	}
	add(b.target, b.work, false)
	add(b.work, b.target, true)
	return b
}

// gap is a stretch of metal between two places and what may move them.
type gap struct {
	mm       float64
	from     borderPoint
	to       geom.PointMM
	toRing   *ring // nil for a hole
	toPlace  geom.Place
	toWork   bool
	extraVar float64 // of a hole's centre and radius, mm²
}

// lands returns the least land from border i to each kind of thing beside it, smallest first.
func (l *laid) lands(i int, borders []border, part *ring) []Land {
	b := &borders[i]
	var out []Land
	keep := func(to string, g gap) {
		if !math.IsInf(g.mm, 1) {
			now := l.nowMM(b, g)
			out = append(out, Land{Quantity{g.mm, l.gapU(g)}, to, [2]float64{g.from.p.X, g.from.p.Y}, [2]float64{g.to.X, g.to.Y}, now})
		}
	}
	for k := range borders {
		if k == i {
			continue
		}
		o := &borders[k]
		g := gap{mm: math.Inf(1)}
		for _, r := range []*ring{o.target, o.work} {
			if r != nil {
				g = nearestGap(b, r, r == o.work, false, g)
			}
		}
		keep(fmt.Sprintf("port %d", o.port), g)
	}
	hole := gap{mm: math.Inf(1)}
	for _, h := range l.placedHoles() {
		for n := range b.points {
			bp := &b.points[n]
			d := bp.p.Sub(h.centre)
			if mm := d.Norm() - h.diameterMM/2; mm < hole.mm {
				hole = gap{mm: mm, from: *bp, to: h.centre.Add(d.Scale(h.diameterMM / 2 / d.Norm())), toWork: h.onWork,
					extraVar: h.sigmaMM*h.sigmaMM + h.sigmaDiameterMM*h.sigmaDiameterMM/4}
			}
		}
	}
	keep("a hole", hole)
	if part != nil {
		keep("the part's edge", nearestGap(b, part, true, true, gap{mm: math.Inf(1)}))
	}
	slices.SortStableFunc(out, func(a, c Land) int { return compareFloats(a.Value, c.Value) })
	return out
}

func nearestGap(b *border, r *ring, isWork, isPart bool, best gap) gap {
	for n := range b.points {
		bp := &b.points[n]
		// A part's edge that was not seen may lie anywhere.
		if q, pl, d, ok := r.index.NearestWithin(bp.p, best.mm); ok && d < best.mm && (!isPart || r.sureAt(pl)) {
			best = gap{mm: d, from: *bp, to: q, toRing: r, toPlace: pl, toWork: isWork}
		}
	}
	return best
}

// nowMM is the land between the work's opening as it is and the far end of g.
func (l *laid) nowMM(b *border, g gap) float64 {
	if b.work == nil {
		return g.mm
	}
	_, _, d := b.work.index.Nearest(g.to)
	return d
}

// gapU propagates every source to the length of g.
func (l *laid) gapU(g gap) float64 {
	n := g.to.Sub(g.from.p)
	if d := n.Norm(); d > 0 {
		n = n.Scale(1 / d)
	}
	moved := func(m *mode, work bool, p geom.PointMM) geom.PointMM {
		if work {
			return m.work(p)
		}
		return m.target(p)
	}
	var u linear
	for k := range l.modes {
		m := &l.modes[k]
		u.add(n.Dot(moved(m, g.toWork, g.to).Sub(moved(m, g.from.isWork, g.from.p))))
	}
	u.add(g.from.owner.between(g.from.owner.sigma, g.from.own))
	u.add(g.from.owner.between(g.from.owner.bias, g.from.own))
	if g.toRing != nil {
		u.add(g.toRing.between(g.toRing.sigma, g.toPlace))
		u.add(g.toRing.between(g.toRing.bias, g.toPlace))
	}
	u.sum2 += g.extraVar
	return u.expanded()
}

// placedHole is a hole of the work in the job frame; one that only the target has is where the bolt will pass.
type placedHole struct {
	centre                   geom.PointMM
	diameterMM               float64
	sigmaMM, sigmaDiameterMM float64
	onWork                   bool
}

func (l *laid) placedHoles() []placedHole {
	var hs []placedHole
	paired := map[int]bool{}
	for _, p := range l.pairs {
		paired[p.t] = true
	}
	add := func(h face.Hole, jobFromFace geom.Rigid, onWork bool) {
		hs = append(hs, placedHole{jobFromFace.Apply(h.Centre), h.DiameterMM, h.SigmaCentreMM, h.SigmaDiameterMM, onWork})
	}
	for _, h := range l.work.Holes {
		add(h, l.jobFromWork, true)
	}
	for i, h := range l.target.Holes {
		if !paired[i] {
			add(h, l.jobFromTarget, false)
		}
	}
	return hs
}

// addLands fills in the land of every port and warns of what falls under the least.
func (l *laid) addLands(res *Result, joints []joint, leastMM float64) {
	borders := make([]border, len(joints))
	for i, j := range joints {
		borders[i] = newBorder(i+1, j)
	}
	var part *ring
	if r, err := newRing(l.work.PartOutline); err == nil && r.fault == "" {
		r = r.mapped(l.jobFromWork)
		part = &r
	}
	if leastMM == 0 {
		leastMM = DefaultMinLandMM
	}
	for i := range borders {
		if borders[i].points == nil {
			continue
		}
		p := &res.Ports[i]
		p.Lands = l.lands(i, borders, part)
		if len(p.Lands) == 0 {
			continue
		}
		p.LeastLand = &p.Lands[0].Quantity
		for _, d := range p.Lands {
			if d.Value >= leastMM || p.Verdict == NotMeasured {
				continue
			}
			what := prose.Sprintf("port %d: grinding to the target leaves %s of land to %s; there is %s now", p.Port, prose.MM(d.Value, 1), d.To, prose.MM(d.Now, 1))
			if d.Now-d.Value < d.Uncertainty {
				what = prose.Sprintf("port %d: there is no more than %s of land to %s", p.Port, prose.MM(d.Value, 1), d.To)
			}
			res.Warnings = append(res.Warnings, face.Warn("work", what,
				prose.Sprintf("%s is taken as the least that seals; leave more metal there, or say with --min-land what is enough", prose.MM(leastMM, 1))))
		}
	}
}
