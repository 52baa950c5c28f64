package contour

import (
	"bytes"
	"image/jpeg"
	"os"
	"path/filepath"
	"testing"

	"portmatch/internal/face"
	"portmatch/internal/geom"
	"portmatch/internal/scalecard"
)

// A photo that was sent on as a small file: blocks of 16 pixels hold little more of the colour than its mean, and brightness alone tells
// where the edges are.
func TestCoarselyCodedColour(t *testing.T) {
	const heightMM, wantWithinMM = 1.2, 0.15
	for _, quality := range []int{37, 30} {
		in, err := os.Open(filepath.Join("..", "..", "samples", "gasket.jpg"))
		if err != nil {
			t.Fatal(err)
		}
		im, err := jpeg.Decode(in)
		in.Close()
		if err != nil {
			t.Fatal(err)
		}
		var out bytes.Buffer
		if err := jpeg.Encode(&out, im, &jpeg.Options{Quality: quality}); err != nil {
			t.Fatal(err)
		}
		v := surveyOfPicture(t, out.Bytes(), scalecard.Options{}, heightMM)
		cam := trueCamera(t, "gasket")
		var ports [][]geom.PointMM
		for _, port := range readFaceTruth(t, "gasket").Ports {
			var o []geom.PointMM
			for _, q := range port.Outline {
				o = append(o, v.s.face(cam.PixelFromPlane(geom.PointMM{X: q[0], Y: q[1]}, 0)))
			}
			ports = append(ports, o)
		}
		offTruth(t, v, ports, func(p face.Port, offMM []float64) {
			if worst := worstSure(p, offMM); worst > wantWithinMM {
				t.Errorf("quality %d: port %d is %.2f mm off at a place called sure, %.2f at most is wanted", quality, p.Number, worst, wantWithinMM)
			}
		})
	}
}
