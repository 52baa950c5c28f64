package photo

/*
#cgo LDFLAGS: -ljpeg
#cgo CFLAGS: -O2
#include "turbo.h"
*/
import "C"

import (
	"context"
	"fmt"
	"sync/atomic"
	"unsafe"
)

// decodeJPEG decodes a JPEG whose header has been checked. libjpeg checks it again: the sizes must agree with h, since the
// planes are made for them.
func decodeJPEG(ctx context.Context, data []byte, h *head) (*planes, error) {
	var info C.pm_jpeg_info
	var report C.pm_jpeg_report
	src, size := (*C.uchar)(unsafe.Pointer(unsafe.SliceData(data))), C.size_t(len(data))
	if C.pm_jpeg_read_info(src, size, &info, &report) != C.PM_OK {
		return nil, damaged("the JPEG header makes no sense: " + C.GoString(&report.message[0]))
	}
	if int(info.width) != h.width || int(info.height) != h.height {
		return nil, damaged("the header gives two different picture sizes")
	}
	p := &planes{width: h.width, height: h.height, y: make([]uint8, h.width*h.height)}
	if info.fx > 0 {
		p.fx, p.fy, p.stride = int(info.fx), int(info.fy), int(info.cw)
		n := int(info.cw) * int(info.ch)
		p.cb, p.cr = make([]uint8, n), make([]uint8, n)
	}

	cancel := new(int32)
	stop := context.AfterFunc(ctx, func() { atomic.StoreInt32(cancel, 1) })
	defer stop()
	status := C.pm_jpeg_decode(src, size, &info, ptr(p.y), ptr(p.cb), ptr(p.cr), (*C.int32_t)(unsafe.Pointer(cancel)), &report)
	switch {
	case status == C.PM_CANCELLED:
		return nil, context.Cause(ctx)
	case status != C.PM_OK:
		return nil, damaged("the JPEG can't be decoded: " + C.GoString(&report.message[0]))
	case report.damaged != 0 && report.row > 0:
		return nil, damaged(fmt.Sprintf("the picture is cut short or damaged from line %d of %d on", report.row, h.height))
	case report.damaged != 0:
		return nil, damaged("the picture is cut short or damaged")
	case report.incomplete != 0:
		return nil, damaged("the picture is cut short: its last details never arrived")
	}
	return p, nil
}

func ptr(b []uint8) *C.uchar { return (*C.uchar)(unsafe.Pointer(unsafe.SliceData(b))) }
