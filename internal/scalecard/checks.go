package scalecard

import (
	"fmt"
	"math"

	"portmatch/internal/face"
	"portmatch/internal/prose"
	"portmatch/internal/scalecard/strip"
)

// What a photo is refused for.
const (
	// A strip that bends or leans by this much moves what is measured beside it by up to 0.1 mm on a long part; paper that
	// was laid flat stays well under half of it.
	maxLiftMM = 0.25
	// A fit that leaves the corners this far out in the plane is no fit: a hundred times what print and edges do.
	maxResidualMM = 0.05
	maxResidualPx = 0.3
	// Beyond this the picture's or the print's two directions differ for another reason than a printer's tolerance.
	maxAspect = 0.007
	// A scanner's transport may err further, and the strips show by how much.
	maxScanAspect = 0.03
	// An estimate this many standard deviations out is no chance.
	surely = 4.0
	// Twice the log likelihood ratio past which one more unknown has earned its place, with a margin: chance gives 16 once
	// in 16 000 photos.
	decisive = 16.0
)

// check tells whether the strips go together with a plain camera over flat paper.
func (s *solver) check() error {
	if err := s.checkStretch(); err != nil {
		return err
	}
	if err := s.checkFlat(); err != nil {
		return err
	}
	return s.checkResidual()
}

func (s *solver) checkResidual() error {
	pxPerMM := s.pxPerMM()
	var ignored int
	for _, w := range s.fit.weight {
		if w < 0.25 {
			ignored++
		}
	}
	if mm := s.fit.rmsPx / pxPerMM; (mm > maxResidualMM && s.fit.rmsPx > maxResidualPx) || 2*ignored > len(s.tags) {
		return s.fail(ErrPoorFit, s.fit.model.numbers, "lay the strips flat on one level, print them from one sheet, and use the photo as the camera took it",
			"the strips do not fit together: their tags stand %.2f px (%s) from where a camera would see them, %s is the limit", s.fit.rmsPx, prose.MM(mm, 3), prose.MM(maxResidualMM, 2))
	}
	return nil
}

// pxPerMM is the usual scale of the tags.
func (s *solver) pxPerMM() float64 {
	var scale []float64
	for i := range s.tags {
		scale = append(scale, sidePx(s.tags[i].corners)/strip.TagMM)
	}
	return median(scale)
}

// checkStretch compares the two directions of picture and print.
func (s *solver) checkStretch() error {
	m := s.fit.model
	aspect, limit := m.x[uPrintAspect], maxAspect
	if m.scan {
		aspect, limit = m.x[uAspect], maxScanAspect
	} else {
		p := s.problem.with(s.problem.priors.clone())
		p.priors.each[uAspect] = prior{sigma: 0.02}
		if f, err := p.solve(m); err == nil && s.fit.cost-f.cost > decisive && math.Abs(f.model.x[uAspect]) > maxAspect/2 {
			aspect = f.model.x[uAspect]
			return s.fail(ErrStretched, m.numbers, "use the photo as the camera took it; if the card's check lines differ by as much, give --printed-x and --printed-y",
				"the picture or the printed strips are stretched: one direction is %.1f %% longer than the other", 100*math.Abs(aspect))
		}
	}
	if math.Abs(aspect) > limit && (m.scan || math.Abs(aspect) > surely*s.fit.sigma(map[int]float64{uPrintAspect: 1})) {
		return s.fail(ErrStretched, m.numbers, "use the photo as the camera took it; if the card's check lines differ by as much, give --printed-x and --printed-y",
			"the picture or the printed strips are stretched: one direction is %.1f %% longer than the other, %.1f %% is the limit", 100*math.Abs(aspect), 100*limit)
	}
	return nil
}

// sigma returns the standard uncertainty of a linear combination of unknowns.
func (f *fitted) sigma(coefficients map[int]float64) float64 {
	n := len(f.active)
	c := make([]float64, n)
	for a, i := range f.active {
		c[a] = coefficients[i]
	}
	var sum float64
	for a := range n {
		for b := range n {
			sum += c[a] * c[b] * f.cov[a*n+b]
		}
	}
	return math.Sqrt(sum)
}

// shape is how one strip's paper stands to the plane. What the solve puts there has already beaten the likelier flat
// paper: no further test is made of it.
type shape struct {
	k       int
	bendMM  float64 // from its lowest to its highest place
	atRight bool    // the higher end is the right one as the strip is read
	middle  bool    // neither end: the middle stands up
	levelMM float64 // its mean height
}

func (s *solver) shapes() []shape {
	var out []shape
	for k := range s.fit.model.numbers {
		own := s.fit.model.x[s.fit.model.stripIndex(k):]
		height := func(xi float64) float64 { return own[uLift] + xi*own[uTilt] + (xi*xi-1./3)*own[uBow] }
		lo, hi := -1.0, -1.0
		for xi := -1.0; xi <= 1; xi += 0.1 {
			if height(xi) < height(lo) {
				lo = xi
			}
			if height(xi) > height(hi) {
				hi = xi
			}
		}
		out = append(out, shape{k: k, bendMM: height(hi) - height(lo), atRight: hi > 0, middle: math.Abs(hi) < 0.5, levelMM: own[uLift]})
	}
	return out
}

// checkFlat names strips that don't lie flat on the common plane, or are of another size.
func (s *solver) checkFlat() error {
	if s.fit.model.scan {
		return nil
	}
	var bent, off []int
	worst := shape{}
	for _, sh := range s.shapes() {
		switch {
		case sh.bendMM > maxLiftMM:
			bent = append(bent, sh.k)
			if sh.bendMM > worst.bendMM {
				worst = sh
			}
		case math.Abs(sh.levelMM) > maxLiftMM:
			off = append(off, sh.k)
			if bent == nil && math.Abs(sh.levelMM) > math.Abs(worst.levelMM) {
				worst = sh
			}
		}
	}
	m := s.fit.model
	switch {
	case len(bent) > 0:
		where := "left end"
		if worst.middle {
			where = "middle"
		} else if worst.atRight {
			where = "right end"
		}
		names := s.blame(bent)
		what := prose.Sprintf("strip %d does not lie flat: its %s stands about %s up", m.numbers[worst.k], where, prose.MM(worst.bendMM, 1))
		if len(names) > 1 {
			what = prose.Sprintf("strips %s do not lie in one plane: one of them is lifted or curled by about %s (perhaps strip %d, at its %s)", list(names), prose.MM(worst.bendMM, 1), m.numbers[worst.k], where)
		}
		return s.fail(ErrLifted, names, "lay the strips flat, weigh or tape their ends down, and take the photo again", "%s, %s is the limit", what, prose.MM(maxLiftMM, 2))
	case len(off) > 0:
		names := s.blame(off)
		if len(m.numbers) == 2 {
			names = m.numbers
		}
		smaller, percent := "larger", 100*worst.levelMM/s.cameraHeight()
		if percent < 0 {
			smaller = "smaller"
		}
		return s.fail(ErrPrintScale, names, "print all strips from one sheet at 100 %, and lay them on one level",
			"strip %d looks %.2f %% %s than the others: it was printed at another scale, or lies %s off their level", m.numbers[worst.k], math.Abs(percent), smaller, prose.MM(math.Abs(worst.levelMM), 1))
	}
	return nil
}

func (s *solver) cameraHeight() float64 {
	v := s.fit.model.view()
	return v.camera.CentreInPlane()[2]
}

// blame returns the numbers of the strips at fault, and of those that might be instead: with the accused held flat, the
// others explain the picture nearly as well.
func (s *solver) blame(accused []int) []int {
	m := s.fit.model
	p := s.problem.with(s.problem.priors.clone())
	start := m.clone()
	for _, k := range accused {
		for i := m.stripIndex(k) + uLift; i <= m.stripIndex(k)+uBow; i++ {
			p.priors.each[i].nu = 0
			start.x[i] = 0
		}
	}
	numbers := map[int]bool{}
	for _, k := range accused {
		numbers[m.numbers[k]] = true
	}
	wide := p.with(p.priors.clone())
	for k := range m.numbers {
		if !numbers[m.numbers[k]] {
			for i := m.stripIndex(k) + uLift; i <= m.stripIndex(k)+uBow; i++ {
				wide.priors.each[i] = prior{sigma: 2}
			}
		}
	}
	if f, err := wide.solve(start); err == nil {
		start = f.model
	}
	if f, err := p.solve(start); err == nil && f.cost < s.fit.cost+decisive {
		t := &solver{fit: f, problem: p}
		for _, sh := range t.shapes() {
			if sh.bendMM > maxLiftMM || math.Abs(sh.levelMM) > maxLiftMM {
				numbers[m.numbers[sh.k]] = true
			}
		}
	}
	var out []int
	for _, n := range m.numbers {
		if numbers[n] {
			out = append(out, n)
		}
	}
	return out
}

// advice lists what is not wrong enough to refuse the photo.
func (s *solver) advice() []face.Warning {
	var out []face.Warning
	m := s.fit.model
	if m.scan {
		out = append(out, s.scanAdvice()...)
	} else {
		if p := focalPrior(s.photo); p.nu == sometimes && math.Abs(m.x[uLogF]-p.mean) > 0.1 && math.Abs(m.x[uLogF]-p.mean) > surely*s.fit.sigma(map[int]float64{uLogF: 1}) {
			out = append(out, face.Warning{
				What: fmt.Sprintf("the file says that the lens was at %.0f mm (35 mm equivalent), the strips say %.0f mm; the strips are believed", s.photo.Focal35MM, s.photo.Focal35MM*math.Exp(m.x[uLogF]-p.mean)),
				Try:  "use the photo as the camera took it, without digital zoom",
			})
		}
		for _, sh := range s.shapes() {
			if sh.bendMM > maxLiftMM/2 {
				out = append(out, face.Warn("",
					prose.Sprintf("strip %d does not lie quite flat (about %s)", m.numbers[sh.k], prose.MM(sh.bendMM, 2)),
					prose.Sprintf("weigh or tape its ends down")))
			}
		}
	}
	return out
}
