package contour

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sort"
	"sync"

	"portmatch/internal/face"
	"portmatch/internal/geom"
	"portmatch/internal/photo"
	"portmatch/internal/prose"
	"portmatch/internal/scalecard"
)

// Options says what is known of the surface before looking.
type Options struct {
	HeightMM      float64  // of the photographed surface above the strips' print
	HeightSigmaMM float64  // standard uncertainty of HeightMM; 0: defaultHeightSigma
	Photo         string   // name for calibration and warnings: "target", "work", or a file name
	casting       bool     // whatever the height says: its openings are bores
	through       *surface // to be looked at; nil for the photo as it is
}

// Guide is what a target's openings are expected to look like on this face, in its face frame.
type Guide struct {
	Ports [][]geom.PointMM
	Part  []geom.PointMM // the target's own outer edge, nil if it is not known
}

// Survey is the first look at a photographed face: where its holes and openings are. Trace then measures the edges.
type Survey struct {
	s    *surface
	lit  *surface // in the light that ports are measured in
	dyed *surface // in light of the dye's colour; nil for a face without dye
	sol  *scalecard.Solution
	opt  Options
	open openings
	thin bool // the part is a gasket: its openings show the bench, and its cut wall

	holes     []face.Hole
	fits      []*holeFit  // of the holes and of what was taken for one
	holeShape *edgeShape  // of the edges in this photo
	rings     []ring      // places that may be holes of a gasket, though no curve closes there
	cast      *castShadow // of a thin part, that its holes show; nil for none
	besideMM  float64     // how wide the face of a thin part is between most of its openings and the beads or rings round them; 0 for no such

	doubts []face.Warning // what the first look makes one doubt of what was said of the photo

	plan *plan
	edge edgeModel   // of the ports, as Trace found it
	part *partRegion // the part as the openings of the first look have it; nil until somebody asks
}

// benchDropMM is how far the bench lies below the strips' print: office paper is 0.1 mm thick, card up to 0.3 (common practice, no source), and
// in ray-traced photos, where the corner at a wall's foot is dark, the foot looks deeper than it is.
const benchDropMM = 0.2

// maxGasketMM is the greatest height at which a part with light showing through its openings is taken for a gasket that lies
// on the bench beside the strips: common practice, no source, has gaskets up to 3 mm thick.
const maxGasketMM = 3.3

// NewSurvey finds openings and measures the holes. The photo's camera is sol.
func NewSurvey(ctx context.Context, p *photo.Photo, sol *scalecard.Solution, opt Options) (*Survey, error) {
	v, err := newSurvey(ctx, p, sol, opt)
	if err == nil && v.thin && (v.bores() || len(v.holes) < leastHoles) {
		opt.casting = true
		var o *Survey
		if o, err = newSurvey(ctx, p, sol, opt); err == nil && o.bores() {
			v = o
		}
	}
	if err == nil && !v.thin {
		err = v.lookThroughDye(ctx, p, opt)
	}
	if err == nil {
		v.dropForeign()
		err = v.doubtHeight(ctx)
	}
	return v, err
}

func newSurvey(ctx context.Context, p *photo.Photo, sol *scalecard.Solution, opt Options) (*Survey, error) {
	v := &Survey{s: opt.through, sol: sol, opt: opt}
	if v.s == nil {
		v.s = newSurface(p, sol, opt.HeightMM)
	}
	pl := v.s.plan()
	pl.blur()
	v.plan = pl
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	onStrip := v.s.onStrip(sol.StripQuadsPx)
	cands := v.withoutStripShadows(pl.candidates(onStrip))
	v.markStrips(cands)
	v.thin = v.isThin()
	if v.thin {
		v.rings = pl.rings(onStrip)
	}
	v.measureHoles(roundOnes(cands))
	cands = v.withoutPaint(cands)
	v.open = sortOut(cands)
	if look := pl.faceLook(v.holes); look != nil {
		// Where all openings are full of light the holes know nothing of them.
		if o := look.sortOut(cands); len(o.ports) > 0 {
			v.open = o
			v.dropHolesInPorts()
		}
	}
	v.dropOutliers()
	for i, l := range v.open.ports {
		if v.thin {
			l = ringed(l, cands)
		}
		v.open.ports[i] = l.evened()
	}
	v.byColour()
	v.seenThroughDye()
	return v, ctx.Err()
}

// isThin tells whether the part is a gasket beside its strips: by the height, unless its openings have shown themselves to be bores.
func (v *Survey) isThin() bool {
	return v.opt.HeightMM > 0.1 && v.opt.HeightMM <= maxGasketMM && v.sol.Camera.Scan == nil && !v.opt.casting
}

// dropHolesInPorts drops what was measured as a hole and is a port, or lies in one.
func (v *Survey) dropHolesInPorts() {
	v.holes = slices.DeleteFunc(v.holes, func(h face.Hole) bool {
		return slices.ContainsFunc(v.open.ports, func(l *loop) bool { return contains(l.pts, h.Centre) })
	})
}

// dropOutliers drops ports that lie far from where the rest is: bolts stand round the ports that they close.
func (v *Survey) dropOutliers() {
	// How far a port's middle may lie outside the polygon of the holes and the other ports, also in its own sizes, where bolts were
	// not found; common practice, no source. One as large as the ports inside is the last of the row, however far they lie apart.
	const overhangMM, overhangSizes, asLarge = 75, 2.5, 1.4
	ports := v.open.ports
	v.open.ports = nil
	var outliers []*loop
	for i, l := range ports {
		var rest []geom.PointMM
		for _, h := range v.holes {
			rest = append(rest, h.Centre)
		}
		for j, o := range ports {
			if j != i {
				rest = append(rest, centroid(o.pts))
			}
		}
		beyond := 0.0
		if len(v.holes) >= 4 {
			beyond = beyondMM(convexHull(rest), centroid(l.pts))
		}
		switch {
		case beyond < math.Min(overhangSizes*math.Sqrt(l.areaMM2), overhangMM):
			v.open.ports = append(v.open.ports, l)
		case beyond < overhangMM:
			outliers = append(outliers, l)
		}
	}
	inside := v.open.ports
	for _, l := range outliers {
		alike := 0
		for _, o := range inside {
			if r := o.areaMM2 / l.areaMM2; r < asLarge && r > 1/asLarge && solidity(l) > 0.97*solidity(o) {
				alike++
			}
		}
		if 2*alike > len(inside) {
			v.open.ports = append(v.open.ports, l)
		}
	}
}

// dropForeign drops openings and holes that lie outside the part's edge, where that runs round most of both, or round all holes: another part, or
// a second gasket, lies on the bench too, or a strip's shadow.
func (v *Survey) dropForeign() {
	const holeMM = 3.0 // outside: holes lie at the end of ears, where a rough edge may cut in
	part := v.roughPart().Outline
	if len(part) == 0 {
		return
	}
	own, foreign := []*loop{}, []*loop{}
	for _, l := range v.open.ports {
		if contains(part, centroid(l.pts)) {
			own = append(own, l)
		} else {
			foreign = append(foreign, l)
		}
	}
	if len(foreign) == 0 || len(own) == 0 {
		return
	}
	var holes []face.Hole
	for _, h := range v.holes {
		if beyondMM(part, h.Centre) < holeMM {
			holes = append(holes, h)
		}
	}
	most := len(own) > len(foreign) && 3*len(holes) >= 2*len(v.holes)
	if !most && (len(holes) < leastHoles || len(holes) < len(v.holes)) {
		return
	}
	v.open.ports, v.holes, v.part = own, holes, nil
	v.doubts = append(v.doubts, face.Warn(v.opt.Photo,
		prose.Sprintf("what looks like a port outside the part's edge was left out, as if another part lay there"),
		prose.Sprintf("clear the bench of other parts; if it is the part's own port, lay the part on a bench that it stands out from")))
}

// beyondMM is how far p lies outside the polygon, 0 inside it.
func beyondMM(polygon []geom.PointMM, p geom.PointMM) float64 {
	if len(polygon) < 3 || contains(polygon, p) {
		return 0
	}
	_, _, d := geom.NewIndex(geom.Outline(polygon)).Nearest(p)
	return d
}

// Rough returns the face as the first look has it: measured holes, and ports good to about a mm. It serves to lay a target
// on it.
func (v *Survey) Rough() *face.Face {
	f := &face.Face{Holes: v.holes}
	for i, l := range v.open.ports {
		pts := resampleClosed(l.pts, 1)
		f.Ports = append(f.Ports, face.Port{Number: i + 1, Edge: face.Edge{Outline: pts, CorrMM: 1}})
	}
	f.PartOutline = v.roughPart()
	return f
}

// Trace measures every port. A guide, where there is one, says which openings to look for and roughly where; what is
// found is found in the photo all the same.
func (v *Survey) Trace(ctx context.Context, g *Guide) (*face.Face, error) {
	starts := v.starts(g)
	if len(starts) == 0 {
		try := "lay the part so that its openings stand out from what is behind them (a light bench under a dark gasket, a dark one under a light gasket), fill the frame with it, and light it from the side"
		if v.opt.HeightMM == 0 && v.sol.Camera.Scan == nil {
			try = "if it is a gasket beside its strips on the bench, give its thickness as the height; else " + try
		}
		return nil, &Error{Path: v.s.photo.Path, Err: ErrNoOpening, What: prose.Sprintf("no opening was found on the part"), Try: try}
	}
	px := v.s.mmPerPx(centroid(starts[0].curve))
	if most := v.coarsestMM(); px > most {
		return nil, &Error{Path: v.s.photo.Path, Err: ErrTooCoarse,
			What: prose.Sprintf("the picture is too small: one pixel covers %s of the part, %s at most can be measured", prose.MM(px, 2), prose.MM(most, 2)),
			Try:  "use the picture at its full size, as the camera took it (messengers shrink pictures: send it as a file), or go nearer so that the part fills it"}
	}
	if blurMM := v.sol.BlurPx * px; blurMM > mostBlurMM {
		return nil, &Error{Path: v.s.photo.Path, Err: ErrBlurred,
			What: prose.Sprintf("the photo is blurred: edges spread over %s of the part (standard deviation), %s at most can be measured", prose.MM(blurMM, 2), prose.MM(mostBlurMM, 2)),
			Try:  "hold the camera still, let it focus on the face, give it more light, and go nearer so that the part fills the picture"}
	}
	// A pixel covers more of the part's far end than of its near one, by a sixth in wide photos, and one blur is fitted to all ports.
	px = 0
	for _, st := range starts {
		px += v.s.mmPerPx(centroid(st.curve)) / float64(len(starts))
	}
	m := edgeModel{sigmaMM: math.Max(0.4, 0.8*v.sol.BlurPx) * px, blurMM: v.sampledBlur() * px}
	if v.thin {
		// Paper and card under the strips are thin, but the bench lies that much below their print.
		m.wallMM = v.opt.HeightMM + benchDropMM
		if v.cast != nil {
			v.castLight(v.cast)
			if v.cast.misleads() && !v.hueTells(starts) {
				m.cast = v.cast
			}
		}
	} else {
		m.wallMM = v.s.lampShadow.Norm()
		m.shadow = m.wallMM > 0
	}
	v.lit = v.withoutPenLines(v.s, starts)
	bases := v.locate(starts, m)
	if !v.thin {
		if s := v.s.dyed(bases); s != nil {
			bare := v.lit
			m.bareRimMM = v.s.bareRimMM(bases)
			// In light of its own colour the dye is as bright as the metal beside it, and regions don't end where it does.
			v.lit = v.withoutPenLines(s, starts)
			v.dyed = v.lit
			bases = v.locate(starts, m)
			if m.bareRimMM > 0 {
				v.lit = bare
			}
		}
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	lands := make([]float64, len(starts))
	for i, st := range starts {
		lands[i] = st.landMM
	}
	m.punched = v.sol.Camera.Scan != nil
	m = v.lit.settle(bases, lands, m)
	if m.wallMM == 0 && !m.punched && !m.chamfer && !m.dyed && !v.sol.WhiteBurnt {
		m.softMM = v.soft(m, px)
	}
	if v.thin {
		m.shades = v.shades()
		m.wall = v.walls(bases, lands, m)
	}
	v.edge = m
	f := &face.Face{Holes: v.holes, Ports: make([]face.Port, len(starts))}
	var part sync.WaitGroup
	outside := m
	outside.cast = nil // round the part lies more than the bench and its shadow
	part.Go(func() { f.PartOutline = v.partEdge(starts, bases, g, outside) })
	parallelItems(len(starts), func(i int) { f.Ports[i] = v.measurePort(starts[i], bases[i], m) })
	part.Wait()
	if slices.ContainsFunc(starts, func(st start) bool { return st.unlined }) {
		f.Warnings = append(f.Warnings, face.Warning{Photo: v.opt.Photo, What: "a ring or a bead runs round most openings, and round the rest none could be made out: those are measured only where the bench shows right behind their edge",
			Try: "lay the gasket on a bench that its rings and beads stand out from, and light it evenly"})
	}
	if g == nil {
		f.Ports = withoutBeside(f.Ports, f.PartOutline.Outline)
	}
	numberPorts(f.Ports)
	v.calibrate(f)
	return f, ctx.Err()
}

// withoutBeside drops what looked like an opening and lies beside the part, in a bay perhaps: outside its edge, or so near to it that it must
// be between that and where a shadow or a board's grain bridges the bay; and far smaller than the ports, or with no edge to speak
// of. Where the two contradict each other else, it is the part's edge that went wrong. part may be nil.
func withoutBeside(ports []face.Port, part []geom.PointMM) []face.Port {
	const leastSure, small, leastLandMM = 0.7, 0.4, 1.0
	if len(part) == 0 {
		return ports
	}
	edge := geom.NewIndex(geom.Outline(part))
	var largest float64
	for _, p := range ports {
		largest = max(largest, geom.Outline(p.Outline).AreaMM2())
	}
	return slices.DeleteFunc(ports, func(p face.Port) bool {
		if share(p.Sure) > leastSure && geom.Outline(p.Outline).AreaMM2() > small*largest {
			return false
		}
		return !contains(part, centroid(p.Outline)) || slices.ContainsFunc(p.Outline, func(q geom.PointMM) bool {
			_, _, d := edge.Nearest(q)
			return d < leastLandMM
		})
	})
}

// locate finds by regions where the face ends at every start, in a thin part past beads and rings round the openings, and says in starts
// what it found beside the edges.
func (v *Survey) locate(starts []start, m edgeModel) [][]geom.PointMM {
	bases := make([][]geom.PointMM, len(starts))
	locate := func(i int) {
		st := &starts[i]
		bases[i] = v.lit.locate(st.curve, m.on(st.landMM), st.far, st.guided || st.alongBead != nil || st.lined)
	}
	beads := make([]*beadRound, len(starts))
	parallelItems(len(starts), func(i int) {
		locate(i)
		if v.thin && starts[i].landMM == 0 && wideEnough(bases[i]) {
			beads[i] = v.s.withinBead(bases[i])
		}
	})
	if !v.thin {
		return bases
	}
	v.beadsAlike(starts, bases, beads)
	parallelItems(len(starts), func(i int) {
		if st, bead := &starts[i], beads[i]; bead != nil {
			st.curve, st.landMM, st.far, st.alongBead = bead.end, bead.landMM, reach{0.5, 0.5}, bead.sure
			st.besideMM = bead.landMM
			locate(i)
		}
	})
	v.s.lined(starts, bases)
	parallelItems(len(starts), func(i int) {
		st := &starts[i]
		if st.lined {
			locate(i)
		}
		beside := func(mm float64) {
			if st.beside(mm); st.landMM > 0 {
				bases[i] = v.s.locate(bases[i], m.on(st.landMM), reach{1.5, 1.5}, st.guided)
			}
		}
		if st.alongBead == nil && wideEnough(bases[i]) {
			if ring, left := v.s.besideRing(bases[i]); ring != nil {
				st.alongBead, st.besideMM = ring.sure, ring.landMM
				switch {
				case left:
					st.curve, st.landMM, st.far, st.lined, st.unlined = ring.end, ring.landMM, reach{1, 1}, true, false
					locate(i)
				case st.landMM == 0 && !st.guided:
					beside(ring.landMM)
				}
				return
			}
		}
		if st.landMM > 0 || st.guided {
			return
		}
		// What left the coarse curve all round took a ring for what is behind it.
		if st.landMM = ringWidthMM(bases[i], st.curve); st.landMM > 0 {
			locate(i)
			return
		}
		beside(v.s.beadMM(bases[i]))
	})
	usualMM := usualBesideMM(starts, bases)
	withoutBead(starts, bases, usualMM)
	if usualMM > 0 { // a single opening that is sought again says nothing of the others
		v.besideMM = usualMM
	}
	return bases
}

// measurePort finds the edge near base, where the regions have it.
func (v *Survey) measurePort(st start, base []geom.PointMM, m edgeModel) face.Port {
	m.beaded, m.lined = st.beaded, st.lined
	r := v.lit.refine(base, m.on(st.landMM))
	if m.maybeRimMM > 0 {
		with := m
		with.rimMM, with.maybeRimMM, with.softMM = m.maybeRimMM, 0, 0
		other := v.lit.refine(base, with.on(st.landMM))
		r.rimmed(&other)
	}
	r.cliffs()
	if !v.through() {
		r.marks()
	}
	if m.bareRimMM > 0 {
		r.beyondRim(v.dyed, m)
	}
	switch {
	case st.alongBead != nil:
		r.leftBead(geom.NewIndex(geom.Outline(st.alongBead)))
	case !st.guided:
		r.stray(geom.NewIndex(geom.Outline(st.curve)), m)
	}
	r.untangle()
	if st.unlined {
		v.s.unlessOpen(&r, m)
	}
	r.unrender(m, v.sol)
	return face.Port{Edge: r.edge(m, v.sol)}
}

// coarsestMM is the most of a part that a pixel may cover. A part 500 mm long in a photo of 3 megapixels has 0.25 mm. A gasket's edge
// has its cut wall and contact shadow beside it, which must be told apart: beyond 0.22 mm they were found up to 0.5 mm off.
func (v *Survey) coarsestMM() float64 {
	if v.thin {
		return 0.22
	}
	return 0.28
}

// mostBlurMM is the widest spread of an edge on the part that is measured, standard deviation: at 0.36 mm the steps of a ray-traced head were up to
// 0.6 mm off, more than their uncertainty.
const mostBlurMM = 0.35

// start is where the search for one port's edge begins.
type start struct {
	curve  []geom.PointMM
	far    reach
	guided bool
	landMM float64 // see edgeModel
	// besideMM is how far outside the edge a bead runs, or how wide a ring that lines the opening is; 0 where there is neither.
	besideMM float64
	beaded   bool // see edgeModel
	lined    bool // see edgeModel
	// unlined: no ring or bead was made out beside it, as most of the part's openings have.
	unlined bool
	// alongBead runs at the usual distance from a bead round the opening, or from the outer side of a ring that lines it; nil where there is none.
	alongBead []geom.PointMM
}

// beside notes a bead that runs mm outside the edge, 0 for none. The face between the two says how it looks where it is wide enough.
func (st *start) beside(mm float64) {
	const wideMM = 1.3
	st.besideMM = mm
	if mm >= wideMM {
		st.landMM = mm
		return
	}
	st.beaded = mm > 0
}

func (v *Survey) starts(g *Guide) []start {
	var out []start
	if g == nil {
		for _, l := range v.open.ports {
			out = append(out, seenStart(l))
		}
		return out
	}
	var taken []*loop
	for _, want := range g.Ports {
		switch l := v.seen(want); {
		case l == nil:
			out = append(out, guidedStart(want))
		case !slices.Contains(taken, l): // two parts of it may be asked for
			taken = append(taken, l)
			out = append(out, seenStart(l))
		}
	}
	// What the guide does not know of is measured all the same: whoever compares must be able to name it.
	for _, l := range v.unasked(g) {
		out = append(out, seenStart(l))
	}
	return out
}

func seenStart(l *loop) start { return start{curve: l.pts, far: reach{3, 3}, landMM: l.landMM} }

func guidedStart(want []geom.PointMM) start {
	return start{curve: want, far: reach{3, 5}, guided: true}
}

// seen returns the coarse opening that is where the guide wants one and looks like it, or nil: a curve that closed on
// the far wall of a tunnel does not.
func (v *Survey) seen(want []geom.PointMM) *loop {
	for _, l := range v.open.ports {
		if alike(l.pts, want) {
			return l
		}
	}
	return v.sounder(want)
}

// alike tells whether two curves can be the same opening of two parts that go together.
func alike(a, b []geom.PointMM) bool {
	const apartMM = 3.5
	return contains(a, centroid(b)) && contains(b, centroid(a)) && farthest(a, b) < apartMM && farthest(b, a) < apartMM
}

// farthest returns the largest distance of a's vertices from the curve b, mm.
func farthest(a, b []geom.PointMM) float64 {
	ix := geom.NewIndex(geom.Outline(b))
	var d float64
	for _, p := range resampleClosed(a, 2) {
		_, _, e := ix.Nearest(p)
		d = math.Max(d, e)
	}
	return d
}

// numberPorts sorts ports left to right, then top to bottom, as seen in the photo, and numbers them from 1.
func numberPorts(ports []face.Port) {
	sort.SliceStable(ports, func(i, j int) bool {
		a, b := centroid(ports[i].Outline), centroid(ports[j].Outline)
		if math.Abs(a.X-b.X) > 1 {
			return a.X < b.X
		}
		return a.Y > b.Y
	})
	for i := range ports {
		ports[i].Number = i + 1
	}
}

// calibrate fills in what is known of the photo as a whole.
func (v *Survey) calibrate(f *face.Face) {
	var lo, hi geom.PointMM
	first := true
	grow := func(p geom.PointMM) {
		if first {
			lo, hi, first = p, p, false
		}
		lo = geom.PointMM{X: math.Min(lo.X, p.X), Y: math.Min(lo.Y, p.Y)}
		hi = geom.PointMM{X: math.Max(hi.X, p.X), Y: math.Max(hi.Y, p.Y)}
	}
	for _, p := range f.Ports {
		for _, q := range p.Outline {
			grow(q)
		}
	}
	for _, h := range f.Holes {
		grow(h.Centre)
	}
	sigma := v.opt.HeightSigmaMM
	if sigma == 0 {
		sigma = defaultHeightSigma(v.opt.HeightMM)
	}
	f.Fields = v.sol.FaceFields(v.opt.HeightMM, sigma, lo, hi)
	f.Calibration = face.Calibration{Photo: v.opt.Photo, ReprojectionRMSPx: v.sol.RMSPx, CameraHeightMM: v.sol.HeightMM,
		TiltDeg: v.sol.TiltDeg, MMPerPx: v.s.mmPerPx(mid(lo, hi)), HeightMM: v.opt.HeightMM}
	for _, s := range v.sol.Strips {
		f.Calibration.Strips = append(f.Calibration.Strips, s.Number)
	}
	for _, w := range v.sol.Warnings {
		w.Photo = v.opt.Photo
		f.Warnings = append(f.Warnings, w)
	}
	for _, w := range v.sol.PlacementWarnings(lo, hi) {
		w.Photo = v.opt.Photo
		f.Warnings = append(f.Warnings, w)
	}
	f.Warnings = append(f.Warnings, v.doubts...)
	for _, side := range v.cutSides() {
		f.Warnings = append(f.Warnings, face.Warning{Photo: v.opt.Photo, What: fmt.Sprintf("the part seems to run off the %s edge of the picture: a port that is cut off there is not measured", side),
			Try: "photograph the whole part, with a little of what lies round it"})
	}
	for _, note := range v.s.photo.Notes {
		f.Warnings = append(f.Warnings, face.Warning{Photo: v.opt.Photo, What: note})
	}
}

// defaultHeightSigma is the standard uncertainty of a height that a mechanic measures with calipers or a rule: 0.05 mm for a
// gasket under the jaws, and 2 % of a step that is measured with a rule (common practice, no source).
func defaultHeightSigma(heightMM float64) float64 { return math.Hypot(0.05, 0.02*heightMM) }

// edge turns a reading into the face's terms.
func (r *edgeReading) edge(m edgeModel, sol *scalecard.Solution) face.Edge {
	n := len(r.outline)
	r.turn = turns(r.outline)
	e := face.Edge{Outline: r.outline, SigmaMM: make([]float64, n), BiasMM: make([]float64, n), Sure: r.sure, CorrMM: corrMM * m.smoothing(r.pxMM) / smoothMM}
	for i := range n {
		e.SigmaMM[i], e.BiasMM[i] = r.uncertainty(i, m, sol)
	}
	return e
}

// Trace does both steps without a guide.
func Trace(ctx context.Context, p *photo.Photo, sol *scalecard.Solution, opt Options) (*face.Face, error) {
	v, err := NewSurvey(ctx, p, sol, opt)
	if err != nil {
		return nil, err
	}
	f, err := v.Trace(ctx, nil)
	if err != nil {
		return nil, prose.Errorf("trace: %w", err)
	}
	return f, nil
}
