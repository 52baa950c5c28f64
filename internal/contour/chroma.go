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
	// wallLitPx is how far outside a wall's foot a change of hue may be found, pixels, if the wall is a pixel wide or more: light from the bench falls on it.
	wallLitPx = 0.8
	// A change of hue that is further from the edge than so many times what is usual is doubted.
	chromaFar = 1.5
)

// chromaFit compares chroma along rows of a band with that of an edge between two hues.
type chromaFit struct {
	kernel  []float64 // of the blur by storing, odd
	sigmaMM float64   // of the lens's blur, standard deviation
	lens    []float64 // lens[k] is how much of what is beyond an edge is blended in, k table steps from lensReach blurs before it on
	light   []float64 // coded
	sum     []float64 // blurred light
	seen    []float64 // chroma less the face's own, along the difference of the hues, over that
	lit     []float64 // of the light, what comes from beyond an edge
}

// lensReach is how many standard deviations the lens's blur reaches, lensSteps how fine it is tabled.
const lensReach, lensSteps = 3, 64

func newChromaFit(m edgeModel, b *band) *chromaFit {
	half := int(math.Ceil(3 * chromaPx * b.pxMM / b.ds))
	f := &chromaFit{kernel: make([]float64, 2*half+1), sigmaMM: m.sigmaMM, lens: make([]float64, 2*lensReach*lensSteps+1),
		light: make([]float64, b.n), sum: make([]float64, b.n), seen: make([]float64, b.n), lit: make([]float64, b.n)}
	var sum float64
	for t := range f.kernel {
		z := float64(t-half) * b.ds / (chromaPx * b.pxMM)
		f.kernel[t] = math.Exp(-z * z / 2)
		sum += f.kernel[t]
	}
	for t := range f.kernel {
		f.kernel[t] /= sum
	}
	for k := range f.lens {
		f.lens[k] = min(max(m.step((float64(k)/lensSteps-lensReach)*m.sigmaMM), 0), 1)
	}
	return f
}

// sides are the linear light on both sides of the change of hue along one row.
type sides struct {
	front []float64 // of the face, or of a cut wall, for every place that is tried
	bench float64   // of what is beyond, where no shadow lies
}

// misfits fills in minus twice the log likelihood of row i, up to a constant, with the change of hue at lo, lo + step and so on, mm. ok is false where the two hues
// are too much alike to tell, or part of the row is outside the photo.
//
// The lens blends light: of a pixel's, what the part in front leaves over is from beyond, and a bright bench tints a pixel that it covers a third of more than
// the part does. Chroma is then compared as it is stored, coded and at half size: what is stored in a dark place runs over from a bright one beside it.
func (f *chromaFit) misfits(b *band, i int, lo, step float64, of sides, face, behind hueCluster, out []float64) (ok bool) {
	const (
		clear    = 4.0  // standard deviations of hue between face and what is behind
		grain    = 0.1  // of the difference: what neither hue's spread tells of
		mostOff  = 16.0 // of a sample, in variances
		brighter = 1.5  // than usual what is beyond may be in places
		black    = 1e-5 // linear light, of full scale
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
	// The face's own chroma, along the difference of the hues, over light.
	own := (face.a[i]*da + face.b[i]*db) / d2
	for j := j0; j <= j1; j++ {
		f.sum[j] = 0
		for t, k := range f.kernel {
			f.sum[j] += k * f.light[j-half+t]
		}
		at := 2 * (i*b.n + j)
		f.seen[j] = (float64(b.hue[at])*da+float64(b.hue[at+1])*db)/d2*f.light[j] - own*f.sum[j]
	}
	perSigma := lensSteps / f.sigmaMM
	for q := range out {
		out[q] = 0
		edge := lo + float64(q)*step
		for j := j0 - half; j <= j1+half; j++ {
			x := (b.s0+float64(j)*b.ds-edge)*perSigma + lensReach*lensSteps
			switch {
			case x <= 0:
				f.lit[j] = 0
			case int(x) >= len(f.lens):
				f.lit[j] = f.light[j]
			default:
				beyond, y := f.lens[int(x)], max(float64(row[j]), black)
				f.lit[j] = f.light[j] * max(0, min(1-(1-beyond)*of.front[q]/y, beyond*brighter*of.bench/y, 1))
			}
		}
		for j := j0; j <= j1; j++ {
			var lit float64
			for t, k := range f.kernel {
				lit += k * f.lit[j-half+t]
			}
			unlit := f.sum[j] - lit
			sigma2 := noise2 + sf*sf*unlit*unlit + sb*sb*lit*lit
			r := f.seen[j] - lit
			out[q] += chromaNew * (math.Min(r*r/sigma2, mostOff) + math.Log(sigma2))
		}
	}
	return true
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
	e.hueMM, e.hueOffMM = make([]float64, len(e.fits)), make([]float64, len(e.fits))
	light := b.medians(benchFromMM, b.s0+float64(b.n-1)*b.ds)
	parallelRowsWith(len(e.fits), func(i int, room *rightEdgeRoom) {
		e.hueMM[i] = math.NaN()
		if room.fit == nil {
			room.fit, room.misfits, room.front = newChromaFit(m, b), make([]float64, e.k), make([]float64, e.k)
		}
		w := m.width(b.lean[i])
		f := &e.fits[i]
		// A wall narrower than the blur is blended with the face.
		asWall := min(1, w/(2*m.sigmaMM))
		for q := range room.front {
			room.front[q] = f.level[q] + asWall*f.first[q]
		}
		if light[i] > mostLight || !room.fit.misfits(b, i, e.lo+w, e.step, sides{room.front, light[i]}, face, behind, room.misfits) {
			return
		}
		wall := int(math.Ceil((w + litMM(w, b.pxMM)) / e.step))
		best := slices.Min(room.misfits)
		e.hueMM[i] = e.lo + float64(slices.Index(room.misfits, best))*e.step
		e.hueOffMM[i] = b.hueOffPx(&face, &behind, i, light[i]) * b.pxMM
		off := e.hueOffMM[i] / e.step
		far := int(4 * off)
		weight := min(e.noiseAt(i, tau2)/tau2, mostMore) / (brightNew * float64(max(1, f.samples)))
		for q := range f.sse {
			least := math.Inf(1)
			for p := max(0, q-wall-far); p < min(e.k, q+far+1); p++ {
				d := float64(max(0, q-wall-p, p-q)) / off
				least = min(least, room.misfits[p]+d*d)
			}
			f.sse[q] *= math.Exp(min(weight*(least-best), most))
		}
	})
}

type rightEdgeRoom struct {
	fit            *chromaFit
	misfits, front []float64
}

// plainHuePx is how far from its edge a change of hue is found where chroma is finely coded, but for noise, standard deviation in pixels.
const plainHuePx = 0.34

// hueOffPx is how far from its edge a change of hue is found, but for noise, standard deviation in pixels, where so much light comes from what is behind.
// A JPEG codes chroma coarsely, and what little of a faint change is left tells ever less of its place: drawn gaskets, their colours 30 levels from the
// bench's in the mean, were 0.42 px off at quality 90, where the chroma's mean step is 17 levels, 0.67 at 75, 1.1 at 50 and 2.0 at 30, where it is 145. Blocks err
// each its own way: of what a single place is off by, two thirds are taken for what all places near it have.
func (b *band) hueOffPx(face, behind *hueCluster, i int, light float64) float64 {
	const codedPx = 0.25
	apart := math.Hypot(behind.a[i]-face.a[i], behind.b[i]-face.b[i]) * (greyLevel(light) + hueFloor)
	return math.Hypot(plainHuePx, codedPx*b.quantum/apart)
}

// outward moves the places of an edge as brightness has them outward where the hue changes outside them and there is no wall. A contact shadow that is as
// dark as the part is taken for it, more or less, and keeps the bench's hue. It is taken the more for it the less brighter than the face it is:
// on 109 drawn gaskets such places were too far in by 0.85 of what the hue, on average over 3 mm, lay outside them, by 0.4 where it was 1.1 to 2.5 times as bright again and
// 0.2 where more; on two ray-traced ones by 1.4 and not at all. Where the hue lies inside, brightness is right.
//
// Of the drawn places without a wall 95 % lay within 0.52 px, and do within 0.43.
func (e *edgeScan) outward(m edgeModel, b *band, r *edgeReading) {
	const (
		most    = 0.8 // of what the hue lies outside
		clearly = 1.5 // times as bright again as the face
		mostPx  = 1.5 // that the hue counts
		alongMM = 1.5 // to either side
		// A wall narrower than the blur has some of the bench's light on it, too.
		litBy = 2.0 // of its width
	)
	n := len(r.raw)
	outside := make([]float64, n) // by how much, pixels: less than 0 where the hue lies outside
	for i, mm := range e.hueMM {
		outside[i] = min(max((mm-m.width(b.lean[i])-r.raw[i])/b.pxMM, -mostPx), mostPx)
	}
	k := min(int(alongMM/b.spacing), (n-1)/2)
	for i, mm := range e.hueMM {
		if math.IsNaN(mm) {
			continue
		}
		var sum, seen float64
		for a := -k; a <= k; a++ {
			if v := outside[(i+a+n)%n]; v == v {
				sum, seen = sum+v, seen+1
			}
		}
		fine, bright := plainHuePx*b.pxMM/e.hueOffMM[i], max(0, r.behind[i]/r.onFace[i]-1)/clearly
		r.raw[i] += most * fine * fine / (1 + bright*bright) * b.pxMM * min(0, sum/seen+litBy*m.width(b.lean[i])/b.pxMM)
	}
}

// litMM is how far outside the foot of a wall that looks wallMM wide light from the bench may change its hue.
func litMM(wallMM, pxMM float64) float64 { return wallLitPx * min(wallMM, pxMM) }

// hueApart tells how far every place of an edge, mm, lies from where hue has it, beyond what the two may differ by, mm.
func (e *edgeScan) hueApart(m edgeModel, b *band, raw []float64) []float64 {
	const alongMM = 3.0
	apart := make([]float64, len(raw))
	for i, mm := range e.hueMM {
		if off := raw[i] - mm; off == off {
			far := chromaFar * e.hueOffMM[i]
			apart[i] = max(0, off-litMM(m.width(b.lean[i]), b.pxMM)-far, -off-far)
		}
	}
	return medianAlong(apart, int(alongMM/2/b.spacing))
}
