package demo

import "math"

// pt is a wall point, mm.
type pt struct{ u, v float64 }

// cell is one tile as laid: its outline without the joint, and what it bears.
type cell struct {
	id     string
	ring   []pt
	centre pt
	reach  float64 // mm, radius of a circle of the same area
	zone   int     // index into the view's zones, -1 = none
	glaze  int     // index into glazes
	lines  []int   // painted lines that cross it
}

// clip keeps the part of a convex ring where n·p <= d.
func clip(ring []pt, nu, nv, d float64) []pt {
	var out []pt
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		da, db := nu*a.u+nv*a.v-d, nu*b.u+nv*b.v-d
		if da <= 0 {
			out = append(out, a)
		}
		if (da < 0 && db > 0) || (da > 0 && db < 0) {
			t := da / (da - db)
			out = append(out, pt{lerp(a.u, b.u, t), lerp(a.v, b.v, t)})
		}
	}
	return out
}

// clipTo keeps the part of a convex ring inside a convex clockwise (on screen) panel, inset by margin mm.
func clipTo(ring, panel []pt, margin float64) []pt {
	for i, a := range panel {
		b := panel[(i+1)%len(panel)]
		l := math.Hypot(b.u-a.u, b.v-a.v)
		nu, nv := (b.v-a.v)/l, -(b.u-a.u)/l
		ring = clip(ring, nu, nv, nu*a.u+nv*a.v-margin)
		if len(ring) < 3 {
			return nil
		}
	}
	return ring
}

// areaOf returns a ring's area (mm²) and its centroid.
func areaOf(ring []pt) (float64, pt) {
	var s, cu, cv float64
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		x := a.u*b.v - b.u*a.v
		s += x
		cu += (a.u + b.u) * x
		cv += (a.v + b.v) * x
	}
	if s == 0 {
		return 0, pt{}
	}
	return math.Abs(s) / 2, pt{cu / (3 * s), cv / (3 * s)}
}

// round cuts the corners of a ring once, by share of each side but at most limit mm.
func round(ring []pt, share, limit float64) []pt {
	out := make([]pt, 0, 2*len(ring))
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		l := math.Hypot(b.u-a.u, b.v-a.v)
		if l < 0.5 {
			continue
		}
		t := math.Min(share, limit/l)
		out = append(out, pt{lerp(a.u, b.u, t), lerp(a.v, b.v, t)}, pt{lerp(b.u, a.u, t), lerp(b.v, a.v, t)})
	}
	return out
}

// finish clips a tile to the panel, rounds it and drops slivers.
func finish(cells []cell, ring, panel []pt, joint float64) []cell {
	ring = clipTo(ring, panel, joint/2)
	if ring == nil {
		return cells
	}
	if a, _ := areaOf(ring); a < 500 {
		return cells
	}
	ring = round(round(ring, 0.25, 5), 0.25, 2)
	a, c := areaOf(ring)
	return append(cells, cell{ring: ring, centre: c, reach: math.Sqrt(a / math.Pi), zone: -1})
}

// bond lays hand-made rectangles of w x h mm (with their joint) in running bond, every corner a little off.
func bond(seed uint64, panel []pt, w, h, joint float64) []cell {
	var cells []cell
	lo, hi := bounds(panel)
	rows := int((hi.v-lo.v)/h + 0.5)
	h = (hi.v - lo.v) / float64(rows)
	cols := int((hi.u-lo.u)/w+0.5) + 1
	for r := 0; r < rows; r++ {
		shift := -0.5 * float64(r%2) * w
		for c := 0; c < cols; c++ {
			at := func(i, j, side int) pt {
				return pt{lo.u + shift + float64(c+i)*w + 1.6*signed(seed, 2*(c+i)+side, r), lo.v + float64(r+j)*h + 1.2*signed(seed+1, 2*(c+i)+side, r+j)}
			}
			ring := []pt{at(0, 0, 1), at(1, 0, 0), at(1, 1, 0), at(0, 1, 1)}
			g := joint/2 + 0.5*signed(seed+2, c, r)
			ring = clipTo(ring, ring, math.Max(g, 1.5))
			cells = finish(cells, ring, panel, joint)
		}
	}
	return cells
}

// broken lays irregular pieces: the cells around scattered points, a joint between neighbours.
func broken(seed uint64, panel []pt, pitch, joint float64) []cell {
	lo, hi := bounds(panel)
	rows, cols := int((hi.v-lo.v)/(0.87*pitch))+3, int((hi.u-lo.u)/pitch)+4
	site := func(c, r int) pt {
		return pt{lo.u + (float64(c)-1+0.5*float64(r&1))*pitch + 0.27*pitch*signed(seed, c, r), lo.v + (float64(r)-1)*0.87*pitch + 0.27*pitch*signed(seed+1, c, r)}
	}
	var cells []cell
	for r := 0; r < rows; r++ {
		for c := 0; c < cols; c++ {
			p := site(c, r)
			q := 2 * pitch
			ring := []pt{{p.u - q, p.v - q}, {p.u + q, p.v - q}, {p.u + q, p.v + q}, {p.u - q, p.v + q}}
			for dr := -2; dr <= 2; dr++ {
				for dc := -3; dc <= 3; dc++ {
					if dr == 0 && dc == 0 {
						continue
					}
					o := site(c+dc, r+dr)
					l := math.Hypot(o.u-p.u, o.v-p.v)
					nu, nv := (o.u-p.u)/l, (o.v-p.v)/l
					ring = clip(ring, nu, nv, nu*(p.u+o.u)/2+nv*(p.v+o.v)/2-joint/2)
				}
			}
			cells = finish(cells, ring, panel, joint)
		}
	}
	return cells
}

func bounds(ring []pt) (lo, hi pt) {
	lo, hi = ring[0], ring[0]
	for _, p := range ring {
		lo.u, lo.v = math.Min(lo.u, p.u), math.Min(lo.v, p.v)
		hi.u, hi.v = math.Max(hi.u, p.u), math.Max(hi.v, p.v)
	}
	return lo, hi
}

// within reports whether a point lies in a ring, by the even-odd rule.
func within(p pt, ring []pt) bool {
	in := false
	j := len(ring) - 1
	for i := range ring {
		a, b := ring[i], ring[j]
		if (a.v > p.v) != (b.v > p.v) && p.u < (b.u-a.u)*(p.v-a.v)/(b.v-a.v)+a.u {
			in = !in
		}
		j = i
	}
	return in
}

// toEdge returns the distance of a point to a ring, mm, negative outside.
func toEdge(p pt, ring []pt) float64 {
	best := math.Inf(1)
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		du, dv := b.u-a.u, b.v-a.v
		t := clamp(((p.u-a.u)*du+(p.v-a.v)*dv)/(du*du+dv*dv), 0, 1)
		e := (p.u-a.u-t*du)*(p.u-a.u-t*du) + (p.v-a.v-t*dv)*(p.v-a.v-t*dv)
		best = math.Min(best, e)
	}
	if within(p, ring) {
		return math.Sqrt(best)
	}
	return -math.Sqrt(best)
}
