package contour

import (
	"math"
	"slices"
)

// sorter sorts samples by their bits, a byte at a time: several times as fast as comparing them for the few hundred to few
// thousand that a window holds. It is scratch space, for one goroutine.
type sorter struct {
	keys, spare []uint32
}

// sort sorts v, which holds no NaN.
func (s *sorter) sort(v []float32) {
	s.keys = slices.Grow(s.keys[:0], len(v))[:len(v)]
	for i, x := range v {
		// Of two positive numbers the larger has the larger bits; of two negative ones the smaller.
		u := math.Float32bits(x)
		s.keys[i] = u ^ (uint32(int32(u)>>31) | 1<<31)
	}
	const few = 64 // below it the counting costs more than the comparing
	if len(v) < few {
		slices.Sort(s.keys)
		fromKeys(v, s.keys)
		return
	}
	s.spare = slices.Grow(s.spare[:0], len(v))[:len(v)]
	var count [4][256]uint32
	for _, u := range s.keys {
		count[0][u&255]++
		count[1][u>>8&255]++
		count[2][u>>16&255]++
		count[3][u>>24]++
	}
	from, to := s.keys, s.spare
	for pass := range count {
		c := &count[pass]
		shift := 8 * pass
		if c[from[0]>>shift&255] == uint32(len(v)) {
			continue // all alike in this byte
		}
		var sum uint32
		for k, n := range c {
			c[k] = sum
			sum += n
		}
		for _, u := range from {
			k := u >> shift & 255
			to[c[k]] = u
			c[k]++
		}
		from, to = to, from
	}
	fromKeys(v, from)
}

// fromKeys turns keys back into numbers.
func fromKeys(v []float32, keys []uint32) {
	for i, u := range keys {
		u ^= ^uint32(int32(u)>>31) | 1<<31
		v[i] = math.Float32frombits(u)
	}
}

// sortedRows holds some samples of every row of a band, each row's in order.
type sortedRows struct {
	most   int // samples a row
	sample []float32
	count  []int
}

// sortRows sorts what fill appends for each of n rows, at most so many samples a row, none of them NaN.
func sortRows(n, most int, fill func(i int, v []float32) []float32) *sortedRows {
	r := &sortedRows{most: max(most, 0), count: make([]int, n)}
	r.sample = make([]float32, n*r.most)
	parallelRowsWith(n, func(i int, s *sorter) {
		v := fill(i, r.sample[i*r.most:i*r.most:(i+1)*r.most])
		s.sort(v)
		r.count[i] = len(v)
	})
	return r
}

func (r *sortedRows) row(i int) []float32 { return r.sample[i*r.most:][:r.count[i]] }

// window is scratch space for the samples of several rows, for one goroutine.
type window struct {
	sorter
	v, spare []float32
}

// shortestHalves returns, for every row i of a closed curve, the mean and the standard deviation that shortestHalf gives
// for the rows from i-reach to i+reach, every skip-th of them.
func (r *sortedRows) shortestHalves(reach, skip int) (centre, sigma []float64) {
	n := len(r.count)
	centre, sigma = make([]float64, n), make([]float64, n)
	last := -reach + 2*reach/skip*skip // the farthest row of a window
	at := func(i int) []float32 { return r.row(((i % n) + n) % n) }
	// A window and the one skip rows on differ by a row at either end: only the first of a chain is sorted.
	const links = 24
	chains := skip * ((n + skip*links - 1) / (skip * links))
	parallelItemsWith(chains, func(c int, w *window) {
		i := c/skip*skip*links + c%skip
		w.v = w.v[:0]
		for a := -reach; a <= last; a += skip {
			w.v = append(w.v, at(i+a)...)
		}
		w.sort(w.v)
		for link := 0; link < links && i < n; link++ {
			centre[i], sigma[i] = shortestHalf(w.v)
			w.slide(at(i-reach), at(i+last+skip))
			i += skip
		}
	})
	return centre, sigma
}

// slide takes the samples of one row out of the window and another's in.
func (w *window) slide(out, in []float32) {
	to := slices.Grow(w.spare[:0], len(w.v)+len(in))[:len(w.v)+len(in)]
	v, n := w.v, 0
	for len(out) > 0 || len(in) > 0 {
		// What comes before the next sample to leave or to enter stays in its order.
		leave := len(out) > 0 && (len(in) == 0 || out[0] <= in[0])
		var next float32
		if leave {
			next = out[0]
		} else {
			next = in[0]
		}
		stay := to[n:][:len(v)]
		k := 0
		for k < len(v) && v[k] < next {
			stay[k] = v[k]
			k++
		}
		v, n = v[k:], n+k
		if leave {
			v, out = v[1:], out[1:]
		} else {
			to[n] = next
			n, in = n+1, in[1:]
		}
	}
	n += copy(to[n:], v)
	w.v, w.spare = to[:n], w.v
}

// shortestHalf returns the mean of the shortest interval that holds half the values of v, which is sorted, and the standard
// deviation that a normal distribution with such an interval has (its length over 1.349).
func shortestHalf(v []float32) (centre, sigma float64) {
	n := len(v)
	if n == 0 {
		return 0, 0
	}
	if n < 4 {
		return (float64(v[(n-1)/2]) + float64(v[n/2])) / 2, 0
	}
	h := n / 2
	best, least := 0, float64(v[h])-float64(v[0])
	low := v[:n-h]
	for i, hi := range v[h:] {
		if d := float64(hi) - float64(low[i]); d < least {
			best, least = i, d
		}
	}
	var s float64
	for _, x := range v[best : best+h+1] {
		s += float64(x)
	}
	return s / float64(h+1), least / 1.349
}
