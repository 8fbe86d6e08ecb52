package outline

import (
	"math"

	"tilelapse/measure/plane"
)

// contour returns the outline with the largest area at which the field changes sign, positive inside, sub-pixel by
// linear interpolation between pixel centres (marching squares). The field's rim must be negative.
func contour(v []float32, w, h int) []plane.Point {
	// crossing points are keyed by grid edge: 2*(y*w+x) to the right, +1 downward
	next := make(map[int]int, 256)
	at := func(e int) plane.Point {
		i := e / 2
		x, y := i%w, i/w
		j := i + 1
		if e%2 == 1 {
			j = i + w
		}
		t := float64(v[i] / (v[i] - v[j]))
		if e%2 == 1 {
			return plane.Point{X: float64(x), Y: float64(y) + t}
		}
		return plane.Point{X: float64(x) + t, Y: float64(y)}
	}
	var starts []int
	link := func(a, b int) {
		next[a] = b
		starts = append(starts, a)
	}
	for y := 0; y+1 < h; y++ {
		for x := 0; x+1 < w; x++ {
			i := y*w + x
			a, b, c, d := v[i] > 0, v[i+1] > 0, v[i+w+1] > 0, v[i+w] > 0
			k := 0
			if a {
				k |= 1
			}
			if b {
				k |= 2
			}
			if c {
				k |= 4
			}
			if d {
				k |= 8
			}
			top, right, bottom, left := 2*i, 2*(i+1)+1, 2*(i+w), 2*i+1
			// inside on the right hand of the direction of travel (y down: clockwise on screen)
			switch k {
			case 1:
				link(left, top)
			case 2:
				link(top, right)
			case 3:
				link(left, right)
			case 4:
				link(right, bottom)
			case 5:
				if v[i]+v[i+1]+v[i+w]+v[i+w+1] > 0 {
					link(left, bottom)
					link(right, top)
				} else {
					link(left, top)
					link(right, bottom)
				}
			case 6:
				link(top, bottom)
			case 7:
				link(left, bottom)
			case 8:
				link(bottom, left)
			case 9:
				link(bottom, top)
			case 10:
				if v[i]+v[i+1]+v[i+w]+v[i+w+1] > 0 {
					link(top, left)
					link(bottom, right)
				} else {
					link(top, right)
					link(bottom, left)
				}
			case 11:
				link(bottom, right)
			case 12:
				link(right, left)
			case 13:
				link(right, top)
			case 14:
				link(top, left)
			}
		}
	}
	var best []plane.Point
	top := 0.0
	for _, s := range starts {
		if _, ok := next[s]; !ok {
			continue
		}
		var ring []plane.Point
		for e := s; ; {
			n, ok := next[e]
			if !ok {
				break
			}
			ring = append(ring, at(e))
			delete(next, e)
			e = n
		}
		if a, _ := areaCentroid(ring); math.Abs(a) > top {
			top, best = math.Abs(a), ring
		}
	}
	return best
}

// simplify drops points of a closed ring that lie within tol of the line between those kept (Douglas and Peucker 1973).
func simplify(r []plane.Point, tol float64) []plane.Point {
	if len(r) < 4 {
		return r
	}
	// two anchors: the point farthest from the first, and the one farthest from that
	far := func(k int) int {
		b, bd := k, -1.0
		for i := range r {
			if d := math.Hypot(r[i].X-r[k].X, r[i].Y-r[k].Y); d > bd {
				b, bd = i, d
			}
		}
		return b
	}
	a := far(0)
	b := far(a)
	if a > b {
		a, b = b, a
	}
	keep := make([]bool, len(r))
	keep[a], keep[b] = true, true
	var part func(i, j int)
	part = func(i, j int) {
		p, q := r[i%len(r)], r[j%len(r)]
		dx, dy := q.X-p.X, q.Y-p.Y
		l := math.Hypot(dx, dy)
		k, kd := -1, tol
		for m := i + 1; m < j; m++ {
			t := r[m%len(r)]
			var d float64
			if l > 0 {
				d = math.Abs((t.X-p.X)*dy-(t.Y-p.Y)*dx) / l
			} else {
				d = math.Hypot(t.X-p.X, t.Y-p.Y)
			}
			if d > kd {
				k, kd = m, d
			}
		}
		if k >= 0 {
			keep[k%len(r)] = true
			part(i, k)
			part(k, j)
		}
	}
	part(a, b)
	part(b, a+len(r))
	var out []plane.Point
	for i := range r {
		if keep[i] {
			out = append(out, r[i])
		}
	}
	return out
}
