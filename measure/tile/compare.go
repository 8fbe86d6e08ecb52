package tile

import (
	"math"
	"slices"

	"tilelapse/measure/colour"
	"tilelapse/measure/plane"
)

// look is what colours a tile shows in a photo, medians in linear light, NaN = nothing readable.
type look struct {
	all     [3]float64    // its core
	ring    [3]float64    // the joint around it
	quarter [4][3]float64 // the joint on each of four sides
	cells   [][3]float64  // its core in parts
}

func (s *Surface) look(img *plane.Image, t int, buf *[3][]float32) (l look) {
	l.all = medianColour(img, s.lay.core[t], buf)
	l.ring = medianColour(img, s.lay.ring[t], buf)
	for q, r := range s.tiles[t].quarters {
		l.quarter[q] = medianColour(img, r.px, buf)
	}
	for _, c := range s.tiles[t].cells {
		l.cells = append(l.cells, medianColour(img, c.px, buf))
	}
	return l
}

const (
	seesLess = 0.35 // likeness of the surroundings below which a tile's colours tell nothing of the light
	bare     = 0.1  // relief below which likeness itself tells nothing, log units
	hoodSize = 40   // tiles in plain sight that tell the light around a tile
)

// inSight says whether a tile's surroundings look like the reference's, or never could tell.
func (e *Evidence) inSight() bool { return e.Around >= seesLess || e.Relief <= bare }

// lightsAt gathers the lights around a tile from what is in plain sight.
func (s *Surface) lightsAt(t int, ev []Evidence, seen []look) *lights {
	gains := make([][3]float64, 0, 2*hoodSize)
	used := 0
	for _, u := range s.lay.hood[t] {
		if used == hoodSize {
			break
		}
		if !ev[u].inSight() {
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
	if a := (sample{seen[t].ring, s.tiles[t].ring}); a.ok() && ev[t].inSight() {
		ring = append(ring, a.gain())
		for q := range s.tiles[t].quarters {
			if a := (sample{seen[t].quarter[q], s.tiles[t].quarters[q].colour}); a.ok() {
				sides = append(sides, a.gain())
			}
		}
	}
	return newLights(gains, ring, sides)
}

// compare sets a tile's colours against its own glaze and against the bed, under the lights seen around it.
func (s *Surface) compare(t int, ev []Evidence, seen []look) {
	e, me, ref := &ev[t], &seen[t], &s.tiles[t]
	e.Change, e.Clean, e.Bed, e.Joint, e.Contrast = math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN()
	l := s.lightsAt(t, ev, seen)
	if len(l.around) == 0 && len(l.ring) == 0 {
		return
	}
	if (sample{me.all, ref.colour}).ok() {
		best := math.Inf(1)
		e.Change = l.least(func(g [3]float64) float64 {
			d, a := explain(me.all, g, &ref.under, len(ref.under)-1)
			if d < best {
				best, e.Alpha = d, a
			}
			return d
		})
		e.Clean, e.Foreign = cleanest(me.cells, ref.cells, l)
		_, e.Thick = explain(me.all, l.middle, &ref.under, len(ref.under)-1)
		e.Bed = s.toBed(t, l, ev, seen)
	}
	if (sample{me.ring, ref.ring}).ok() {
		e.Joint = (&lights{around: l.around}).least(func(g [3]float64) float64 {
			d, _ := explain(me.ring, g, &ref.underRing, len(ref.underRing)-1)
			return d
		})
		// scale on a grey joint looks like more light: ask under the usual light, side by side
		_, e.Veil = explain(me.ring, l.middle, &ref.underRing, len(ref.underRing)-1)
		for q := range ref.quarters {
			if a := (sample{me.quarter[q], ref.quarters[q].colour}); a.ok() {
				_, v := explain(a.now, l.middle, &ref.underRing, len(ref.underRing)-1)
				e.Veil = math.Max(e.Veil, v)
			}
		}
		if math.IsInf(e.Joint, 1) {
			e.Joint = 0
		}
		e.Contrast = contrast(me, ref)
	}
}

// contrast is what is left of the step from the joint to the tile: 1 as in the reference, 0 none; the light is the same
// on both and drops out.
func contrast(me *look, ref *refTile) float64 {
	var dot, norm float64
	for c := range 3 {
		was := math.Log(math.Max(0, ref.colour[c])+floor) - math.Log(math.Max(0, ref.ring[c])+floor)
		is := math.Log(math.Max(0, me.all[c])+floor) - math.Log(math.Max(0, me.ring[c])+floor)
		dot += was * is
		norm += was * was
	}
	return dot / (norm + 0.02) // a step lost in noise counts as none left
}

// A veil is thin while the glaze still shows for certain: up to veilSteps of opacity, and up to veilApart of colour
// difference, which a near-black glaze reaches under the thinnest scale.
const (
	veilSteps = 4
	veilApart = 8
)

// thin is the last shade of a thin veil.
func (v *shades) thin() int {
	k := hazeSteps
	for k < hazeSteps+veilSteps && apart(v[k+1], v[hazeSteps]) <= veilApart {
		k++
	}
	return k
}

// soiling lists what dirt may take of a glaze's light, each factor on top of the one before, and the colour difference it
// is charged with: a dirty tile is commoner than one replaced by a darker shade of itself (our choice).
var soiling = [...]struct{ dims, cost float64 }{{1, 0}, {0.75, 1.5}, {0.75, 3}}

// foreign is the colour difference from which a cell is neither glaze nor scale under any light seen around.
const foreign = 10

// cleanest is how far the best kept part of a tile lies from its own glaze under at most a thin veil: the lower eighth
// of its cells. Dirt, growth, drips and litter leave some part as it was; a bed or another glaze leaves none. With it
// come the cells that are nothing of the tile's, the lowest bit the first cell.
func cleanest(now [][3]float64, ref []cell, l *lights) (clean float64, alien uint32) {
	var best []float64
	for c := range now {
		if math.IsNaN(now[c][0]) || math.IsNaN(ref[c].colour[0]) {
			continue
		}
		nearest := math.Inf(1)
		best = append(best, l.least(func(g [3]float64) float64 {
			m := math.Inf(1)
			for k, f := range soiling {
				for i := range g {
					g[i] *= f.dims
				}
				if k == 0 {
					d, _ := explain(now[c], g, &ref[c].under, len(ref[c].under)-1)
					nearest = math.Min(nearest, d)
				}
				d, _ := explain(now[c], g, &ref[c].under, ref[c].thin)
				m = math.Min(m, d+f.cost)
			}
			nearest = math.Min(nearest, m)
			return m
		}))
		if nearest > foreign {
			alien |= 1 << c
		}
	}
	return quantile(best, 0.12), alien
}

// toBed is how far a tile's colour lies from the joints around in the same photo, in the upper part of its cells: the
// bed shows everywhere or not at all.
func (s *Surface) toBed(t int, l *lights, ev []Evidence, seen []look) float64 {
	var joints []colour.Lab
	add := func(u int) {
		if !math.IsNaN(seen[u].ring[0]) {
			joints = append(joints, undo(seen[u].ring, l.middle).Lab())
		}
	}
	add(t)
	for _, u := range s.lay.hood[t][:min(hoodSize, len(s.lay.hood[t]))] {
		if ev[u].inSight() {
			add(u)
		}
	}
	v := make([]float64, 0, len(joints))
	to := func(now [3]float64) float64 {
		lab := undo(now, l.middle).Lab()
		v = v[:0]
		for _, j := range joints {
			v = append(v, bedApart(lab, j))
		}
		return kth(v, len(v)/10)
	}
	var d []float64
	for _, now := range seen[t].cells {
		if !math.IsNaN(now[0]) {
			d = append(d, to(now))
		}
	}
	return math.Max(to(seen[t].all), quantile(d, 0.7))
}

// spread is how unevenly coloured cells are, in CIELAB a and b: light hardly touches it. NaN of fewer than two.
func spread(cells [][3]float64) float64 {
	var n, sa, sb, saa, sbb float64
	for _, c := range cells {
		if math.IsNaN(c[0]) {
			continue
		}
		lab := labOf(c)
		n++
		sa, sb = sa+lab.A, sb+lab.B
		saa, sbb = saa+lab.A*lab.A, sbb+lab.B*lab.B
	}
	if n < 2 {
		return math.NaN()
	}
	return math.Sqrt(math.Max(0, saa/n-sa*sa/(n*n)+sbb/n-sb*sb/(n*n)))
}

// brightness is how unevenly bright cells are: the standard deviation of log luminance. NaN of fewer than two.
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

// rim is the likeness of the joint on the second worst of a tile's four sides.
func (s *Surface) rim(p *planes, t int) float64 {
	r := make([]float64, 0, 4)
	for _, q := range s.tiles[t].quarters {
		if v := likeness(s.ref, p, q.px); !math.IsNaN(v) {
			r = append(r, v)
		}
	}
	if len(r) < 3 {
		return math.NaN()
	}
	slices.Sort(r)
	return r[1]
}

// outline is the step of brightness at a tile's outline that three of four sides share, log units: a bed lies all darker
// or all brighter than the joint, the inside of what stands in front has no step there.
func (s *Surface) outline(p *planes, t int) float64 {
	d := make([]float64, 0, 4)
	var buf []float32
	mid := func(px []int32) float64 {
		buf = buf[:0]
		for _, i := range px {
			if p.flags[i]&blind == 0 {
				buf = append(buf, p.lum[i])
			}
		}
		return middle(buf)
	}
	for q := range s.tiles[t].rims {
		if v := mid(s.tiles[t].rims[q]) - mid(s.tiles[t].quarters[q].px); !math.IsNaN(v) {
			d = append(d, v)
		}
	}
	if len(d) < 4 {
		return 0
	}
	slices.Sort(d)
	return max(d[1], -d[2], 0)
}

// seen is the mean likeness of the best two thirds of the sides of a tile's surroundings.
func (s *Surface) seen(p *planes, t int) float64 {
	r := make([]float64, 0, sides)
	for _, px := range s.tiles[t].sides {
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
