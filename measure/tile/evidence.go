package tile

import (
	"math"

	"tilelapse/measure/plane"
)

// Evidence is what one photo tells of one tile. Colour differences are in CIELAB units (see apart), likenesses are
// correlations in [-1,1], NaN is written as Absent.
type Evidence struct {
	InFrame float64    `json:"in"`     // share of the tile in the photo's frame
	Usable  float64    `json:"usable"` // share of its core that is neither clipped, moving nor out of frame
	Colour  [3]float64 `json:"colour"` // median of the core, linear light
	Ring    [3]float64 `json:"ring"`   // median of the joint around, linear light
	Own     float64    `json:"own"`    // likeness of the core's inner pattern to the reference's
	Whole   float64    `json:"whole"`  // likeness of the tile together with its surroundings
	Around  float64    `json:"around"` // likeness of the surroundings alone
	Rough   float64    `json:"rough"`  // texture of the core against the tiles around, both relative to the reference; log

	Change float64 `json:"change"` // colour not explained by the lights around and scale
	Clean  float64 `json:"clean"`  // the same of its best kept part, thick scale not allowed
	Bed    float64 `json:"bed"`    // colour difference to the joints around in this photo, lightness at half weight
	Joint  float64 `json:"joint"`  // the joint's own colour not explained by light and scale
	Alpha  float64 `json:"alpha"`  // opacity that explains it best
	Noise  float64 `json:"noise"`  // median Change of the tiles around: how well anything is explained here
	Usual  float64 `json:"usual"`  // median Whole of the tiles around

	cells [][3]float64 // median colour of each cell, only while a photo is read
}

// Evidence reads one photo. The picture is on the measuring frame, its light brought to the reference's by one gain a
// channel, its flags kept. One record a tile.
func (s *Surface) Evidence(img *plane.Image) []Evidence {
	p := newPlanes(img)
	ev := make([]Evidence, s.lay.n)
	seen := make([]look, s.lay.n)
	var px []int32
	for t := range ev {
		e := &ev[t]
		all, core := s.lay.all[t], s.lay.core[t]
		if len(all) == 0 {
			seen[t] = look{absent, absent, [4][3]float64{absent, absent, absent, absent}}
			continue
		}
		out := 0
		for _, i := range all {
			if img.Flags[i]&plane.Outside != 0 {
				out++
			}
		}
		e.InFrame = 1 - float64(out)/float64(len(all))
		e.Usable = usableShare(img, core)
		e.Colour = medianColour(img, core)
		e.Ring = medianColour(img, s.lay.ring[t])
		e.Own = likeness(s.ref, p, core)
		e.Around = likeness(s.ref, p, s.lay.around[t])
		px = append(append(px[:0], core...), s.lay.around[t]...)
		e.Whole = likeness(s.ref, p, px)
		e.Rough = math.Log(p.roughness(core)+leastRough) - math.Log(s.tiles[t].rough+leastRough)
		seen[t] = look{all: e.Colour, ring: e.Ring}
		for q, r := range s.quarters[t] {
			seen[t].quarter[q] = medianColour(img, r.px)
		}
		e.cells = e.cells[:0]
		for _, c := range s.cells[t] {
			e.cells = append(e.cells, medianColour(img, c.px))
		}
	}
	for t := range ev {
		s.compare(t, &ev[t], seen)
	}
	s.relate(ev)
	return ev
}

// leastRough keeps the ratio of two textures from hanging on noise, log units.
const leastRough = 0.003

// look is what colours a tile shows: the tile's own, the joint's around it and that on each of four sides.
type look struct {
	all, ring [3]float64
	quarter   [4][3]float64 // the joint on each of four sides
}

var absent = [3]float64{math.NaN(), math.NaN(), math.NaN()}

// compare sets a tile's colours against its own glaze and against the bed, under the lights seen around it: a light
// counts as possible when at least a tenth of the tiles and joints around are lit like that, so neither a shadow's edge
// nor a few changed neighbours mislead.
func (s *Surface) compare(t int, e *Evidence, seen []look) {
	me, ref := seen[t], &s.tiles[t]
	ring := sample{me.ring, ref.ring}
	gains := make([][3]float64, 0, 2*len(s.hood[t])+1)
	if ring.ok() {
		gains = append(gains, ring.gain())
	}
	first := len(gains)
	for _, u := range s.hood[t] {
		for _, a := range [2]sample{{seen[u].all, s.tiles[u].colour}, {seen[u].ring, s.tiles[u].ring}} {
			if a.ok() {
				gains = append(gains, a.gain())
			}
		}
	}
	// the joint next to the tile is lit like the tile: its light counts, or that of two of its sides
	var side [][3]float64
	for q, r := range s.quarters[t] {
		if a := (sample{me.quarter[q], r.colour}); a.ok() {
			side = append(side, a.gain())
		}
	}
	e.Change, e.Clean, e.Bed, e.Joint, e.Alpha = math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN()
	k := len(gains) / 10
	if (sample{me.all, ref.colour}).ok() && len(gains) > 0 {
		var alpha []float64
		e.Change = lit(gains, side, first, k, func(g [3]float64) float64 {
			d, a := explain(me.all, g, &s.under[t])
			alpha = append(alpha, a)
			return d
		})
		e.Alpha = median(alpha)
		e.Clean = s.cleanest(t, e, gains, side, first, k)
		e.Bed = s.toBed(t, me, gains, seen)
	}
	if ring.ok() && len(gains) > first {
		var d []float64
		for _, g := range gains[first:] {
			x, _ := explain(me.ring, g, &s.underRing[t])
			d = append(d, x)
		}
		e.Joint = kth(d, k)
	}
}

// cleanest is how far the best kept part of a tile lies from its own glaze under at most a thin veil: the lower fifth of
// its cells. Dirt, growth, drips and litter leave some part as it was; a bed or another glaze leaves none.
func (s *Surface) cleanest(t int, e *Evidence, gains, side [][3]float64, first, k int) float64 {
	var best []float64
	for c, now := range e.cells {
		if math.IsNaN(now[0]) || math.IsNaN(s.cells[t][c].colour[0]) {
			continue
		}
		under := &s.cells[t][c].under
		best = append(best, lit(gains, side, first, k, func(g [3]float64) float64 {
			lab := undo(now, g).Lab()
			m := math.Inf(1)
			for a := 0; a <= veil; a++ {
				m = math.Min(m, apart(lab, under[a]))
			}
			return m
		}))
	}
	return quantile(best, 0.2)
}

// lit is the smallest difference under the lights that count: the k-th smallest over the lights seen around, the one
// under the joint's own light (gains[0] when first is 1), the second smallest over the joint's sides.
func lit(gains, side [][3]float64, first, k int, difference func(gain [3]float64) float64) float64 {
	d := make([]float64, len(gains), len(gains)+len(side))
	for i, g := range gains {
		d[i] = difference(g)
	}
	least := math.Inf(1)
	if first == 1 {
		least = d[0]
	}
	least = math.Min(least, kth(d, k))
	d = d[:0]
	for _, g := range side {
		d = append(d, difference(g))
	}
	if len(d) > 1 {
		least = math.Min(least, kth(d, 1))
	}
	return least
}

// veil is the thickest scale, in steps, under which a cell still shows its glaze for certain.
const veil = 4

// toBed is how far a tile's colour lies from the joints around in the same photo; a bed may be darker or lighter than a
// joint, so lightness counts half.
func (s *Surface) toBed(t int, me look, gains [][3]float64, seen []look) float64 {
	var light [3]float64
	var v []float64
	for c := range light {
		v = v[:0]
		for _, g := range gains {
			v = append(v, g[c])
		}
		light[c] = median(v)
	}
	lab := undo(me.all, light).Lab()
	v = v[:0]
	add := func(ring [3]float64) {
		if !math.IsNaN(ring[0]) {
			j := undo(ring, light).Lab()
			v = append(v, math.Sqrt((lab.L-j.L)*(lab.L-j.L)/4+(lab.A-j.A)*(lab.A-j.A)+(lab.B-j.B)*(lab.B-j.B)))
		}
	}
	add(me.ring)
	for _, u := range s.hood[t] {
		add(seen[u].ring)
	}
	return kth(v, len(v)/10)
}

// relate sets each tile's figures against those of the tiles around it.
func (s *Surface) relate(ev []Evidence) {
	rough := make([]float64, len(ev))
	var x, w, r []float64
	for t := range ev {
		x, w, r = x[:0], w[:0], r[:0]
		for _, u := range s.hood[t] {
			if ev[u].Change == ev[u].Change {
				x = append(x, ev[u].Change)
			}
			if ev[u].Whole == ev[u].Whole {
				w = append(w, ev[u].Whole)
			}
			if ev[u].Rough == ev[u].Rough {
				r = append(r, ev[u].Rough)
			}
		}
		ev[t].Noise, ev[t].Usual = median(x), median(w)
		rough[t] = ev[t].Rough - median(r)
	}
	for t := range ev {
		ev[t].Rough = rough[t]
	}
}
