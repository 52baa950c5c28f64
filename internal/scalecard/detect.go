package scalecard

import (
	"cmp"
	"context"
	"math"
	"slices"

	"portmatch/internal/geom"
	"portmatch/internal/photo"
	"portmatch/internal/prose"
	"portmatch/internal/scalecard/strip"
)

// foundTag is a tag of a strip where libapriltag saw it; its corners are good to about a pixel.
type foundTag struct {
	strip, tag int
	corners    [4]geom.PointPx // in the order of strip.TagCorners
}

func (t *foundTag) id() int { return strip.TagID(t.strip, t.tag) }

// sidePx is the mean length of the tag's sides.
func sidePx(c [4]geom.PointPx) float64 {
	var sum float64
	for k := range c {
		sum += c[k].Dist(c[(k+1)%4])
	}
	return sum / 4
}

// The library finds quads down to about 24 px of the picture's own pixels at decimation 4 and in proportion below. A
// picture whose smallest tag was at least this many decimated pixels wide is not searched again at a finer one: no other
// strip of the same sheet is so much smaller.
const safeDecimatedSidePx = 12

const (
	// A picture of many pixels is glanced at first at a coarser decimation than this one, in a quarter of the time. That is
	// enough where every strip is seen whole; a strip that is soiled, covered or cut by the frame deserves a closer look.
	fullDecimation = 4
	// The longer side of a glance, at least: strips that fill a third of it have tags of some 16 px.
	leastGlancePx = 480
)

// tagsOf counts the tags of every strip.
func tagsOf(raw []rawTag) map[int]int {
	tags := map[int]int{}
	for _, t := range raw {
		if n, _, ok := strip.OfTag(t.id); ok {
			tags[n]++
		}
	}
	return tags
}

// wholeStrips tells whether all strips that were found are whole, but for one tag each.
func wholeStrips(raw []rawTag) bool {
	tags := tagsOf(raw)
	for _, n := range tags {
		if n < strip.TagsPer-1 {
			return false
		}
	}
	return len(tags) > 0
}

// findTags looks for the strips' tags, coarsely first. Errors: ErrTooSmall, ErrNoStrip, ErrMirrored, ErrOtherTags,
// ErrDoubled.
func findTags(ctx context.Context, p *photo.Photo) ([]foundTag, error) {
	if p.Width < minSidePx || p.Height < minSidePx {
		return nil, &Error{Path: p.Path, Err: ErrTooSmall,
			What: prose.Sprintf("the picture is only %d x %d pixels, at least %d each way are needed to find a strip", p.Width, p.Height, minSidePx),
			Try:  "use the original photo, not a preview"}
	}
	d, err := newTagDetector(false)
	if err != nil {
		return nil, err
	}
	defer d.close()
	var raw []rawTag
	for _, decimate := range []float64{16, 8, 4, 2, 1} {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if decimate > fullDecimation && float64(max(p.Width, p.Height)) < leastGlancePx*decimate {
			continue
		}
		found := d.find(p.Gray, p.Width, p.Height, decimate)
		if len(found) >= len(raw) {
			raw = found
		}
		smallest := math.Inf(1)
		for _, t := range raw {
			smallest = min(smallest, sidePx(t.corners))
		}
		if len(raw) > 0 && smallest >= safeDecimatedSidePx*decimate && (decimate <= fullDecimation || wholeStrips(raw)) {
			break
		}
	}
	if len(tagsOf(raw)) < 2 || !wholeStrips(raw) {
		raw = withTags(raw, findInNoise(d, p))
	}
	if len(raw) == 0 {
		return nil, whyNone(ctx, p, d)
	}
	return sortTags(p, raw)
}

// findInNoise looks for tags in the picture made smaller by averages: the library takes single pixels, and of 18 tags 150 px wide it found three
// where they scatter by 25 levels. Corners are good to about a pixel all the same.
func findInNoise(d *tagDetector, p *photo.Photo) []rawTag {
	const by = 4
	w, h := p.Width/by, p.Height/by
	if w < minSidePx || h < minSidePx {
		return nil
	}
	small := make([]uint8, w*h)
	for v := range h {
		for u := range w {
			var sum int
			for y := range by {
				for _, g := range p.Gray[(by*v+y)*p.Width+by*u:][:by] {
					sum += int(g)
				}
			}
			small[v*w+u] = uint8((sum + by*by/2) / (by * by))
		}
	}
	found := d.find(small, w, h, 1)
	for i := range found {
		for k, c := range found[i].corners {
			found[i].corners[k] = geom.PointPx{U: by*c.U + (by-1)/2., V: by*c.V + (by-1)/2.}
		}
	}
	return found
}

// withTags returns the tags and those of the others whose numbers are not among them.
func withTags(tags, others []rawTag) []rawTag {
	known := map[int]bool{}
	for _, t := range tags {
		known[t.id] = true
	}
	for _, t := range others {
		if !known[t.id] {
			tags = append(tags, t)
		}
	}
	return tags
}

// sortTags keeps the tags that are on a strip, in the order of their ids, and refuses doubles.
func sortTags(p *photo.Photo, raw []rawTag) ([]foundTag, error) {
	var tags []foundTag
	for _, r := range raw {
		if n, i, ok := strip.OfTag(r.id); ok {
			tags = append(tags, foundTag{n, i, r.corners})
		}
	}
	if len(tags) == 0 {
		return nil, &Error{Path: p.Path, Err: ErrOtherTags,
			What: prose.Sprintf("the picture shows tags of the strips' kind, but with numbers that no strip carries (%d, for one)", raw[0].id),
			Try:  "use strips printed by portmatch card"}
	}
	slices.SortFunc(tags, func(a, b foundTag) int { return cmp.Compare(a.id(), b.id()) })
	var doubled []int
	for i := 1; i < len(tags); i++ {
		if tags[i].id() == tags[i-1].id() && !slices.Contains(doubled, tags[i].strip) {
			doubled = append(doubled, tags[i].strip)
		}
	}
	if len(doubled) > 0 {
		return nil, &Error{Path: p.Path, Err: ErrDoubled, Strips: doubled,
			What: prose.Sprintf("strip %s is in the picture twice", list(doubled)),
			Try:  "lay down strips with different numbers, and nothing else with strips on it"}
	}
	return tags, nil
}

// whyNone finds out why there is no tag: other tags, a mirrored picture, or none at all.
func whyNone(ctx context.Context, p *photo.Photo, d *tagDetector) error {
	mirrored := make([]uint8, len(p.Gray))
	for v := range p.Height {
		row, out := p.Gray[v*p.Width:(v+1)*p.Width], mirrored[v*p.Width:(v+1)*p.Width]
		for u, g := range row {
			out[p.Width-1-u] = g
		}
	}
	for _, decimate := range []float64{4, 2} {
		if err := ctx.Err(); err != nil {
			return err
		}
		if len(d.find(mirrored, p.Width, p.Height, decimate)) > 0 {
			return &Error{Path: p.Path, Err: ErrMirrored,
				What: prose.Sprintf("the picture is mirrored: its strips read only in a looking-glass"),
				Try:  "use the photo as the camera took it (a front camera or an editor may have flipped it)"}
		}
	}
	others, err := newTagDetector(true)
	if err != nil {
		return err
	}
	defer others.close()
	count := map[string]int{}
	for _, t := range others.find(p.Gray, p.Width, p.Height, 2) {
		count[t.family]++
	}
	for _, family := range families() {
		// One alone may be a chance pattern: the smaller families have few bits.
		if count[family] > 1 {
			return &Error{Path: p.Path, Err: ErrOtherTags,
				What: prose.Sprintf("the picture shows %d tags of the family %s, but no strip of portmatch", count[family], family),
				Try:  "use strips printed by portmatch card"}
		}
	}
	try := "lay at least one printed strip flat beside the part, all of it in the picture, sharp and without glare"
	if !p.Camera {
		try += "; if it is a flat-bed scan, give its resolution with --dpi"
	}
	return &Error{Path: p.Path, Err: ErrNoStrip, What: prose.Sprintf("no scale strip found in the picture"), Try: try}
}
