package geom

import (
	"encoding/json"
	"errors"
	"math"
	"os"
	"testing"
)

// geosCases are outlines that break things, with the areas that GEOS 3.11.1 finds; testdata/geos.py makes the file.
type geosCases struct {
	Source string
	Pairs  []struct {
		Kind         string
		A, B         [][2]float64
		AreaA        float64 `json:"area_a"`
		AreaB        float64 `json:"area_b"`
		Intersection float64
		Union        float64
		ALessB       float64 `json:"a_less_b"`
		BLessA       float64 `json:"b_less_a"`
	}
	Curves []struct {
		Curve [][2]float64
		Faces []struct {
			Area   float64
			Inside [2]float64
		}
	}
}

func readGEOS(t *testing.T) *geosCases {
	t.Helper()
	b, err := os.ReadFile("testdata/geos.json")
	if err != nil {
		t.Fatal(err)
	}
	var c geosCases
	if err := json.Unmarshal(b, &c); err != nil {
		t.Fatal(err)
	}
	if len(c.Pairs) < 50 || len(c.Curves) < 50 {
		t.Fatalf("%d pairs and %d curves", len(c.Pairs), len(c.Curves))
	}
	return &c
}

func outlineOf(points [][2]float64) Outline {
	o := make(Outline, len(points))
	for i, p := range points {
		o[i] = PointMM{p[0], p[1]}
	}
	return o
}

// What two outlines have in common, together and apart, as GEOS has it.
func TestBooleansAgainstGEOS(t *testing.T) {
	c := readGEOS(t)
	for i, p := range c.Pairs {
		a, errA := Simple(outlineOf(p.A))
		b, errB := Simple(outlineOf(p.B))
		if err := errors.Join(errA, errB); err != nil {
			t.Errorf("pair %d, %s: %v", i, p.Kind, err)
			continue
		}
		// Both work in floating point; 1e-6 mm² is a billionth of the areas.
		const tol = 1e-6
		near(t, p.Kind+": area", a.AreaMM2(), p.AreaA, tol)
		near(t, p.Kind+": area of the other", b.AreaMM2(), p.AreaB, tol)
		ra, rb := RegionOf(a), RegionOf(b)
		for _, op := range []struct {
			name string
			do   func(a, b Region) (Region, error)
			a, b Region
			want float64
		}{{"both", Intersection, ra, rb, p.Intersection}, {"either", Union, ra, rb, p.Union}, {"a less b", Difference, ra, rb, p.ALessB}, {"b less a", Difference, rb, ra, p.BLessA}} {
			got, err := op.do(op.a, op.b)
			if err != nil {
				t.Errorf("pair %d, %s: %s: %v", i, p.Kind, op.name, err)
				continue
			}
			near(t, p.Kind+": "+op.name, got.AreaMM2(), op.want, tol)
		}
	}
}

// A curve that crosses itself comes out with the area it winds round, as the faces that GEOS finds say, or with an error that
// says why not.
func TestSimpleAgainstGEOS(t *testing.T) {
	c := readGEOS(t)
	taken, refused := 0, 0
	for i, k := range c.Curves {
		o := outlineOf(k.Curve)
		var wound float64 // area that the curve goes round, either way
		for _, f := range k.Faces {
			if windingNumber(o, PointMM{f.Inside[0], f.Inside[1]}) != 0 {
				wound += f.Area
			}
		}
		s, err := Simple(o)
		var crossing *CrossingError
		switch {
		case err == nil:
			taken++
			// Loops of up to maxDroppedShare are cut off; the grid moves points by millionths of a mm.
			if d := math.Abs(s.SignedAreaMM2() - wound); d > maxDroppedShare*wound+1e-3 {
				t.Errorf("curve %d: area %.4f mm², GEOS %.4f", i, s.SignedAreaMM2(), wound)
			}
		case errors.As(err, &crossing), errors.Is(err, ErrNoArea):
			refused++
		default:
			t.Errorf("curve %d: %v", i, err)
		}
	}
	if taken < 20 || refused < 20 {
		t.Errorf("%d curves taken, %d refused: the file holds too few of one kind", taken, refused)
	}
}
