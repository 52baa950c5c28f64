package scalecard

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"

	"portmatch/internal/geom"
)

// scanned is a flat-bed scan of one strip at about dpi, whose transport errs by the given shares across and down.
func scanned(dpi, errU, errV float64) *model {
	m := &model{scaleX: 1, scaleY: 1, scan: true, numbers: []int{6}, x: make([]float64, sharedUnknowns+stripUnknowns)}
	su, sv := dpi/mmPerInch*(1+errU), dpi/mmPerInch*(1+errV)
	m.width, m.height = int(230*su), int(60*sv)
	m.x[uLogF] = math.Log(math.Sqrt(su * sv))
	m.x[uAspect] = math.Log(sv / su)
	m.x[uRx] = 0.03
	m.x[uCx], m.x[uCy] = 15*su, 50*sv
	return m
}

func TestScanWithStrip(t *testing.T) {
	const dpi = 150
	m := scanned(dpi, 0.008, -0.004)
	p := newPicture(draw(m, 0)).photo(3)
	at := []geom.PointMM{{X: 0, Y: 0}, {X: 200, Y: 0}, {X: 200, Y: 100}, {X: 0, Y: 100}, {X: 100, Y: 50}}
	w := m.view()
	for _, told := range []bool{true, false} {
		o := Options{}
		if told {
			o.DPI = dpi
			p.DPIX, p.DPIY = 0, 0
		} else {
			// A file that states a resolution which the strips bear out, and no lens.
			p.DPIX, p.DPIY = dpi, dpi
		}
		s, err := Solve(context.Background(), p, o)
		if err != nil {
			t.Fatal(err)
		}
		if s.Camera.Scan == nil {
			t.Fatalf("told %v: solved as a photo", told)
		}
		// The strip rules: its own directions, 28 mm across at 6 px/mm, are told to 1e-4.
		if rms, worst := mapError(&s.Camera, &w.camera, at, 0); rms > 0.02 || worst > 0.04 {
			t.Errorf("told %v: %.4f mm RMS, %.4f at worst", told, rms, worst)
		}
		if math.Abs(s.ScanDPI[0]/(dpi*1.008)-1) > 3e-4 || math.Abs(s.ScanDPI[1]/(dpi*0.996)-1) > 1e-3 {
			t.Errorf("told %v: resolution %v", told, s.ScanDPI)
		}
		if len(s.Warnings) != 1 || !strings.Contains(s.Warnings[0].What, "151.2 across") {
			t.Errorf("told %v: warnings %v", told, s.Warnings)
		}
		if f := s.FaceFields(0, 0.1, geom.PointMM{}, geom.PointMM{X: 200, Y: 100}); len(f) == 0 || f[len(f)-1].Name == "height" {
			t.Errorf("told %v: %d fields, a scan knows no height", told, len(f))
		}
	}
}

func TestScanWithoutStrip(t *testing.T) {
	m := scanned(200, 0, 0)
	m.numbers = nil
	p := newPicture(draw(m, 0)).photo(4)
	if _, err := Solve(context.Background(), p, Options{}); !errors.Is(err, ErrNoStrip) {
		t.Errorf("without a resolution: %v", err)
	}
	s, err := Solve(context.Background(), p, Options{DPI: 200})
	if err != nil {
		t.Fatal(err)
	}
	// 25.4 mm are 200 px, y is up.
	a, b := s.Camera.PlaneFromPixel(geom.PointPx{U: 100, V: 400}, 0), s.Camera.PlaneFromPixel(geom.PointPx{U: 300, V: 200}, 0)
	if d := b.Sub(a); math.Abs(d.X-25.4) > 1e-9 || math.Abs(d.Y-25.4) > 1e-9 {
		t.Errorf("200 px each way are %v mm", d)
	}
	if len(s.Warnings) != 1 || s.ScanDPI != [2]float64{200, 200} {
		t.Errorf("warnings %v, resolution %v", s.Warnings, s.ScanDPI)
	}
	// The fields say what is believed: a scale, and one direction against the other, to 0.1 % each.
	var sum float64
	for _, f := range s.FaceFields(0, 0, geom.PointMM{}, geom.PointMM{X: 200, Y: 100}) {
		d := f.At(geom.PointMM{X: 200, Y: 50}).Sub(f.At(geom.PointMM{Y: 50}))
		sum += d.X * d.X
	}
	if want := 200 * math.Hypot(0.001, 0.0005); math.Abs(math.Sqrt(sum)-want) > 0.01*want {
		t.Errorf("200 mm are uncertain by %.4f mm, want %.4f", math.Sqrt(sum), want)
	}
}

// TestPhotoIsNoScan: a resolution given for a photo is refused, one that happens to stand in its file is ignored.
func TestPhotoIsNoScan(t *testing.T) {
	p := newPicture(draw(desk(4), 0)).photo(5)
	if _, err := Solve(context.Background(), p, Options{DPI: 100}); !errors.Is(err, ErrBadOption) {
		t.Errorf("got %v", err)
	}
	p.DPIX, p.DPIY = 102, 102
	s, err := Solve(context.Background(), p, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if s.Camera.Scan != nil {
		t.Error("a photo was taken for a scan")
	}
}
