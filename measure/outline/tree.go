package outline

import (
	"container/heap"
	"sort"
)

// node is a fragment or a union of two: a cell that may be a tile.
type node struct {
	left, right int32 // -1 = a fragment
	parent      int32
	area        int64
	sx, sy      int64 // sums of pixel positions
	hull        []vertex
	inner       float64 // strength of the border that its last merge removed, 0 for a fragment
	outer       float64 // mean strength of its own border
	exit        float64 // strength of the border across which it was merged, its weakest; outer if it never was
	length      int64   // of that border, px
	open        int64   // of its outline along the edge of what is used
	level       float64 // mean distance from the joint colour
	sumD        int64
	share       [16]int32 // its pixels by strength as joints
	within      float64   // strength as joints that a third of its pixels stay under: its inside
}

type vertex struct{ x, y int32 }

// border is what two neighbouring cells share.
type border struct {
	n   int32 // pixel pairs
	sum int64 // of the strength, in 1/255
}

func (b border) mean() float64 { return float64(b.sum) / float64(b.n) / 255 }

type merge struct {
	v    float64
	a, b int32
}

type mergeHeap []merge

func (h mergeHeap) Len() int { return len(h) }
func (h mergeHeap) Less(i, j int) bool {
	if h[i].v != h[j].v {
		return h[i].v < h[j].v
	}
	if h[i].a != h[j].a {
		return h[i].a < h[j].a
	}
	return h[i].b < h[j].b
}
func (h mergeHeap) Swap(i, j int) { h[i], h[j] = h[j], h[i] }
func (h *mergeHeap) Push(x any)   { *h = append(*h, x.(merge)) }
func (h *mergeHeap) Pop() any {
	o := *h
	x := o[len(o)-1]
	*h = o[:len(o)-1]
	return x
}

// grow builds the tree of cells: the two neighbours with the weakest border between them become one, again and again,
// until only borders at or above stop are left.
func grow(label []int32, n int, strength []uint8, dist []float32, w, h int, stop float64) []node {
	nodes := make([]node, n, 2*n)
	edges := make([]map[int32]border, n, 2*n)
	for i := range nodes {
		nodes[i] = node{left: -1, right: -1, parent: -1}
		edges[i] = map[int32]border{}
	}
	// row spans give the hull's points
	pts := make([][]vertex, n)
	last := make([]vertex, n) // x of the span's start and y+1
	for y := range h {
		for x := range w {
			i := y*w + x
			a := label[i]
			if a < 0 {
				continue
			}
			nd := &nodes[a]
			nd.area++
			nd.sx += int64(x)
			nd.sy += int64(y)
			nd.sumD += int64(dist[i]*16 + 0.5)
			nd.share[strength[i]/16]++
			if last[a].y != int32(y+1) {
				last[a] = vertex{int32(x), int32(y + 1)}
				pts[a] = append(pts[a], vertex{int32(x), int32(y)}, vertex{int32(x), int32(y + 1)}, vertex{int32(x), int32(y)}, vertex{int32(x), int32(y + 1)})
			}
			k := len(pts[a])
			pts[a][k-2], pts[a][k-1] = vertex{int32(x + 1), int32(y)}, vertex{int32(x + 1), int32(y + 1)}
			for _, j := range [2]int{i + 1, i + w} {
				if j == i+1 && x+1 == w || j == i+w && y+1 == h {
					nd.open++
					continue
				}
				b := label[j]
				if b == a {
					continue
				}
				if b < 0 {
					nd.open++
					continue
				}
				s := int64(max(strength[i], strength[j]))
				e := edges[a][b]
				e.n++
				e.sum += s
				edges[a][b], edges[b][a] = e, e
			}
			if x == 0 || label[i-1] < 0 {
				nd.open++
			}
			if y == 0 || label[i-w] < 0 {
				nd.open++
			}
		}
	}
	for i := range nodes {
		nodes[i].hull = hull(pts[i])
		pts[i] = nil
	}
	q := make(mergeHeap, 0, 3*n)
	for a := range edges {
		for b, e := range edges[a] {
			if int32(a) < b {
				q = append(q, merge{e.mean(), int32(a), b})
			}
		}
	}
	sort.Sort(q)
	alive := make([]bool, n, 2*n)
	for i := range alive {
		alive[i] = true
	}
	outer := func(i int32) {
		var s, l int64
		for _, e := range edges[i] {
			s += e.sum
			l += int64(e.n)
		}
		nodes[i].length = l
		if l > 0 {
			nodes[i].outer = float64(s) / float64(l) / 255
		}
		nodes[i].level = float64(nodes[i].sumD) / 16 / float64(nodes[i].area)
		nodes[i].within = nodes[i].inside()
	}
	for i := range nodes {
		outer(int32(i))
	}
	for q.Len() > 0 {
		m := heap.Pop(&q).(merge)
		if !alive[m.a] || !alive[m.b] {
			continue
		}
		if m.v >= stop {
			break
		}
		c := int32(len(nodes))
		a, b := &nodes[m.a], &nodes[m.b]
		a.parent, b.parent = c, c
		a.exit, b.exit = m.v, m.v
		nd := node{left: m.a, right: m.b, parent: -1, area: a.area + b.area, sx: a.sx + b.sx, sy: a.sy + b.sy,
			sumD: a.sumD + b.sumD, open: a.open + b.open, inner: max(m.v, a.inner, b.inner)}
		for k := range nd.share {
			nd.share[k] = a.share[k] + b.share[k]
		}
		nd.hull = hull(append(append(make([]vertex, 0, len(a.hull)+len(b.hull)), a.hull...), b.hull...))
		alive[m.a], alive[m.b] = false, false
		nodes = append(nodes, nd)
		alive = append(alive, true)
		big, small := edges[m.a], edges[m.b]
		if len(big) < len(small) {
			big, small = small, big
		}
		delete(big, m.a)
		delete(big, m.b)
		for k, e := range small {
			if k == m.a || k == m.b {
				continue
			}
			o := big[k]
			big[k] = border{o.n + e.n, o.sum + e.sum}
		}
		edges[m.a], edges[m.b] = nil, nil
		edges = append(edges, big)
		for k, e := range big {
			delete(edges[k], m.a)
			delete(edges[k], m.b)
			edges[k][c] = e
			heap.Push(&q, merge{e.mean(), k, c})
		}
		outer(c)
	}
	for i := range nodes {
		if nodes[i].parent < 0 {
			nodes[i].exit = nodes[i].outer
		}
	}
	return nodes
}

// hull returns the convex hull of pts, which it reorders (Andrew's monotone chain, from memory).
func hull(pts []vertex) []vertex {
	sort.Slice(pts, func(i, j int) bool {
		if pts[i].x != pts[j].x {
			return pts[i].x < pts[j].x
		}
		return pts[i].y < pts[j].y
	})
	out := make([]vertex, 0, 12)
	half := func(from int, p vertex) {
		for len(out) >= from+2 {
			a, b := out[len(out)-2], out[len(out)-1]
			if int64(b.x-a.x)*int64(p.y-a.y)-int64(b.y-a.y)*int64(p.x-a.x) > 0 {
				break
			}
			out = out[:len(out)-1]
		}
		out = append(out, p)
	}
	for _, p := range pts {
		half(0, p)
	}
	if len(out) > 0 {
		out = out[:len(out)-1]
	}
	k := len(out)
	for i := len(pts) - 1; i >= 0; i-- {
		half(k, pts[i])
	}
	if len(out) > 1 {
		out = out[:len(out)-1]
	}
	return append([]vertex(nil), out...)
}

// hullArea returns the area of a hull, px.
func hullArea(p []vertex) float64 {
	var s int64
	j := len(p) - 1
	for i := range p {
		s += int64(p[j].x)*int64(p[i].y) - int64(p[i].x)*int64(p[j].y)
		j = i
	}
	return float64(max(s, -s)) / 2
}

// solidity is the share of its hull that a cell fills, in (0,1].
func (n *node) solidity() float64 { return float64(n.area) / max(hullArea(n.hull), 1) }

// inside returns the strength as joints under which a third of the cell's pixels lie, 0..1.
func (n *node) inside() float64 {
	want := float64(n.area) / 3
	var sum float64
	for k, c := range n.share {
		if next := sum + float64(c); next >= want {
			return (float64(k) + (want-sum)/float64(c)) / float64(len(n.share))
		} else {
			sum = next
		}
	}
	return 1
}
