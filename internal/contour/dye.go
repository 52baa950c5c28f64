package contour

import (
	"context"
	"math"
	"slices"

	"portmatch/internal/geom"
	"portmatch/internal/photo"
)

// Layout dye is dark, nearly as dark as what is seen in a port, and brushed on in patches that are far darker than the metal between them. In
// light of its own colour it is nearly as bright as metal: edges are measured there.

// An edge in one primary is blurred twice: by the lens, in linear light, and in what makes it a colour by being stored at half the size, in coded
// values, which are about the square root of linear ones. In linear light to the power of dyeGamma it is where it should be, give or take dyedPx, which is how
// far the edges of one photo lie off together: drawn ones 0.03 mm, standard deviation.
const dyeGamma, dyedPx = 0.75, 0.3

// huesBeside returns the hues of the face next to the openings, see surface.hue, at many places.
func (s *surface) huesBeside(bases [][]geom.PointMM) (cb, cr []float64) {
	for _, base := range bases {
		b := s.unroll(base, -2, -0.5, s.mmPerPx(base[0]), 0, true)
		for i := 0; i < len(b.hue); i += 14 {
			if x, y := float64(b.hue[i&^1]), float64(b.hue[i|1]); x == x {
				cb, cr = append(cb, x), append(cr, y)
			}
		}
	}
	return cb, cr
}

// dyed returns the surface in light of the primary in which the dye beside the openings is brightest, or nil for a face that shows no layout
// dye there. Dye is brushed on in patches: a face is dyed where a part of it is.
func (s *surface) dyed(bases [][]geom.PointMM) *surface {
	// In that primary bare metal is as bright, a face under blue dye 1.23 to 1.8 times. Rust is up to 1.24 times as bright in red.
	const brighter, brighterThanRust = 1.2, 1.4
	const leastShare = 0.2
	var cb, cr []float64
	allCb, allCr := s.huesBeside(bases)
	for i, x := range allCb {
		if math.Hypot(x, allCr[i]) > coloured {
			cb, cr = append(cb, x), append(cr, allCr[i])
		}
	}
	if float64(len(cb)) < leastShare*float64(len(allCb)) {
		return nil
	}
	x, y := quantile(cb, 0.5), quantile(cr, 0.5)
	var brightest photo.Primary
	level := func(p photo.Primary) float64 { return float64(p.Level(1, float32(x), float32(y))) }
	for _, p := range []photo.Primary{photo.Green, photo.Blue} {
		if level(p) > level(brightest) {
			brightest = p
		}
	}
	if level(brightest) < brighter || brightest == photo.Red && level(brightest) < brighterThanRust {
		return nil
	}
	o := *s
	o.dyeHue, o.light, o.tone = math.Hypot(x, y)/level(brightest), s.photo.Levels(brightest), new([256]float32)
	for v, linear := range s.tone {
		o.tone[v] = float32(math.Pow(float64(linear), dyeGamma))
	}
	return &o
}

// patches returns the hue of the dye and that of the bare metal along the curve from lo to hi mm, at every vertex. Where a tenth of the face or less is dyed,
// the dye has the hue that it has elsewhere; where so little is bare, the deviations of the bare metal's are infinite. wider and least are as for hues.
func (b *band) patches(lo, hi, wider, least float64) (dye, bare hueCluster) {
	const leastShare = 0.1
	n := len(b.base)
	j0, j1 := max(0, int(b.index(lo))), min(b.n-1, int(b.index(hi)))
	reach := int(hueAlongMM / b.spacing)
	skip := max(1, reach/6)
	of := [2]*hueCluster{&dye, &bare}
	for _, h := range of {
		h.a, h.b, h.sigmaA, h.sigmaB = make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	}
	add := func(seen *hueSamples, row int) {
		for j := j0; j <= j1; j += 3 {
			x, y := float64(b.hue[2*(row*b.n+j)]), float64(b.hue[2*(row*b.n+j)+1])
			if x == x {
				k := 0
				if math.Hypot(x, y) < b.dyeHue/2 {
					k = 1
				}
				seen[k][0], seen[k][1] = append(seen[k][0], x), append(seen[k][1], y)
			}
		}
	}
	type hue struct{ a, b, sigmaA, sigmaB float64 }
	unseen := hue{sigmaA: math.Inf(1), sigmaB: math.Inf(1)}
	hueOf := func(samples [2][]float64) (h hue) {
		h.a, h.sigmaA = middleAndDeviation(samples[0])
		h.b, h.sigmaB = middleAndDeviation(samples[1])
		h.sigmaA, h.sigmaB = math.Hypot(wider*h.sigmaA, least), math.Hypot(wider*h.sigmaB, least)
		return h
	}
	var all hueSamples
	for i := 0; i < n; i += skip {
		add(&all, i)
	}
	elsewhere := [2]hue{unseen, unseen}
	if len(all[0][0]) > 0 {
		elsewhere[0] = hueOf(all[0])
	}
	parallelRowsWith(n, func(i int, seen *hueSamples) {
		for k := range seen {
			seen[k] = [2][]float64{seen[k][0][:0], seen[k][1][:0]}
		}
		for a := -reach; a <= reach; a += skip {
			add(seen, (i+a+n)%n)
		}
		few := leastShare * float64(len(seen[0][0])+len(seen[1][0]))
		for k, cluster := range of {
			h := elsewhere[k]
			if float64(len(seen[k][0])) > few {
				h = hueOf(seen[k])
			}
			cluster.a[i], cluster.b[i], cluster.sigmaA[i], cluster.sigmaB[i] = h.a, h.b, h.sigmaA, h.sigmaB
		}
	})
	return dye, bare
}

// hueSamples are the two numbers of the hues of some samples of dye, and of some of bare metal.
type hueSamples [2][2][]float64

// middleAndDeviation returns the median of v and the standard deviation that its median absolute deviation stands for. v is changed.
func middleAndDeviation(v []float64) (middle, sigma float64) {
	middle = quantile(v, 0.5)
	for i := range v {
		v[i] = math.Abs(v[i] - middle)
	}
	return middle, 1.4826 * quantile(v, 0.5)
}

// rusty tells whether a face that is not dyed is strongly coloured beside its openings.
func (s *surface) rusty(bases [][]geom.PointMM) bool {
	cb, cr := s.huesBeside(bases)
	for i := range cb {
		cb[i] = math.Hypot(cb[i], cr[i])
	}
	return quantile(cb, 0.5) > coloured
}

// lookThroughDye looks for the openings of a dyed face again, in light of the dye's colour. Its holes stay as they are.
func (v *Survey) lookThroughDye(ctx context.Context, p *photo.Photo, opt Options) error {
	for _, l := range v.open.ports {
		// Some of them may be the dye's own edge, or that of a lit wall.
		if opt.through = v.s.dyed([][]geom.PointMM{resampleClosed(l.pts, 1)}); opt.through != nil {
			break
		}
	}
	if opt.through == nil {
		return nil
	}
	o, err := newSurvey(ctx, p, v.sol, opt)
	if err == nil && len(o.open.ports) >= len(v.open.ports) {
		v.open = o.open
		v.dropHolesInPorts()
	}
	return err
}

// bareRimMM returns about how wide the rim is that the openings of a dyed face have and that shows no dye all round, because it was cut since or
// because the dye was wiped off it; 0 where there is none. A lit wall looks like that, too, but never all round. Of 38 drawn faces with sharp
// edges one had such bands nearly all round; of 15 with a rim of 0.14 to 0.46 mm 13 had.
func (s *surface) bareRimMM(bases [][]geom.PointMM) float64 {
	const (
		fewest  = 20
		allBut  = 0.05 // of the places
		leastPx = 1.3
		usual   = 0.15 // of the places: beside lit walls bands are wider
	)
	widths := s.bareBands(bases)
	if len(widths) < fewest || quantile(widths, allBut) < leastPx*s.mmPerPx(bases[0][0]) {
		return 0
	}
	return quantile(widths, usual)
}

// The face beside an edge is looked at from dyedFromMM to dyedToMM of where regions have it, in search of dye.
const dyedFromMM, dyedToMM = -2.0, -0.8

// dyeShares appends to room how much of the colour of the dye beside the edge every sample of row i has from dyedFromMM to the band's sample last, in levels
// of the photo, so that the dark has none: about 1 on the dye, 0 on bare metal. It returns nil where the row shows no dye, or no even one.
func (b *band) dyeShares(i, last int, room []float64) []float64 {
	const (
		leastLevels = 10.0
		even        = 0.35 // by how much the dye's colour may differ, of itself
	)
	first, beside := max(0, int(b.index(dyedFromMM))), int(b.index(dyedToMM))
	row := b.row(i)
	level := func(j, c int) float64 { return (greyLevel(float64(row[j])) + hueFloor) * float64(b.hue[2*(i*b.n+j)+c]) }
	var dye [2]float64
	for c := range dye {
		room = room[:0]
		for j := first; j <= beside; j++ {
			room = append(room, level(j, c))
		}
		dye[c] = quantile(room, 0.5)
	}
	levels := math.Hypot(dye[0], dye[1])
	if !(levels > leastLevels) {
		return nil
	}
	room = room[:0]
	for j := first; j <= last; j++ {
		room = append(room, (level(j, 0)*dye[0]+level(j, 1)*dye[1])/(levels*levels))
	}
	near := slices.Clone(room[:beside-first+1])
	if quantile(near, 0.9)-quantile(near, 0.1) > even {
		return nil
	}
	return room
}

// bareBands returns, for places round the openings where the face is dyed, how wide the band is that shows no dye and is as bright as the face
// beside the edge, mm.
func (s *surface) bareBands(bases [][]geom.PointMM) (widths []float64) {
	const (
		insideMM = 1.2
		half     = 0.5
	)
	for _, base := range bases {
		b := s.unroll(base, dyedFromMM, insideMM, 0.5*s.mmPerPx(base[0]), profileAverageMM, true)
		beside := int(b.index(dyedToMM))
		for i := 0; i < len(b.base); i += 3 {
			share := b.dyeShares(i, b.n-1, nil)
			if share == nil {
				continue
			}
			row := b.row(i)
			light := make([]float64, beside)
			for j := range light {
				light[j] = float64(row[j])
			}
			face := quantile(light, 0.5)
			end := beside
			for end < b.n && share[end] > half {
				end++
			}
			dark := max(end-2, 0)
			for dark < b.n && float64(row[dark]) > half*face {
				dark++
			}
			widths = append(widths, float64(dark-end)*b.ds)
		}
	}
	return widths
}

// addDye adds to the scan's misfits what the dye's colour says of where the face ends: outside the edge it is that of the dye further out, behind it,
// on a bare rim, a wall or in the dark, there is none.
func (m edgeModel) addDye(b *band, e *edgeScan, tau2 float64) {
	const (
		sigma     = 0.12 // of the colour's share
		chromaPx  = 1.2  // blur of chroma that was stored at half size, standard deviation
		chromaNew = 0.25 // share of the samples that are independent
		insideMM  = 0.6  // how much of what lies behind the edge is looked at
	)
	if b.hue == nil {
		return
	}
	perBlur := 1 / math.Hypot(m.sigmaMM, chromaPx*b.pxMM)
	weight := tau2 * chromaNew / (sigma * sigma)
	first, last := max(0, int(b.index(dyedFromMM))), min(b.n-1, int(b.index(-e.lo+insideMM)))
	parallelRowsWith(len(e.fits), func(i int, room *[]float64) {
		share := b.dyeShares(i, last, (*room)[:0])
		if share == nil {
			return
		}
		*room = share
		f := &e.fits[i]
		for q := range f.sse {
			edge := e.lo + float64(q)*e.step
			var sse float64
			for t, h := range share {
				if h == h {
					r := h - 1 + phi((b.s0+float64(first+t)*b.ds-edge)*perBlur)
					sse += min(r*r, 1)
				}
			}
			f.sse[q] += weight * sse
		}
	})
}

// beyondRim marks where the dark does not begin a bare rim's width inside a dyed face's edge: dye that was brushed on in patches ended on the way, and the
// edge went along its end.
func (r *edgeReading) beyondRim(s *surface, m edgeModel) {
	const (
		dark     = 0.5 // of the brightest within a rim's width
		moreMM   = 0.3 // than a rim's width
		marginMM = 1.0 // marked on either side
	)
	mostMM := m.rimMM + moreMM
	b := s.unroll(r.outline, -0.2, mostMM+0.2, 0.5*r.pxMM, profileAverageMM, false)
	n, margin := len(b.base), int(marginMM/b.spacing)
	from, to := int(b.index(0)), min(int(b.index(mostMM)), b.n-1)
	for i := range b.base {
		row := b.row(i)
		if row := row[from : to+1]; slices.Min(row) > dark*slices.Max(row) {
			for k := i - margin; k <= i+margin; k++ {
				r.sure[(k+n)%n] = false
			}
		}
	}
}
