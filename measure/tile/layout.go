package tile

import (
	"cmp"
	"maps"
	"math"
	"slices"
)

// layout is where the tiles lie on the measuring frame: made once a view from the labels alone. Lists of pixels and tiles
// ascend.
type layout struct {
	w, h   int
	n      int
	labels []int32
	near   []int32   // nearest tile of every pixel, its own for a tile's pixels, -1 = no tile at all
	dist   []float32 // px to the nearest tile (outside tiles), minus px to the tile's rim (inside)
	core   [][]int32 // per tile: pixels well inside, the rim left out
	all    [][]int32 // per tile: all its pixels
	ring   [][]int32 // per tile: joint pixels around it, those next to its own rim left out
	around [][]int32 // per tile: joint and the neighbours' rims: the surroundings that a lost tile leaves unchanged
	nbr    [][]int   // tile graph: tiles that share a joint
	hood   [][]int   // the tiles around each, nearest first, itself left out
	side   float64   // typical tile side, px: square root of the median area
	half   float64   // typical half width of a joint, px
}

// hoodReach is how many tiles around each are listed.
const hoodReach = 100

func newLayout(w, h, n int, labels []int32, ignore []bool) *layout {
	l := &layout{w: w, h: h, n: n, labels: labels}
	l.all = make([][]int32, n)
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
	l.cores()
	l.surroundings(ignore)
	l.hoods()
	return l
}

// The chamfer weights approximate the Euclidean distance within 4 % (Borgefors 1986, Comput. Vis. Graph. Image
// Process. 34, 344–371, from memory).
const (
	stepStraight = 0.95509
	stepDiagonal = 1.36930
)

// distances fills near and dist: two chamfer sweeps, inside and outside the tiles at once.
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
			in[i] = min(in[i], in[j]+step)
		}
	}
	for y := range h {
		for x := range w {
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
	touch := map[[2]int32]int{}
	var halves []float64
	for y := range l.h {
		for x := range l.w {
			i := y*l.w + x
			a := l.near[i]
			if a < 0 || l.dist[i] > reach {
				continue
			}
			for k, j := range [2]int{i + 1, i + l.w} {
				if k == 0 && x == l.w-1 || k == 1 && y == l.h-1 {
					continue
				}
				b := l.near[j]
				if b < 0 || b == a || l.dist[j] > reach {
					continue
				}
				touch[[2]int32{min(a, b), max(a, b)}]++
				halves = append(halves, math.Max(0, float64(l.dist[i]+l.dist[j])/2))
			}
		}
	}
	l.half = math.Max(0.5, 0.05*l.side) // of a tile alone
	if len(halves) > 0 {
		l.half = math.Max(0.5, median(halves))
	}
	l.nbr = make([][]int, l.n)
	least := max(2, int(0.1*l.side))
	pairs := slices.SortedFunc(maps.Keys(touch), func(p, q [2]int32) int { return cmp.Or(cmp.Compare(p[0], q[0]), cmp.Compare(p[1], q[1])) })
	for _, p := range pairs {
		if touch[p] >= least {
			l.nbr[p[0]] = append(l.nbr[p[0]], int(p[1]))
			l.nbr[p[1]] = append(l.nbr[p[1]], int(p[0]))
		}
	}
	for a := range l.nbr {
		slices.Sort(l.nbr[a])
	}
}

// hoods lists the tiles around each, breadth first over the graph.
func (l *layout) hoods() {
	l.hood = make([][]int, l.n)
	mark := make([]int, l.n)
	for i := range mark {
		mark[i] = -1
	}
	for t := range l.hood {
		queue := append([]int(nil), l.nbr[t]...)
		mark[t] = t
		for _, u := range queue {
			mark[u] = t
		}
		for k := 0; k < len(queue) && len(queue) < hoodReach; k++ {
			for _, u := range l.nbr[queue[k]] {
				if mark[u] != t {
					mark[u] = t
					queue = append(queue, u)
				}
			}
		}
		l.hood[t] = queue[:min(hoodReach, len(queue))]
	}
}
