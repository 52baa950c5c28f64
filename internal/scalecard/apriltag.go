package scalecard

/*
#cgo LDFLAGS: -lapriltag -lm
#include <stdlib.h>
#include <string.h>
#include <apriltag/apriltag.h>
#include <apriltag/tag16h5.h>
#include <apriltag/tag25h9.h>
#include <apriltag/tag36h10.h>
#include <apriltag/tag36h11.h>
#include <apriltag/tagStandard41h12.h>
#include <apriltag/tagStandard52h13.h>
#include <apriltag/tagCircle21h7.h>

typedef struct {
	int id, family;
	float margin;
	double p[4][2];
} pm_tag;

enum { PM_FAMILIES = 7 };

typedef struct {
	apriltag_detector_t *td;
	apriltag_family_t *family[PM_FAMILIES];
} pm_detector;

static apriltag_family_t *pm_create(int i) {
	switch (i) {
	case 0: return tag36h11_create();
	case 1: return tag36h10_create();
	case 2: return tag25h9_create();
	case 3: return tag16h5_create();
	case 4: return tagStandard41h12_create();
	case 5: return tagStandard52h13_create();
	default: return tagCircle21h7_create();
	}
}

static void pm_destroy(int i, apriltag_family_t *f) {
	switch (i) {
	case 0: tag36h11_destroy(f); break;
	case 1: tag36h10_destroy(f); break;
	case 2: tag25h9_destroy(f); break;
	case 3: tag16h5_destroy(f); break;
	case 4: tagStandard41h12_destroy(f); break;
	case 5: tagStandard52h13_destroy(f); break;
	default: tagCircle21h7_destroy(f);
	}
}

// Only codes without a wrong bit are wanted, so the table of near misses (58 MB, 30 ms) is not built.
static pm_detector *pm_new(int first, int last) {
	pm_detector *d = calloc(1, sizeof *d);
	if (!d) return NULL;
	d->td = apriltag_detector_create();
	for (int i = first; i <= last; i++) {
		d->family[i] = pm_create(i);
		apriltag_detector_add_family_bits(d->td, d->family[i], 0);
	}
	// The worker threads of libapriltag 3.3 may read their list of tasks while it is still being filled, and then end the
	// process (once in about a thousand detectors).
	d->td->nthreads = 1;
	return d;
}

static void pm_free(pm_detector *d) {
	apriltag_detector_destroy(d->td);
	for (int i = 0; i < PM_FAMILIES; i++)
		if (d->family[i]) pm_destroy(i, d->family[i]);
	free(d);
}

static int pm_detect(pm_detector *d, uint8_t *px, int w, int h, float decimate, pm_tag *out, int room) {
	image_u8_t im = { .width = w, .height = h, .stride = w, .buf = px };
	d->td->quad_decimate = decimate;
	zarray_t *found = apriltag_detector_detect(d->td, &im);
	int n = 0;
	for (int i = 0; i < zarray_size(found) && n < room; i++) {
		apriltag_detection_t *e;
		zarray_get(found, i, &e);
		if (e->hamming != 0) continue;
		pm_tag *t = &out[n++];
		t->id = e->id;
		t->margin = e->decision_margin;
		for (int k = 0; k < PM_FAMILIES; k++)
			if (e->family == d->family[k]) t->family = k;
		memcpy(t->p, e->p, sizeof t->p);
	}
	apriltag_detections_destroy(found);
	return n;
}
*/
import "C"

import (
	"errors"
	"unsafe"

	"portmatch/internal/geom"
)

// rawTag is what libapriltag found, corners in our pixel convention, in the order of strip.TagCorners if the tag is one
// of the strips' family.
type rawTag struct {
	id      int
	family  string
	margin  float64
	corners [4]geom.PointPx
}

const (
	cardFamily = "tag36h11"

	// libapriltag 3.3 ends the process on pictures up to about 8 px a side; a tag needs three times this.
	minSidePx = 64

	// Below this the library's own figure of merit includes patterns that are no tag.
	minMargin = 20

	// More tags than 40 strips carry, with room for doubles.
	maxTags = 1024
)

func families() [C.PM_FAMILIES]string {
	return [C.PM_FAMILIES]string{cardFamily, "tag36h10", "tag25h9", "tag16h5", "tagStandard41h12", "tagStandard52h13", "tagCircle21h7"}
}

// tagDetector is one libapriltag detector. It is not safe for use by two goroutines at once.
type tagDetector struct{ c *C.pm_detector }

// newTagDetector looks for the strips' own family, or, with others set, for every other family instead.
func newTagDetector(others bool) (*tagDetector, error) {
	first, last := 0, 0
	if others {
		first, last = 1, C.PM_FAMILIES-1
	}
	c := C.pm_new(C.int(first), C.int(last))
	if c == nil {
		return nil, errors.New("no memory for the tag detector")
	}
	return &tagDetector{c}, nil
}

func (d *tagDetector) close() { C.pm_free(d.c) }

// find returns the tags without a wrong bit in a grey picture. Quads are looked for in the picture made smaller by
// decimate; the picture must be at least minSidePx on either side.
func (d *tagDetector) find(gray []uint8, width, height int, decimate float64) []rawTag {
	buf := make([]C.pm_tag, maxTags)
	n := int(C.pm_detect(d.c, (*C.uint8_t)(unsafe.Pointer(&gray[0])), C.int(width), C.int(height), C.float(decimate), &buf[0], maxTags))
	names := families()
	var tags []rawTag
	for _, t := range buf[:n] {
		if float64(t.margin) <= minMargin {
			continue
		}
		r := rawTag{id: int(t.id), family: names[t.family], margin: float64(t.margin)}
		for k := range 4 {
			// libapriltag counts the centre of the top-left pixel as (0.5, 0.5).
			r.corners[k] = geom.PointPx{U: float64(t.p[k][0]) - 0.5, V: float64(t.p[k][1]) - 0.5}
		}
		tags = append(tags, r)
	}
	return tags
}
