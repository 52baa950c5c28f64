/* Decodes a JPEG once into its own planes: full grey, chroma as stored. OpenCV would decode it a second time for colour,
   and fills what is missing from a damaged file with grey without saying so. */
#include "turbo.h"

#include <setjmp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <jpeglib.h>
#include <jerror.h>

/* A progressive picture has about ten scans; thousands of empty ones in a small file would keep the decoder busy for hours. */
enum { MAX_SCANS = 200 };

typedef struct {
	struct jpeg_error_mgr base;
	jmp_buf back;
	pm_jpeg_report *report;
	int cancelled;
} errors_t;

typedef struct {
	struct jpeg_progress_mgr base;
	const volatile int32_t *cancel;
} progress_t;

static void on_fatal(j_common_ptr c) {
	errors_t *e = (errors_t *)c->err;
	char text[JMSG_LENGTH_MAX];
	(*c->err->format_message)(c, text);
	snprintf(e->report->message, sizeof e->report->message, "%s", text);
	longjmp(e->back, 1);
}

static void on_message(j_common_ptr c, int level) {
	if (level >= 0) return;
	errors_t *e = (errors_t *)c->err;
	switch (c->err->msg_code) {
	case JWRN_HIT_MARKER:   /* data ends before the picture does */
	case JWRN_HUFF_BAD_CODE:
	case JWRN_ARITH_BAD_CODE:
	case JWRN_MUST_RESYNC:
		if (!e->report->damaged && c->is_decompressor) {
			e->report->damaged = 1;
			e->report->row = ((j_decompress_ptr)c)->output_scanline;
			char text[JMSG_LENGTH_MAX];
			(*c->err->format_message)(c, text);
			snprintf(e->report->message, sizeof e->report->message, "%s", text);
		}
	}
	c->err->num_warnings++;
}

static void on_output(j_common_ptr c) { (void)c; }

static void on_progress(j_common_ptr c) {
	errors_t *e = (errors_t *)c->err;
	progress_t *p = (progress_t *)c->progress;
	if (*p->cancel) {
		e->cancelled = 1;
		longjmp(e->back, 1);
	}
	if (c->is_decompressor && ((j_decompress_ptr)c)->input_scan_number > MAX_SCANS) {
		snprintf(e->report->message, sizeof e->report->message, "more than %d scans", MAX_SCANS);
		longjmp(e->back, 1);
	}
}

static void set_errors(struct jpeg_decompress_struct *d, errors_t *e, pm_jpeg_report *report) {
	memset(report, 0, sizeof *report);
	e->report = report;
	e->cancelled = 0;
	d->err = jpeg_std_error(&e->base);
	e->base.error_exit = on_fatal;
	e->base.emit_message = on_message;
	e->base.output_message = on_output;
}

/* The planes can be taken raw when the colour space is Y'CbCr and chroma is a whole fraction of luma. */
static void describe(struct jpeg_decompress_struct *d, pm_jpeg_info *info) {
	info->width = d->image_width;
	info->height = d->image_height;
	info->fx = info->fy = 0;
	info->raw = 0;
	info->cw = info->ch = 0;
	if (d->num_components == 1) return;
	jpeg_component_info *c = d->comp_info;
	info->fx = info->fy = 1;
	if (d->jpeg_color_space == JCS_YCbCr && c[0].h_samp_factor == d->max_h_samp_factor
		&& c[0].v_samp_factor == d->max_v_samp_factor && c[1].h_samp_factor == c[2].h_samp_factor
		&& c[1].v_samp_factor == c[2].v_samp_factor && c[0].h_samp_factor % c[1].h_samp_factor == 0
		&& c[0].v_samp_factor % c[1].v_samp_factor == 0) {
		info->raw = 1;
		info->fx = c[0].h_samp_factor / c[1].h_samp_factor;
		info->fy = c[0].v_samp_factor / c[1].v_samp_factor;
	}
	info->cw = (info->width + info->fx - 1) / info->fx;
	info->ch = (info->height + info->fy - 1) / info->fy;
}

int pm_jpeg_read_info(const unsigned char *data, size_t size, pm_jpeg_info *info, pm_jpeg_report *report) {
	struct jpeg_decompress_struct d;
	errors_t e;
	memset(&d, 0, sizeof d);
	set_errors(&d, &e, report);
	if (setjmp(e.back)) {
		jpeg_destroy_decompress(&d);
		return PM_FAILED;
	}
	jpeg_create_decompress(&d);
	jpeg_mem_src(&d, data, size);
	jpeg_read_header(&d, TRUE);
	describe(&d, info);
	jpeg_destroy_decompress(&d);
	return PM_OK;
}

/* Planes as stored: no upsampling, no colour conversion. */
static void decode_raw(struct jpeg_decompress_struct *d, const pm_jpeg_info *info, unsigned char *planes[3]) {
	d->raw_data_out = TRUE;
	d->out_color_space = JCS_YCbCr;
	jpeg_start_decompress(d);
	JSAMPARRAY rows[3];
	size_t width[3] = {info->width, info->cw, info->cw}, height[3] = {info->height, info->ch, info->ch};
	int lines[3];
	for (int i = 0; i < 3; i++) {
		jpeg_component_info *c = &d->comp_info[i];
		lines[i] = c->v_samp_factor * DCTSIZE;
		JDIMENSION mcu = c->h_samp_factor * DCTSIZE;
		JDIMENSION blocks = (c->width_in_blocks * DCTSIZE + mcu - 1) / mcu * mcu;
		rows[i] = (*d->mem->alloc_sarray)((j_common_ptr)d, JPOOL_IMAGE, blocks, lines[i]);
	}
	size_t done[3] = {0, 0, 0};
	while (d->output_scanline < d->output_height) {
		jpeg_read_raw_data(d, rows, d->max_v_samp_factor * DCTSIZE);
		for (int i = 0; i < 3; i++)
			for (int r = 0; r < lines[i] && done[i] < height[i]; r++, done[i]++)
				memcpy(planes[i] + done[i] * width[i], rows[i][r], width[i]);
	}
}

static unsigned char clamp(int v) { return v < 0 ? 0 : v > 255 ? 255 : (unsigned char)v; }

/* One pixel of R'G'B' to Y'CbCr, ITU-T T.871, in 1/65536. */
static void to_ycc(int r, int g, int b, unsigned char *y, unsigned char *cb, unsigned char *cr) {
	*y = (unsigned char)((19595 * r + 38470 * g + 7471 * b + 32768) >> 16);
	if (!cb) return;
	*cb = clamp(128 + ((-11059 * r - 21709 * g + 32768 * b + 32768) >> 16));
	*cr = clamp(128 + ((32768 * r - 27439 * g - 5329 * b + 32768) >> 16));
}

/* Everything that isn't plain Y'CbCr or grey: through libjpeg's own conversion, then pixel by pixel. */
static void decode_converted(struct jpeg_decompress_struct *d, const pm_jpeg_info *info, unsigned char *planes[3]) {
	int inks = d->num_components == 4;
	int inverted = d->saw_Adobe_marker; /* with Adobe's marker 255 means no ink, without it 0 does */
	d->out_color_space = inks ? JCS_CMYK : JCS_RGB;
	jpeg_start_decompress(d);
	int n = d->output_components;
	JSAMPARRAY row = (*d->mem->alloc_sarray)((j_common_ptr)d, JPOOL_IMAGE, info->width * n, 1);
	while (d->output_scanline < d->output_height) {
		size_t at = (size_t)d->output_scanline * info->width;
		jpeg_read_scanlines(d, row, 1);
		for (size_t i = 0; i < info->width; i++, at++) {
			unsigned char *s = row[0] + i * n;
			int r = s[0], g = s[1], b = s[2];
			if (inks) {
				int k = inverted ? s[3] : 255 - s[3];
				if (!inverted) r = 255 - r, g = 255 - g, b = 255 - b;
				r = (r * k + 127) / 255, g = (g * k + 127) / 255, b = (b * k + 127) / 255;
			}
			if (planes[1]) to_ycc(r, g, b, planes[0] + at, planes[1] + at, planes[2] + at);
			else to_ycc(r, g, b, planes[0] + at, NULL, NULL);
		}
	}
}

static void decode_grey(struct jpeg_decompress_struct *d, const pm_jpeg_info *info, unsigned char *y) {
	d->out_color_space = JCS_GRAYSCALE;
	jpeg_start_decompress(d);
	while (d->output_scanline < d->output_height) {
		JSAMPROW row = y + (size_t)d->output_scanline * info->width;
		jpeg_read_scanlines(d, &row, 1);
	}
}

/* A file can end properly and still lack components or, if progressive, the last bits of coefficients. */
static int is_incomplete(struct jpeg_decompress_struct *d) {
	for (int i = 0; i < d->num_components; i++) {
		if (!d->comp_info[i].quant_table) return 1;
		if (d->progressive_mode && d->coef_bits)
			for (int k = 0; k < DCTSIZE2; k++)
				if (d->coef_bits[i][k] != 0) return 1;
	}
	return 0;
}

int pm_jpeg_decode(const unsigned char *data, size_t size, const pm_jpeg_info *info, unsigned char *y, unsigned char *cb,
	unsigned char *cr, const volatile int32_t *cancel, pm_jpeg_report *report) {
	struct jpeg_decompress_struct d;
	errors_t e;
	progress_t p;
	unsigned char *planes[3] = {y, cb, cr};
	memset(&d, 0, sizeof d);
	memset(&p, 0, sizeof p);
	set_errors(&d, &e, report);
	p.base.progress_monitor = on_progress;
	p.cancel = cancel;
	if (setjmp(e.back)) {
		int cancelled = e.cancelled;
		jpeg_destroy_decompress(&d);
		return cancelled ? PM_CANCELLED : PM_FAILED;
	}
	jpeg_create_decompress(&d);
	d.progress = &p.base;
	jpeg_mem_src(&d, data, size);
	jpeg_read_header(&d, TRUE);
	pm_jpeg_info now;
	describe(&d, &now);
	if (now.width != info->width || now.height != info->height || now.fx != info->fx || now.fy != info->fy || now.raw != info->raw) {
		jpeg_destroy_decompress(&d);
		return PM_NOT_AS_ANNOUNCED;
	}
	if (d.num_components == 1 || (info->raw && !cb)) decode_grey(&d, info, y);
	else if (info->raw) decode_raw(&d, info, planes);
	else decode_converted(&d, info, planes);
	report->incomplete = is_incomplete(&d);
	/* What follows the last row (a missing end marker, a second picture) changes no pixel, so it isn't read. */
	jpeg_abort_decompress(&d);
	jpeg_destroy_decompress(&d);
	return PM_OK;
}
