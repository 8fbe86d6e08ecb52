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

// shot is what compare has of a photo besides its records.
type shot struct {
	looks []look       // a tile
	shade [][3]float64 // lights of cast shadows
	pale  bool         // its colours have faded, or were never there: a print
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

// A tile whose light agrees with its joint's within calm, log units on every channel, shows light and nothing else: scale,
// fade and loss change a glaze otherwise than a joint. From calmEnough of those on, they tell how bright the light is.
const (
	calm       = 0.2
	calmEnough = 8
	brighter   = 1.25 // how much brighter than those a place may be
)

// dark is the CIELAB L* of a glaze under which neither light nor fade can be told from the thinnest scale.
const dark = 30

// lightsAt gathers the lights around a tile from what is in plain sight.
func (s *Surface) lightsAt(t int, ev []Evidence, p *shot) *lights {
	seen := p.looks
	gains := make([][3]float64, 0, 2*hoodSize)
	var steady []float64
	used := 0
	for _, u := range s.lay.hood[t] {
		if used == hoodSize {
			break
		}
		if !ev[u].inSight() {
			continue
		}
		used++
		glaze, joint := sample{seen[u].all, s.tiles[u].colour}, sample{seen[u].ring, s.tiles[u].ring}
		for _, a := range [2]sample{glaze, joint} {
			if a.ok() {
				gains = append(gains, a.gain())
			}
		}
		if glaze.ok() && joint.ok() && agree(glaze.gain(), joint.gain(), calm) {
			steady = append(steady, level(glaze.gain()), level(joint.gain()))
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
	if len(steady) >= 2*calmEnough && !p.pale && labOf(s.tiles[t].colour).L >= dark {
		// what is brighter is whitened, or made anew
		most := quantile(steady, 0.95) * brighter * brighter * brighter
		gains, ring, sides = upTo(gains, most), upTo(ring, most), upTo(sides, most)
	}
	l := newLights(gains, ring, sides)
	l.shade = p.shade
	return l
}

// upTo keeps the lights up to a level.
func upTo(gains [][3]float64, most float64) [][3]float64 {
	return slices.DeleteFunc(gains, func(g [3]float64) bool { return level(g) > most })
}

// compare sets a tile's colours against its own glaze and against the bed, under the lights seen around it.
func (s *Surface) compare(t int, ev []Evidence, p *shot) {
	seen := p.looks
	e, me, ref := &ev[t], &seen[t], &s.tiles[t]
	e.Change, e.Clean, e.Bed, e.Joint, e.Contrast = math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN()
	l := s.lightsAt(t, ev, p)
	if len(l.around) == 0 && len(l.ring) == 0 {
		return
	}
	if (sample{me.all, ref.colour}).ok() {
		var g [3]float64
		e.Change, e.Alpha, g = changed(me.all, ref, l)
		e.Clean, e.Foreign = cleanest(me.cells, ref.cells, l)
		if f, ok := s.fade(t, ev, seen); ok && (e.Change > fadeFrom || e.Clean > fadeFrom) {
			l := l.times(f)
			if d, a, h := changed(me.all, ref, l); d < e.Change {
				e.Change, e.Alpha, g = d, a, h
			}
			clean, alien := cleanest(me.cells, ref.cells, l)
			e.Clean, e.Foreign = math.Min(e.Clean, clean), e.Foreign&alien
		}
		e.Thin, e.Deep = covered(me.cells, ref.cells, g)
		_, e.Thick = explain(me.all, l.middle, &ref.under, len(ref.under)-1)
		e.Bed = s.toBed(t, l, ev, seen)
		hue, shade := l.evened(me.cells)
		e.Uneven, e.Patchy = math.Min(e.Uneven, hue-s.tiles[t].spread), math.Min(e.Patchy, shade)
	}
	if (sample{me.ring, ref.ring}).ok() {
		e.Joint = (&lights{around: l.around, shade: l.shade}).least(func(g [3]float64) float64 {
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

// changed is how far a tile's colour lies from its own glaze under scale, and the opacity and the light that explain it
// best.
func changed(now [3]float64, ref *refTile, l *lights) (change, alpha float64, light [3]float64) {
	best := math.Inf(1)
	change = l.least(func(g [3]float64) float64 {
		d, a := explain(now, g, &ref.under, len(ref.under)-1)
		if d < best {
			best, alpha, light = d, a, g
		}
		return d
	})
	return change, alpha, light
}

// covered is the opacity of scale on a tile's least and most covered parts, in a light.
func covered(now [][3]float64, ref []cell, g [3]float64) (thin, deep float64) {
	v := make([]float64, 0, len(now))
	for c := range now {
		if !math.IsNaN(now[c][0]) && !math.IsNaN(ref[c].colour[0]) {
			_, a := explain(now[c], g, &ref[c].under, len(ref[c].under)-1)
			v = append(v, a)
		}
	}
	return quantile(v, 0.2), quantile(v, 0.8)
}

// One glaze fades alike wherever it is. fadeFrom is the difference from which on that is asked for, fadeEnough how many
// tiles of the glaze have to tell, fadeSpread how far half of them may differ and fadeMost how far a glaze may fade, log
// units a channel.
const (
	fadeFrom   = 2
	fadeEnough = 5
	fadeSpread = 0.1
	fadeMost   = 0.7
)

// fade is what became of the other tiles of a tile's glaze beyond the light on their joints, as a light.
func (s *Surface) fade(t int, ev []Evidence, seen []look) (f [3]float64, ok bool) {
	if labOf(s.tiles[t].colour).L < dark {
		return f, false
	}
	var v [3][]float64
	for _, u := range s.alike[t] {
		glaze, joint := sample{seen[u].all, s.tiles[u].colour}, sample{seen[u].ring, s.tiles[u].ring}
		if !ev[u].inSight() || !glaze.ok() || !joint.ok() {
			continue
		}
		g, j := glaze.gain(), joint.gain()
		for c := range v {
			v[c] = append(v[c], math.Log(g[c]/j[c]))
		}
	}
	if len(v[0]) < fadeEnough {
		return f, false
	}
	for c := range f {
		m := median(v[c])
		for i := range v[c] {
			v[c][i] = math.Abs(v[c][i] - m)
		}
		if math.Abs(m) > fadeMost || median(v[c]) > fadeSpread {
			return f, false
		}
		f[c] = math.Exp(m)
	}
	return f, true
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
	was := labOf(s.tiles[t].ring)
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
		d := kth(v, len(v)/10)
		for _, g := range slices.Concat(l.ring, l.sides) {
			d = math.Min(d, bedApart(undo(now, g).Lab(), was))
		}
		for _, g := range l.shade {
			u := undo(now, g).Lab()
			dl, da, db := (u.L-was.L)/2, u.A-was.A, u.B-was.B
			d = math.Min(d, math.Sqrt(dl*dl+da*da+db*db))
		}
		return d
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

// hueNoise is the step of colour that shading and blur put on any outline, log units of a ratio of channels. Things in
// front stay under it in 95 of 100 cases (rendered scenes).
const hueNoise = 0.15

// outline is the step of brightness or colour at a tile's outline that three of four sides share, log units: a bed or
// another glaze lies all darker or all brighter than the joint, or all of another hue, the inside of what stands in front
// has no step there.
func (s *Surface) outline(p *planes, t int) float64 {
	most := 0.0
	d := make([]float64, 0, 4)
	var buf []float32
	for k, v := range [3][]float32{p.lum, p.rg, p.bg} {
		if k > 0 && p.mono {
			break
		}
		mid := func(px []int32) float64 {
			buf = buf[:0]
			for _, i := range px {
				if p.flags[i]&blind == 0 {
					buf = append(buf, v[i])
				}
			}
			return middle(buf)
		}
		d = d[:0]
		for q := range s.tiles[t].rims {
			if x := mid(s.tiles[t].rims[q]) - mid(s.tiles[t].quarters[q].px); !math.IsNaN(x) {
				d = append(d, x)
			}
		}
		if len(d) < 4 {
			return 0
		}
		slices.Sort(d)
		x := max(d[1], -d[2])
		if k > 0 {
			x -= hueNoise
		}
		most = max(most, x)
	}
	return most
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
