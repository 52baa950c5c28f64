package photo

import (
	"bytes"
	"fmt"
)

// readHead goes by the content, never by the name.
func readHead(data []byte) (*head, error) {
	switch {
	case len(data) == 0:
		return nil, problem(ErrUnreadable, "the file is empty", tryCopyAgain)
	case bytes.HasPrefix(data, []byte{0xFF, mSOI, 0xFF}):
		return readJPEGHead(data)
	case bytes.HasPrefix(data, []byte("\x89PNG\r\n\x1a\n")):
		return readPNGHead(data)
	case bytes.HasPrefix(data, []byte("II*\x00")), bytes.HasPrefix(data, []byte("MM\x00*")):
		return readTIFFHead(data)
	case len(data) >= 12 && string(data[:4]) == "RIFF" && string(data[8:12]) == "WEBP":
		return readWebPHead(data)
	case len(data) >= 12 && string(data[4:8]) == "ftyp":
		return readHEICHead(data)
	}
	return nil, notPicture(data)
}

// others are kinds of file that people have at hand beside their photos.
var others = []struct {
	magic, name string
	picture     bool
}{
	{"GIF8", "a GIF", true},
	{"BM", "a BMP", true},
	{"\x00\x00\x00\x0cJXL ", "a JPEG XL", true},
	{"\xff\x0a", "a JPEG XL", true},
	{"\x00\x00\x00\x0cjP  ", "a JPEG 2000", true},
	{"II+\x00", "a TIFF of the very large kind (BigTIFF)", true},
	{"MM\x00+", "a TIFF of the very large kind (BigTIFF)", true},
	{"8BPS", "a layered picture of a paint program", true},
	{"%PDF", "a PDF", false},
	{"%!PS", "a PostScript file", false},
	{"<svg", "a drawing (SVG)", false},
	{"<?xml", "an XML file", false},
	{"<!DOCTYPE html", "a web page", false},
	{"<html", "a web page", false},
	{"PK\x03\x04", "a ZIP archive or an office document", false},
	{"{", "a JSON or text file", false},
}

func notPicture(data []byte) *Error {
	for _, o := range others {
		if !bytes.HasPrefix(data, []byte(o.magic)) {
			continue
		}
		if o.picture {
			return unsupported("is "+o.name+", which isn't read", trySaveAs)
		}
		return problem(ErrNotPicture, "is "+o.name+", not a picture", "Use a JPEG, PNG, TIFF, WebP or HEIC file")
	}
	what := "is not a picture that can be read"
	if len(data) < 12 {
		what = fmt.Sprintf("is not a picture: it has only %d bytes", len(data))
	}
	return problem(ErrNotPicture, what, "Use a JPEG, PNG, TIFF, WebP or HEIC file")
}
