package render

import (
	"bytes"
	"io"
	"strconv"

	"portmatch/internal/compare"
	"portmatch/internal/geom"
)

// DXF writes the outlines at 1:1 for a cutter: DXF text of release 12 (AC1009, as its maker's DXF reference documents it),
// closed polylines and circles in mm on the layers TARGET, WORK, HOLES and PART. Axes are the job frame's. A number that no
// port has is a *PortNumberError.
func DXF(w io.Writer, r *compare.Result, o OutlineOptions) error {
	s, err := collectOutlines(r, o)
	if err != nil {
		return err
	}
	d := &dxf{}
	d.put(999, "1:1 in millimetres")
	d.section("HEADER", func() {
		d.put(9, "$ACADVER")
		d.put(1, "AC1009")
		d.put(9, "$EXTMIN")
		d.point(s.all.lo)
		d.put(9, "$EXTMAX")
		d.point(s.all.hi)
	})
	layers := []struct {
		name   string
		colour int // the format's colour numbers: 7 black on paper, 1 red, 5 blue, 8 grey
	}{{"TARGET", 7}, {"WORK", 1}, {"HOLES", 5}, {"PART", 8}}
	d.section("TABLES", func() {
		d.table("LTYPE", 1, func() {
			d.put(0, "LTYPE")
			d.put(2, "CONTINUOUS")
			d.put(70, "0")
			d.put(3, "Solid line")
			d.put(72, "65")
			d.put(73, "0")
			d.put(40, "0.0")
		})
		d.table("LAYER", len(layers), func() {
			for _, l := range layers {
				d.put(0, "LAYER")
				d.put(2, l.name)
				d.put(70, "0")
				d.put(62, strconv.Itoa(l.colour))
				d.put(6, "CONTINUOUS")
			}
		})
	})
	d.section("ENTITIES", func() {
		for _, o := range s.target {
			d.polyline("TARGET", o)
		}
		for _, o := range s.work {
			d.polyline("WORK", o)
		}
		for _, h := range s.holes {
			d.put(0, "CIRCLE")
			d.put(8, "HOLES")
			d.point(h.centre)
			d.put(40, micro(drawnDiameterMM(h.HoleResult)/2))
		}
		d.polyline("PART", s.part)
	})
	d.put(0, "EOF")
	_, err = w.Write(d.Bytes())
	return err
}

// dxf collects group codes and their values, one a line.
type dxf struct{ bytes.Buffer }

func (d *dxf) put(code int, value string) {
	d.WriteString(strconv.Itoa(code))
	d.WriteByte('\n')
	d.WriteString(value)
	d.WriteByte('\n')
}

func (d *dxf) point(p geom.PointMM) {
	d.put(10, micro(p.X))
	d.put(20, micro(p.Y))
	d.put(30, "0.0")
}

func (d *dxf) section(name string, body func()) {
	d.put(0, "SECTION")
	d.put(2, name)
	body()
	d.put(0, "ENDSEC")
}

func (d *dxf) table(name string, n int, body func()) {
	d.put(0, "TABLE")
	d.put(2, name)
	d.put(70, strconv.Itoa(n))
	body()
	d.put(0, "ENDTAB")
}

// polyline writes a closed curve: flag 70 = 1.
func (d *dxf) polyline(layer string, o geom.Outline) {
	if len(o) == 0 {
		return
	}
	d.put(0, "POLYLINE")
	d.put(8, layer)
	d.put(66, "1")
	d.put(70, "1")
	d.point(geom.PointMM{})
	for _, p := range o {
		d.put(0, "VERTEX")
		d.put(8, layer)
		d.point(p)
	}
	d.put(0, "SEQEND")
	d.put(8, layer)
}
