package outline

import "math"

// levels of the quantised elevation that is flooded.
const levels = 256

// basins floods the elevation z from all its regional minima (Meyer 1994) and returns every pixel's basin, -1 where
// use is false, and their number. Basins are numbered in reading order of their first pixel.
func basins(z []uint8, use []bool, w, h int) ([]int32, int) {
	label := make([]int32, w*h)
	for i := range label {
		label[i] = -1
	}
	n := int32(0)
	// regional minima: plateaus without a lower neighbour
	state := make([]bool, w*h) // seen
	var stack, plateau []int32
	var nb [4]int
	around := func(i int) []int {
		x, y := i%w, i/w
		k := 0
		if x > 0 {
			nb[k] = i - 1
			k++
		}
		if x+1 < w {
			nb[k] = i + 1
			k++
		}
		if y > 0 {
			nb[k] = i - w
			k++
		}
		if y+1 < h {
			nb[k] = i + w
			k++
		}
		return nb[:k]
	}
	for s := range z {
		if !use[s] || state[s] {
			continue
		}
		stack = append(stack[:0], int32(s))
		plateau = append(plateau[:0], int32(s))
		state[s] = true
		low := true
		for len(stack) > 0 {
			i := int(stack[len(stack)-1])
			stack = stack[:len(stack)-1]
			for _, j := range around(i) {
				if !use[j] {
					continue
				}
				switch {
				case z[j] < z[s]:
					low = false
				case z[j] == z[s] && !state[j]:
					state[j] = true
					stack = append(stack, int32(j))
					plateau = append(plateau, int32(j))
				}
			}
		}
		if low {
			for _, i := range plateau {
				label[i] = n
			}
			n++
		}
	}
	// flood
	var queue [levels][]int32
	push := func(i int, at uint8) { queue[at] = append(queue[at], int32(i)) }
	for i := range label {
		if label[i] < 0 {
			continue
		}
		for _, j := range around(i) {
			if use[j] && label[j] < 0 {
				push(i, z[i])
				break
			}
		}
	}
	for l := 0; l < levels; l++ {
		for k := 0; k < len(queue[l]); k++ {
			i := int(queue[l][k])
			for _, j := range around(i) {
				if use[j] && label[j] < 0 {
					label[j] = label[i]
					push(j, max(uint8(l), z[j]))
				}
			}
		}
		queue[l] = nil
	}
	return label, int(n)
}

// distances returns every pixel's Euclidean distance, px, to the nearest pixel where bar is true; beyond the sheet
// nothing counts (Felzenszwalb and Huttenlocher 2012).
func distances(bar []bool, w, h int) []float32 {
	const far = 1e12
	out := make([]float32, w*h)
	rows(h, func(a, b int) {
		for y := a; y < b; y++ {
			d := float32(1e6)
			for x := range w {
				if bar[y*w+x] {
					d = 0
				} else {
					d++
				}
				out[y*w+x] = d
			}
			d = 1e6
			for x := w - 1; x >= 0; x-- {
				if bar[y*w+x] {
					d = 0
				} else {
					d++
				}
				out[y*w+x] = min(out[y*w+x], d)
			}
		}
	})
	rows(w, func(a, b int) {
		f, g := make([]float64, h), make([]float64, h+1)
		v := make([]int, h)
		for x := a; x < b; x++ {
			for y := range h {
				f[y] = min(float64(out[y*w+x])*float64(out[y*w+x]), far)
			}
			k := 0
			v[0] = 0
			g[0], g[1] = math.Inf(-1), math.Inf(1)
			for q := 1; q < h; q++ {
				var s float64
				for {
					s = ((f[q] + float64(q*q)) - (f[v[k]] + float64(v[k]*v[k]))) / float64(2*q-2*v[k])
					if s > g[k] {
						break
					}
					k--
				}
				k++
				v[k] = q
				g[k], g[k+1] = s, math.Inf(1)
			}
			k = 0
			for q := range h {
				for g[k+1] < float64(q) {
					k++
				}
				out[q*w+x] = float32(math.Sqrt(float64((q-v[k])*(q-v[k])) + f[v[k]]))
			}
		}
	})
	return out
}
