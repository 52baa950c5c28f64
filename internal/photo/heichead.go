package photo

import (
	"encoding/binary"
	"fmt"
	"slices"
)

// A HEIC file (ISO/IEC 23008-12) is a tree of boxes: a table of items, where their bytes lie, and properties tied to them.

// heifBox is one box: its type and its content.
type heifBox struct {
	kind string
	body []byte
}

// heifBoxes splits data into boxes. A last box that runs past the end is an error only where whole is set.
func heifBoxes(data []byte, whole bool) ([]heifBox, error) {
	var boxes []heifBox
	for len(data) >= 8 {
		size := int64(binary.BigEndian.Uint32(data))
		kind, header := string(data[4:8]), int64(8)
		switch {
		case size == 0: // to the end
			size = int64(len(data))
		case size == 1 && len(data) >= 16:
			size, header = int64(binary.BigEndian.Uint64(data[8:])), 16
		}
		if size < header || size > int64(len(data)) {
			if whole {
				return nil, damaged("the file is cut short")
			}
			break
		}
		boxes = append(boxes, heifBox{kind, data[header:size]})
		data = data[size:]
	}
	return boxes, nil
}

func findBox(boxes []heifBox, kind string) []byte {
	for _, b := range boxes {
		if b.kind == kind {
			return b.body
		}
	}
	return nil
}

// fields reads numbers one after another; after running out of bytes it returns zeros and bad is set.
type fields struct {
	data []byte
	bad  bool
}

func (f *fields) uint(bytes int) uint64 {
	if len(f.data) < bytes {
		f.bad, f.data = true, nil
		return 0
	}
	var v uint64
	for _, b := range f.data[:bytes] {
		v = v<<8 | uint64(b)
	}
	f.data = f.data[bytes:]
	return v
}

// full reads a full box's version; its flags are kept in the low 24 bits of flags.
func (f *fields) full() (version, flags uint64) {
	v := f.uint(4)
	return v >> 24, v & 0xFFFFFF
}

type heifExtent struct{ from, size uint64 }

type heifFile struct {
	data    []byte
	idat    []byte
	primary uint64
	kinds   map[uint64]string
	extents map[uint64][]heifExtent
	inIdat  map[uint64]bool
	props   []heifBox
	tied    map[uint64][]int // item to indices into props
}

func readHEICHead(data []byte) (*head, error) {
	if err := checkBrand(data); err != nil {
		return nil, err
	}
	top, err := heifBoxes(data, true)
	if err != nil {
		return nil, err
	}
	meta := findBox(top, "meta")
	if len(meta) < 4 {
		return nil, damaged("the file holds no still picture")
	}
	f, err := openHEIF(data, meta[4:])
	if err != nil {
		return nil, err
	}
	h := &head{format: "heic", bytesPerPixel: 24} // measured: 20 at 48 megapixels, 32 at 12
	return h, f.describe(h)
}

// checkBrand tells pictures from the films and raw files that share the container.
func checkBrand(data []byte) error {
	size := int64(binary.BigEndian.Uint32(data))
	if size < 16 || size > int64(len(data)) {
		return damaged("the file is cut short")
	}
	var brands []string
	for at := int64(8); at+4 <= size; at += 4 {
		if at != 12 { // the minor version
			brands = append(brands, string(data[at:at+4]))
		}
	}
	has := func(names ...string) bool {
		return slices.ContainsFunc(names, func(n string) bool { return slices.Contains(brands, n) })
	}
	switch {
	case has("crx "):
		return unsupported("is a camera's raw file", tryRaw)
	case has("heic", "heix", "heim", "heis"), has("mif1") && !has("avif"):
		return nil
	case has("avif", "avis"):
		return unsupported("is an AVIF, which isn't read", trySaveAs)
	}
	return problem(ErrNotPicture, "is a film, not a photo", "Take a still photo: a film's frames are too coarse")
}

func openHEIF(data, meta []byte) (*heifFile, error) {
	boxes, err := heifBoxes(meta, true)
	if err != nil {
		return nil, err
	}
	f := &heifFile{data: data, idat: findBox(boxes, "idat"), kinds: map[uint64]string{},
		extents: map[uint64][]heifExtent{}, inIdat: map[uint64]bool{}, tied: map[uint64][]int{}}
	ok := f.readPrimary(findBox(boxes, "pitm")) && f.readKinds(findBox(boxes, "iinf")) &&
		f.readExtents(findBox(boxes, "iloc")) && f.readProperties(findBox(boxes, "iprp"))
	if !ok {
		return nil, damaged("the file's table of contents is broken")
	}
	return f, nil
}

func (f *heifFile) readPrimary(body []byte) bool {
	r := fields{data: body}
	version, _ := r.full()
	f.primary = r.uint(idBytes(version >= 1))
	return !r.bad
}

func idBytes(long bool) int {
	if long {
		return 4
	}
	return 2
}

func (f *heifFile) readKinds(body []byte) bool {
	r := fields{data: body}
	version, _ := r.full()
	r.uint(idBytes(version >= 1)) // number of entries
	if r.bad {
		return false
	}
	entries, _ := heifBoxes(r.data, false)
	for _, e := range entries {
		if e.kind != "infe" {
			continue
		}
		r := fields{data: e.body}
		version, _ := r.full()
		if version < 2 {
			continue
		}
		id := r.uint(idBytes(version >= 3))
		r.uint(2) // protection
		if len(r.data) >= 4 {
			f.kinds[id] = string(r.data[:4])
		}
	}
	return true
}

func (f *heifFile) readExtents(body []byte) bool {
	r := fields{data: body}
	version, _ := r.full()
	sizes := r.uint(2)
	offsetSize, lengthSize, baseSize, indexSize := int(sizes>>12&15), int(sizes>>8&15), int(sizes>>4&15), int(sizes&15)
	if version > 2 || max(offsetSize, lengthSize, baseSize, indexSize) > 8 {
		return false
	}
	items := r.uint(idBytes(version == 2))
	for range items {
		id := r.uint(idBytes(version == 2))
		if version >= 1 {
			f.inIdat[id] = r.uint(2)&15 == 1
		}
		r.uint(2) // which file: this one
		base := r.uint(baseSize)
		for range r.uint(2) {
			if version >= 1 {
				r.uint(indexSize)
			}
			from := base + r.uint(offsetSize)
			size := r.uint(lengthSize)
			if r.bad {
				return false
			}
			f.extents[id] = append(f.extents[id], heifExtent{from, size})
		}
		if r.bad {
			return false
		}
	}
	return !r.bad
}

func (f *heifFile) readProperties(body []byte) bool {
	boxes, err := heifBoxes(body, true)
	if err != nil {
		return false
	}
	if f.props, err = heifBoxes(findBox(boxes, "ipco"), true); err != nil {
		return false
	}
	r := fields{data: findBox(boxes, "ipma")}
	version, flags := r.full()
	for range r.uint(4) {
		id := r.uint(idBytes(version >= 1))
		for range r.uint(1) {
			var index uint64 // the top bit says that the property is essential
			if flags&1 != 0 {
				index = r.uint(2) & 0x7FFF
			} else {
				index = r.uint(1) & 0x7F
			}
			if index >= 1 && index <= uint64(len(f.props)) {
				f.tied[id] = append(f.tied[id], int(index-1))
			}
		}
		if r.bad {
			return false
		}
	}
	return !r.bad
}

// property returns the first property of that kind tied to the item, nil if there is none.
func (f *heifFile) property(item uint64, kind string) []byte {
	for _, i := range f.tied[item] {
		if f.props[i].kind == kind {
			return f.props[i].body
		}
	}
	return nil
}

// size is an item's own statement of its size, before turning.
func (f *heifFile) size(item uint64) (w, h uint64) {
	r := fields{data: f.property(item, "ispe")}
	r.full()
	return r.uint(4), r.uint(4)
}

// content returns an item's bytes, nil if they don't lie within the file.
func (f *heifFile) content(item uint64) []byte {
	source := f.data
	if f.inIdat[item] {
		source = f.idat
	}
	var all []byte
	for _, e := range f.extents[item] {
		if e.from > uint64(len(source)) || e.size > uint64(len(source))-e.from || uint64(len(all))+e.size > uint64(len(source)) {
			return nil
		}
		if e.size == 0 { // to the end
			e.size = uint64(len(source)) - e.from
		}
		all = append(all, source[e.from:e.from+e.size]...)
	}
	return all
}

// describe fills in the head and checks that what the decoder will find agrees with it.
func (f *heifFile) describe(h *head) error {
	w, ht := f.size(f.primary)
	if w == 0 || ht == 0 || w > 1<<31-1 || ht > 1<<31-1 {
		return damaged(fmt.Sprintf("the header says %d x %d pixels", w, ht))
	}
	h.width, h.height = int(w), int(ht)
	switch kind := f.kinds[f.primary]; kind {
	case "hvc1":
	case "grid":
		r := fields{data: f.content(f.primary)}
		r.uint(1)
		bytes := idBytes(r.uint(1)&1 != 0)
		r.uint(2) // rows, columns
		if gw, gh := r.uint(bytes), r.uint(bytes); r.bad || gw != w || gh != ht {
			return damaged(fmt.Sprintf("the header gives two sizes, %d x %d and %d x %d", w, ht, gw, gh))
		}
	default:
		return unsupported(fmt.Sprintf("is a HEIF file with a picture of kind %q, which isn't read", kind), trySaveAs)
	}
	for item, kind := range f.kinds {
		if kind != "hvc1" {
			continue
		}
		if f.content(item) == nil {
			return damaged("the file is cut short: part of the picture lies beyond its end")
		}
		if err := f.checkCoded(item); err != nil {
			return err
		}
	}
	h.turned = f.property(f.primary, "irot") != nil || f.property(f.primary, "imir") != nil
	if err := f.readColour(h); err != nil {
		return err
	}
	for item, kind := range f.kinds {
		if kind != "Exif" {
			continue
		}
		// The first four bytes say how far behind them the TIFF header stands.
		block := f.content(item)
		r := fields{data: block}
		if skip := r.uint(4); skip < uint64(len(r.data)) {
			h.exif, _ = parseEXIF(r.data[skip:])
		}
	}
	return nil
}

// checkCoded compares an item's stated size with the one in its video parameters: the decoder makes room for the latter.
func (f *heifFile) checkCoded(item uint64) error {
	w, h := f.size(item)
	cw, ch, ok := codedSize(f.property(item, "hvcC"))
	// Coded pictures are whole numbers of the largest coding block, 64 pixels.
	if !ok || cw > w+63 || ch > h+63 {
		return damaged(fmt.Sprintf("the header gives two sizes, %d x %d and %d x %d", w, h, cw, ch))
	}
	return nil
}

// readColour reads the profile and the coding of grey from the primary item, or from its tiles where it has none itself.
func (f *heifFile) readColour(h *head) error {
	items := []uint64{f.primary}
	for item, kind := range f.kinds {
		if kind == "hvc1" && item != f.primary && f.kinds[f.primary] == "grid" {
			items = append(items, item)
		}
	}
	slices.Sort(items[1:])
	for _, item := range items {
		found := false
		for _, i := range f.tied[item] {
			p := f.props[i]
			if p.kind != "colr" || len(p.body) < 4 {
				continue
			}
			found = true
			switch string(p.body[:4]) {
			case "prof", "rICC":
				h.icc = p.body[4:]
			case "nclx":
				r := fields{data: p.body[4:]}
				r.uint(2)
				transfer := r.uint(2)
				r.uint(2)
				h.videoRange = r.uint(1)&0x80 == 0 && !r.bad
				const pq, hlg = 16, 18 // ITU-T H.273
				if transfer == pq || transfer == hlg {
					return unsupported("is a picture with extended brightness (HDR)", "Switch HDR off, or save it as an ordinary JPEG")
				}
			}
		}
		if found {
			return nil
		}
	}
	return nil
}
