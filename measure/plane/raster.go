package plane

import (
	"math"
	"slices"
)

// Fill returns the indices (y*w+x, ascending) of the measuring pixels whose centre lies inside r by the even-odd rule.
// A centre exactly on an edge belongs to the region on its right or below, so regions that share an edge never share a
// pixel. Empty when r has no ring of three points or lies outside the frame.
func Fill(r Region, f Frame) []int32 {
	w, h := f.Size()
	type edge struct{ x0, y0, x1, y1 float64 }
	var edges []edge
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, ring := range r.Rings {
		if len(ring) < 3 {
			continue
		}
		px, py := f.FromRef(ring[len(ring)-1].X, ring[len(ring)-1].Y)
		for _, p := range ring {
			x, y := f.FromRef(p.X, p.Y)
			if y != py && !math.IsNaN(x+y+px+py) && !math.IsInf(x+y+px+py, 0) {
				edges = append(edges, edge{px, py, x, y})
				lo, hi = min(lo, y, py), max(hi, y, py)
			}
			px, py = x, y
		}
	}
	if len(edges) == 0 {
		return nil
	}
	var out []int32
	var xs []float64
	y0, y1 := int(math.Max(0, math.Ceil(lo))), int(math.Min(float64(h-1), math.Floor(hi)))
	for y := y0; y <= y1; y++ {
		xs = xs[:0]
		fy := float64(y)
		for _, e := range edges {
			if (e.y0 > fy) != (e.y1 > fy) {
				xs = append(xs, e.x0+(fy-e.y0)/(e.y1-e.y0)*(e.x1-e.x0))
			}
		}
		slices.Sort(xs)
		for i := 0; i+1 < len(xs); i += 2 {
			a, b := math.Max(0, math.Ceil(xs[i])), math.Min(float64(w), math.Ceil(xs[i+1]))
			for x := int(a); x < int(b); x++ {
				out = append(out, int32(y*w+x))
			}
		}
	}
	return out
}

// Label returns for every measuring pixel the index of the region it lies in, -1 for none. Where regions overlap the
// first one keeps the pixel.
func Label(regions []Region, f Frame) []int32 {
	w, h := f.Size()
	labels := make([]int32, w*h)
	for i := range labels {
		labels[i] = -1
	}
	for k, r := range regions {
		for _, i := range Fill(r, f) {
			if labels[i] < 0 {
				labels[i] = int32(k)
			}
		}
	}
	return labels
}

// Mask returns which measuring pixels lie in any of the regions.
func Mask(regions []Region, f Frame) []bool {
	w, h := f.Size()
	m := make([]bool, w*h)
	for _, r := range regions {
		for _, i := range Fill(r, f) {
			m[i] = true
		}
	}
	return m
}

// Lists returns the pixel indices of every label 0..n-1, ascending.
func Lists(labels []int32, n int) [][]int32 {
	count := make([]int, n)
	for _, l := range labels {
		if l >= 0 && int(l) < n {
			count[l]++
		}
	}
	out := make([][]int32, n)
	for k, c := range count {
		out[k] = make([]int32, 0, c)
	}
	for i, l := range labels {
		if l >= 0 && int(l) < n {
			out[l] = append(out[l], int32(i))
		}
	}
	return out
}

// Depth returns for every labelled pixel how many steps (8-neighbourhood) it lies from the nearest pixel of another
// label or the frame's border: 1 = on the rim, at most limit; 0 for pixels without a label. Pixels of depth > n are the
// region eroded by n px.
func Depth(labels []int32, w, h, limit int) []uint8 {
	limit = min(limit, 255)
	d := make([]uint8, w*h)
	at := func(x, y int, l int32) int {
		if x < 0 || y < 0 || x >= w || y >= h || labels[y*w+x] != l {
			return 0
		}
		return int(d[y*w+x])
	}
	for y := 0; y < h; y++ {
		for x := 0; x < w; x++ {
			if l := labels[y*w+x]; l >= 0 {
				// right and lower neighbours of another label still have to be seen: second sweep
				m := min(at(x-1, y, l), at(x-1, y-1, l), at(x, y-1, l), at(x+1, y-1, l))
				d[y*w+x] = uint8(min(m+1, limit))
			}
		}
	}
	for y := h - 1; y >= 0; y-- {
		for x := w - 1; x >= 0; x-- {
			if l := labels[y*w+x]; l >= 0 {
				m := min(at(x+1, y, l), at(x+1, y+1, l), at(x, y+1, l), at(x-1, y+1, l))
				d[y*w+x] = uint8(min(m+1, int(d[y*w+x])))
			}
		}
	}
	return d
}

// Rings returns for every label 0..n-1 the unlabelled pixels within width steps (8-neighbourhood) of it: the joints
// around a tile. A pixel between two tiles is in both rings. Pixel indices ascend.
func Rings(labels []int32, w, h, n, width int) [][]int32 {
	out := make([][]int32, n)
	near := make([]int32, 0, 8)
	for y := 0; y < h; y++ {
		for x := 0; x < w; x++ {
			i := y*w + x
			if labels[i] >= 0 {
				continue
			}
			near = near[:0]
			for v := max(0, y-width); v <= min(h-1, y+width); v++ {
				for _, l := range labels[v*w+max(0, x-width) : v*w+min(w, x+width+1)] {
					if l >= 0 && int(l) < n && !slices.Contains(near, l) {
						near = append(near, l)
					}
				}
			}
			for _, l := range near {
				out[l] = append(out[l], int32(i))
			}
		}
	}
	return out
}

// Area returns the area of r in square reference px, by the even-odd rule only when its rings don't cross: holes must
// be wound against their outline. Never negative.
func (r Region) Area() float64 {
	a, _, _ := r.moments()
	return math.Abs(a)
}

// Centroid returns the centre of gravity of r in reference px; for a region without area the mean of its points.
func (r Region) Centroid() (x, y float64) {
	a, mx, my := r.moments()
	if math.Abs(a) > 1e-9 {
		return mx / a, my / a
	}
	n := 0.0
	for _, ring := range r.Rings {
		for _, p := range ring {
			x, y, n = x+p.X, y+p.Y, n+1
		}
	}
	if n == 0 {
		return math.NaN(), math.NaN()
	}
	return x / n, y / n
}

func (r Region) moments() (area, mx, my float64) {
	for _, ring := range r.Rings {
		if len(ring) < 3 {
			continue
		}
		o := ring[0] // sums about a near point keep digits
		for i, p := range ring {
			q := ring[(i+1)%len(ring)]
			px, py, qx, qy := p.X-o.X, p.Y-o.Y, q.X-o.X, q.Y-o.Y
			c := px*qy - qx*py
			area += c / 2
			mx += c*(px+qx)/6 + o.X*c/2
			my += c*(py+qy)/6 + o.Y*c/2
		}
	}
	return area, mx, my
}

// Whole returns the region of a whole picture of w x h px.
func Whole(id string, w, h int) Region {
	x, y := float64(w)-0.5, float64(h)-0.5
	return Region{ID: id, Rings: [][]Point{{{X: -0.5, Y: -0.5}, {X: x, Y: -0.5}, {X: x, Y: y}, {X: -0.5, Y: y}}}}
}

// Contains reports whether the reference position (x, y) lies inside r by the even-odd rule.
func (r Region) Contains(x, y float64) bool {
	in := false
	for _, ring := range r.Rings {
		if len(ring) < 3 {
			continue
		}
		p := ring[len(ring)-1]
		for _, q := range ring {
			if (p.Y > y) != (q.Y > y) && x < p.X+(y-p.Y)/(q.Y-p.Y)*(q.X-p.X) {
				in = !in
			}
			p = q
		}
	}
	return in
}
