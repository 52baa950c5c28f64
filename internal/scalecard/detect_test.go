package scalecard

import (
	"context"
	"errors"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"portmatch/internal/geom"
	"portmatch/internal/photo"
	"portmatch/internal/scalecard/strip"
)

// flat draws strips one above the other at whole pixels a mm, without blur or noise; colour gives black (true) at a point
// of a strip.
func flat(pxPerMM, marginPx int, numbers []int, black func(number int, p geom.PointMM) bool) *photo.Photo {
	w, rows := int(strip.LengthMM)*pxPerMM+2*marginPx, int(strip.WidthMM)*pxPerMM
	p := &photo.Photo{Path: "flat.png", Width: w, Height: rows*len(numbers) + marginPx*(len(numbers)+1), Tone: srgb()}
	p.Gray = slices.Repeat([]uint8{255}, w*p.Height)
	for k, number := range numbers {
		top := marginPx + k*(rows+marginPx)
		for v := range rows {
			for u := range int(strip.LengthMM) * pxPerMM {
				at := geom.PointMM{X: (float64(u) + 0.5) / float64(pxPerMM), Y: strip.WidthMM - (float64(v)+0.5)/float64(pxPerMM)}
				if black(number, at) {
					p.Gray[(top+v)*w+marginPx+u] = 0
				}
			}
		}
	}
	return p
}

func printed(number int, p geom.PointMM) bool { return ink(number, p, 0) }

// TestEveryTagIsRead draws all 40 strips from the table and has libapriltag read them: ids, places and which corner comes
// first must be the table's, or the two would disagree on paper.
func TestEveryTagIsRead(t *testing.T) {
	const px, margin = 5, 20
	for n := 1; n <= strip.MaxNumber; n++ {
		tags, err := findTags(context.Background(), flat(px, margin, []int{n}, printed))
		if err != nil {
			t.Fatalf("strip %d: %v", n, err)
		}
		if len(tags) != strip.TagsPer {
			t.Errorf("strip %d: %d tags", n, len(tags))
		}
		for i, tag := range tags {
			if tag.strip != n || tag.tag != i {
				t.Errorf("strip %d: tag %d read as %d of strip %d", n, i, tag.tag, tag.strip)
			}
			for k, c := range strip.TagCorners(tag.tag) {
				// Left edge of the strip at px -0.5 of its first pixel.
				want := geom.PointPx{U: margin + px*c.X - 0.5, V: margin + px*(strip.WidthMM-c.Y) - 0.5}
				if d := tag.corners[k].Dist(want); d > 0.6 {
					t.Errorf("strip %d tag %d corner %d: %v, want %v", n, i, k, tag.corners[k], want)
				}
			}
		}
	}
}

// otherTag is id 0 of the family tag25h9, read out of libapriltag 3.3: five rows of inner cells from the top, 1 is white.
func otherTag(number int, p geom.PointMM) bool {
	rows := []string{"10101", "01011", "10010", "11111", "10001"}
	const cell, cells = 2.0, 7
	i := int(p.X / 20)
	col, row := int((p.X-float64(i)*20-3)/cell), int((strip.WidthMM-p.Y-6)/cell)
	if p.X-float64(i)*20 < 3 || strip.WidthMM-p.Y < 6 || col >= cells || row >= cells {
		return false
	}
	if col == 0 || row == 0 || col == cells-1 || row == cells-1 {
		return true
	}
	return rows[row-1][col-1] == '0'
}

func TestRefusedBeforeMeasuring(t *testing.T) {
	noise := &photo.Photo{Width: 400, Height: 300, Gray: make([]uint8, 400*300), Tone: srgb()}
	rng := rand.New(rand.NewPCG(5, 5))
	for i := range noise.Gray {
		noise.Gray[i] = uint8(rng.UintN(256))
	}
	mirrored := flat(5, 20, []int{4}, func(n int, p geom.PointMM) bool { return printed(n, geom.PointMM{X: strip.LengthMM - p.X, Y: p.Y}) })
	// Ids that end in 9 are tags of the family, but on no strip.
	foreign := flat(5, 20, []int{1}, func(n int, p geom.PointMM) bool {
		c := p.Sub(geom.PointMM{X: 50, Y: 16})
		col, row := int((c.X+8)/strip.CellMM), int((c.Y+8)/strip.CellMM)
		return c.X > -8 && c.Y > -8 && strip.Black(19, col, row)
	})
	tests := []struct {
		name  string
		photo *photo.Photo
		want  error
		says  string
	}{
		{"63 px wide", &photo.Photo{Width: 63, Height: 400, Gray: make([]uint8, 63*400)}, ErrTooSmall, "63 x 400"},
		{"one pixel", &photo.Photo{Width: 1, Height: 1, Gray: make([]uint8, 1)}, ErrTooSmall, "1 x 1"},
		{"black", &photo.Photo{Width: 400, Height: 300, Gray: make([]uint8, 400*300)}, ErrNoStrip, "no scale strip"},
		{"noise", noise, ErrNoStrip, "no scale strip"},
		{"mirrored", mirrored, ErrMirrored, "mirrored"},
		{"another family", flat(5, 20, []int{1}, otherTag), ErrOtherTags, "tag25h9"},
		{"a number on no strip", foreign, ErrOtherTags, "19"},
		{"strip 7 twice", flat(5, 20, []int{7, 2, 7}, printed), ErrDoubled, "strip 7"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			tt.photo.Path = "a.jpg"
			_, err := Solve(context.Background(), tt.photo, Options{})
			var e *Error
			if !errors.Is(err, tt.want) || !errors.As(err, &e) {
				t.Fatalf("got %v, want %v", err, tt.want)
			}
			if e.Path != "a.jpg" || !strings.Contains(err.Error(), tt.says) || e.Try == "" {
				t.Errorf("says %q (try %q)", err, e.Try)
			}
		})
	}
}

// TestSmallTags: where decimation 4 finds nothing, finer ones do.
func TestSmallTags(t *testing.T) {
	for _, px := range []int{1, 2, 3} {
		tags, err := findTags(context.Background(), flat(px, 20, []int{1, 2}, printed))
		if err != nil || len(tags) != 2*strip.TagsPer {
			t.Errorf("at %d px a mm: %d tags, %v", px, len(tags), err)
		}
	}
}

func TestCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Solve(ctx, flat(5, 20, []int{1}, printed), Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
}

// TestTagsInNoise: where single pixels scatter by 30 levels of the 135 between ink and paper, all tags are found where they were drawn.
func TestTagsInNoise(t *testing.T) {
	const px, margin, seed = 10, 40, 6003
	numbers := []int{1, 3}
	p := flat(px, margin, numbers, printed)
	rng := rand.New(rand.NewPCG(seed, 0))
	for i, g := range p.Gray {
		p.Gray[i] = uint8(min(max(60+135*float64(g)/255+30*rng.NormFloat64(), 0), 255))
	}
	tags, err := findTags(context.Background(), p)
	if err != nil || len(tags) != len(numbers)*strip.TagsPer {
		t.Fatalf("seed %d: %d tags, %v", seed, len(tags), err)
	}
	for _, tag := range tags {
		top := float64(margin + slices.Index(numbers, tag.strip)*(int(strip.WidthMM)*px+margin))
		for k, c := range strip.TagCorners(tag.tag) {
			want := geom.PointPx{U: margin + px*c.X - 0.5, V: top + px*(strip.WidthMM-c.Y) - 0.5}
			if d := tag.corners[k].Dist(want); d > 1.5 {
				t.Errorf("seed %d: strip %d tag %d corner %d: %.1f px off", seed, tag.strip, tag.tag, k, d)
			}
		}
	}
}
