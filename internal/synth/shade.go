package synth

import "math"

// shadeFace colours the top of the part, d mm inside its edge.
func (w *world) shadeFace(r ray, d float64) (RGB, uint8) {
	s := &w.Part.Surface
	x, y := r.X, r.Y
	a := s.Albedo
	id := uint8(onFace)
	gloss := s.Gloss
	texture := 0.0
	switch s.Kind {
	case "fibre":
		texture = 0.5*w.grain.at(x/2.2, y/2.2) + 0.4*w.grain.at(x/1.2, y/7) + 0.3*w.cloud.at(x/60, y/60)
	case "milled":
		mk := w.milling(x, y)
		texture = 0.75*mk + 0.25*w.cloud.at(x/35, y/35)
		gloss *= 1 + 0.5*mk
	case "iron":
		texture = 0.5*w.grain.at(x/1.7, y/1.7) + 0.4*w.grain.at(x/9, y/9) + 0.25*w.milling(x, y)
		if s.RustAmt > 0 {
			t := s.RustAmt * ramp(w.cloud.at(x/40, y/40), -0.3, 1.2)
			a = a.mix(RGB{.20, .10, .045}, t)
		}
	default:
		texture = w.cloud.at(x/25, y/25)
	}
	a = a.scaled(max(0.25, 1+s.Contrast*texture))
	if s.Dye {
		pd := w.ports.soft(x, y)
		edge := s.DyeMM + 2.5*w.cloud.at(x/14, y/14)
		t := (1 - ramp(pd, edge-0.8, edge+0.8)) * clamp01(0.88+0.1*w.cloud.at(x/8, y/30))
		a = a.mix(RGB{.03, .06, .28}.scaled(max(0.4, 1+0.25*texture)), t)
		gloss *= 1 - 0.6*t
	}
	tilt := 0.0 // slope of the surface towards the light
	if b := s.Bead; b != nil {
		pd := w.ports.soft(x, y)
		u := (pd - b.DistanceMM) / (b.WidthMM / 2)
		if u > -1 && u < 1 {
			id = onBead
			a = b.Albedo.scaled(1 + 0.05*texture)
			gx, gy := w.ports.toMaterial(x, y)
			slope := -2 * b.HeightMM * u / (b.WidthMM / 2) // dz/dd of a parabola
			tilt = -slope * (gx*w.lvec[0] + gy*w.lvec[1])
			gloss = 0.05
		}
	}
	e := w.ambient + w.Light.Direct*max(0, 1+tilt/w.lvec[2])
	if w.lines != nil {
		a, gloss = w.lines.over(x, y, w.mmPerPx, a, gloss)
	}
	lit := w.lightAt(x, y, 0)
	g := 0.0
	if gloss > 0 {
		g = gloss * w.glareAt(x, y)
	}
	return RGB{(a[0]*e + g) * lit, (a[1]*e + g) * lit, (a[2]*e + g) * lit}, id
}

// milling is the pattern that a face mill of radius CutterMM leaves, fed along x.
func (w *world) milling(x, y float64) float64 {
	s := &w.Part.Surface
	dy := y - 5
	root := math.Sqrt(max(1, s.CutterMM*s.CutterMM-dy*dy))
	ph := (x - root) / s.FeedMM
	return 0.55*w.marks.at(ph) + 0.45*w.marks.at(ph*2.1+91) + 0.5*w.marks.at(ph*0.13+17)
}

// shadeRim colours the broken edge: s mm below the face, q mm into the void.
func (w *world) shadeRim(r ray, s, q float64, e *edgeOf) RGB {
	x, y := r.below(s)
	gx, gy := w.field.toMaterial(x, y)
	sin, cos := math.Sqrt2/2, math.Sqrt2/2
	if e.rounded {
		sin = clamp01(q / e.breakMM)
		cos = math.Sqrt(1 - sin*sin)
	}
	nx, ny, nz := -gx*sin, -gy*sin, cos
	a := w.Part.Surface.Albedo
	if e.hole {
		a = a.scaled(1.1)
	}
	dot := max(0, nx*w.lvec[0]+ny*w.lvec[1]+nz*w.lvec[2])
	vis := w.lightThrough(x, y, s, e)
	glint := max(0, nx*w.halfLight[0]+ny*w.halfLight[1]+nz*w.halfLight[2])
	glint = math.Pow(glint, 24) * w.Part.Surface.RimGlint * sin
	l := w.ambient*(0.55+0.45*cos) + w.Light.Direct*vis*dot/w.lvec[2]
	// What leans by more than 45 degrees mirrors the inside of the opening, not the sky; roughness blurs that.
	const blurDeg = 15
	leanDeg := math.Atan2(sin, cos) * 180 / math.Pi
	l *= 1 - w.Part.Surface.RimMetal*ramp(leanDeg, 45-blurDeg, 45+blurDeg)
	return a.scaled(l).scaled(w.lightAt(x, y, -s)).plus(glint * w.exposure)
}

func (c RGB) plus(v float64) RGB { return RGB{c[0] + v, c[1] + v, c[2] + v} }

// lightThrough is the share of the direct light that reaches the point s mm below the face inside a void: the way to the
// light must stay clear of the material's footprint.
func (w *world) lightThrough(x, y, s float64, e *edgeOf) float64 {
	vis := 1.0
	const n = 3
	for j := 1; j <= n; j++ {
		h := s * float64(j) / n
		q := -w.field.soft(x+w.lx*h, y+w.ly*h) + e.breakMM*0.5
		soft := 0.04 + h*w.Light.Softness
		vis = min(vis, ramp(q, -soft, soft))
	}
	return vis
}

// shadeWall colours the wall s mm below the face.
func (w *world) shadeWall(r ray, s float64, e *edgeOf) RGB {
	x, y := r.below(s)
	gx, gy := w.field.toMaterial(x, y)
	dot := -(gx*w.lvec[0] + gy*w.lvec[1])
	sky := 0.5
	if !e.open {
		sky = 0.5 * e.halfMM * 0.8 / (e.halfMM*0.8 + s)
	}
	l := w.ambient * sky
	if dot > 0 {
		l += w.Light.Direct * dot / w.lvec[2] * w.lightThrough(x, y, s, e)
	}
	if e.open {
		l += 0.12 * (w.Bench.Albedo[0] + w.Bench.Albedo[1] + w.Bench.Albedo[2]) / 3 // thrown back by the bench
	} else {
		l += 0.02
	}
	t := 1.0
	if !w.Part.Gasket {
		along := x*gy - y*gx
		t = 1 + 0.22*w.grain.at(along/2.5, s/2.5)
		if e.thread {
			t *= 0.6 + 0.4*math.Sin(s*2*math.Pi/1.25)
		}
	}
	return w.Part.WallAlbedo.scaled(max(0.1, t) * l * w.lightAt(x, y, -s))
}

// shadeBench colours the bench under the ray.
func (w *world) shadeBench(r ray) RGB {
	x, y := r.below(w.BenchMM)
	q := max(0, -w.field.soft(x, y))
	sky := 0.5 * (1 + q/hypot(q, w.BenchMM+1e-9)) // a wall of that height at that distance hides the rest
	vis := 1.0
	n := 3
	if w.BenchMM > 5 {
		n = 8
	}
	if q > w.BenchMM*(hypot(w.lx, w.ly)+w.Light.Softness)+0.05 {
		n = 0 // too far from the part for its shadow
	}
	for j := 1; j <= n; j++ {
		h := w.BenchMM * float64(j) / float64(n)
		d := -w.field.soft(x+w.lx*h, y+w.ly*h)
		soft := 0.05 + h*w.Light.Softness
		vis = min(vis, ramp(d, -soft, soft))
	}
	for i := range w.strips {
		v, sk := w.strips[i].shadowOn(x, y, w.BenchMM-w.HeightMM, w)
		vis = min(vis, v)
		sky = min(sky, sk)
	}
	return w.benchAlbedo(x, y).scaled((w.ambient*sky + w.Light.Direct*vis) * w.lightAt(x, y, -w.BenchMM))
}

func (w *world) benchAlbedo(x, y float64) RGB {
	a := w.Bench.Albedo
	u, v := x*w.benchCos+y*w.benchSin, -x*w.benchSin+y*w.benchCos
	switch w.Bench.Kind {
	case "wood":
		g := w.cloud.at(u/90, v/7)
		f := g*1.3 - math.Floor(g*1.3)
		f = min(f/0.92, (1-f)/0.08) // a year's wood darkens slowly and ends fast, but not at once
		return a.scaled(0.55 + 0.6*f + 0.08*w.grain.at(u/20, v/1.5))
	case "steel":
		t := ramp(w.grain.at(u/11, v/11), 1.5, 1.7)
		return a.scaled(1+0.07*w.cloud.at(u/50, v/50)).mix(a.scaled(0.45), 0.7*t)
	case "cardboard":
		return a.scaled(1 + 0.06*w.grain.at(u/2, v/2) + 0.09*w.grain.at(u/50, v/4))
	}
	return a.scaled(1 + 0.02*w.cloud.at(u/40, v/40))
}

func (w *world) shadeCover(c *Cover, x, y, d float64) RGB {
	round := 0.45 + 0.55*ramp(d, 0, 9)
	t := 1 + 0.1*w.cloud.at(x/12, y/12) + 0.06*w.grain.at(x/1.5, y/1.5)
	return c.Albedo.scaled(round * t * (1 + w.Light.GradX*x/100 + w.Light.GradY*y/100) * w.exposure)
}
