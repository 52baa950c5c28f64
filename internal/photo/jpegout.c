/* Writes a picture as a baseline JPEG, by the same library that reads them. */
#include "jpegout.h"

#include <setjmp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <jpeglib.h>

typedef struct {
	struct jpeg_error_mgr base;
	jmp_buf back;
	char *message;
} errors_t;

static void on_fatal(j_common_ptr c) {
	errors_t *e = (errors_t *)c->err;
	char text[JMSG_LENGTH_MAX];
	(*c->err->format_message)(c, text);
	snprintf(e->message, PM_MESSAGE, "%s", text);
	longjmp(e->back, 1);
}

static void on_output(j_common_ptr c) { (void)c; }

int pm_jpeg_encode(const unsigned char *rgba, size_t stride, unsigned width, unsigned height, int quality, unsigned char **out,
	unsigned long *size, char message[PM_MESSAGE]) {
	struct jpeg_compress_struct c;
	errors_t e;
	*out = NULL;
	*size = 0;
	memset(&c, 0, sizeof c);
	c.err = jpeg_std_error(&e.base);
	e.base.error_exit = on_fatal;
	e.base.output_message = on_output;
	e.message = message;
	if (setjmp(e.back)) {
		jpeg_destroy_compress(&c);
		*out = NULL; /* where it grew, this one is freed already; out of memory is the only way here, so the new one may leak */
		return -1;
	}
	jpeg_create_compress(&c);
	jpeg_mem_dest(&c, out, size);
	c.image_width = width;
	c.image_height = height;
#ifdef JCS_EXTENSIONS
	c.in_color_space = JCS_EXT_RGBX;
	c.input_components = 4;
#else
	c.in_color_space = JCS_RGB;
	c.input_components = 3;
#endif
	jpeg_set_defaults(&c); /* Y'CbCr with chroma at half size, the example tables of ITU-T T.81, annex K */
	jpeg_set_quality(&c, quality, TRUE);
	jpeg_start_compress(&c, TRUE);
#ifndef JCS_EXTENSIONS
	JSAMPARRAY row = (*c.mem->alloc_sarray)((j_common_ptr)&c, JPOOL_IMAGE, width * 3, 1);
#endif
	while (c.next_scanline < height) {
		const unsigned char *from = rgba + c.next_scanline * stride;
#ifdef JCS_EXTENSIONS
		JSAMPROW line = (JSAMPROW)from;
		jpeg_write_scanlines(&c, &line, 1);
#else
		for (unsigned i = 0; i < width; i++) memcpy(row[0] + 3 * i, from + 4 * i, 3);
		jpeg_write_scanlines(&c, row, 1);
#endif
	}
	jpeg_finish_compress(&c);
	jpeg_destroy_compress(&c);
	return 0;
}
