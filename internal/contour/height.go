package contour

import (
	"context"
	"slices"

	"portmatch/internal/face"
	"portmatch/internal/geom"
	"portmatch/internal/prose"
)

// doubtHeight looks whether the holes speak against the height that was given. Through a gasket's holes the bench shows, with the
// cut wall on one side; a casting's are bores into the dark. Where most round openings can't be measured as the one, but as the
// other they can, the height was wrong, or left out.
func (v *Survey) doubtHeight(ctx context.Context) error {
	const fewest = 3 // holes, for a judgement
	round := len(v.open.holes)
	if v.sol.Camera.Scan != nil || round < fewest || 2*len(v.holes) >= round {
		return nil
	}
	others := []float64{0.8, 1.6, 2.8} // mm: common practice, no source, has gaskets from 0.5 to 3 mm
	if v.thin {
		others = []float64{0, v.opt.HeightMM / 2}
	}
	best, bestMM := max(fewest, 2*len(v.holes)+1), -1.0
	counts := make([]int, len(others))
	parallelItems(len(others), func(i int) {
		if ctx.Err() == nil {
			counts[i] = v.at(others[i]).holesIfMany(best)
		}
	})
	if err := ctx.Err(); err != nil {
		return err
	}
	for i, n := range counts {
		if n >= best {
			best, bestMM = n+1, others[i]
		}
	}
	if bestMM < 0 {
		return nil
	}
	looks := prose.Sprintf("those of a gasket, about %s above the strips", prose.MM(bestMM, 1))
	if bestMM == 0 {
		looks = prose.Sprintf("bores in a face level with the strips")
	}
	v.doubts = append(v.doubts, face.Warn(v.opt.Photo,
		prose.Sprintf("the height given, %s, does not fit the picture: the holes look like %s; figures from a wrong height are wrong", prose.MM(v.opt.HeightMM, 1), looks),
		prose.Sprintf("measure how far the face stands above the strips (a gasket on the bench: its thickness) and give that height")))
	return nil
}

// at returns the first look at the same photo as it would be at another height: the round openings where they were seen, none
// of them measured.
func (v *Survey) at(heightMM float64) *Survey {
	o := &Survey{s: newSurface(v.s.photo, v.sol, heightMM), sol: v.sol, opt: v.opt}
	o.opt.HeightMM, o.opt.casting = heightMM, false
	o.thin = o.isThin()
	for _, l := range v.open.holes {
		moved := *l
		moved.pts = make([]geom.PointMM, len(l.pts))
		for i, p := range l.pts {
			moved.pts[i] = o.s.face(v.s.pixel(p))
		}
		moved.perimeter = pathLength(moved.pts)
		o.open.holes = append(o.open.holes, &moved)
	}
	return o
}

// holesIfMany measures the holes and returns how many there are, or 0 once the first look at each says that there are fewer
// than least.
func (v *Survey) holesIfMany(least int) int {
	shape := v.firstShape()
	var starts []*holeStart
	// The likeliest stand first; the rest tell soonest that there aren't enough.
	for i := len(v.open.holes) - 1; i >= 0 && len(starts)+i+1 >= least; i-- {
		if s := v.startRound(v.open.holes[i], shape); s != nil && s.h.isHole(s.h.judge(s.best.twin)) {
			starts = append(starts, s)
		}
	}
	if len(starts) < least {
		return 0
	}
	slices.Reverse(starts)
	v.fitHoles(starts)
	return len(v.holes)
}
