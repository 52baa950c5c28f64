package face

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// pathBuilder flattens the curves of SVG shapes into closed outlines, in the shape's own units.
type pathBuilder struct {
	tol    float64 // how far chords may lie off
	closed [][][2]float64
	open   [][2]float64
	err    error
}

func (p *pathBuilder) fail(format string, args ...any) {
	if p.err == nil {
		p.err = fmt.Errorf("%w: %s", ErrBadSVG, fmt.Sprintf(format, args...))
	}
}

func (p *pathBuilder) to(x, y float64) {
	if len(p.open) >= maxPoints*2 {
		p.fail("an outline of more than %d points", maxPoints)
		return
	}
	p.open = append(p.open, [2]float64{x, y})
}

// shut ends the current outline. One that was not closed is a line, unless it ends where it began.
func (p *pathBuilder) shut(closed bool) {
	if n := len(p.open); n > 2 && (closed || math.Hypot(p.open[n-1][0]-p.open[0][0], p.open[n-1][1]-p.open[0][1]) <= p.tol) {
		p.closed = append(p.closed, p.open)
	}
	p.open = nil
}

func (p *pathBuilder) polygon(points string, closed bool) {
	v, err := numbers(points, -1)
	if err != nil || len(v)%2 != 0 {
		p.fail("points are %.40q", points)
		return
	}
	for i := 0; i < len(v); i += 2 {
		p.to(v[i], v[i+1])
	}
	p.shut(closed)
}

func (p *pathBuilder) ellipse(cx, cy, rx, ry float64) {
	if !(rx > 0 && ry > 0) {
		return
	}
	p.to(cx+rx, cy)
	p.arc(cx+rx, cy, rx, ry, 0, false, true, cx-rx, cy)
	p.arc(cx-rx, cy, rx, ry, 0, false, true, cx+rx, cy)
	p.shut(true)
}

func (p *pathBuilder) rect(x, y, w, h, rx, ry float64) {
	if !(w > 0 && h > 0) {
		return
	}
	rx, ry = math.Min(math.Max(rx, 0), w/2), math.Min(math.Max(ry, 0), h/2)
	if rx == 0 || ry == 0 {
		p.to(x, y)
		p.to(x+w, y)
		p.to(x+w, y+h)
		p.to(x, y+h)
		p.shut(true)
		return
	}
	p.to(x+rx, y)
	p.to(x+w-rx, y)
	p.arc(x+w-rx, y, rx, ry, 0, false, true, x+w, y+ry)
	p.to(x+w, y+h-ry)
	p.arc(x+w, y+h-ry, rx, ry, 0, false, true, x+w-rx, y+h)
	p.to(x+rx, y+h)
	p.arc(x+rx, y+h, rx, ry, 0, false, true, x, y+h-ry)
	p.to(x, y+ry)
	p.arc(x, y+ry, rx, ry, 0, false, true, x+rx, y)
	p.shut(true)
}

// steps is into how many chords a curve goes whose second derivative, with the parameter from 0 to 1, stays under bend: a
// chord of a step h lies off by bend h²/8 at most.
func (p *pathBuilder) steps(bend float64) int {
	n := math.Ceil(math.Sqrt(bend / (8 * p.tol)))
	if !(n <= maxPoints) {
		p.fail("a curve that takes %g points", n)
		return 1
	}
	return max(1, int(n))
}

func (p *pathBuilder) cubic(x0, y0, x1, y1, x2, y2, x3, y3 float64) {
	bend := 6 * math.Max(math.Hypot(x0-2*x1+x2, y0-2*y1+y2), math.Hypot(x1-2*x2+x3, y1-2*y2+y3))
	n := p.steps(bend)
	for k := 1; k <= n; k++ {
		t := float64(k) / float64(n)
		s := 1 - t
		a, b, c, d := s*s*s, 3*s*s*t, 3*s*t*t, t*t*t
		p.to(a*x0+b*x1+c*x2+d*x3, a*y0+b*y1+c*y2+d*y3)
	}
}

// arc draws an elliptical arc from (x0, y0), by the endpoint form's implementation notes (SVG 1.1, F.6).
func (p *pathBuilder) arc(x0, y0, rx, ry, turnDeg float64, large, sweep bool, x, y float64) {
	rx, ry = math.Abs(rx), math.Abs(ry)
	if rx == 0 || ry == 0 || x0 == x && y0 == y {
		p.to(x, y)
		return
	}
	sin, cos := math.Sincos(turnDeg * math.Pi / 180)
	dx, dy := (x0-x)/2, (y0-y)/2
	u, v := cos*dx+sin*dy, -sin*dx+cos*dy
	if l := u*u/(rx*rx) + v*v/(ry*ry); l > 1 {
		rx, ry = rx*math.Sqrt(l), ry*math.Sqrt(l)
	}
	k := (rx*rx*ry*ry - rx*rx*v*v - ry*ry*u*u) / (rx*rx*v*v + ry*ry*u*u)
	k = math.Sqrt(math.Max(k, 0))
	if large == sweep {
		k = -k
	}
	cu, cv := k*rx*v/ry, -k*ry*u/rx
	from := math.Atan2((v-cv)/ry, (u-cu)/rx)
	by := math.Atan2((-v-cv)/ry, (-u-cu)/rx) - from
	if sweep && by < 0 {
		by += 2 * math.Pi
	} else if !sweep && by > 0 {
		by -= 2 * math.Pi
	}
	cx, cy := cos*cu-sin*cv+(x0+x)/2, sin*cu+cos*cv+(y0+y)/2
	n := p.steps(math.Max(rx, ry) * by * by)
	for i := 1; i < n; i++ {
		s, c := math.Sincos(from + by*float64(i)/float64(n))
		p.to(cx+cos*rx*c-sin*ry*s, cy+sin*rx*c+cos*ry*s)
	}
	p.to(x, y)
}

// parse reads path data (SVG 1.1, 8.3).
func (p *pathBuilder) parse(d string) {
	r := pathReader{s: d}
	var x, y, startX, startY float64 // current point, start of the outline
	var ctrlX, ctrlY float64         // last control point, for the smooth forms
	var last, cmd byte
	for p.err == nil {
		c, ok := r.command()
		switch {
		case ok:
			cmd = c
		case r.end():
			p.shut(false)
			return
		case cmd == 0 || cmd == 'Z' || cmd == 'z':
			p.fail("path data can't be read at %.20q", r.rest())
			return
		case cmd == 'M':
			cmd = 'L' // further pairs after a move are lines
		case cmd == 'm':
			cmd = 'l'
		}
		rel := cmd >= 'a'
		up := cmd &^ 0x20
		baseX, baseY := 0.0, 0.0
		if rel {
			baseX, baseY = x, y
		}
		if len(p.open) == 0 && up != 'M' && up != 'Z' {
			p.to(x, y)
		}
		switch up {
		case 'M':
			v := r.take(p, 2)
			p.shut(false)
			x, y = baseX+v[0], baseY+v[1]
			startX, startY = x, y
			p.to(x, y)
		case 'Z':
			p.shut(true)
			x, y = startX, startY
		case 'L':
			v := r.take(p, 2)
			x, y = baseX+v[0], baseY+v[1]
			p.to(x, y)
		case 'H':
			x = baseX + r.take(p, 1)[0]
			p.to(x, y)
		case 'V':
			y = baseY + r.take(p, 1)[0]
			p.to(x, y)
		case 'C', 'S':
			x1, y1 := x, y
			if up == 'C' {
				v := r.take(p, 2)
				x1, y1 = baseX+v[0], baseY+v[1]
			} else if last == 'C' || last == 'S' {
				x1, y1 = 2*x-ctrlX, 2*y-ctrlY
			}
			v := r.take(p, 4)
			ctrlX, ctrlY = baseX+v[0], baseY+v[1]
			toX, toY := baseX+v[2], baseY+v[3]
			p.cubic(x, y, x1, y1, ctrlX, ctrlY, toX, toY)
			x, y = toX, toY
		case 'Q', 'T':
			if up == 'Q' {
				v := r.take(p, 2)
				ctrlX, ctrlY = baseX+v[0], baseY+v[1]
			} else if last == 'Q' || last == 'T' {
				ctrlX, ctrlY = 2*x-ctrlX, 2*y-ctrlY
			} else {
				ctrlX, ctrlY = x, y
			}
			v := r.take(p, 2)
			toX, toY := baseX+v[0], baseY+v[1]
			p.cubic(x, y, x+2*(ctrlX-x)/3, y+2*(ctrlY-y)/3, toX+2*(ctrlX-toX)/3, toY+2*(ctrlY-toY)/3, toX, toY)
			x, y = toX, toY
		case 'A':
			v := r.take(p, 3)
			large, sweep := r.flag(p), r.flag(p)
			w := r.take(p, 2)
			toX, toY := baseX+w[0], baseY+w[1]
			p.arc(x, y, v[0], v[1], v[2], large, sweep, toX, toY)
			x, y = toX, toY
		default:
			p.fail("path data has a %q", string(cmd))
		}
		last = up
	}
}

// pathReader takes commands, numbers and flags from path data.
type pathReader struct {
	s string
	i int
}

func (r *pathReader) space() {
	for r.i < len(r.s) && strings.IndexByte(" \t\r\n,", r.s[r.i]) >= 0 {
		r.i++
	}
}

func (r *pathReader) end() bool { return r.i >= len(r.s) }

func (r *pathReader) rest() string { return r.s[min(r.i, len(r.s)):] }

func (r *pathReader) command() (byte, bool) {
	r.space()
	if r.end() {
		return 0, false
	}
	if c := r.s[r.i]; c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' {
		r.i++
		return c, true
	}
	return 0, false
}

func (r *pathReader) take(p *pathBuilder, n int) [4]float64 {
	var v [4]float64
	for k := range n {
		r.space()
		from := r.i
		if r.i < len(r.s) && (r.s[r.i] == '+' || r.s[r.i] == '-') {
			r.i++
		}
		dot, digits := false, false
		for ; r.i < len(r.s); r.i++ {
			c := r.s[r.i]
			if c >= '0' && c <= '9' {
				digits = true
			} else if c == '.' && !dot {
				dot = true
			} else {
				break
			}
		}
		if digits && r.i < len(r.s) && (r.s[r.i] == 'e' || r.s[r.i] == 'E') {
			j := r.i + 1
			if j < len(r.s) && (r.s[j] == '+' || r.s[j] == '-') {
				j++
			}
			if j < len(r.s) && r.s[j] >= '0' && r.s[j] <= '9' {
				for j < len(r.s) && r.s[j] >= '0' && r.s[j] <= '9' {
					j++
				}
				r.i = j
			}
		}
		f, err := strconv.ParseFloat(r.s[from:r.i], 64)
		if err != nil || math.IsInf(f, 0) {
			p.fail("path data can't be read at %.20q", r.s[min(from, len(r.s)):])
			return v
		}
		v[k] = f
	}
	return v
}

// flag reads a 0 or 1, which may stand without a space before what follows.
func (r *pathReader) flag(p *pathBuilder) bool {
	r.space()
	if r.end() || r.s[r.i] != '0' && r.s[r.i] != '1' {
		p.fail("an arc's flag can't be read at %.20q", r.rest())
		return false
	}
	r.i++
	return r.s[r.i-1] == '1'
}

// numbers reads a list of numbers separated by spaces or commas; n of them, or any number if n is negative.
func numbers(s string, n int) ([]float64, error) {
	fields := strings.FieldsFunc(s, func(r rune) bool { return strings.ContainsRune(" \t\r\n,", r) })
	v := make([]float64, len(fields))
	for i, f := range fields {
		x, err := strconv.ParseFloat(f, 64)
		if err != nil || math.IsInf(x, 0) || math.IsNaN(x) {
			return nil, fmt.Errorf("%q is no number", f)
		}
		v[i] = x
	}
	if n >= 0 && len(v) != n {
		return nil, fmt.Errorf("%d numbers, want %d", len(v), n)
	}
	return v, nil
}

// parseTransform reads a list of transforms.
func parseTransform(s string) (affine, error) {
	m := affine{A: 1, D: 1}
	for rest := strings.TrimLeft(s, " \t\r\n,"); rest != ""; rest = strings.TrimLeft(rest, " \t\r\n,") {
		name, after, ok := strings.Cut(rest, "(")
		args, tail, ok2 := strings.Cut(after, ")")
		v, err := numbers(args, -1)
		if !ok || !ok2 || err != nil {
			return m, fmt.Errorf("%w: transform %.40q", ErrBadSVG, s)
		}
		rest = tail
		one := func(k int, otherwise float64) float64 {
			if k < len(v) {
				return v[k]
			}
			return otherwise
		}
		var t affine
		switch name = strings.TrimSpace(name); {
		case name == "matrix" && len(v) == 6:
			t = affine{v[0], v[2], v[1], v[3], v[4], v[5]}
		case name == "translate" && (len(v) == 1 || len(v) == 2):
			t = affine{A: 1, D: 1, E: v[0], F: one(1, 0)}
		case name == "scale" && (len(v) == 1 || len(v) == 2):
			t = affine{A: v[0], D: one(1, v[0])}
		case name == "rotate" && (len(v) == 1 || len(v) == 3):
			sin, cos := math.Sincos(v[0] * math.Pi / 180)
			x, y := one(1, 0), one(2, 0)
			t = affine{cos, -sin, sin, cos, x - cos*x + sin*y, y - sin*x - cos*y}
		case name == "skewX" && len(v) == 1:
			t = affine{A: 1, B: math.Tan(v[0] * math.Pi / 180), D: 1}
		case name == "skewY" && len(v) == 1:
			t = affine{A: 1, C: math.Tan(v[0] * math.Pi / 180), D: 1}
		default:
			return m, fmt.Errorf("%w: transform %.40q", ErrBadSVG, s)
		}
		m = m.after(t)
	}
	return m, nil
}
