package outline

import (
	"math"
	"sort"
	"strings"

	"tilelapse/measure/plane"
)

// fill sets the pixels of mask whose centre lies in the region (even-odd rule), mask being w x h on the frame f.
func fill(mask []bool, w, h int, r plane.Region, f plane.Frame) {
	var rings [][]plane.Point
	y0, y1 := math.Inf(1), math.Inf(-1)
	for _, ring := range r.Rings {
		q := make([]plane.Point, len(ring))
		for i, p := range ring {
			q[i].X, q[i].Y = f.FromRef(p.X, p.Y)
			y0, y1 = min(y0, q[i].Y), max(y1, q[i].Y)
		}
		rings = append(rings, q)
	}
	if !(y0 <= y1) {
		return
	}
	var xs []float64
	for y := int(max(0, math.Ceil(y0))); y <= int(min(float64(h-1), y1)); y++ {
		xs = xs[:0]
		v := float64(y)
		for _, q := range rings {
			j := len(q) - 1
			for i := range q {
				if (q[i].Y > v) != (q[j].Y > v) {
					xs = append(xs, (q[j].X-q[i].X)*(v-q[i].Y)/(q[j].Y-q[i].Y)+q[i].X)
				}
				j = i
			}
		}
		sort.Float64s(xs)
		for k := 0; k+1 < len(xs); k += 2 {
			for x := int(max(0, math.Ceil(xs[k]))); float64(x) <= xs[k+1] && x < w; x++ {
				mask[y*w+x] = true
			}
		}
	}
}

// contains tells whether p lies in the rings by the even-odd rule.
func contains(rings [][]plane.Point, p plane.Point) bool {
	in := false
	for _, r := range rings {
		j := len(r) - 1
		for i := range r {
			if (r[i].Y > p.Y) != (r[j].Y > p.Y) && p.X < (r[j].X-r[i].X)*(p.Y-r[i].Y)/(r[j].Y-r[i].Y)+r[i].X {
				in = !in
			}
			j = i
		}
	}
	return in
}

// areaCentroid returns a ring's area, px², and centroid.
func areaCentroid(r []plane.Point) (float64, plane.Point) {
	if len(r) == 0 {
		return 0, plane.Point{}
	}
	o := r[0]
	var a, cx, cy float64
	j := len(r) - 1
	for i := range r {
		px, py, qx, qy := r[j].X-o.X, r[j].Y-o.Y, r[i].X-o.X, r[i].Y-o.Y
		k := px*qy - qx*py
		a += k
		cx += (px + qx) * k
		cy += (py + qy) * k
		j = i
	}
	if a == 0 {
		return 0, o
	}
	return math.Abs(a) / 2, plane.Point{X: o.X + cx/(3*a), Y: o.Y + cy/(3*a)}
}

// regionCentroid returns the area, px², and centroid of rings under the even-odd rule: a ring inside an odd number of
// others is a hole. Rings must not cross.
func regionCentroid(rings [][]plane.Point) (float64, plane.Point) {
	var area float64
	var c plane.Point
	for i, r := range rings {
		a, p := areaCentroid(r)
		if a == 0 {
			continue
		}
		for j, o := range rings {
			if j != i && contains([][]plane.Point{o}, r[0]) {
				a = -a
			}
		}
		area += a
		c.X += a * p.X
		c.Y += a * p.Y
	}
	if area <= 0 {
		return 0, c
	}
	return area, plane.Point{X: c.X / area, Y: c.Y / area}
}

// fold brings an id to the form in which ids are unique.
func fold(id string) string { return strings.ToLower(id) }
