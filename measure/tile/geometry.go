package tile

import "math"

// layout is where the tiles lie on the measuring frame: made once a view from the labels alone.
type layout struct {
	w, h   int
	n      int
	labels []int32
	near   []int32   // nearest tile of every pixel within reach, its own for a tile's pixels, -1 = none
	dist   []float32 // px to the nearest tile (outside tiles), minus px to the tile's rim (inside)
	core   [][]int32 // per tile: pixels well inside, the rim left out
	all    [][]int32 // per tile: all its pixels
	ring   [][]int32 // per tile: joint pixels around it, those next to its own rim left out
	around [][]int32 // per tile: joint and the neighbours' rims: the surroundings that a lost tile leaves unchanged
	nbr    [][]int   // tile graph: tiles that share a joint, ascending
	side   float64   // typical tile side, px: square root of the median area
	half   float64   // typical half width of a joint, px
}

// The chamfer weights approximate the Euclidean distance within 4 % (Borgefors 1986, Comput. Vis. Graph. Image
// Process. 34, 344–371, from memory).
const (
	stepStraight = 0.95509
	stepDiagonal = 1.36930
)

func newLayout(w, h, n int, labels []int32, ignore []bool) *layout {
	l := &layout{w: w, h: h, n: n, labels: labels}
	l.all = make([][]int32, n)
	count := make([]int, n)
	for _, t := range labels {
		if t >= 0 && int(t) < n {
			count[t]++
		}
	}
	for t := range l.all {
		l.all[t] = make([]int32, 0, count[t])
	}
	for i, t := range labels {
		if t >= 0 && int(t) < n && (ignore == nil || !ignore[i]) {
			l.all[t] = append(l.all[t], int32(i))
		}
	}
	var areas []float64
	for t := range l.all {
		if len(l.all[t]) > 0 {
			areas = append(areas, float64(len(l.all[t])))
		}
	}
	l.side = math.Sqrt(median(areas))
	if !(l.side > 0) {
		l.side = 1
	}
	l.distances()
	l.graph()
	l.sets(ignore)
	return l
}

// distances fills near and dist: two chamfer sweeps inside and outside the tiles.
func (l *layout) distances() {
	w, h := l.w, l.h
	const far = 1e9
	l.near = make([]int32, w*h)
	l.dist = make([]float32, w*h)
	in := make([]float32, w*h)
	for i, t := range l.labels {
		l.near[i] = t
		if t < 0 {
			l.dist[i] = far
			continue
		}
		x, y := i%w, i/w
		in[i] = far
		if x == 0 || y == 0 || x == w-1 || y == h-1 || l.labels[i-1] != t || l.labels[i+1] != t || l.labels[i-w] != t || l.labels[i+w] != t {
			in[i] = 0.5
		}
	}
	relax := func(i, j int, step float32) {
		if l.labels[i] < 0 {
			if d := l.dist[j] + step; d < l.dist[i] && l.near[j] >= 0 {
				l.dist[i], l.near[i] = d, l.near[j]
			}
		} else if l.labels[j] == l.labels[i] {
			if d := in[j] + step; d < in[i] {
				in[i] = d
			}
		}
	}
	for y := 0; y < h; y++ {
		for x := 0; x < w; x++ {
			i := y*w + x
			if x > 0 {
				relax(i, i-1, stepStraight)
			}
			if y > 0 {
				relax(i, i-w, stepStraight)
				if x > 0 {
					relax(i, i-w-1, stepDiagonal)
				}
				if x < w-1 {
					relax(i, i-w+1, stepDiagonal)
				}
			}
		}
	}
	for y := h - 1; y >= 0; y-- {
		for x := w - 1; x >= 0; x-- {
			i := y*w + x
			if x < w-1 {
				relax(i, i+1, stepStraight)
			}
			if y < h-1 {
				relax(i, i+w, stepStraight)
				if x < w-1 {
					relax(i, i+w+1, stepDiagonal)
				}
				if x > 0 {
					relax(i, i+w-1, stepDiagonal)
				}
			}
		}
	}
	for i, t := range l.labels {
		if t >= 0 {
			l.dist[i] = -in[i]
		}
	}
}

// graph links tiles whose nearest areas touch within reach, and takes the joint's half width from where they touch.
func (l *layout) graph() {
	reach := float32(0.35 * l.side)
	type pair struct{ a, b int32 }
	touch := map[pair]int{}
	var halves []float64
	for y := 0; y < l.h; y++ {
		for x := 0; x < l.w; x++ {
			i := y*l.w + x
			a := l.near[i]
			if a < 0 || l.dist[i] > reach {
				continue
			}
			for _, j := range [2]int{i + 1, i + l.w} {
				if j >= l.w*l.h || (j == i+1 && x == l.w-1) {
					continue
				}
				b := l.near[j]
				if b < 0 || b == a || l.dist[j] > reach {
					continue
				}
				touch[pair{min(a, b), max(a, b)}]++
				halves = append(halves, math.Max(0, float64(l.dist[i]+l.dist[j])/2))
			}
		}
	}
	l.half = math.Max(0.5, median(halves))
	l.nbr = make([][]int, l.n)
	for a := range l.nbr {
		l.nbr[a] = []int{}
	}
	least := max(2, int(0.1*l.side))
	for _, p := range sortedKeys(touch, func(p, q pair) bool {
		if p.a != q.a {
			return p.a < q.a
		}
		return p.b < q.b
	}) {
		if touch[p] >= least {
			l.nbr[p.a] = append(l.nbr[p.a], int(p.b))
			l.nbr[p.b] = append(l.nbr[p.b], int(p.a))
		}
	}
	for a := range l.nbr {
		sortInts(l.nbr[a])
	}
}

// sets fills core, ring and around.
func (l *layout) sets(ignore []bool) {
	l.core, l.ring, l.around = make([][]int32, l.n), make([][]int32, l.n), make([][]int32, l.n)
	for t, px := range l.all {
		if len(px) == 0 {
			continue
		}
		// outlines may be a pixel or two off: leave the rim out, less where a tile is small
		erode := math.Min(3.5, 0.1*math.Sqrt(float64(len(px)))+0.5)
		for {
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
	// surroundings: from the middle of the joint to as far inside the neighbours as the joint is wide, at least 3 px
	inner := math.Max(1, l.half*0.8)
	outer := 2*l.half + math.Max(3, 1.2*l.half)
	reach := int(math.Ceil(outer))
	seen := make([]int32, l.w*l.h)
	own := make([]float32, l.w*l.h)
	for i := range seen {
		seen[i] = -1
	}
	for t, px := range l.all {
		for _, i := range px {
			if -l.dist[i] > 0.6 { // rim pixels only
				continue
			}
			x, y := int(i)%l.w, int(i)/l.w
			for dy := -reach; dy <= reach; dy++ {
				for dx := -reach; dx <= reach; dx++ {
					u, v := x+dx, y+dy
					if u < 0 || v < 0 || u >= l.w || v >= l.h {
						continue
					}
					j := v*l.w + u
					if l.labels[j] == int32(t) || (ignore != nil && ignore[j]) {
						continue
					}
					d := float32(math.Hypot(float64(dx), float64(dy)))
					if float64(d) > outer {
						continue
					}
					if seen[j] != int32(t) {
						seen[j], own[j] = int32(t), d
						l.around[t] = append(l.around[t], int32(j))
					} else if d < own[j] {
						own[j] = d
					}
				}
			}
		}
		sortInt32(l.around[t])
		kept := l.around[t][:0]
		for _, j := range l.around[t] {
			if float64(own[j]) < inner {
				continue
			}
			kept = append(kept, j)
			if l.labels[j] < 0 && float64(own[j]) <= 2*l.half+0.5 {
				l.ring[t] = append(l.ring[t], j)
			}
		}
		l.around[t] = kept
	}
}

// cells cuts a tile's core into parts of some 30 px, at least four and at most 16 of them.
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
	n := min(4, max(2, int(math.Sqrt(float64(len(core))/30))))
	parts := make([][]int32, n*n)
	for _, i := range core {
		x, y := int(i)%l.w, int(i)/l.w
		k := (y-y0)*n/(y1-y0+1)*n + (x-x0)*n/(x1-x0+1)
		parts[k] = append(parts[k], i)
	}
	kept := parts[:0]
	for _, p := range parts {
		if len(p) >= 6 || n == 2 && len(p) > 0 {
			kept = append(kept, p)
		}
	}
	return kept
}

// sides is how many sides a tile's surroundings are cut into.
const sides = 6

// sectors cuts pixels around a tile into n sectors of equal angle as seen from the tile's middle.
func (l *layout) sectors(t int, px []int32, n int) [][]int32 {
	var mx, my float64
	for _, i := range l.all[t] {
		mx += float64(int(i) % l.w)
		my += float64(int(i) / l.w)
	}
	m := float64(max(1, len(l.all[t])))
	mx, my = mx/m, my/m
	q := make([][]int32, n)
	for _, i := range px {
		a := math.Atan2(float64(int(i)/l.w)-my, float64(int(i)%l.w)-mx)/(2*math.Pi) + 0.5
		k := int(a*float64(n)+0.5) % n
		q[k] = append(q[k], i)
	}
	return q
}
