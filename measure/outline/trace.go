package outline

import (
	"sort"

	"tilelapse/measure/plane"
)

// patch is a cell on its way to an outline: a field over its box and a rim of one pixel, positive inside the tile.
type patch struct {
	cell   int32
	x0, y0 int // of the field's first pixel on the sheet
	w, h   int
	field  []float32
	ring   []plane.Point // px of the field
}

// trace draws the outline of every cell where, beside a joint, the colour is half way between joint and glaze.
func (s *sheet) trace(cell []int32, n int, d, core []float32, low float32, worth []float64, f plane.Frame, opt Options) []Tile {
	patches := s.patches(cell, n, d, core, low)
	var out []Tile
	for i := range patches {
		p := &patches[i]
		ring := make([]plane.Point, len(p.ring))
		for k, q := range p.ring {
			ring[k].X, ring[k].Y = f.Ref(q.X+float64(p.x0+s.x0), q.Y+float64(p.y0+s.y0))
		}
		ring = simplify(ring, opt.Tolerance*float64(f.K))
		if len(ring) < 3 {
			continue
		}
		t := Tile{Likeness: worth[p.cell]}
		t.Rings = [][]plane.Point{ring}
		t.AreaPx, t.Centroid = areaCentroid(ring)
		if t.AreaPx >= opt.LeastArea*float64(f.K*f.K)/2 {
			out = append(out, t)
		}
	}
	return out
}

// patches returns the cells' fields and first outlines.
func (s *sheet) patches(cell []int32, n int, d, core []float32, low float32) []patch {
	type box struct{ x0, y0, x1, y1 int }
	boxes := make([]box, n)
	for i := range boxes {
		boxes[i] = box{s.w, s.h, -1, -1}
	}
	for y := range s.h {
		for x := range s.w {
			if c := cell[y*s.w+x]; c >= 0 {
				b := &boxes[c]
				b.x0, b.y0, b.x1, b.y1 = min(b.x0, x), min(b.y0, y), max(b.x1, x), max(b.y1, y)
			}
		}
	}
	var out []patch
	var vals []float32
	for c, b := range boxes {
		if b.x1 < 0 {
			continue
		}
		vals = vals[:0]
		for y := b.y0; y <= b.y1; y++ {
			for x := b.x0; x <= b.x1; x++ {
				if cell[y*s.w+x] == int32(c) {
					vals = append(vals, d[y*s.w+x])
				}
			}
		}
		sort.Slice(vals, func(i, j int) bool { return vals[i] < vals[j] })
		half := vals[len(vals)*6/10] / 2
		p := patch{cell: int32(c), x0: b.x0 - 1, y0: b.y0 - 1, w: b.x1 - b.x0 + 3, h: b.y1 - b.y0 + 3}
		p.field = make([]float32, p.w*p.h)
		for y := range p.h {
			for x := range p.w {
				p.field[y*p.w+x] = -max(half, 1e-3)
				if i := s.index(x+p.x0, y+p.y0); i >= 0 && cell[i] == p.cell {
					// away from joints a dark motif is still tile
					t := min(max(core[i]-2, 0), 1)
					p.field[y*p.w+x] = d[i] - half + t*max(half-low, 0)
				}
			}
		}
		p.ring = contour(p.field, p.w, p.h)
		if len(p.ring) >= 3 {
			out = append(out, p)
		}
	}
	return out
}

// index of a sheet pixel, -1 beyond the sheet.
func (s *sheet) index(x, y int) int {
	if x < 0 || y < 0 || x >= s.w || y >= s.h {
		return -1
	}
	return y*s.w + x
}
