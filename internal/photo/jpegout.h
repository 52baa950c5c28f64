#ifndef PORTMATCH_JPEGOUT_H
#define PORTMATCH_JPEGOUT_H

#include <stddef.h>

enum { PM_MESSAGE = 200 };

/* Encodes rows of R, G, B and an ignored byte, stride bytes apart, at a quality of 1 to 100. *out is to be freed by the
   caller. It returns 0, or -1 with the reason in message. */
int pm_jpeg_encode(const unsigned char *rgba, size_t stride, unsigned width, unsigned height, int quality, unsigned char **out,
	unsigned long *size, char message[PM_MESSAGE]);

#endif
