package photo

import "bytes"

// bits reads an HEVC parameter set (ITU-T H.265, 7.2 and 9.2).
type bits struct {
	data []byte
	at   int
	bad  bool
}

func (b *bits) read(n int) uint64 {
	var v uint64
	for range n {
		if b.at/8 >= len(b.data) {
			b.bad = true
			return 0
		}
		v = v<<1 | uint64(b.data[b.at/8]>>(7-b.at%8)&1)
		b.at++
	}
	return v
}

// golomb reads an Exp-Golomb number.
func (b *bits) golomb() uint64 {
	zeros := 0
	for b.read(1) == 0 {
		if zeros++; zeros > 32 || b.bad {
			b.bad = true
			return 0
		}
	}
	return 1<<zeros - 1 + b.read(zeros)
}

// codedSize reads the size of the coded picture from the sequence parameter set in an hvcC property.
func codedSize(hvcC []byte) (w, h uint64, ok bool) {
	const seqParameterSet = 33
	r := fields{data: hvcC}
	if len(hvcC) < 23 {
		return 0, 0, false
	}
	r.data = r.data[22:]
	for range r.uint(1) {
		kind := r.uint(1) & 0x3F
		for range r.uint(2) {
			n := r.uint(2)
			if r.bad || n > uint64(len(r.data)) {
				return 0, 0, false
			}
			unit := r.data[:n]
			r.data = r.data[n:]
			if kind == seqParameterSet {
				return spsSize(unit)
			}
		}
	}
	return 0, 0, false
}

func spsSize(unit []byte) (w, h uint64, ok bool) {
	if len(unit) < 3 {
		return 0, 0, false
	}
	// A 3 follows every pair of zeros, so that no start code can occur; it is not part of the numbers.
	b := bits{data: bytes.ReplaceAll(unit[2:], []byte{0, 0, 3}, []byte{0, 0})}
	b.read(4)
	layers := int(b.read(3))
	b.read(1)
	b.read(88) // profile
	b.read(8)  // level
	var profile, level [8]bool
	for i := range layers {
		profile[i], level[i] = b.read(1) == 1, b.read(1) == 1
	}
	if layers > 0 {
		b.read(2 * (8 - layers))
	}
	for i := range layers {
		if profile[i] {
			b.read(88)
		}
		if level[i] {
			b.read(8)
		}
	}
	b.golomb() // id
	if chroma := b.golomb(); chroma == 3 {
		b.read(1)
	}
	w, h = b.golomb(), b.golomb()
	return w, h, !b.bad && w > 0 && h > 0
}
