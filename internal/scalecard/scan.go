package scalecard

import (
	"context"
	"errors"
	"fmt"
	"math"

	"portmatch/internal/face"
)

const (
	mmPerInch = 25.4

	// Resolutions that flat-bed scanners have. Below it is what programs write when they know nothing (72, 96).
	minScanDPI = 100
	maxScanDPI = 4800
	// How far a strip may contradict a resolution and still be taken for a scan at it: cards printed at 97 % exist.
	scanAgrees = 0.06
	// A strip that contradicts the scanner by more than printers and scanners usually err is worth a word.
	scanWarns = 0.005
)

// bareScan is the solution of a scan without a strip: its resolution taken at its word.
func (s *solver) bareScan() *Solution {
	m := s.newModel()
	m.x[uLogF] = math.Log(s.options.DPI / mmPerInch)
	m.x[uCy] = float64(m.height - 1) // the origin at the lower-left pixel, y up
	v := m.view()
	out := &Solution{Camera: v.camera, PrintedScale: [2]float64{1, 1}, Tone: s.photo.Tone, ScanDPI: [2]float64{s.options.DPI, s.options.DPI}}
	out.fit = &fitted{state: state{model: m}, active: []int{uLogF, uAspect},
		cov: []float64{sigmaScanScale * sigmaScanScale, 0, 0, sigmaScanScale * sigmaScanScale}}
	out.setToneDoubt(levels{}.doubt())
	out.Warnings = append(out.Warnings, face.Warning{
		What: fmt.Sprintf("no strip in the scan: its stated %g dpi is taken at its word, to %.1f %%", s.options.DPI, 100*sigmaScanScale),
		Try:  "lay a strip on the glass beside the part",
	})
	return out
}

// settleKind decides whether tags that were solved for a camera are rather those of a scan, or the other way round.
func (s *solver) settleKind(ctx context.Context) error {
	if s.fit.model.scan {
		asScan := s.fit
		s.scan, s.fit = false, nil
		err := s.solve(ctx)
		camera := s.fit
		s.scan = true
		if err := s.solve(ctx); err != nil {
			return err
		}
		if err == nil && asScan.rmsPx > maxResidualPx && asScan.rmsPx > 4*camera.rmsPx {
			return s.fail(ErrBadOption, nil, "leave the resolution (--dpi) out", "the picture was taken by a camera, it is no flat-bed scan: its strips are seen in perspective")
		}
		return nil
	}
	p := s.photo
	if p.Camera || p.Focal35MM > 0 || p.DPIX < minScanDPI || math.Abs(p.DPIX-p.DPIY) > 0.01*p.DPIX || math.Abs(s.pxPerMM()*mmPerInch/p.DPIX-1) > scanAgrees {
		return nil
	}
	camera := s.fit
	s.scan, s.fit = true, nil
	if err := s.solve(ctx); err == nil && s.fit.cost < camera.cost+decisive && s.fit.rmsPx < maxResidualPx {
		return nil
	} else if err != nil && !errors.Is(err, ErrPoorFit) {
		return err
	}
	s.scan, s.fit = false, camera
	return s.solve(ctx)
}

// scanDPI returns what the strips say of a scan's resolution along u and v.
func (m *model) scanDPI() [2]float64 {
	v := m.view()
	a := v.camera.Scan
	return [2]float64{math.Hypot(a.A, a.B) * mmPerInch, math.Hypot(a.C, a.D) * mmPerInch}
}

// scanAdvice compares a scan's stated resolution with the strips'.
func (s *solver) scanAdvice() []face.Warning {
	stated := s.options.DPI
	if stated == 0 {
		stated = s.photo.DPIX
	}
	dpi := s.fit.model.scanDPI()
	if stated == 0 || max(math.Abs(dpi[0]/stated-1), math.Abs(dpi[1]/stated-1)) < scanWarns {
		return nil
	}
	return []face.Warning{{
		What: fmt.Sprintf("the scan states %g dpi, the strips in it say %.1f across and %.1f down; the strips are believed", stated, dpi[0], dpi[1]),
		Try:  "measure the card's check lines with calipers and give --printed-x and --printed-y, so that it is known which of the two is off",
	}}
}
