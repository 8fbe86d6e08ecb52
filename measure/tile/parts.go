package tile

import (
	"math"
	"slices"
)

// cores fills core. Outlines may be a pixel or two off, so the rim is left out, less of it where a tile is small.
func (l *layout) cores() {
	l.core = make([][]int32, l.n)
	for t, px := range l.all {
		erode := math.Min(3.5, 0.1*math.Sqrt(float64(len(px)))+0.5)
		for len(px) > 0 {
			l.core[t] = l.core[t][:0]
			for _, i := range px {
				if float64(-l.dist[i]) >= erode {
					l.core[t] = append(l.core[t], i)
				}
			}
			if len(l.core[t]) >= min(len(px), max(9, len(px)/4)) {
				break
			}
			erode -= 0.5
		}
	}
}

// surroundings fills around and ring: from the middle of the joint to as far inside the neighbours as the joint is wide,
// at least 3 px.
func (l *layout) surroundings(ignore []bool) {
	l.ring, l.around = make([][]int32, l.n), make([][]int32, l.n)
	inner := float32(math.Max(1, l.half*0.8))
	outer := float32(2*l.half + math.Max(3, 1.2*l.half))
	joint := float32(2*l.half + 0.5)
	reach := int(math.Ceil(float64(outer)))
	type offset struct {
		dx, dy int
		d      float32
	}
	var disc []offset
	for dy := -reach; dy <= reach; dy++ {
		for dx := -reach; dx <= reach; dx++ {
			if d := float32(math.Hypot(float64(dx), float64(dy))); d <= outer {
				disc = append(disc, offset{dx, dy, d})
			}
		}
	}
	seen := make([]int32, l.w*l.h)
	own := make([]float32, l.w*l.h)
	for i := range seen {
		seen[i] = -1
	}
	var found []int32
	for t, px := range l.all {
		found = found[:0]
		for _, i := range px {
			if -l.dist[i] > 0.6 { // from the rim the rest is reached
				continue
			}
			x, y := int(i)%l.w, int(i)/l.w
			for _, o := range disc {
				u, v := x+o.dx, y+o.dy
				if u < 0 || v < 0 || u >= l.w || v >= l.h {
					continue
				}
				j := v*l.w + u
				if l.labels[j] == int32(t) || (ignore != nil && ignore[j]) {
					continue
				}
				if seen[j] != int32(t) {
					seen[j], own[j] = int32(t), o.d
					found = append(found, int32(j))
				} else if o.d < own[j] {
					own[j] = o.d
				}
			}
		}
		slices.Sort(found)
		for _, j := range found {
			if own[j] < inner {
				continue
			}
			l.around[t] = append(l.around[t], j)
			if l.labels[j] < 0 && own[j] <= joint {
				l.ring[t] = append(l.ring[t], j)
			}
		}
	}
}

// reach marks the pixels that any tile looks at.
func (l *layout) reach() []bool {
	at := make([]bool, l.w*l.h)
	mark := func(i int) {
		for _, j := range [5]int{i, i - 1, i + 1, i - l.w, i + l.w} {
			if j >= 0 && j < len(at) {
				at[j] = true
			}
		}
	}
	for t := range l.all {
		for _, i := range l.all[t] {
			mark(int(i))
		}
		for _, i := range l.around[t] {
			mark(int(i))
		}
	}
	return at
}

// cells cuts a tile's core into parts of 10 px or more, at least four and at most 16 of them.
func (l *layout) cells(t int) [][]int32 {
	core := l.core[t]
	if len(core) == 0 {
		return nil
	}
	x0, y0, x1, y1 := l.w, l.h, 0, 0
	for _, i := range core {
		x, y := int(i)%l.w, int(i)/l.w
		x0, x1, y0, y1 = min(x0, x), max(x1, x), min(y0, y), max(y1, y)
	}
	n := min(4, max(2, int(math.Sqrt(float64(len(core))/10))))
	parts := make([][]int32, n*n)
	for _, i := range core {
		x, y := int(i)%l.w, int(i)/l.w
		k := (y-y0)*n/(y1-y0+1)*n + (x-x0)*n/(x1-x0+1)
		parts[k] = append(parts[k], i)
	}
	kept := parts[:0]
	for _, p := range parts {
		if len(p) >= 5 || n == 2 && len(p) > 0 {
			kept = append(kept, p)
		}
	}
	return kept
}

// rim is the outer third of a tile's core.
func (l *layout) rim(t int) (px []int32) {
	d := make([]float64, 0, len(l.core[t]))
	for _, i := range l.core[t] {
		d = append(d, float64(-l.dist[i]))
	}
	if len(d) == 0 {
		return nil
	}
	most := quantile(d, 0.33)
	for _, i := range l.core[t] {
		if float64(-l.dist[i]) <= most {
			px = append(px, i)
		}
	}
	return px
}

// middle is the mean position of pixels, px.
func (l *layout) middle(px []int32) (m [2]float64) {
	for _, i := range px {
		m[0] += float64(int(i) % l.w)
		m[1] += float64(int(i) / l.w)
	}
	n := float64(max(1, len(px)))
	return [2]float64{m[0] / n, m[1] / n}
}

// sectors cuts pixels around a tile into n sectors of equal angle as seen from the tile's middle.
func (l *layout) sectors(t int, px []int32, n int) [][]int32 {
	m := l.middle(l.all[t])
	q := make([][]int32, n)
	for _, i := range px {
		a := math.Atan2(float64(int(i)/l.w)-m[1], float64(int(i)%l.w)-m[0])/(2*math.Pi) + 0.5
		k := int(a*float64(n)+0.5) % n
		q[k] = append(q[k], i)
	}
	return q
}
