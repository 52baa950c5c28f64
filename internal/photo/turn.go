package photo

// turned returns src (w x h, row-major) as it is to be looked at under the EXIF orientation o, 1 to 8 (CIPA DC-008: 6 means
// row 0 of the file is the right side of the scene). Orientation 1 returns src itself.
func turned(src []uint8, w, h, o int) []uint8 {
	if o == 1 {
		return src
	}
	dst := make([]uint8, len(src))
	if o < 5 {
		for v := range h {
			row := src[v*w : (v+1)*w]
			vd := v
			if o == 3 || o == 4 {
				vd = h - 1 - v
			}
			out := dst[vd*w : (vd+1)*w]
			if o == 4 {
				copy(out, row)
				continue
			}
			for u, g := range row {
				out[w-1-u] = g
			}
		}
		return dst
	}
	// Rows become columns. In squares, so that neither side leaves the processor's cache; 64 bytes is one of its lines.
	const square = 64
	for v0 := 0; v0 < h; v0 += square {
		v1 := min(v0+square, h)
		for u0 := 0; u0 < w; u0 += square {
			for u := u0; u < min(u0+square, w); u++ {
				ud := u // row of the turned picture, which has w rows of h pixels
				if o == 7 || o == 8 {
					ud = w - 1 - u
				}
				out := dst[ud*h : (ud+1)*h]
				at := v0*w + u
				if o == 5 || o == 8 {
					for v := v0; v < v1; v++ {
						out[v] = src[at]
						at += w
					}
				} else {
					for v := v0; v < v1; v++ {
						out[h-1-v] = src[at]
						at += w
					}
				}
			}
		}
	}
	return dst
}

// storedFromTurned takes a pixel of the turned picture to the stored one of size w x h.
func storedFromTurned(u, v, w, h, o int) (int, int) {
	if o >= 5 {
		u, v = v, u
	}
	switch o {
	case 2, 8:
		u = w - 1 - u
	case 3, 7:
		u, v = w-1-u, h-1-v
	case 4, 6:
		v = h - 1 - v
	}
	return u, v
}
