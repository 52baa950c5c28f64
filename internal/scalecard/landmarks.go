package scalecard

import (
	"errors"
	"math"

	"portmatch/internal/geom"
	"portmatch/internal/photo"
)

// Landmark is a place of a face whose position was measured earlier and that was found again in a photo.
type Landmark struct {
	At      geom.PointMM // where it is: the face frame of the earlier photo, mm
	Px      geom.PointPx // where the photo shows it
	SigmaMM float64      // standard uncertainty of each coordinate, of both findings together
}

// LandmarkFit is a camera that was solved from landmarks, and how well they agree with it.
type LandmarkFit struct {
	Solution *Solution // its plane frame is the landmarks' frame; the surface they lie on has height 0
	// Excess is the landmarks' squared distances from where the camera sees them over what their uncertainties let expect: 1 is
	// usual.
	Excess float64
	// WorstMM is the largest of those distances; Worst is the landmark.
	WorstMM float64
	Worst   int
}

// ErrLandmarks says that no camera was found that sees the landmarks as they are.
var ErrLandmarks = errors.New("no camera sees the places so")

const (
	// MinLandmarks is the least that can contradict each other: through four any plane's picture can be laid.
	MinLandmarks = 5
	// usualBlurPx stands in for what the strips' edges would say: a sharp phone photo has 0.7 to 1.3.
	usualBlurPx = 1.0
)

// FromLandmarks solves for the camera of a photo without strips. Where the landmarks fit worse than their uncertainties let
// expect, the camera's uncertainty grows with the misfit. It returns ErrLandmarks where there are fewer than MinLandmarks, or
// where they fit no camera.
func FromLandmarks(p *photo.Photo, marks []Landmark) (*LandmarkFit, error) {
	if len(marks) < MinLandmarks {
		return nil, ErrLandmarks
	}
	s := &solver{photo: p}
	empty := s.newModel()
	known := s.known(empty)
	known.each[uShrink], known.each[uPrintAspect] = prior{}, prior{}
	lp := &landmarkProblem{marks: marks, priors: known, inflate: 1}
	best := lp.solve(s.landmarkStarts(empty, marks))
	if best == nil {
		return nil, ErrLandmarks
	}
	excess := best.variance
	if excess > 1 {
		lp.inflate = excess
		if best = lp.solve([]*model{best.model}); best == nil {
			return nil, ErrLandmarks
		}
	}
	out := &LandmarkFit{Solution: s.landmarkSolution(best), Excess: excess}
	for i, m := range marks {
		if d := out.Solution.Camera.PlaneFromPixel(m.Px, 0).Dist(m.At); d > out.WorstMM {
			out.WorstMM, out.Worst = d, i
		}
	}
	return out, nil
}

// landmarkStarts returns cameras to begin with: the pose out of the landmarks' homography, for each focal length that may be.
func (s *solver) landmarkStarts(empty *model, marks []Landmark) []*model {
	var mm []geom.PointMM
	var px []geom.PointPx
	for _, m := range marks {
		mm, px = append(mm, m.At), append(px, m.Px)
	}
	H, ok := homography(mm, px)
	if !ok {
		return nil
	}
	factors := []float64{1, 0.5, 2}
	if s.photo.Focal35MM > 0 {
		factors = factors[:1]
	}
	var out []*model
	for _, f := range factors {
		m := empty.clone()
		if m.poseFrom(H, f*math.Exp(focalPrior(s.photo).mean)) {
			out = append(out, m)
		}
	}
	return out
}

func (s *solver) landmarkSolution(f *fitted) *Solution {
	c := f.model.view().camera
	out := &Solution{Camera: c, RMSPx: f.rmsPx, HeightMM: c.CentreInPlane()[2],
		TiltDeg:      math.Acos(min(1, max(-1, -c.R[8]))) * 180 / math.Pi,
		PrintedScale: [2]float64{1, 1}, BlurPx: usualBlurPx, Tone: s.photo.Tone, fit: f}
	out.setToneDoubt(levels{}.doubt())
	return out
}

// Facing returns a makeshift solution for a first look at a photo of which nothing is known but about how large a pixel is
// on the face: a camera that looks straight at it. Nothing that is measured with it can be trusted to be to scale.
func Facing(p *photo.Photo, mmPerPx float64) *Solution {
	f := math.Exp(focalPrior(p).mean)
	c := Camera{WidthPx: p.Width, HeightPx: p.Height, FocalPx: f, CxPx: float64(p.Width-1) / 2, CyPx: float64(p.Height-1) / 2,
		R: [9]float64{1, 0, 0, 0, -1, 0, 0, 0, -1}, T: [3]float64{0, 0, f * mmPerPx}}
	return &Solution{Camera: c, HeightMM: f * mmPerPx, PrintedScale: [2]float64{1, 1}, BlurPx: usualBlurPx, Tone: p.Tone}
}

// landmarkProblem is the least squares fit of a camera to landmarks and to what is known of cameras beforehand.
type landmarkProblem struct {
	marks   []Landmark
	priors  priors
	inflate float64 // of the landmarks' variances
}

// solve returns the best minimum that is reached from the starts, or nil.
func (p *landmarkProblem) solve(starts []*model) *fitted {
	var best *fitted
	for _, m := range starts {
		if f := p.solveFrom(m); f != nil && (best == nil || f.cost < best.cost) {
			best = f
		}
	}
	return best
}

// solveFrom takes Levenberg-Marquardt steps.
func (p *landmarkProblem) solveFrom(m *model) *fitted {
	f := &fitted{}
	for i, pr := range p.priors.each {
		if !pr.held() {
			f.active = append(f.active, i)
		}
	}
	cost := p.cost(m)
	lambda := 1e-4
	for f.rounds = 1; f.rounds <= maxRounds; f.rounds++ {
		N, g := p.normal(m, f.active, p.priors.pull)
		before := cost
		for ; lambda < 1e10; lambda *= 10 {
			next := p.step(m, f.active, N, g, lambda)
			if next == nil {
				continue
			}
			if c := p.cost(next); c <= cost {
				m, cost = next, c
				lambda = max(lambda/10, 1e-10)
				break
			}
		}
		if !(before-cost > 1e-9*(1+cost)) {
			break
		}
	}
	if math.IsNaN(cost) || math.IsInf(cost, 0) {
		return nil
	}
	N, _ := p.normal(m, f.active, p.priors.doubt)
	if !N.chol() {
		return nil
	}
	f.model, f.cost, f.cov = m, cost, N.inverse()
	p.judge(f)
	return f
}

// step solves the damped normal equations and moves a copy of m; nil where they have no solution.
func (p *landmarkProblem) step(m *model, active []int, N *spd, g []float64, lambda float64) *model {
	D := N.clone()
	for i := range active {
		D.a[i*D.n+i] *= 1 + lambda
	}
	x := append([]float64(nil), g...)
	if !D.chol() {
		return nil
	}
	D.forward(x)
	D.backward(x)
	t := m.clone()
	for i, a := range active {
		t.move(a, x[i])
	}
	t.settle()
	return t
}

// judge fills in how far off the landmarks are, and how much farther than they should be.
func (p *landmarkProblem) judge(f *fitted) {
	left := p.residuals(f.model)
	none := func([]float64, int) float64 { return 0 }
	N, _ := p.normal(f.model, f.active, none) // of the landmarks alone
	// The landmarks' share in fixing the unknowns, in unknowns: the trace of N times the covariance.
	n, taken := len(f.active), 0.0
	for i := range n {
		for j := range n {
			taken += N.a[min(i, j)*n+max(i, j)] * f.cov[j*n+i]
		}
	}
	var chi2, sum float64
	for _, r := range left {
		chi2 += r * r * p.inflate
	}
	c := f.model.view().camera
	for _, m := range p.marks {
		d := m.Px.Sub(c.PixelFromPlane(m.At, 0))
		sum += d.U*d.U + d.V*d.V
	}
	f.variance = chi2 / max(1, float64(len(left))-taken)
	f.rmsPx = math.Sqrt(sum / float64(2*len(p.marks)))
}

func (p *landmarkProblem) cost(m *model) float64 {
	sum := p.priors.cost(m.x)
	for _, r := range p.residuals(m) {
		sum += r * r
	}
	return sum
}

// residuals are the landmarks' distances from where m sees them, two each, in standard deviations. They are taken in the
// plane, where the uncertainties are known.
func (p *landmarkProblem) residuals(m *model) []float64 {
	c := m.view().camera
	out := make([]float64, 0, 2*len(p.marks))
	for _, k := range p.marks {
		s := k.SigmaMM * math.Sqrt(p.inflate)
		d := c.PlaneFromPixel(k.Px, 0).Sub(k.At)
		out = append(out, d.X/s, d.Y/s)
	}
	return out
}

// normal builds the normal equations by differences; weight says how hard what is known of an unknown pulls on it.
func (p *landmarkProblem) normal(m *model, active []int, weight func(x []float64, i int) float64) (*spd, []float64) {
	root := make([]float64, len(m.x))
	for i := range root {
		root[i] = math.Sqrt(weight(m.x, i))
	}
	// A move may take several unknowns with it, so what is known of each counts as a residual of its own.
	all := func(m *model) []float64 {
		r := p.residuals(m)
		for i, w := range root {
			if w > 0 {
				r = append(r, w*(m.x[i]-p.priors.each[i].mean))
			}
		}
		return r
	}
	at := all(m)
	slopes := make([][]float64, len(active))
	for a, i := range active {
		t := m.clone()
		t.move(i, stepOf(i))
		slopes[a] = all(t)
		for k := range slopes[a] {
			slopes[a][k] = (slopes[a][k] - at[k]) / stepOf(i)
		}
	}
	N, g := newSPD(len(active)), make([]float64, len(active))
	for a := range active {
		for k, s := range slopes[a] {
			g[a] -= s * at[k]
		}
		for b := a; b < len(active); b++ {
			var sum float64
			for k, s := range slopes[a] {
				sum += s * slopes[b][k]
			}
			N.add(a, b, sum)
		}
	}
	return N, g
}
