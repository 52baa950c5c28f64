package compare

import (
	"math"

	"portmatch/internal/geom"
)

// play is the set of positions that the fasteners leave to the work: shifts t and small turns θ about centre, such that every
// hole stays within its air of where the fastener stands. For every turn it is an intersection of discs, and it is convex.
type play struct {
	centre geom.PointMM
	arm    []geom.PointMM // from centre to the work's hole
	off    []geom.PointMM // from the work's hole to where the fastener stands
	airMM  []float64      // how far the hole may be off it
	least  float64        // turns it allows, rad
	most   float64
}

// position is where the work lies: shift and turn about the play's centre.
type position struct {
	shift geom.PointMM
	turn  float64
}

// at is the position as a map of points. The turn is small: of its square nothing shows (0.003² · 150 mm / 2 = 0.0007 mm).
func (pl *play) at(x position, p geom.PointMM) geom.PointMM {
	return motion{x.shift, x.turn, pl.centre}.at(p).Add(p)
}

// back maps a point back.
func (pl *play) back(x position, p geom.PointMM) geom.PointMM {
	d := motion{x.shift, x.turn, pl.centre}
	q := p.Sub(d.at(p))
	return p.Sub(d.at(q)) // once more, so that at and back agree to the third order
}

// disc is the i-th disc of shifts for a turn.
func (pl *play) disc(i int, turn float64) geom.PointMM {
	a := pl.arm[i]
	return pl.off[i].Sub(geom.PointMM{X: -turn * a.Y, Y: turn * a.X})
}

// beyond is by how much the worst hole is beyond its air; not positive where x is allowed.
func (pl *play) beyond(x position) float64 {
	worst := math.Inf(-1)
	for i := range pl.arm {
		worst = max(worst, x.shift.Dist(pl.disc(i, x.turn))-pl.airMM[i])
	}
	return worst
}

// airEpsMM is what rounding may add to a hole's air.
const airEpsMM = 1e-9

// farthest returns the allowed shift that lies farthest in direction g for a given turn; false if none is allowed. It is the
// end of one disc or a point where the rims of two meet.
func (pl *play) farthest(g geom.PointMM, turn float64) (best geom.PointMM, ok bool) {
	allowed := func(t geom.PointMM) bool {
		for i := range pl.arm {
			if t.Dist(pl.disc(i, turn)) > pl.airMM[i]+airEpsMM {
				return false
			}
		}
		return true
	}
	try := func(t geom.PointMM) {
		if (!ok || t.Dot(g) > best.Dot(g)) && allowed(t) {
			best, ok = t, true
		}
	}
	dir := g
	if n := g.Norm(); n > 0 {
		dir = g.Scale(1 / n)
	}
	for i := range pl.arm {
		c, r := pl.disc(i, turn), pl.airMM[i]
		try(c.Add(dir.Scale(r)))
		for j := range i {
			d := pl.disc(j, turn).Sub(c)
			l := d.Norm()
			if l == 0 {
				continue
			}
			a := (l*l + r*r - pl.airMM[j]*pl.airMM[j]) / (2 * l)
			h2 := r*r - a*a
			if h2 < -airEpsMM {
				continue
			}
			h := math.Sqrt(max(h2, 0))
			m := c.Add(d.Scale(a / l))
			s := geom.PointMM{X: -d.Y, Y: d.X}.Scale(h / l)
			try(m.Add(s))
			try(m.Sub(s))
		}
	}
	return best, ok
}

// limits finds the turns that are allowed, and returns by how many mm the holes lack the air for any position at all, 0 if
// there is one. The function it minimises is convex.
func (pl *play) limits() (lackMM float64) {
	var reach float64
	for _, a := range pl.arm {
		reach = max(reach, a.Norm())
	}
	if reach == 0 {
		reach = 1 // one fastener: the part turns about it as it likes
	}
	var x position
	best := pl.beyond(x)
	for step := max(1, best); step > 1e-7; {
		better := false
		for _, d := range []position{{geom.PointMM{X: step}, 0}, {geom.PointMM{X: -step}, 0}, {geom.PointMM{Y: step}, 0}, {geom.PointMM{Y: -step}, 0},
			{turn: step / reach}, {turn: -step / reach}, {geom.PointMM{X: step, Y: step}, 0}, {geom.PointMM{X: -step, Y: step}, 0},
			{geom.PointMM{X: step, Y: -step}, 0}, {geom.PointMM{X: -step, Y: -step}, 0}} {
			y := position{x.shift.Add(d.shift), x.turn + d.turn}
			if v := pl.beyond(y); v < best {
				x, best, better = y, v, true
			}
		}
		if !better {
			step /= 2
		}
	}
	if best > 1e-6 {
		return best
	}
	edge := func(sign float64) float64 {
		in, out := x.turn, x.turn+sign*maxTurnRad
		for range 60 {
			mid := (in + out) / 2
			if _, ok := pl.farthest(geom.PointMM{}, mid); ok {
				in = mid
			} else {
				out = mid
			}
		}
		return in
	}
	pl.least, pl.most = edge(-1), edge(1)
	return 0
}

// maxTurnRad bounds the turns looked at: a part that can turn by more hangs on one fastener.
const maxTurnRad = 0.1

// extreme returns the allowed position farthest in a direction: that with the largest g·shift + turn·gTurn. The best shift's
// reach is concave in the turn, so that thirds of the interval can be cut off.
func (pl *play) extreme(g geom.PointMM, gTurn float64) position {
	value := func(turn float64) (float64, geom.PointMM) {
		t, ok := pl.farthest(g, turn)
		if !ok {
			return math.Inf(-1), t
		}
		return g.Dot(t) + gTurn*turn, t
	}
	const golden = 0.6180339887498949
	a, b := pl.least, pl.most
	c, d := b-golden*(b-a), a+golden*(b-a)
	fc, _ := value(c)
	fd, _ := value(d)
	for range 40 {
		if fc > fd {
			b, d, fd = d, c, fc
			c = b - golden*(b-a)
			fc, _ = value(c)
		} else {
			a, c, fc = c, d, fd
			d = a + golden*(b-a)
			fd, _ = value(d)
		}
	}
	best, turn := math.Inf(-1), 0.0
	var shift geom.PointMM
	for _, u := range []float64{(a + b) / 2, pl.least, pl.most} {
		if f, t := value(u); f > best {
			best, turn, shift = f, u, t
		}
	}
	return position{shift, turn}
}
