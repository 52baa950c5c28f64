#ifndef PORTMATCH_TURBO_H
#define PORTMATCH_TURBO_H

#include <stddef.h>
#include <stdint.h>

enum { PM_OK = 0, PM_FAILED = 1, PM_CANCELLED = 2, PM_NOT_AS_ANNOUNCED = 3 };

/* What the stream is, read from its header. */
typedef struct {
	uint32_t width, height;
	int fx, fy;      /* pixels covered by one chroma sample; 0, 0 for a grey picture */
	int raw;         /* planes can be taken as they are, without colour conversion */
	size_t cw, ch;   /* size of a chroma plane */
} pm_jpeg_info;

typedef struct {
	int damaged;     /* entropy data missing or corrupt: some pixels are invented */
	uint32_t row;    /* where it was noticed; meaningful for sequential pictures */
	int incomplete;  /* ends properly, but components or coefficients never came */
	char message[200];
} pm_jpeg_report;

int pm_jpeg_read_info(const unsigned char *data, size_t size, pm_jpeg_info *info, pm_jpeg_report *report);

/* Decodes into planes sized as info says; cb and cr may be NULL, then colour is skipped. *cancel is looked at between
   rows and scans. */
int pm_jpeg_decode(const unsigned char *data, size_t size, const pm_jpeg_info *info, unsigned char *y, unsigned char *cb,
	unsigned char *cr, const volatile int32_t *cancel, pm_jpeg_report *report);

#endif
