package photo

/*
#include <stdlib.h>
#include "jpegout.h"
*/
import "C"

import (
	"errors"
	"image"
	"io"
	"unsafe"
)

// EncodeJPEG writes the picture, which must be opaque, as a baseline JPEG of the given quality, 1 to 100, with chroma at half
// size. It takes a tenth of the time of image/jpeg.
func EncodeJPEG(w io.Writer, im *image.RGBA, quality int) error {
	b := im.Bounds()
	if b.Empty() {
		return errors.New("a picture without pixels can't be written as a JPEG")
	}
	var out *C.uchar
	var size C.ulong
	var message [C.PM_MESSAGE]C.char
	status := C.pm_jpeg_encode(ptr(im.Pix[im.PixOffset(b.Min.X, b.Min.Y):]), C.size_t(im.Stride), C.uint(b.Dx()), C.uint(b.Dy()),
		C.int(quality), &out, &size, &message[0])
	defer C.free(unsafe.Pointer(out))
	if status != 0 {
		return errors.New("the picture can't be written as a JPEG: " + C.GoString(&message[0]))
	}
	_, err := w.Write(unsafe.Slice((*byte)(unsafe.Pointer(out)), int(size)))
	return err
}
