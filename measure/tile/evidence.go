package tile

import (
	"math"
	"slices"

	"tilelapse/measure/colour"
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
	Seen    float64    `json:"seen"`   // the same of its best sides: what a changed neighbour does not spoil
	Relief  float64    `json:"relief"` // structure of the surroundings in the reference, log units: what Around can tell
	Rough   float64    `json:"rough"`  // texture of the core against the tiles around, both relative to the reference; log

	Change   float64 `json:"change"`   // colour not explained by the lights around and scale
	Clean    float64 `json:"clean"`    // the same of its best kept part, thick scale not allowed
	Bed      float64 `json:"bed"`      // colour difference to the joints around in this photo, lightness at half weight
	Joint    float64 `json:"joint"`    // the joint's own colour not explained by light and scale
	Alpha    float64 `json:"alpha"`    // opacity that explains it best
	Contrast float64 `json:"contrast"` // what is left of the step from joint to tile, 1 = as in the reference
	Uneven   float64 `json:"uneven"`   // spread of colour over the tile's cells beyond the reference's, CIELAB units
	Coarse   float64 `json:"coarse"`   // Rough, but against the reference texture of a typical tile around where the own was coarser
	Patchy   float64 `json:"patchy"`   // spread of brightness over the cells against that of the tiles around, log
	Veil     float64 `json:"veil"`     // opacity of scale on the joint
	Noise    float64 `json:"noise"`    // median Change of the tiles around: how well anything is explained here
	Usual    float64 `json:"usual"`    // median Whole of the tiles around

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
		e.Relief = s.tiles[t].relief
		e.Own = likeness(s.ref, p, core)
		e.Around = likeness(s.ref, p, s.lay.around[t])
		e.Seen = s.seen(p, t)
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
		e.Uneven = s.spread(e.cells) - s.tiles[t].spread
		e.Patchy = brightness(e.cells)
	}
	for t := range ev {
		s.compare(t, ev, seen)
	}
	s.relate(ev)
	return ev
}

// seen is the mean likeness of the best two thirds of the sides of a tile's surroundings.
func (s *Surface) seen(p *planes, t int) float64 {
	r := make([]float64, 0, sides)
	for _, px := range s.sides[t] {
		if v := likeness(s.ref, p, px); !math.IsNaN(v) {
			r = append(r, v)
		}
	}
	if len(r) == 0 {
		return math.NaN()
	}
	slices.Sort(r)
	r = r[len(r)/3:]
	var sum float64
	for _, v := range r {
		sum += v
	}
	return sum / float64(len(r))
}

// leastRough keeps the ratio of two textures from hanging on noise, log units.
const leastRough = 0.003

// look is what colours a tile shows: the tile's own, the joint's around it and that on each of four sides.
type look struct {
	all, ring [3]float64
	quarter   [4][3]float64 // the joint on each of four sides
}

var absent = [3]float64{math.NaN(), math.NaN(), math.NaN()}

// seesLess is the likeness of the surroundings below which a tile's colours say nothing of the light.
const seesLess = 0.35

// lightsAt gathers the lights around a tile from what is in plain sight.
func (s *Surface) lightsAt(t int, ev []Evidence, seen []look) *lights {
	gains := make([][3]float64, 0, 2*hoodSize)
	used := 0
	for _, u := range s.hood[t] {
		if used == hoodSize {
			break
		}
		if ev[u].Around < seesLess && ev[u].Relief > 0.1 {
			continue
		}
		used++
		for _, a := range [2]sample{{seen[u].all, s.tiles[u].colour}, {seen[u].ring, s.tiles[u].ring}} {
			if a.ok() {
				gains = append(gains, a.gain())
			}
		}
	}
	var ring, sides [][3]float64
	if a := (sample{seen[t].ring, s.tiles[t].ring}); a.ok() && (ev[t].Around >= seesLess || ev[t].Relief <= 0.1) {
		ring = append(ring, a.gain())
		for q, r := range s.quarters[t] {
			if a := (sample{seen[t].quarter[q], r.colour}); a.ok() {
				sides = append(sides, a.gain())
			}
		}
	}
	return newLights(gains, ring, sides)
}

// hoodSize is how many tiles in plain sight tell the light around a tile.
const hoodSize = 40

// compare sets a tile's colours against its own glaze and against the bed, under the lights seen around it.
func (s *Surface) compare(t int, ev []Evidence, seen []look) {
	e, me, ref := &ev[t], seen[t], &s.tiles[t]
	e.Change, e.Clean, e.Bed, e.Joint, e.Contrast = math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN()
	l := s.lightsAt(t, ev, seen)
	if len(l.around) == 0 {
		return
	}
	if (sample{me.all, ref.colour}).ok() {
		best := math.Inf(1)
		e.Change = l.least(func(g [3]float64) float64 {
			d, a := explain(me.all, g, &s.under[t], len(s.under[t])-1)
			if d < best {
				best, e.Alpha = d, a
			}
			return d
		})
		e.Clean = s.cleanest(t, e, l)
		e.Bed = s.toBed(t, e, me, l, ev, seen)
	}
	if (sample{me.ring, ref.ring}).ok() {
		best := math.Inf(1)
		e.Joint = (&lights{around: l.around}).least(func(g [3]float64) float64 {
			d, a := explain(me.ring, g, &s.underRing[t], len(s.under[t])-1)
			if d < best {
				best, e.Veil = d, a
			}
			return d
		})
		e.Contrast = contrast(me, ref)
	}
}

// contrast is what is left of the step from the joint to the tile: 1 as in the reference, 0 none; the light is the same
// on both and drops out.
func contrast(me look, ref *refTile) float64 {
	var dot, norm float64
	for c := range 3 {
		was := math.Log(math.Max(0, ref.colour[c])+floor) - math.Log(math.Max(0, ref.ring[c])+floor)
		is := math.Log(math.Max(0, me.all[c])+floor) - math.Log(math.Max(0, me.ring[c])+floor)
		dot += was * is
		norm += was * was
	}
	return dot / (norm + 0.02)
}

// cleanest is how far the best kept part of a tile lies from its own glaze under at most a thin veil: the lower eighth
// of its cells. Dirt, growth, drips and litter leave some part as it was; a bed or another glaze leaves none.
func (s *Surface) cleanest(t int, e *Evidence, l *lights) float64 {
	var best []float64
	for c, now := range e.cells {
		if math.IsNaN(now[0]) || math.IsNaN(s.cells[t][c].colour[0]) {
			continue
		}
		best = append(best, l.least(func(g [3]float64) float64 {
			m := math.Inf(1)
			for _, f := range soiling {
				for i := range g {
					g[i] *= f.dims
				}
				d, _ := explain(now, g, &s.cells[t][c].under, hazeSteps+veil)
				m = math.Min(m, d+f.cost)
			}
			return m
		}))
	}
	return quantile(best, 0.12)
}

// soiling lists what dirt may take of a glaze's light, each factor on top of the one before, and the colour difference it
// is charged with: a dirty tile is commoner than one replaced by a darker shade of itself (our choice).
var soiling = [...]struct{ dims, cost float64 }{{1, 0}, {0.75, 1.5}, {0.75, 3}}

// veil is the thickest scale, in steps, under which a cell still shows its glaze for certain.
const veil = 4

// toBed is how far a tile's colour lies from the joints around in the same photo, in the upper part of its cells: the
// bed shows everywhere or not at all. A bed may be darker or lighter than a joint, so lightness counts half.
func (s *Surface) toBed(t int, e *Evidence, me look, l *lights, ev []Evidence, seen []look) float64 {
	var joints []colour.Lab
	add := func(u int) {
		if !math.IsNaN(seen[u].ring[0]) {
			joints = append(joints, undo(seen[u].ring, l.middle).Lab())
		}
	}
	add(t)
	for _, u := range s.hood[t][:min(hoodSize, len(s.hood[t]))] {
		if ev[u].Around >= seesLess {
			add(u)
		}
	}
	v := make([]float64, 0, len(joints))
	to := func(now [3]float64) float64 {
		lab := undo(now, l.middle).Lab()
		v = v[:0]
		for _, j := range joints {
			dl := (lab.L - j.L) / 2
			if dl < 0 {
				dl *= 0.6 // the bed lies deeper than the joint, in its own shade
			}
			v = append(v, math.Sqrt(dl*dl+(lab.A-j.A)*(lab.A-j.A)+(lab.B-j.B)*(lab.B-j.B)))
		}
		return kth(v, len(v)/10)
	}
	var d []float64
	for _, now := range e.cells {
		if !math.IsNaN(now[0]) {
			d = append(d, to(now))
		}
	}
	return math.Max(to(me.all), quantile(d, 0.7))
}

// spread is how unevenly coloured a tile's cells are, in CIELAB a and b: light hardly touches it.
func (s *Surface) spread(cells [][3]float64) float64 {
	var n, sa, sb, saa, sbb float64
	for _, c := range cells {
		if math.IsNaN(c[0]) {
			continue
		}
		lab := colour.RGB(c).Lab()
		n++
		sa, sb = sa+lab.A, sb+lab.B
		saa, sbb = saa+lab.A*lab.A, sbb+lab.B*lab.B
	}
	if n < 2 {
		return math.NaN()
	}
	return math.Sqrt(math.Max(0, saa/n-sa*sa/(n*n)+sbb/n-sb*sb/(n*n)))
}

// brightness is how unevenly bright a tile's cells are: the standard deviation of log luminance.
func brightness(cells [][3]float64) float64 {
	var n, m, mm float64
	for _, c := range cells {
		if math.IsNaN(c[0]) {
			continue
		}
		v := math.Log(math.Max(0, 0.2126*c[0]+0.7152*c[1]+0.0722*c[2]) + floor)
		n, m, mm = n+1, m+v, mm+v*v
	}
	if n < 2 {
		return math.NaN()
	}
	return math.Sqrt(math.Max(0, mm/n-m*m/(n*n)))
}

// relate sets each tile's figures against those of the tiles in plain sight around it.
func (s *Surface) relate(ev []Evidence) {
	type own struct{ rough, coarse, patchy float64 }
	as := make([]own, len(ev))
	var x, w, r, ref, p []float64
	for t := range ev {
		x, w, r, ref, p = x[:0], w[:0], r[:0], ref[:0], p[:0]
		for _, u := range s.hood[t] {
			if len(x) == hoodSize {
				break
			}
			e := &ev[u]
			if math.IsNaN(e.Change+e.Whole+e.Rough+e.Patchy) || e.Around < seesLess && e.Relief > 0.1 {
				continue
			}
			x, w, r, p = append(x, e.Change), append(w, e.Whole), append(r, e.Rough), append(p, e.Patchy)
			ref = append(ref, s.tiles[u].rough)
		}
		ev[t].Noise, ev[t].Usual = median(x), median(w)
		as[t].rough = ev[t].Rough - median(r)
		as[t].coarse = as[t].rough + math.Max(0, math.Log((s.tiles[t].rough+leastRough)/(median(ref)+leastRough)))
		as[t].patchy = math.Log((ev[t].Patchy + 0.03) / (median(p) + 0.03))
	}
	for t := range ev {
		ev[t].Rough, ev[t].Coarse, ev[t].Patchy = as[t].rough, as[t].coarse, as[t].patchy
	}
}
