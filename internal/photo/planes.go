package photo

// planes is a decoded picture as stored, before orientation: Y', and chroma where the picture has colour.
type planes struct {
	width, height int
	y             []uint8
	// Chroma planes, each sample covering fx x fy pixels from the top-left corner on; nil for a grey picture.
	cb, cr []uint8
	fx, fy int
	stride int // of a chroma plane, in samples
}
