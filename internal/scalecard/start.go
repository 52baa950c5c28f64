package scalecard

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"portmatch/internal/geom"
	"portmatch/internal/scalecard/strip"
)

// nominal returns the nominal centre-based corners of a tag in the strip frame, scaled by the calipers' readings.
func (m *model) nominal(tag int) [4]geom.PointMM {
	c := strip.TagCorners(tag)
	for i := range c {
		c[i].X *= m.scaleX
		c[i].Y *= m.scaleY
	}
	return c
}

// homography fits px = H mm to point pairs by the direct linear transformation with Hartley's normalisation.
func homography(mm []geom.PointMM, px []geom.PointPx) ([9]float64, bool) {
	var H [9]float64
	cm, sm := middleMM(mm)
	cp, sp := middlePx(px)
	A := mat.NewDense(2*len(mm), 9, nil)
	for i := range mm {
		x, y := (mm[i].X-cm.X)/sm, (mm[i].Y-cm.Y)/sm
		u, v := (px[i].U-cp.U)/sp, (px[i].V-cp.V)/sp
		A.SetRow(2*i, []float64{x, y, 1, 0, 0, 0, -u * x, -u * y, -u})
		A.SetRow(2*i+1, []float64{0, 0, 0, x, y, 1, -v * x, -v * y, -v})
	}
	var N mat.SymDense
	N.SymOuterK(1, A.T())
	var e mat.EigenSym
	if !e.Factorize(&N, true) {
		return H, false
	}
	var V mat.Dense
	e.VectorsTo(&V)
	var h [9]float64
	for i := range h {
		h[i] = V.At(i, 0) // eigenvalues ascend
	}
	// H = Tp⁻¹ h Tm
	tm := [9]float64{1 / sm, 0, -cm.X / sm, 0, 1 / sm, -cm.Y / sm, 0, 0, 1}
	tp := [9]float64{sp, 0, cp.U, 0, sp, cp.V, 0, 0, 1}
	H = mul3(tp, mul3(h, tm))
	if math.Abs(H[8]) < 1e-300 {
		return H, false
	}
	for i := range H {
		H[i] /= H[8]
	}
	H[8] = 1
	return H, true
}

func middleMM(p []geom.PointMM) (c geom.PointMM, scale float64) {
	for _, q := range p {
		c = c.Add(q)
	}
	c = c.Scale(1 / float64(len(p)))
	for _, q := range p {
		scale += q.Dist(c)
	}
	return c, scale / float64(len(p)) / math.Sqrt2
}

func middlePx(p []geom.PointPx) (c geom.PointPx, scale float64) {
	for _, q := range p {
		c.U += q.U / float64(len(p))
		c.V += q.V / float64(len(p))
	}
	for _, q := range p {
		scale += q.Dist(c)
	}
	return c, scale / float64(len(p)) / math.Sqrt2
}

// start builds a model from the strip with most tags and places the other strips by it. f is the focal length in px.
func start(m *model, tags []tagReading, f float64) (*model, bool) {
	m = m.clone()
	best, count := 0, 0
	perStrip := make([][]tagReading, len(m.numbers))
	for _, t := range tags {
		k := m.indexOf(t.strip)
		perStrip[k] = append(perStrip[k], t)
		if len(perStrip[k]) > count {
			best, count = k, len(perStrip[k])
		}
	}
	var mm []geom.PointMM
	var px []geom.PointPx
	for _, t := range perStrip[best] {
		c := m.nominal(t.tag)
		for i := range c {
			mm = append(mm, c[i])
			px = append(px, t.corners[i])
		}
	}
	if m.scan {
		if !m.startScan(mm, px) {
			return nil, false
		}
	} else {
		H, ok := homography(mm, px)
		if !ok || !m.poseFrom(H, f) {
			return nil, false
		}
	}
	// For now the plane's frame is that of the best strip.
	v := m.view()
	pose := make([]geom.Rigid, len(m.numbers))
	for k := range m.numbers {
		if len(perStrip[k]) == 0 {
			return nil, false
		}
		if k == best {
			pose[k] = geom.Identity()
			continue
		}
		var from, to []geom.PointMM
		for _, t := range perStrip[k] {
			for i, c := range m.nominal(t.tag) {
				from = append(from, c)
				to = append(to, v.camera.PlaneFromPixel(t.corners[i], 0))
			}
		}
		pose[k] = rigidFit(from, to)
	}
	// Now make the first strip's frame the plane's: plane_from_best = pose[0]⁻¹.
	first := pose[0].Inverse()
	for k := range pose {
		p := first.After(pose[k])
		s := m.x[m.stripIndex(k):]
		s[uTurn], s[uX], s[uY] = math.Atan2(p.C, p.A), p.Tx, p.Ty
	}
	g := pose[0] // best_from_plane
	if m.scan {
		a := v.camera.Scan
		o := geom.PointMM{X: g.Tx, Y: g.Ty}
		m.x[uCx], m.x[uCy] = a.A*o.X+a.B*o.Y+a.Tu, a.C*o.X+a.D*o.Y+a.Tv
		m.x[uRx] += math.Atan2(g.C, g.A)
		return m, true
	}
	R := m.rotation()
	t := [3]float64{}
	for i := range 3 {
		t[i] = R[3*i]*g.Tx + R[3*i+1]*g.Ty
	}
	m.x[uTx] += t[0]
	m.x[uTy] += t[1]
	m.x[uTz] += t[2]
	m.r = mul3(R, [9]float64{g.A, g.B, 0, g.C, g.D, 0, 0, 0, 1})
	m.x[uRx], m.x[uRy], m.x[uRz] = 0, 0, 0
	return m, true
}

func (m *model) indexOf(number int) int {
	for k, n := range m.numbers {
		if n == number {
			return k
		}
	}
	return -1
}

// poseFrom takes the pose out of a homography for a camera of focal length f whose axis meets the picture's centre.
func (m *model) poseFrom(H [9]float64, f float64) bool {
	m.x[uLogF] = math.Log(f)
	m.x[uCx], m.x[uCy] = float64(m.width-1)/2, float64(m.height-1)/2
	var c [3][3]float64 // columns of K⁻¹ H
	for j := range 3 {
		c[j][2] = H[6+j]
		c[j][0] = (H[j] - m.x[uCx]*H[6+j]) / f
		c[j][1] = (H[3+j] - m.x[uCy]*H[6+j]) / f
	}
	norm := math.Sqrt(length3(c[0]) * length3(c[1]))
	if !(norm > 0) {
		return false
	}
	if c[2][2] < 0 {
		norm = -norm
	}
	for j := range c {
		for i := range 3 {
			c[j][i] /= norm
		}
	}
	// The nearest pair of orthogonal unit vectors: add and subtract, then halve the angle between them evenly.
	var s, d [3]float64
	a, b := unit3(c[0]), unit3(c[1])
	for i := range 3 {
		s[i], d[i] = a[i]+b[i], a[i]-b[i]
	}
	s, d = unit3(s), unit3(d)
	var e1, e2 [3]float64
	for i := range 3 {
		e1[i], e2[i] = (s[i]+d[i])/math.Sqrt2, (s[i]-d[i])/math.Sqrt2
	}
	e3 := [3]float64{e1[1]*e2[2] - e1[2]*e2[1], e1[2]*e2[0] - e1[0]*e2[2], e1[0]*e2[1] - e1[1]*e2[0]}
	m.r = [9]float64{e1[0], e2[0], e3[0], e1[1], e2[1], e3[1], e1[2], e2[2], e3[2]}
	m.x[uTx], m.x[uTy], m.x[uTz] = c[2][0], c[2][1], c[2][2]
	m.x[uRx], m.x[uRy], m.x[uRz] = 0, 0, 0
	return m.x[uTz] > 0
}

func length3(a [3]float64) float64 { return math.Sqrt(a[0]*a[0] + a[1]*a[1] + a[2]*a[2]) }

func unit3(a [3]float64) [3]float64 {
	n := length3(a)
	return [3]float64{a[0] / n, a[1] / n, a[2] / n}
}

// startScan fits a similarity with the picture's v downwards.
func (m *model) startScan(mm []geom.PointMM, px []geom.PointPx) bool {
	up := make([]geom.PointMM, len(px))
	for i, p := range px {
		up[i] = geom.PointMM{X: p.U, Y: -p.V}
	}
	cm, _ := middleMM(mm)
	cu, _ := middleMM(up)
	var dot, cross, len2 float64
	for i := range mm {
		a, b := mm[i].Sub(cm), up[i].Sub(cu)
		dot += a.Dot(b)
		cross += a.Cross(b)
		len2 += a.Dot(a)
	}
	s := math.Hypot(dot, cross) / len2
	if !(s > 0) {
		return false
	}
	turn := math.Atan2(cross, dot)
	sin, cos := math.Sincos(turn)
	m.x[uLogF], m.x[uRx] = math.Log(s), turn
	m.x[uCx] = cu.X - s*(cos*cm.X-sin*cm.Y)
	m.x[uCy] = -(cu.Y - s*(sin*cm.X+cos*cm.Y))
	return true
}

// rigidFit returns the rotation and translation that bring from closest to to in least squares.
func rigidFit(from, to []geom.PointMM) geom.Rigid {
	cf, _ := middleMM(from)
	ct, _ := middleMM(to)
	var dot, cross float64
	for i := range from {
		a, b := from[i].Sub(cf), to[i].Sub(ct)
		dot += a.Dot(b)
		cross += a.Cross(b)
	}
	sin, cos := math.Sincos(math.Atan2(cross, dot))
	r := geom.Rigid{A: cos, B: -sin, C: sin, D: cos}
	t := ct.Sub(r.Turn(cf))
	r.Tx, r.Ty = t.X, t.Y
	return r
}
