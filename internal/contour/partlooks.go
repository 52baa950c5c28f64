package contour

import "math"

const (
	lookBins = 32
	tileMM   = 25.0
)

// lookTable says what the cells of a grid look like: the bin of each feature, over the range that the photo uses.
type lookTable struct {
	bin    [3][]uint8
	lo, hi [3]float32
	w, h   int // tiles
	tile   []int32
}

func (g *partGrid) lookTable() *lookTable {
	n := g.w * g.h
	t := &lookTable{tile: make([]int32, n)}
	cells := tileMM / g.cellMM
	t.w, t.h = int(float64(g.w)/cells)+1, int(float64(g.h)/cells)+1
	for k := range t.tile {
		t.tile[k] = int32(int(float64(k/g.w)/cells)*t.w + int(float64(k%g.w)/cells))
	}
	for f := range t.bin {
		var some []float64
		for k := 0; k < n; k += 7 {
			if g.valid[k] && g.strip[k] == 0 {
				some = append(some, float64(g.feature[f][k]))
			}
		}
		lo := quantile(some, 0.01)
		hi := math.Max(quantile(some, 0.99), lo+1e-3)
		margin := 0.05 * (hi - lo)
		t.lo[f], t.hi[f] = float32(lo-margin), float32(hi+margin)
	}
	for f := range t.bin {
		t.bin[f] = make([]uint8, n)
	}
	for k := range n {
		b := t.bins([3]float32{g.feature[0][k], g.feature[1][k], g.feature[2][k]})
		t.bin[0][k], t.bin[1][k], t.bin[2][k] = b[0], b[1], b[2]
	}
	return t
}

// bins returns the bins of what has these features.
func (t *lookTable) bins(feature [3]float32) (b [3]uint8) {
	for f, v := range feature {
		b[f] = uint8(max(0, min((v-t.lo[f])/(t.hi[f]-t.lo[f])*lookBins, lookBins-1)))
	}
	return b
}

// tileLooks are how often each bin of each feature occurs among some cells, by tile; blurred across bins and tiles.
type tileLooks [3][]float32

// learn counts the cells that which accepts.
func (g *partGrid) learn(t *lookTable, which func(k int) bool) *tileLooks {
	var l tileLooks
	for f := range l {
		l[f] = make([]float32, t.w*t.h*lookBins)
	}
	for k := range t.tile {
		if g.valid[k] && g.strip[k] == 0 && which(k) {
			at := int(t.tile[k]) * lookBins
			for f := range l {
				l[f][at+int(t.bin[f][k])]++
			}
		}
	}
	for f := range l {
		l[f] = t.spread(l[f])
	}
	return &l
}

// mix makes l half of itself and half of o.
func (l *tileLooks) mix(o *tileLooks) {
	for f := range l {
		for i := range l[f] {
			l[f][i] = (l[f][i] + o[f][i]) / 2
		}
	}
}

// spread blurs counts: by two bins, by a tile or two, and with a little of what the whole photo has; and makes each tile's
// sum 1.
func (t *lookTable) spread(v []float32) []float32 {
	// blur applies a binomial kernel along one of the axes of which n places lie step apart.
	blur := func(v []float32, n, step int) []float32 {
		o := make([]float32, len(v))
		for i := range v {
			at := i / step % n
			o[i] = 2 * v[i]
			if at > 0 {
				o[i] += v[i-step]
			}
			if at < n-1 {
				o[i] += v[i+step]
			}
		}
		return o
	}
	v = blur(v, lookBins, 1)
	for range 2 {
		v = blur(blur(v, t.w, lookBins), t.h, t.w*lookBins)
	}
	var all [lookBins]float32
	for i, x := range v {
		all[i%lookBins] += x
	}
	for at := 0; at < len(v); at += lookBins {
		var sum float32
		for b := range lookBins {
			v[at+b] += 0.01*all[b] + 1e-6
			sum += v[at+b]
		}
		for b := range lookBins {
			v[at+b] /= sum
		}
	}
	return v
}
