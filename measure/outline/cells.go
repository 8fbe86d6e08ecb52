package outline

import (
	"math"
	"sort"

	"tilelapse/measure/plane"
)

// open lays the working sheet over the zones and a margin around them; nil when there is nothing to look at.
func open(ref *plane.Image, f plane.Frame, zones, ignore, gaps, given []plane.Region) *sheet {
	mask := make([]bool, ref.W*ref.H)
	for _, z := range zones {
		fill(mask, ref.W, ref.H, z, f)
	}
	if len(zones) == 0 {
		for i := range mask {
			mask[i] = true
		}
	}
	x0, y0, x1, y1 := ref.W, ref.H, -1, -1
	for i, in := range mask {
		if in {
			x, y := i%ref.W, i/ref.W
			x0, y0, x1, y1 = min(x0, x), min(y0, y), max(x1, x), max(y1, y)
		}
	}
	if x1 < 0 {
		return nil
	}
	margin := marginOf(ref.W, ref.H)
	x0, y0 = max(x0-margin, 0), max(y0-margin, 0)
	x1, y1 = min(x1+margin+1, ref.W), min(y1+margin+1, ref.H)
	s := newSheet(ref, x0, y0, x1, y1)
	not := make([]bool, ref.W*ref.H)
	for _, list := range [][]plane.Region{ignore, gaps, given} {
		for _, r := range list {
			fill(not, ref.W, ref.H, r, f)
		}
	}
	drawn := make([]bool, ref.W*ref.H)
	for _, r := range given {
		fill(drawn, ref.W, ref.H, r, f)
	}
	s.zone = make([]bool, s.w*s.h)
	s.given = make([]bool, s.w*s.h)
	s.free = make([]bool, s.w*s.h)
	for y := range s.h {
		for x := range s.w {
			i, o := y*s.w+x, (y+y0)*ref.W+x+x0
			s.zone[i] = mask[o]
			s.given[i] = drawn[o]
			s.free[i] = !not[o] && (ref.Flags == nil || ref.Flags[o]&plane.Outside == 0)
		}
	}
	far := distances(s.zone, s.w, s.h)
	s.inner = make([]bool, s.w*s.h)
	for i := range s.inner {
		s.inner[i] = s.free[i] && s.zone[i]
		s.wide = append(s.wide, s.free[i] && far[i] < float32(margin))
	}
	return s
}

// marginOf is how far, px, beyond the zones is looked: a zone's edge cuts tiles.
func marginOf(w, h int) int { return max(40, max(w, h)/20) }

// evidence is what tells tiles from joints on a sheet.
type evidence struct {
	joint  []float32 // strength as a joint, 0..1
	dist   []float32 // distance from the joints, CIELAB units or what stands for them
	spread float64   // how far joints lie from themselves, in the same units
}

// smoothed returns the sheet's planes without the pixels' noise.
func (s *sheet) smoothed() (out [3][]float32) {
	for c := range out {
		out[c] = blur(s.ch[c], s.w, s.h, 0.8)
	}
	return out
}

// reach is how far, px, to both sides a line is compared with what lies beside it.
var reach = []float64{2, 3, 4.5, 6, 8, 11}

// byMaterial takes joints for one material, the same everywhere but for the light; nil when no line is found.
func (s *sheet) byMaterial() *evidence {
	smooth := s.smoothed()
	s.use = s.inner
	m := learn(s, smooth, s.lines(smooth, reach, 2, 0), 2)
	s.use = s.wide
	if m == nil {
		return nil
	}
	e := &evidence{dist: m.distance(s, smooth), spread: m.spread}
	e.joint = s.jointness(e.dist, m, reach[:4])
	if jointWidth(e.joint, s.zone, s.w, s.h) >= 4 {
		s.thin(e.joint, smooth, reach[:5])
	}
	return e
}

// byLine takes joints for thin lines darker (sense -1) or lighter (+1) than both their sides, whatever their colour:
// joints so thin in the picture that the glazes' light spills over them have no colour of their own.
func (s *sheet) byLine(sense int) *evidence {
	s.use = s.wide
	line := s.lines(s.smoothed(), reach[:3], 1, sense)
	e := &evidence{joint: line, dist: make([]float32, len(line)), spread: 0.1 * lineScale}
	half := s.lineHalf(line)
	for i, v := range line {
		line[i] = v / (v + half)
		e.dist[i] = lineScale * (1 - line[i])
	}
	return e
}

// lineHalf is the difference, CIELAB units, at which a line is half a joint: lineMost, or less where the surface itself is
// so plain that fainter lines stand out (a thin grey joint between pale tiles).
func (s *sheet) lineHalf(line []float32) float32 {
	var v []float64
	for i := 0; i < len(line); i += 7 {
		if s.use[i] && s.zone[i] {
			v = append(v, float64(line[i]))
		}
	}
	if len(v) == 0 {
		return lineMost
	}
	sort.Float64s(v)
	return float32(min(max(linePlain*v[len(v)/2], lineLeast), lineMost))
}

const (
	// lineMost is twice what crackle and mottling show, CIELAB units.
	lineMost = 6
	// lineLeast is about what the codes of an 8-bit picture and its noise make of a plain surface, and linePlain how many
	// times the surface's middle line a joint has (measured on made pictures).
	lineLeast = 1.5
	linePlain = 4
	// lineScale stands for a glaze's distance from the joints where that is not known, CIELAB units.
	lineScale = 30
)

// tiles finds the tiles of the sheet and tells how much of the zones they fill, weighted by how much they look like tiles,
// 0..1.
func (s *sheet) tiles(e *evidence, f plane.Frame, opt Options) ([]Tile, float64) {
	j, d := e.joint, e.dist
	if probe != nil {
		probe("D", s.w, s.h, d)
		probe("J", s.w, s.h, j)
	}
	soft := blur(j, s.w, s.h, 1)
	bar := make([]bool, len(j))
	for i := range bar {
		bar[i] = j[i] > 0.5 || !s.use[i]
	}
	dt := distances(bar, s.w, s.h)
	z, js := make([]uint8, len(j)), make([]uint8, len(j))
	for i := range z {
		z[i] = uint8(200*soft[i] + 55*float32(math.Exp(-float64(dt[i])/5)))
		js[i] = uint8(255 * min(max(j[i], 0), 1))
	}
	label, n := basins(z, s.use, s.w, s.h)
	nodes := grow(label, n, js, d, s.w, s.h, 1)
	picked := cut(nodes, nil, opt.LeastArea)
	var p *prior
	good := func(i int32) bool {
		n := &nodes[i]
		if n.quality(nil, opt.LeastArea) < 0.3 || n.exit-n.within < 0.2 {
			return false
		}
		if p != nil && n.ofTypical(p) > max(hugeShare, math.Exp(3*p.sd)) {
			return false // sky, a person, a slab
		}
		// a tile of nearly the joint's colour is believed when it has a tile's size: a patch of joint has not
		return n.level > 2*e.spread || n.ofTypical(p) > 0.3
	}
	for range 2 {
		p = sizes(nodes, picked, s.w, s.h, good)
		picked = cut(nodes, p, opt.LeastArea)
	}
	own := make([]int32, len(nodes))
	for i := range own {
		own[i] = -1
	}
	k := int32(0)
	var worth []float64
	for _, i := range picked {
		if good(i) {
			own[i] = k
			worth = append(worth, nodes[i].quality(p, opt.LeastArea))
			k++
		}
	}
	for i := len(nodes) - 1; i >= 0; i-- {
		if pa := nodes[i].parent; pa >= 0 && own[pa] >= 0 {
			own[i] = own[pa]
		}
	}
	for i, l := range label {
		if l >= 0 {
			label[i] = own[l]
		}
	}
	s.dropRims(label, int(k))
	var filled, all float64
	for i, c := range label {
		if s.zone[i] && s.free[i] {
			all++
			if c >= 0 {
				filled += worth[c]
			}
		}
	}
	out := s.trace(label, int(k), d, s.core(j, 0.5, opt.LeastArea), float32(1.5*e.spread), worth, f, opt)
	return out, filled / max(all, 1)
}

// hugeShare is how many typical tiles a cell may be as large as: a slab set among tiles is a few, what stands in front is
// many (our choice).
const hugeShare = 6

// jointness is every pixel's strength as a joint, 0..1: as near the joint colour as joints are, or much nearer than
// both its sides.
func (s *sheet) jointness(d []float32, m *material, reach []float64) []float32 {
	side := s.valley(d, reach)
	tau := max(m.spread, 1)
	t := float32(tau)
	j := make([]float32, len(d))
	rows(s.h, func(a, b int) {
		for i := a * s.w; i < b*s.w; i++ {
			v := (side[i] - d[i]) / (side[i] + 6)
			if over := (d[i] - 4*t) / (4 * t); over > 0 {
				v *= float32(math.Exp(-float64(over*over) / 2))
			}
			near := float32(math.Exp(-float64(d[i]) * float64(d[i]) / (2 * tau * tau)))
			j[i] = 1 - (1-v)*(1-near)
		}
	})
	return j
}

// dropRims removes cells that are but the rim which a given outline left of its own tile.
func (s *sheet) dropRims(cell []int32, n int) {
	any := false
	for _, g := range s.given {
		any = any || g
	}
	if !any || n == 0 {
		return
	}
	far := distances(s.given, s.w, s.h)
	area := make([]float64, n)
	for _, c := range cell {
		if c >= 0 {
			area[c]++
		}
	}
	side := append([]float64(nil), area...)
	sort.Float64s(side)
	reach := float32(0.2 * math.Sqrt(side[len(side)/2]))
	rim := make([]float64, n)
	for i, c := range cell {
		if c >= 0 && far[i] < reach {
			rim[c]++
		}
	}
	for i, c := range cell {
		if c >= 0 && rim[c] > 0.6*area[c] {
			cell[i] = -1
		}
	}
}

// core returns every pixel's distance, px, to the joints proper: pixels of the joint colour that hang together over more
// than least px. A motif's edge passes through the joint colour too, but for a pixel or two.
func (s *sheet) core(strength []float32, limit float32, least float64) []float32 {
	in := make([]bool, len(strength))
	for i := range in {
		in[i] = strength[i] > limit
	}
	seen := make([]bool, len(strength))
	var part []int32
	for i := range in {
		if !in[i] || seen[i] {
			continue
		}
		part = append(part[:0], int32(i))
		seen[i] = true
		for k := 0; k < len(part); k++ {
			x, y := int(part[k])%s.w, int(part[k])/s.w
			for dy := max(y-1, 0); dy <= min(y+1, s.h-1); dy++ {
				for dx := max(x-1, 0); dx <= min(x+1, s.w-1); dx++ {
					if j := dy*s.w + dx; in[j] && !seen[j] {
						seen[j] = true
						part = append(part, int32(j))
					}
				}
			}
		}
		if float64(len(part)) < least {
			for _, j := range part {
				in[j] = false
			}
		}
	}
	return distances(in, s.w, s.h)
}
