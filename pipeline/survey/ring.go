package survey

import (
	"cmp"
	"math"
	"slices"

	"tilelapse/measure/plane"
)

// tidy drops points that repeat the one before, and a last point that repeats the first.
func tidy(ring []plane.Point) []plane.Point {
	var out []plane.Point
	for _, p := range ring {
		if len(out) == 0 || p != out[len(out)-1] {
			out = append(out, p)
		}
	}
	for len(out) > 1 && out[0] == out[len(out)-1] {
		out = out[:len(out)-1]
	}
	return out
}

// area returns the area of a ring, px², positive when it turns right on the screen (y down).
func area(ring []plane.Point) float64 {
	var sum float64
	for i, p := range ring {
		q := ring[(i+1)%len(ring)]
		sum += p.X*q.Y - q.X*p.Y
	}
	return sum / 2
}

// bounds returns the smallest rectangle around the rings.
func bounds(rings [][]plane.Point) (x0, y0, x1, y1 float64) {
	x0, y0, x1, y1 = math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, ring := range rings {
		for _, p := range ring {
			x0, y0 = math.Min(x0, p.X), math.Min(y0, p.Y)
			x1, y1 = math.Max(x1, p.X), math.Max(y1, p.Y)
		}
	}
	return x0, y0, x1, y1
}

// winding returns how often a ring goes around p.
func winding(ring []plane.Point, p plane.Point) int {
	n := 0
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		side := (b.X-a.X)*(p.Y-a.Y) - (p.X-a.X)*(b.Y-a.Y)
		switch {
		case a.Y <= p.Y && b.Y > p.Y && side > 0:
			n++
		case a.Y > p.Y && b.Y <= p.Y && side < 0:
			n--
		}
	}
	return n
}

// solid turns rings filled by the non-zero rule, which is SVG's own, into rings of the same area under the even-odd
// rule: a ring that has filled area on both its sides bounds nothing and is dropped. Rings that cross each other keep
// the even-odd reading.
func solid(rings [][]plane.Point) [][]plane.Point {
	if len(rings) < 2 {
		return rings
	}
	var out [][]plane.Point
	for i, ring := range rings {
		p := ring[0]
		around := 0
		for j, other := range rings {
			if i != j {
				around += winding(other, p)
			}
		}
		own := 1
		if area(ring) < 0 {
			own = -1
		}
		if around != 0 && around+own != 0 {
			continue
		}
		out = append(out, ring)
	}
	return out
}

// crossed reports whether two sides of a ring cross each other. Rings of more than maxSides points are not checked.
func crossed(ring []plane.Point) bool {
	const maxSides = 20000
	n := len(ring)
	if n > maxSides || n < 4 {
		return false
	}
	order := make([]int, n) // sides from left to right, so that only those side by side are compared
	left := func(i int) float64 { return math.Min(ring[i].X, ring[(i+1)%n].X) }
	right := func(i int) float64 { return math.Max(ring[i].X, ring[(i+1)%n].X) }
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(i, j int) int { return cmp.Or(cmp.Compare(left(i), left(j)), cmp.Compare(i, j)) })
	turn := func(a, b, p plane.Point) float64 { return (b.X-a.X)*(p.Y-a.Y) - (p.X-a.X)*(b.Y-a.Y) }
	for k, i := range order {
		a, b := ring[i], ring[(i+1)%n]
		for _, j := range order[k+1:] {
			if left(j) > right(i) {
				break
			}
			c, d := ring[j], ring[(j+1)%n]
			if math.Max(c.Y, d.Y) < math.Min(a.Y, b.Y) || math.Min(c.Y, d.Y) > math.Max(a.Y, b.Y) ||
				(i+1)%n == j || (j+1)%n == i { // neighbours share a corner
				continue
			}
			if turn(a, b, c)*turn(a, b, d) < 0 && turn(c, d, a)*turn(c, d, b) < 0 {
				return true
			}
		}
	}
	return false
}
