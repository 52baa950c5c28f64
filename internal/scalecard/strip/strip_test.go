package strip

import (
	"math"
	"math/bits"
	"testing"

	"portmatch/internal/geom"
)

// TestTable holds the layout to the numbers of the design: strips that are printed and lie in drawers must stay readable.
func TestTable(t *testing.T) {
	seen := map[int]bool{}
	for n := 1; n <= MaxNumber; n++ {
		for i := range TagsPer {
			id := TagID(n, i)
			if id != 10*(n-1)+i {
				t.Errorf("tag %d of strip %d has id %d", i, n, id)
			}
			if seen[id] {
				t.Errorf("id %d twice", id)
			}
			seen[id] = true
			if gotN, gotI, ok := OfTag(id); !ok || gotN != n || gotI != i {
				t.Errorf("id %d is said to be tag %d of strip %d, %v", id, gotI, gotN, ok)
			}
			want := geom.PointMM{X: 15 + 20*float64(i), Y: 16}
			if c := TagCentre(i); c != want {
				t.Errorf("tag %d at %v, want %v", i, c, want)
			}
		}
	}
	for _, id := range []int{-1, 9, 399, 400, 586} {
		if _, _, ok := OfTag(id); ok {
			t.Errorf("id %d is taken for a strip's", id)
		}
	}
	if l := CheckLine(); l.A != (geom.PointMM{X: 20, Y: 3}) || l.B != (geom.PointMM{X: 170, Y: 3}) {
		t.Errorf("check line %v", l)
	}
	if c := TagCorners(0); c != [4]geom.PointMM{{X: 7, Y: 8}, {X: 23, Y: 8}, {X: 23, Y: 24}, {X: 7, Y: 24}} {
		t.Errorf("corners of the first tag %v", c)
	}
}

// TestCodesFarApart checks what the family's name promises: any two tags, however turned, differ in 11 cells or more.
func TestCodesFarApart(t *testing.T) {
	var codes []uint64
	for n := 1; n <= MaxNumber; n++ {
		for i := range TagsPer {
			var code [4]uint64
			for row := range Cells {
				for col := range Cells {
					edge := row == 0 || col == 0 || row == Cells-1 || col == Cells-1
					black := Black(TagID(n, i), col, row)
					if edge && !black {
						t.Fatalf("tag %d of strip %d: border cell %d, %d is white", i, n, col, row)
					}
					if edge {
						continue
					}
					for turn := range code {
						code[turn] <<= 1
						if Black(TagID(n, i), col, row) {
							code[turn]++
						}
						col, row = row, Cells-1-col
					}
				}
			}
			for turn := 1; turn < 4; turn++ {
				if d := bits.OnesCount64(code[0] ^ code[turn]); d < 11 {
					t.Errorf("tag %d differs from itself turned %d times in %d cells", TagID(n, i), turn, d)
				}
			}
			for j, other := range codes {
				for turn := range code {
					if d := bits.OnesCount64(other ^ code[turn]); d < 11 {
						t.Errorf("tag %d turned %d times differs from the %d. in %d cells", TagID(n, i), turn, j, d)
					}
				}
			}
			codes = append(codes, code[0])
		}
	}
	if len(codes) != 360 {
		t.Errorf("%d tags", len(codes))
	}
	if Black(0, -1, 3) || Black(0, Cells, 3) || Black(0, 3, -1) || Black(0, 3, Cells) {
		t.Error("the paper round a tag is black")
	}
}

// TestLayout: everything stands on the paper, clear of what printers can't reach, and nothing overlaps.
func TestLayout(t *testing.T) {
	for _, paper := range []Paper{A4(), Letter()} {
		p := Layout(paper, []int{3, 5, 7, 9, 11})
		if len(p.Strips) != PerPage {
			t.Fatalf("%s: %d strips", paper.Name, len(p.Strips))
		}
		inside := func(what string, q geom.PointMM) {
			// 6.35 mm (1/4 in) is the widest blank edge of common printers (common practice, no source).
			if q.X < 6.35 || q.Y < 6.35 || q.X > paper.WidthMM-6.35 || q.Y > paper.HeightMM-6.35 {
				t.Errorf("%s: %s at %v runs off", paper.Name, what, q)
			}
		}
		low := math.Inf(1)
		for i, s := range p.Strips {
			if s.Number != 3+2*i {
				t.Errorf("%s: strip %d in place %d", paper.Name, s.Number, i)
			}
			inside("strip", s.Origin)
			inside("strip", s.Origin.Add(geom.PointMM{X: LengthMM, Y: WidthMM}))
			if top := s.Origin.Y + WidthMM; top > low-2 {
				t.Errorf("%s: strip %d reaches up to %.1f, past the one above at %.1f", paper.Name, s.Number, top, low)
			}
			low = s.Origin.Y
		}
		inside("check line", p.CheckY.A)
		inside("check line", p.CheckY.B)
		if d := p.CheckY.B.Sub(p.CheckY.A); d.X != 0 || math.Abs(d.Y-150) > 1e-9 {
			t.Errorf("%s: check line %v", paper.Name, d)
		}
		inside("tick", p.CheckY.A.Add(geom.PointMM{X: TickLengthMM / 2}))
		if clear := p.CheckY.A.X - TickLengthMM/2 - (p.Strips[0].Origin.X + LengthMM); clear < 3 && p.CheckY.B.Y > low-2 {
			t.Errorf("%s: check line %.1f mm from the strips", paper.Name, clear)
		}
		if p.TextHi.Y > low-2 {
			t.Errorf("%s: text reaches into the strips at %.1f", paper.Name, low)
		}
		if p.TextHi.X > p.CheckY.A.X-TickLengthMM || p.TextLo.X >= p.TextHi.X {
			t.Errorf("%s: text from %v to %v meets the check line at %v", paper.Name, p.TextLo, p.TextHi, p.CheckY.A.X)
		}
	}
	if n := len(Layout(A4(), []int{1, 2}).Strips); n != 2 {
		t.Errorf("two strips asked for, %d placed", n)
	}
}
