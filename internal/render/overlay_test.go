package render

import (
	"bytes"
	"errors"
	"flag"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"portmatch/internal/compare"
	"portmatch/internal/geom"
)

var update = flag.Bool("update", false, "write the golden pictures anew")

// benchPhoto is a made-up photo of 8 px a mm, turned by 90°, with light metal and a dark square in every port's middle; the
// job frame's origin is at its middle.
func benchPhoto() *Photo {
	g := image.NewGray(image.Rect(0, 0, 1000, 3200))
	for i := range g.Pix {
		g.Pix[i] = 200
	}
	ph := &Photo{Gray: g, PixelFromJob: func(p geom.PointMM) geom.PointPx { return geom.PointPx{U: 500 + 8*p.Y, V: 1600 + 8*p.X} }}
	for x := -133.5; x < 140; x += 89 {
		c := ph.PixelFromJob(geom.PointMM{X: x})
		for v := int(c.V) - 80; v < int(c.V)+80; v++ {
			for u := int(c.U) - 80; u < int(c.U)+80; u++ {
				g.SetGray(u, v, color.Gray{20})
			}
		}
	}
	return ph
}

// picture as compose sets it up, for tests of its parts: 10 px a mm round the origin.
func testPicture(t *testing.T) *picture {
	t.Helper()
	l, err := newLettering(30)
	if err != nil {
		t.Fatal(err)
	}
	p := newPicture(600, 600, l)
	p.view = box{geom.PointMM{X: -30, Y: -30}, geom.PointMM{X: 30, Y: 30}}
	p.k, p.frame = 10, p.Bounds()
	return p
}

// Pixels that changed colour count the area of a crescent: on the left metal to remove, on the right the port is past the
// line (lens of r 20 and r 20, centres 2 apart, checks.md).
func TestFilledAreaIsTheCrescents(t *testing.T) {
	p := testPicture(t)
	p.drawPhoto(nil)
	p.fillPort(circle(geom.PointMM{}, 20), circle(geom.PointMM{X: 2}, 20))
	var warm, cold int
	for y := range 600 {
		for x := range 600 {
			// Half of a full tint's difference between red and blue is half a pixel covered.
			switch c := p.RGBAAt(x, y); {
			case int(c.R)-int(c.B) > tintPercent*230/100/2:
				warm++
				if x > 300+10 {
					t.Fatalf("metal to remove at %d, %d, right of the middle", x, y)
				}
			case int(c.B)-int(c.R) > tintPercent*(233-86)/100/2:
				cold++
				if x < 300+10 {
					t.Fatalf("past the line at %d, %d, left of the middle", x, y)
				}
			}
		}
	}
	// Whole pixels along some 1200 px of edge: their errors cancel to well under 1 %.
	for _, n := range []int{warm, cold} {
		if got := float64(n) / 100; math.Abs(got/crescentMM2-1) > 0.01 {
			t.Errorf("a crescent of %.2f mm² on screen, want %.2f", got, crescentMM2)
		}
	}
}

// The photo lies upright under the marks: a dark square in the photo shows at its place in the job frame.
func TestPhotoLiesUnderTheMarks(t *testing.T) {
	ph := benchPhoto()
	mark := geom.PointMM{X: 11, Y: 7}
	c := ph.PixelFromJob(mark)
	for v := int(c.V) - 8; v <= int(c.V)+8; v++ { // 2 mm square
		for u := int(c.U) - 8; u <= int(c.U)+8; u++ {
			ph.Gray.SetGray(u, v, color.Gray{0})
		}
	}
	p := testPicture(t)
	p.view = box{geom.PointMM{X: 10.5, Y: 6.5}, geom.PointMM{X: 16.5, Y: 12.5}}
	p.k = 100
	p.drawPhoto(ph)
	dark, x, y := 0.0, 0.0, 0.0
	for j := range 600 {
		for i := range 600 {
			if p.RGBAAt(i, j).R < 100 {
				q := p.job(float64(i)+0.5, float64(j)+0.5)
				dark, x, y = dark+1, x+q.X, y+q.Y
			}
		}
	}
	// The square reaches from 9.94 to 12.06 and from 5.94 to 8.06 mm; cut at 10.5 and 6.5 its middle is (11.28, 7.28).
	if dark == 0 || math.Abs(x/dark-11.28) > 0.07 || math.Abs(y/dark-7.28) > 0.07 {
		t.Errorf("the dark square's middle is at %.3f, %.3f (%g px), want 11.28, 7.28", x/dark, y/dark, dark)
	}
}

func TestOverlayAndCloseUpSizes(t *testing.T) {
	r := marineManifold(t)
	for _, c := range []struct {
		name   string
		write  func(b *bytes.Buffer) error
		lo, hi int // allowed widths: what a screen shows
	}{
		{"overlay", func(b *bytes.Buffer) error { return Overlay(b, r, benchPhoto(), PictureOptions{Units: MM}) }, 2000, 2600},
		{"close-up", func(b *bytes.Buffer) error { return CloseUp(b, r, 2, benchPhoto(), PictureOptions{Units: MM}) }, 900, 1100},
		{"without a photo", func(b *bytes.Buffer) error { return Overlay(b, r, nil, PictureOptions{Units: Inch}) }, 2000, 2600},
	} {
		var b bytes.Buffer
		if err := c.write(&b); err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		cfg, err := png.DecodeConfig(&b)
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		if _, indexed := cfg.ColorModel.(color.Palette); !indexed || cfg.Width < c.lo || cfg.Width > c.hi {
			t.Errorf("%s: %d px wide, %T", c.name, cfg.Width, cfg.ColorModel)
		}
	}
	var wrong *PortNumberError
	if err := CloseUp(&bytes.Buffer{}, r, 7, nil, PictureOptions{Units: MM}); !errors.As(err, &wrong) {
		t.Errorf("port 7: %v, want a PortNumberError", err)
	}
}

// The copy for the report is the same picture, and smaller.
func TestScreenCopy(t *testing.T) {
	r := marineManifold(t)
	var whole, screen bytes.Buffer
	if err := CloseUp(&whole, r, 2, benchPhoto(), PictureOptions{Units: MM, Screen: func(im *image.RGBA, quality int) error {
		return jpeg.Encode(&screen, im, &jpeg.Options{Quality: quality})
	}}); err != nil {
		t.Fatal(err)
	}
	size := screen.Len()
	a, err := png.Decode(&whole)
	if err != nil {
		t.Fatal(err)
	}
	b, err := jpeg.Decode(&screen)
	if err != nil {
		t.Fatal(err)
	}
	if a.Bounds() != b.Bounds() {
		t.Fatalf("%v and %v", a.Bounds(), b.Bounds())
	}
	var sum, n float64
	for y := range a.Bounds().Dy() {
		for x := range a.Bounds().Dx() {
			p, q := color.GrayModel.Convert(a.At(x, y)).(color.Gray), color.GrayModel.Convert(b.At(x, y)).(color.Gray)
			sum, n = sum+math.Abs(float64(p.Y)-float64(q.Y)), n+1
		}
	}
	// 64 levels of grey round by 1 on average, and JPEG at this quality by less than 2 on lines and letters.
	if sum/n > 3 || size > 400_000 {
		t.Errorf("%d bytes, %.1f grey levels off on average", size, sum/n)
	}
}

// A result with nothing in it, or a port that was not found, still gives a picture.
func TestOverlayOfPoorResults(t *testing.T) {
	lost := spoilt(t)
	lost.Ports[3].TargetOutline, lost.Ports[3].WorkOutline = nil, nil
	for _, r := range []*compare.Result{{}, spoilt(t), lost} {
		if err := Overlay(&bytes.Buffer{}, r, nil, PictureOptions{Units: MM}); err != nil {
			t.Error(err)
		}
		for _, p := range r.Ports {
			if err := CloseUp(&bytes.Buffer{}, r, p.Port, nil, PictureOptions{Units: MM}); err != nil {
				t.Error(err)
			}
		}
	}
}

// The words of callouts hold the result's figures, and only verdicts that rest on a step point at it.
func TestCallouts(t *testing.T) {
	r := marineManifold(t)
	for i, want := range []int{1, 2, 0, 1} { // grind; grind and past; matched; too close to call
		cs := callouts(&r.Ports[i])
		if len(cs) != want {
			t.Errorf("port %d (%s): %d callouts, want %d", i+1, r.Ports[i].Verdict, len(cs), want)
		}
		for _, c := range cs {
			q, what := r.Ports[i].RemoveStep, "remove "
			if c.past {
				q, what = r.Ports[i].PastStep, "past by "
			}
			first, second := c.words(MM, FaceSide)
			if strings.TrimSuffix(first, "?") != what+MM.LengthText(q.Value)+" mm" || !strings.Contains(second, MM.lengthU(q.Quantity)) || !strings.HasSuffix(second, q.Clock) {
				t.Errorf("port %d: %q, %q for %+v", i+1, first, second, q)
			}
		}
	}
}

// Words above and below the photo don't run into each other or off the picture, however many ports there are.
func TestTagsKeepApart(t *testing.T) {
	l, err := newLettering(44)
	if err != nil {
		t.Fatal(err)
	}
	r := &compare.Result{ToleranceMM: 0.25}
	for i := range 8 {
		c := geom.PointMM{X: 20 * float64(i)}
		r.Ports = append(r.Ports, measured(t, i+1, compare.GrindPast, circle(c, 8), circle(c.Add(geom.PointMM{X: 0.5, Y: 1}), 8)))
	}
	ports, err := selectPorts(r, nil)
	if err != nil {
		t.Fatal(err)
	}
	const width = 2400
	tags := l.placeTags(scene{view: box{geom.PointMM{X: -15, Y: -15}, geom.PointMM{X: 155, Y: 15}}, ports: ports, units: MM}, width)
	if len(tags) != 16 {
		t.Fatalf("%d tags for 8 ports with two steps each", len(tags))
	}
	for i, a := range tags {
		if a.x-a.w/2 < 0 || a.x+a.w/2 > width {
			t.Errorf("tag %d runs from %g to %g of %d", i, a.x-a.w/2, a.x+a.w/2, width)
		}
		for _, b := range tags[:i] {
			if a.top == b.top && a.row == b.row && math.Abs(a.x-b.x) < (a.w+b.w)/2 {
				t.Errorf("tags at %g and %g overlap", a.x, b.x)
			}
		}
	}
}

// Pictures as they were looked at and found good. A mean difference of 2 levels lets a rasteriser change its smoothing but
// not a line move; run with -update after looking at the new ones.
func TestGoldenPictures(t *testing.T) {
	r := marineManifold(t)
	for name, write := range map[string]func(b *bytes.Buffer) error{
		"overlay.png": func(b *bytes.Buffer) error {
			return Overlay(b, r, benchPhoto(), PictureOptions{WidthPx: 1200, Units: MM})
		},
		"closeup.png": func(b *bytes.Buffer) error {
			return CloseUp(b, r, 2, benchPhoto(), PictureOptions{WidthPx: 600, Units: Inch})
		},
		"unsure.png": func(b *bytes.Buffer) error {
			return CloseUp(b, r, 4, benchPhoto(), PictureOptions{WidthPx: 600, Units: MM})
		},
	} {
		var b bytes.Buffer
		if err := write(&b); err != nil {
			t.Fatal(err)
		}
		file := filepath.Join("testdata", name)
		if *update {
			if err := os.WriteFile(file, b.Bytes(), 0o644); err != nil {
				t.Fatal(err)
			}
			continue
		}
		want, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if d := meanDifference(t, b.Bytes(), want); d > 2 {
			t.Errorf("%s: mean difference %.2f levels", name, d)
		}
	}
}

func meanDifference(t *testing.T, a, b []byte) float64 {
	t.Helper()
	im, err := png.Decode(bytes.NewReader(a))
	if err != nil {
		t.Fatal(err)
	}
	want, err := png.Decode(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	if im.Bounds() != want.Bounds() {
		t.Fatalf("size %v, want %v", im.Bounds(), want.Bounds())
	}
	var sum float64
	for y := range im.Bounds().Dy() {
		for x := range im.Bounds().Dx() {
			r0, g0, b0, _ := im.At(x, y).RGBA()
			r1, g1, b1, _ := want.At(x, y).RGBA()
			sum += math.Abs(float64(r0)-float64(r1)) + math.Abs(float64(g0)-float64(g1)) + math.Abs(float64(b0)-float64(b1))
		}
	}
	return sum / 257 / 3 / float64(im.Bounds().Dx()*im.Bounds().Dy())
}
