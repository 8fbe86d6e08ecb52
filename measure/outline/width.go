package outline

import "sort"

// jointWidth returns how wide joints typically are, px, from the pixels whose strength is over one half: in a strip the
// median distance to its edge is a quarter of its width.
func jointWidth(strength []float32, use []bool, w, h int) float64 {
	off := make([]bool, len(strength))
	for i := range off {
		off[i] = strength[i] <= 0.5
	}
	d := distances(off, w, h)
	var in []float32
	for i := range d {
		if use[i] && !off[i] {
			in = append(in, d[i])
		}
	}
	if len(in) == 0 {
		return 0
	}
	sort.Slice(in, func(i, j int) bool { return in[i] < in[j] })
	// the centre of an edge pixel lies half a pixel inside
	return 4 * (float64(in[len(in)/2]) - 0.5)
}

// opened takes away what is thinner than a square of 2r+1 px: the least over the square, then the largest of those.
func opened(v []float32, w, h, r int) []float32 {
	return extreme(extreme(v, w, h, r, true), w, h, r, false)
}

// extreme returns the least or the largest value in a square of 2r+1 px around every pixel.
func extreme(v []float32, w, h, r int, least bool) []float32 {
	pick := func(a, b float32) float32 { return max(a, b) }
	if least {
		pick = func(a, b float32) float32 { return min(a, b) }
	}
	tmp, out := make([]float32, len(v)), make([]float32, len(v))
	rows(h, func(a, b int) {
		for y := a; y < b; y++ {
			for x := range w {
				m := v[y*w+x]
				for k := max(x-r, 0); k <= min(x+r, w-1); k++ {
					m = pick(m, v[y*w+k])
				}
				tmp[y*w+x] = m
			}
		}
	})
	rows(h, func(a, b int) {
		for y := a; y < b; y++ {
			for x := range w {
				m := tmp[y*w+x]
				for k := max(y-r, 0); k <= min(y+r, h-1); k++ {
					m = pick(m, tmp[k*w+x])
				}
				out[y*w+x] = m
			}
		}
	})
	return out
}
