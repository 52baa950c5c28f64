package render

import (
	"math"

	"portmatch/internal/geom"
	"portmatch/internal/prose"
)

// frameMM is what a map page keeps clear round its window, mm: printers leave about 6 mm blank at an edge (common practice,
// no source), and words and check lines take the rest.
const (
	blankMM      = 8.0
	titleBandMM  = 11.0
	bottomBandMM = 15.0
	leftBandMM   = 8.0

	// Neighbouring pages show this much of the face twice, at least.
	overlapMM = 12.0
	// Room round what must be on a map, so that no line stands on the edge of a window.
	roomMM = 4.0

	// A map of more pages than this is a mistake, not a map.
	mostPages = 40
)

// TooLargeError says that a map would take too many pages.
type TooLargeError struct {
	WidthMM, HeightMM float64 // of what would be drawn
	Paper             Paper
}

func (e *TooLargeError) Error() string { return e.Text().Words }

// Text is the message with its lengths.
func (e *TooLargeError) Text() prose.Text {
	return prose.Sprintf("a 1:1 map of %s by %s takes more than %d pages of %s: name the ports with --ports, or use larger paper",
		prose.MM(e.WidthMM, 0), prose.MM(e.HeightMM, 0), mostPages, e.Paper.Name)
}

// layout is how a map is spread over pages: windows of one size on a grid.
type layout struct {
	pageW, pageH float64 // mm of paper
	w, h         float64 // of a window, mm of the face
	kx, ky       float64 // mm of paper drawn for a mm of the face; 1 but for a printer that is corrected for
	cols, rows   []float64
}

func (l *layout) pages() int { return len(l.cols) * len(l.rows) }

// window returns the part of the face that a page shows; pages run left to right, then down.
func (l *layout) window(page int) box {
	lo := geom.PointMM{X: l.cols[page%len(l.cols)], Y: l.rows[page/len(l.cols)]}
	return box{lo, lo.Add(geom.PointMM{X: l.w, Y: l.h})}
}

// subject is what a map must show.
type subject struct {
	ports []box          // each whole on one page, if it can be
	holes []geom.PointMM // by which a page is laid on the part
	// locating are the holes that the faces are lined up on.
	locating []geom.PointMM
	part     box // the part's own outline, shown whole where that costs no page
}

// placeTiles chooses paper position and windows. What counts, dearest first: a port cut in two, a page, a page with fewer
// than two holes to lay it by. across and along are how much larger than 1:1 to draw along the paper's short and long side.
func placeTiles(s subject, paper Paper, across, along float64) (*layout, error) {
	ports := emptyBox()
	for _, p := range s.ports {
		ports = ports.union(p)
	}
	if ports.empty() {
		ports = box{}
	}
	ports = ports.grown(roomMM)
	// Either the whole part is on the map, or the locating holes, or the two nearest holes of any kind, or none that isn't in
	// view anyway.
	contents := []box{
		withHoles(ports, s.locating).union(s.part.grown(roomMM / 2)), withHoles(ports, s.locating),
		withHoles(ports, nearestTwo(ports, s.holes)), ports,
	}
	var best *layout
	bestCost := math.Inf(1)
	for _, landscape := range []bool{true, false} {
		l := layout{pageW: paper.WidthMM, pageH: paper.HeightMM, kx: across, ky: along}
		if landscape {
			l.pageW, l.pageH = l.pageH, l.pageW
			l.kx, l.ky = l.ky, l.kx
		}
		l.w = (l.pageW - 2*blankMM - leftBandMM) / l.kx
		l.h = (l.pageH - 2*blankMM - titleBandMM - bottomBandMM) / l.ky
		for _, c := range contents {
			if c.w()/l.w*c.h()/l.h > mostPages {
				continue
			}
			l.spread(c, s.ports)
			if l.pages() > mostPages {
				continue
			}
			if cost := l.cost(s); cost < bestCost {
				spread := l
				best, bestCost = &spread, cost
			}
		}
	}
	if best == nil {
		return nil, &TooLargeError{ports.w(), ports.h(), paper}
	}
	return best, nil
}

func withHoles(b box, holes []geom.PointMM) box {
	for _, h := range holes {
		b = b.union(box{h, h}.grown(3 * roomMM)) // room for the arms of its cross
	}
	return b
}

// nearestTwo returns the two holes nearest to the middle of b.
func nearestTwo(b box, holes []geom.PointMM) []geom.PointMM {
	var first, second *geom.PointMM
	for i := range holes {
		h := &holes[i]
		switch d := h.Dist(b.mid()); {
		case first == nil || d < first.Dist(b.mid()):
			first, second = h, first
		case second == nil || d < second.Dist(b.mid()):
			second = h
		}
	}
	if second == nil {
		return nil
	}
	return []geom.PointMM{*first, *second}
}

func (l *layout) spread(content box, ports []box) {
	var across, up [][2]float64
	for _, p := range ports {
		p = p.grown(roomMM / 2)
		across = append(across, [2]float64{p.lo.X, p.hi.X})
		up = append(up, [2]float64{-p.hi.Y, -p.lo.Y}) // rows run downwards
	}
	l.cols = windows(content.lo.X, content.hi.X, l.w, across)
	l.rows = nil
	down := windows(-content.hi.Y, -content.lo.Y, l.h, up)
	if len(down) == 1 {
		down[0] = -content.hi.Y // against the top: what is left over at the bottom takes the words
	}
	for _, top := range down {
		l.rows = append(l.rows, -top-l.h)
	}
}

// windows covers lo to hi with as few windows of width w as keep every stretch whole that fits into one, and returns where
// they start.
func windows(lo, hi, w float64, whole [][2]float64) []float64 {
	if hi-lo <= w {
		return []float64{(lo+hi)/2 - w/2}
	}
	starts := []float64{lo}
	for starts[len(starts)-1]+w < hi && len(starts) <= mostPages {
		last := starts[len(starts)-1]
		next := last + w - overlapMM
		// The next window starts early enough for everything that this one cuts.
		for moved := true; moved; {
			moved = false
			for _, s := range whole {
				if s[0] < next && s[1] > last+w && s[1]-s[0] <= w && s[0] > last {
					next, moved = s[0], true
				}
			}
		}
		starts = append(starts, next)
	}
	// The last window need not reach beyond the end: moved back, it shows more of what its neighbour shows.
	starts[len(starts)-1] = math.Min(starts[len(starts)-1], hi-w)
	return starts
}

func (l *layout) cost(s subject) float64 {
	const cut, page, fewHoles = 3, 1, 0.5
	cost := page * float64(l.pages())
	for _, p := range s.ports {
		shown := false
		for i := range l.pages() {
			shown = shown || l.window(i).holds(p)
		}
		if !shown {
			cost += cut
		}
	}
	for i := range l.pages() {
		n := 0
		for _, h := range s.holes {
			if l.window(i).holds(box{h, h}) {
				n++
			}
		}
		if n < 2 {
			cost += fewHoles
		}
	}
	return cost
}
