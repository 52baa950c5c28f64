package photo

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/png"

	"github.com/gen2brain/heic"
	"golang.org/x/image/tiff"
	"golang.org/x/image/webp"
)

func decode(ctx context.Context, data []byte, h *head) (*planes, error) {
	if h.format == "jpeg" {
		return decodeJPEG(ctx, data, h)
	}
	type result struct {
		pl  *planes
		err error
	}
	// These decoders know nothing of ctx: when it ends they are left behind to finish alone.
	done := make(chan result, 1)
	go func() {
		pl, err := decodeWhole(ctx, data, h)
		done <- result{pl, err}
	}()
	select {
	case r := <-done:
		return r.pl, r.err
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	}
}

// decodeWhole decodes the formats that have a decoder in Go, or in a sandbox.
func decodeWhole(ctx context.Context, data []byte, h *head) (pl *planes, err error) {
	defer func() {
		if r := recover(); r != nil {
			pl, err = nil, damaged(fmt.Sprintf("the picture can't be decoded: %v", r))
		}
	}()
	if h.format == "heic" {
		select {
		case heicGate <- struct{}{}:
		case <-ctx.Done():
			return nil, context.Cause(ctx)
		}
		defer func() { <-heicGate }()
	}
	var img image.Image
	switch h.format {
	case "png":
		img, err = png.Decode(bytes.NewReader(data))
	case "tiff":
		img, err = tiff.Decode(bytes.NewReader(data))
	case "webp":
		img, err = webp.Decode(bytes.NewReader(data))
	case "heic":
		img, err = decodeHEICApart(ctx, data)
	default:
		panic("no decoder for " + h.format)
	}
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	if err != nil {
		if u := tiff.UnsupportedError(""); errors.As(err, &u) {
			return nil, unsupported("is a TIFF of a rare kind: "+string(u), trySaveAs)
		}
		e := damaged("the picture can't be decoded: " + err.Error())
		e.Err = err
		return nil, e
	}
	return planesOf(img, h)
}

// heicGate lets one HEIC picture be decoded at a time: the sandbox takes some 30 bytes a pixel, which two of 48 megapixels
// side by side would make 2 GB.
var heicGate = make(chan struct{}, 1)

func decodeHEIC(data []byte) (image.Image, error) {
	if string(data[8:12]) != "heic" {
		// The decoder goes by the main brand alone; checkBrand has looked at them all.
		data = bytes.Clone(data)
		copy(data[8:12], "heic")
	}
	img, err := heic.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, err
	}
	// heic v0.4.5 frees the sandbox's memory before it hands the picture over, which leaves bookkeeping in the first
	// bytes: 24 in practice, within the allocator's smallest alignment of 32. Nothing is measured in that corner.
	const spoilt = 32
	switch m := img.(type) {
	case *image.YCbCr:
		copy(m.Y[:spoilt], m.Y[m.YStride:])
	case *image.Gray:
		copy(m.Pix[:spoilt], m.Pix[m.Stride:])
	case *image.NRGBA:
		copy(m.Pix[:spoilt], m.Pix[m.Stride:])
	case *image.RGBA:
		copy(m.Pix[:spoilt], m.Pix[m.Stride:])
	}
	return img, nil
}
