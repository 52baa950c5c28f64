package contour

import (
	"math"
	"slices"
)

// Where hue and brightness put an edge in different places, brightness has taken a shadow's rim for it: a shadow keeps the hue of what it lies on. The
// hue is the coarser ruler, but tells which of several edges is the part's.

const (
	// chromaPx is the blur of chroma that was stored at half size, standard deviation.
	chromaPx = 1.0
	// chromaNew is the share of samples, half a pixel apart, whose chroma is independent.
	chromaNew = 0.25
	// benchFromMM is how far inside an edge what is behind it shows its hue, mm.
	benchFromMM = 1.0
	// A change of hue may be found so far outside the edge that it belongs to, and inside it, pixels: at an edge with a bright bench behind it, bench is
	// most of what the lens blends.
	chromaOutPx, chromaInPx = 1.3, 0.5
)

// chromaFit compares chroma along rows of a band with that of an edge between two hues.
type chromaFit struct {
	kernel []float64 // of the blur, odd
	behind []float64 // behind[t] is the blurred light of the kernel's samples from the t-th on
	light  []float64 // coded
}

func newChromaFit(b *band) *chromaFit {
	half := int(math.Ceil(3 * chromaPx * b.pxMM / b.ds))
	f := &chromaFit{kernel: make([]float64, 2*half+1), behind: make([]float64, 2*half+2), light: make([]float64, b.n)}
	var sum float64
	for t := range f.kernel {
		z := float64(t-half) * b.ds / (chromaPx * b.pxMM)
		f.kernel[t] = math.Exp(-z * z / 2)
		sum += f.kernel[t]
	}
	for t := range f.kernel {
		f.kernel[t] /= sum
	}
	return f
}

// misfits fills in minus twice the log likelihood of row i, up to a constant, with the change of hue at lo, lo + step and so on, mm. ok is false where the two hues
// are too much alike to tell, or part of the row is outside the photo.
//
// Chroma is compared as it is stored, coded and at half size: what is stored in a dark place runs over from a bright one beside it.
func (f *chromaFit) misfits(b *band, i int, lo, step float64, face, behind hueCluster, out []float64) (ok bool) {
	const (
		clear   = 4.0  // standard deviations of hue between face and what is behind
		grain   = 0.1  // of the difference: what neither hue's spread tells of
		mostOff = 16.0 // of a sample, in variances
	)
	da, db := behind.a[i]-face.a[i], behind.b[i]-face.b[i]
	d2 := da*da + db*db
	sf := math.Hypot(face.sigmaA[i], face.sigmaB[i]) / math.Sqrt(d2)
	sb := math.Hypot(behind.sigmaA[i], behind.sigmaB[i]) / math.Sqrt(d2)
	if !(d2 > 0) || sf*clear > 1 {
		return false
	}
	sf, sb = math.Hypot(sf, grain), math.Hypot(sb, grain)
	noise2 := b.chromaNoise * b.chromaNoise / d2
	half := len(f.kernel) / 2
	reachMM := 3 * chromaPx * b.pxMM
	j0, j1 := max(half, int(b.index(lo-reachMM))), min(b.n-1-half, int(b.index(lo+float64(len(out))*step+reachMM)))
	row := b.row(i)
	for j := range f.light {
		if f.light[j] = greyLevel(float64(row[j])) + hueFloor; f.light[j] != f.light[j] {
			return false
		}
	}
	for q := range out {
		out[q] = 0
	}
	// The face's own chroma, along the difference of the hues, over light.
	own := (face.a[i]*da + face.b[i]*db) / d2
	for j := j0; j <= j1; j++ {
		f.behind[2*half+1] = 0
		for t := 2 * half; t >= 0; t-- {
			f.behind[t] = f.behind[t+1] + f.kernel[t]*f.light[j-half+t]
		}
		at := 2 * (i*b.n + j)
		seen := (float64(b.hue[at])*da+float64(b.hue[at+1])*db)/d2*f.light[j] - own*f.behind[0]
		for q := range out {
			lit := f.beyond(b.index(lo+float64(q)*step) - float64(j-half) + 0.5)
			unlit := f.behind[0] - lit
			sigma2 := noise2 + sf*sf*unlit*unlit + sb*sb*lit*lit
			r := seen - lit
			out[q] += chromaNew * (math.Min(r*r/sigma2, mostOff) + math.Log(sigma2))
		}
	}
	return true
}

// beyond is the blurred light of the kernel's samples beyond x, counted in samples from its first one's near side.
func (f *chromaFit) beyond(x float64) float64 {
	k := math.Floor(x)
	switch {
	case k < 0:
		return f.behind[0]
	case int(k) >= len(f.kernel):
		return 0
	}
	t := int(k)
	return f.behind[t+1] + (1-(x-k))*(f.behind[t]-f.behind[t+1])
}

// rightEdge raises the scan's misfits at places that lie further from the change of hue than that may be wrong.
//
// Brightness may fit well at a shadow's rim, and hue has noise: the misfits are taken for those of samples whose variance is not known, as no model is exact,
// so that both count by their log likelihood; and where brightness fits nowhere, hue counts more.
//
// The hue may change anywhere on a cut wall: that is of the gasket's stuff, whatever lies on its face, and has the bench's light on it.
func (m edgeModel) rightEdge(b *band, e *edgeScan, tau2 float64, face, behind hueCluster) {
	const (
		brightNew = 0.5 // share of the samples, half a pixel apart, whose brightness is independent
		mostMore  = 4.0 // by which hue counts
		most      = 8.0 // log of what a misfit is raised by
		// Of full scale, linear light: what is as bright has burnt out in one primary or soon will, and has another hue in the shade.
		mostLight = 0.7
	)
	out, in := int(math.Ceil(chromaOutPx*b.pxMM/e.step)), int(math.Ceil(chromaInPx*b.pxMM/e.step))
	e.hueMM = make([]float64, len(e.fits))
	light := b.medians(benchFromMM, b.s0+float64(b.n-1)*b.ds)
	parallelRowsWith(len(e.fits), func(i int, room *rightEdgeRoom) {
		e.hueMM[i] = math.NaN()
		if room.fit == nil {
			room.fit, room.misfits = newChromaFit(b), make([]float64, e.k)
		}
		w := m.width(b.lean[i])
		if light[i] > mostLight || !room.fit.misfits(b, i, e.lo+w, e.step, face, behind, room.misfits) {
			return
		}
		wall := int(math.Ceil(w / e.step))
		f := &e.fits[i]
		best := slices.Min(room.misfits)
		e.hueMM[i] = e.lo + float64(slices.Index(room.misfits, best))*e.step
		weight := min(e.noiseAt(i, tau2)/tau2, mostMore) / (brightNew * float64(max(1, f.samples)))
		for q := range f.sse {
			least := slices.Min(room.misfits[max(0, q-out-wall):min(e.k, q+in+1)])
			f.sse[q] *= math.Exp(min(weight*(least-best), most))
		}
	})
}

type rightEdgeRoom struct {
	fit     *chromaFit
	misfits []float64
}

// hueApart tells how far every place of an edge, mm, lies from where hue has it, beyond what the two may differ by, mm.
func (e *edgeScan) hueApart(b *band, raw []float64) []float64 {
	const alongMM = 3.0
	apart := make([]float64, len(raw))
	for i, mm := range e.hueMM {
		if off := raw[i] - mm; off == off {
			apart[i] = max(0, off-chromaOutPx*b.pxMM, -off-chromaInPx*b.pxMM)
		}
	}
	return medianAlong(apart, int(alongMM/2/b.spacing))
}
