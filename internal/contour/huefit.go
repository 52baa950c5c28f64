package contour

import "math"

// hueNoise is the least spread of an averaged profile's hue: what JPEG's quantised chroma leaves.
const hueNoise = 0.006

// huesDiffer tells whether the hues of a face and of what is behind it differ clearly at vertex i, and how far the face's spreads, standard deviation, of
// what they differ by.
func huesDiffer(face, behind *hueCluster, i int) (sigma float64, clearly bool) {
	const clear = 4.0 // standard deviations
	d := math.Hypot(behind.a[i]-face.a[i], behind.b[i]-face.b[i])
	sigma = math.Max(math.Hypot(face.sigmaA[i], face.sigmaB[i])/d, 0.08)
	return sigma, d > 0 && sigma*clear <= 1
}

// hueTells tells whether a thin part has another hue than its bench along most of the edges near some curves, which are good to a mm.
func (v *Survey) hueTells(starts []start) bool {
	const outMM, inMM, nearMM = 2.2, 3.0, 0.7
	if !v.s.photo.HasColour() {
		return false
	}
	told, all := make([]int, len(starts)), make([]int, len(starts))
	parallelItems(len(starts), func(k int) {
		px := v.s.mmPerPx(centroid(starts[k].curve))
		b := v.s.unroll(resampleClosed(starts[k].curve, vertexSpacing(px)), -outMM, inMM, 0.5*px, profileAverageMM, true)
		face, behind := b.hues(-outMM, -nearMM, 1.3, hueNoise, nil, false), b.hues(benchFromMM, inMM, 1.3, hueNoise, nil, false)
		all[k] = len(b.base)
		for i := range b.base {
			if _, clearly := huesDiffer(&face, &behind, i); clearly {
				told[k]++
			}
		}
	})
	var sum, of int
	for k := range told {
		sum, of = sum+told[k], of+all[k]
	}
	return 2*sum > of
}

// addHue adds to the scan's misfits what the hue says, where brightness says little: in a contact shadow a bench may be as
// dark as the gasket that throws it, but it keeps its hue. The hue changes once, from the face's to that of what is behind; a
// cut wall has the face's.
func (m edgeModel) addHue(b *band, e *edgeScan, tau2 float64, spread []float64) {
	if b.hue == nil {
		return
	}
	const (
		plainStep = 6.0  // spreads of the face: a change of brightness this large needs no help
		chromaPx  = 1.2  // blur of chroma that was stored at half size, standard deviation
		chromaNew = 0.25 // share of the samples that are independent
	)
	out := m.within(2.2)
	face := b.hues(-out, -math.Min(0.5, out/2), 1.3, hueNoise, nil, false)
	behind := b.hues(benchFromMM, b.s0+float64(b.n-1)*b.ds, 1.3, hueNoise, nil, false)
	e.hueTells = make([]bool, len(e.fits))
	if m.thin() {
		m.rightEdge(b, e, tau2, face, behind)
	}
	parallelRowsWith(len(e.fits), func(i int, room *[]float64) {
		sigma, tells := huesDiffer(&face, &behind, i)
		if !tells {
			return
		}
		da, db := behind.a[i]-face.a[i], behind.b[i]-face.b[i]
		d := math.Hypot(da, db)
		e.hueTells[i] = true
		f := &e.fits[i]
		best := 0
		for q, v := range f.sse {
			if v < f.sse[best] {
				best = q
			}
		}
		own, plain := tau2, plainStep*spread[i]
		if m.thin() {
			// Where brightness fits nowhere, as in a shadow's rim, it tells less, however much it changes.
			own = e.noiseAt(i, tau2)
			plain = plainStep * max(spread[i], math.Sqrt(own))
		}
		step := math.Max(math.Abs(f.first[best]), math.Abs(f.first[best]+f.second[best])) / plain
		weight := own * chromaNew / (sigma * sigma) / (1 + step*step)
		blur := math.Hypot(m.sigmaMM, chromaPx*b.pxMM)
		w := m.width(b.lean[i])
		lo, hi := e.lo-3*blur, e.lo+float64(e.k)*e.step+w+3*blur
		j0, j1 := max(0, int(b.index(lo))), min(b.n-1, int(b.index(hi)))
		// How far the hue has gone from the face's, 0, to that of what is behind, 1; NaN outside the photo.
		gone := (*room)[:0]
		for j := j0; j <= j1; j++ {
			at := 2 * (i*b.n + j)
			gone = append(gone, ((float64(b.hue[at])-face.a[i])*da+(float64(b.hue[at+1])-face.b[i])*db)/(d*d))
		}
		*room = gone
		perBlur := 1 / blur
		for q := range f.sse {
			edge := e.lo + float64(q)*e.step + w
			var sse float64
			for t, h := range gone {
				if h == h {
					r := h - phi((b.s0+float64(j0+t)*b.ds-edge)*perBlur)
					sse += min(r*r, 1)
				}
			}
			f.sse[q] += weight * sse
		}
	})
}
