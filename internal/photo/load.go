package photo

import (
	"cmp"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
)

// Limits that Load holds before anything is decoded.
const (
	// DefaultMaxPixels covers an A4 page at 1200 dpi (139 megapixels) and the largest common phone pictures (200).
	DefaultMaxPixels = 210_000_000
	// DefaultMaxFileBytes covers the same page as an uncompressed 24-bit file.
	DefaultMaxFileBytes = 700 << 20
	// DefaultMaxMemory is what decoding one picture may take; two are decoded side by side.
	DefaultMaxMemory = 1500 << 20
	// MinSidePx: the tag library crashes on pictures of a few pixels, and nothing can be measured on one so small.
	MinSidePx = 64
	// minHEICSidePx: below it the decoder's chroma rows (half as many, at least 64) aren't where it says.
	minHEICSidePx = 128
)

// Options bounds what Load accepts; a zero field means its default.
type Options struct {
	MaxPixels    int64
	MaxFileBytes int64
	MaxMemory    int64 // bytes that decoding may take, reckoned from the header
}

func (o Options) withDefaults() Options {
	if o.MaxPixels == 0 {
		o.MaxPixels = DefaultMaxPixels
	}
	if o.MaxFileBytes == 0 {
		o.MaxFileBytes = DefaultMaxFileBytes
	}
	if o.MaxMemory == 0 {
		o.MaxMemory = DefaultMaxMemory
	}
	return o
}

// Load reads and decodes the picture at path, whatever its name says it is. The file is read once, and its header is
// checked before it is decoded. Errors are *Error, or ctx's own.
func Load(ctx context.Context, path string, opt Options) (*Photo, error) {
	opt = opt.withDefaults()
	p, err := load(ctx, path, opt)
	if e := (*Error)(nil); errors.As(err, &e) {
		e.Path = path
	}
	if err != nil {
		return nil, err
	}
	return p, nil
}

func load(ctx context.Context, path string, opt Options) (*Photo, error) {
	data, err := readFile(ctx, path, opt.MaxFileBytes)
	if err != nil {
		return nil, err
	}
	h, err := readHead(data)
	if err != nil {
		return nil, err
	}
	if err := checkQuality(h); err != nil {
		return nil, err
	}
	if err := checkSize(h, opt); err != nil {
		return nil, err
	}
	sum := make(chan [sha256.Size]byte, 1)
	go func() { sum <- sha256.Sum256(data) }()
	pl, err := decode(ctx, data, h)
	checksum := <-sum
	if err != nil {
		return nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, context.Cause(ctx)
	}
	p := assemble(path, h, pl)
	p.File, p.SHA256 = data, checksum
	return p, nil
}

// assemble turns the decoded picture and fills in what its header says.
func assemble(path string, h *head, pl *planes) *Photo {
	o := h.orientation()
	p := &Photo{
		Path: path, Format: h.format,
		Width: pl.width, Height: pl.height,
		Orientation: max(1, h.exif.orientation),
		applied:     o,
		Gray:        turned(pl.y, pl.width, pl.height, o),
		Camera:      h.exif.exposed,
		Cropped:     h.exif.cropped(pl.width, pl.height),
		Focal35MM:   h.exif.focal35(),
		Notes:       h.notes,
		stored:      *pl,
		chroma:      pl.chromaGrid(o),
	}
	p.stored.y = nil
	var note string
	p.DPIX, p.DPIY, note = h.resolution()
	if note != "" {
		p.Notes = append(p.Notes, note)
	}
	if o >= 5 {
		p.Width, p.Height = p.Height, p.Width
		p.DPIX, p.DPIY = p.DPIY, p.DPIX
	}
	if p.Cropped {
		p.Focal35MM = 0
		p.Notes = append(p.Notes, fmt.Sprintf("the picture was cut after it was taken (%d x %d pixels then, %d x %d now); use the uncut one, it measures better",
			h.exif.pixelX, h.exif.pixelY, h.width, h.height))
	}
	if z := h.exif.digitalZoom; z > 1 {
		p.Notes = append(p.Notes, fmt.Sprintf("taken with %.3g x digital zoom, which adds no detail; go nearer instead", z))
	}
	p.MeanQuantum, p.ChromaQuantum = h.meanQuantum, cmp.Or(h.chromaQuantum, h.meanQuantum) // one table may serve both
	p.Tone, note = toneOf(h)
	if note != "" {
		p.Notes = append(p.Notes, note)
	}
	return p
}

// mostQuantum is the coarsest coding that leaves edges where they were. The example table of ITU-T T.81 (K.1) has a mean of 57.6
// and is quality 50 in the common scale; this is quality 22 there. At quality 10 edges were found up to 2.6 mm off.
const mostQuantum = 130

func checkQuality(h *head) error {
	if h.meanQuantum <= mostQuantum {
		return nil
	}
	return problem(ErrCrushed, fmt.Sprintf("the picture is compressed so strongly that its edges have moved (coded in steps of %.0f grey levels on average; %d at most can be measured)",
		h.meanQuantum, mostQuantum), "Use the original picture; where it must be sent, send it as a file")
}

func checkSize(h *head, opt Options) error {
	pixels := int64(h.width) * int64(h.height)
	least := MinSidePx
	if h.format == "heic" {
		least = minHEICSidePx
	}
	if h.width < least || h.height < least {
		return problem(ErrTooSmall, fmt.Sprintf("the picture has %d x %d pixels; at least %d a side are needed", h.width, h.height, least),
			"Use the original picture at full size")
	}
	if pixels > opt.MaxPixels {
		return problem(ErrTooLarge, fmt.Sprintf("the picture has %d x %d = %.0f megapixels; up to %.0f can be read", h.width, h.height,
			float64(pixels)/1e6, float64(opt.MaxPixels)/1e6), "Save it smaller, or scan at a lower resolution")
	}
	if need := pixels * int64(h.bytesPerPixel); need > opt.MaxMemory {
		return problem(ErrTooLarge, fmt.Sprintf("decoding %d x %d pixels of this kind takes %d MB; up to %d MB are allowed", h.width, h.height,
			need>>20, opt.MaxMemory>>20), "Save it as an ordinary 8-bit JPEG")
	}
	return nil
}
