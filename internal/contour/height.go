package contour

import (
	"context"

	"portmatch/internal/face"
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
	for _, heightMM := range others {
		opt := v.opt
		opt.HeightMM = heightMM
		o, err := newSurvey(ctx, v.s.photo, v.sol, opt)
		if err != nil {
			return err
		}
		if n := len(o.holes); n >= best {
			best, bestMM = n+1, heightMM
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
