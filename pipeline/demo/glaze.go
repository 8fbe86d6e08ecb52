package demo

import (
	"math"

	"tilelapse/measure/colour"
)

// rgb is linear light with sRGB primaries, or a reflectance under the light's own white.
type rgb [3]float64

func (c rgb) times(s float64) rgb { return rgb{c[0] * s, c[1] * s, c[2] * s} }
func (c rgb) filter(f rgb) rgb    { return rgb{c[0] * f[0], c[1] * f[1], c[2] * f[2]} }
func (c rgb) plus(o rgb) rgb      { return rgb{c[0] + o[0], c[1] + o[1], c[2] + o[2]} }
func (c rgb) mix(o rgb, t float64) rgb {
	return rgb{lerp(c[0], o[0], t), lerp(c[1], o[1], t), lerp(c[2], o[2], t)}
}

// glaze is a recipe of the invented workshop: its intended colour, CIELAB under D65.
type glaze struct {
	name  string
	lab   colour.Lab
	fades bool // loses strength with the years
}

// The workshop's palette, invented. Order matters: the seams below count on dark to light within a family.
var glazes = []glaze{
	{"barley-1", colour.Lab{L: 50, A: 11, B: 46}, false},
	{"barley-2", colour.Lab{L: 61, A: 11, B: 54}, false},
	{"barley-3", colour.Lab{L: 72, A: 5, B: 55}, false},
	{"barley-4", colour.Lab{L: 82, A: 0, B: 40}, false},
	{"slate-1", colour.Lab{L: 30, A: -1, B: -18}, true},
	{"slate-2", colour.Lab{L: 40, A: -4, B: -23}, true},
	{"slate-3", colour.Lab{L: 52, A: -6, B: -22}, true},
	{"slate-4", colour.Lab{L: 66, A: -5, B: -15}, true},
	{"chalk-1", colour.Lab{L: 85, A: 0, B: 5}, false},
	{"chalk-2", colour.Lab{L: 89, A: -1, B: 3}, false},
	{"chalk-3", colour.Lab{L: 92, A: -1, B: 4}, false},
	{"umber-1", colour.Lab{L: 9, A: 2, B: 2}, false},
	{"umber-2", colour.Lab{L: 13, A: 4, B: 5}, false},
	{"umber-3", colour.Lab{L: 18, A: 6, B: 9}, false},
	{"madder-1", colour.Lab{L: 41, A: 40, B: 28}, false},
}

const (
	barley = 0
	slate  = 4
	chalk  = 8
	umber  = 11
	madder = 14
)

// strange is the glaze of the one tile that was put in from another stock.
var strange = reflectance(colour.Lab{L: 47, A: -32, B: 9})

// faded is where the slate glazes go as they lose their colour, and fadePerYear how fast, as a share of the way.
var faded = reflectance(colour.Lab{L: 74, A: -1, B: 0})

const fadePerYear = 0.032

// deposit is the local scale: off white, a little warm.
var deposit = reflectance(colour.Lab{L: 90, A: 0.5, B: 4.5})

func reflectance(l colour.Lab) rgb {
	c := l.RGB()
	return rgb{math.Max(c[0], 0.002), math.Max(c[1], 0.002), math.Max(c[2], 0.002)}
}

// tone returns the reflectance of tile number i fired with a glaze: kilns never give the same colour twice.
func tone(seed uint64, g, i int) rgb {
	l := glazes[g].lab
	spread := 0.35 + l.L/70
	l.L += 3.0 * spread * signed(seed, i, 1)
	l.A += 1.3 * signed(seed, i, 2)
	l.B += 2.0 * signed(seed, i, 3)
	return reflectance(l)
}

// line is a brush stroke along points, mm.
type line struct {
	path  []pt
	width float64
	glaze int
	box   [2]pt
}

func stroke(width float64, g int, path ...pt) line {
	lo, hi := bounds(path)
	m := width
	return line{path, width, g, [2]pt{{lo.u - m, lo.v - m}, {hi.u + m, hi.v + m}}}
}

// cover returns how much of a point the stroke covers, 0 to 1: brushes thin out and wander.
func (l *line) cover(p pt) float64 {
	if p.u < l.box[0].u || p.u > l.box[1].u || p.v < l.box[0].v || p.v > l.box[1].v {
		return 0
	}
	best := math.Inf(1)
	for i := 0; i+1 < len(l.path); i++ {
		a, b := l.path[i], l.path[i+1]
		du, dv := b.u-a.u, b.v-a.v
		t := clamp(((p.u-a.u)*du+(p.v-a.v)*dv)/(du*du+dv*dv), 0, 1)
		best = math.Min(best, math.Hypot(p.u-a.u-t*du, p.v-a.v-t*dv))
	}
	w := l.width * (0.35 + 0.3*fbm(771, p.u/14, p.v/14, 2))
	return 1 - step(w-0.8, w+0.8, best)
}

// family picks one of n glazes from first on by a smooth strength in [0,1] with the painter's freedom.
func family(seed uint64, first, n int, strength float64, i int) int {
	k := int(math.Floor(strength*float64(n) + 0.8*signed(seed, i, 9)))
	return first + min(max(k, 0), n-1)
}

// kite is a flying kite: four corners around its crossing, a spar each way and a tail.
type kite struct {
	at           pt
	long, across float64 // mm
	lean         float64 // radians
}

func (k kite) turn(a, b float64) pt {
	s, c := math.Sin(k.lean), math.Cos(k.lean)
	return pt{k.at.u + a*c - b*s, k.at.v + a*s + b*c}
}

func (k kite) ring() []pt {
	return []pt{k.turn(0, -0.4*k.long), k.turn(0.5*k.across, 0), k.turn(0, 0.6*k.long), k.turn(-0.5*k.across, 0)}
}

// sail returns which half of the kite a point lies in: 0 = none, 1, 2.
func (k kite) sail(p pt) int {
	if !within(p, k.ring()) {
		return 0
	}
	s, c := math.Sin(k.lean), math.Cos(k.lean)
	a, b := (p.u-k.at.u)*c+(p.v-k.at.v)*s, -(p.u-k.at.u)*s+(p.v-k.at.v)*c
	if (a > 0) == (b > 0) {
		return 1
	}
	return 2
}

func (k kite) lines() []line {
	r := k.ring()
	tail := []pt{r[2]}
	for i := 1; i <= 14; i++ {
		t := float64(i)
		tail = append(tail, k.turn(22*math.Sin(t*0.9)*math.Min(1, t/4), 0.6*k.long+15*t))
	}
	l := []line{
		stroke(9, umber+1, r[0], r[1], r[2], r[3], r[0]),
		stroke(6, umber+1, r[0], r[2]), stroke(6, umber+1, r[1], r[3]),
		stroke(6, umber+1, tail...),
	}
	for i := 4; i < len(tail); i += 4 {
		p := tail[i]
		l = append(l, stroke(13, madder, pt{p.u - 15, p.v - 7}, pt{p.u + 15, p.v + 7}), stroke(13, madder, pt{p.u - 15, p.v + 7}, pt{p.u + 15, p.v - 7}))
	}
	return l
}

// cog is a wooden mill wheel's gear.
type cog struct {
	at     pt
	radius float64 // mm
	teeth  int
	phase  float64
}

// part says what of the wheel a point belongs to: 0 = nothing, 1 = rim and teeth, 2 = hub, 3 = spokes' field.
func (g cog) part(p pt) int {
	r, a := math.Hypot(p.u-g.at.u, p.v-g.at.v)/g.radius, math.Atan2(p.v-g.at.v, p.u-g.at.u)+g.phase
	switch {
	case r < 0.24:
		return 2
	case r < 0.60:
		return 3
	case r < 0.86:
		return 1
	case r < 1.06 && math.Cos(a*float64(g.teeth)) > 0.1:
		return 1
	}
	return 0
}

func (g cog) lines() []line {
	on := func(r, a float64) pt {
		return pt{g.at.u + r*g.radius*math.Cos(a), g.at.v + r*g.radius*math.Sin(a)}
	}
	var outer, inner []pt
	for i := 0; i <= g.teeth*28; i++ {
		a := float64(i) * 2 * math.Pi / float64(g.teeth*28)
		r := 0.86
		if math.Cos((a+g.phase)*float64(g.teeth)) > 0.1 {
			r = 1.06
		}
		outer = append(outer, on(r, a))
		inner = append(inner, on(0.60, a))
	}
	l := []line{stroke(8, umber+1, outer...), stroke(6, umber+1, inner...)}
	for i := 0; i < 6; i++ {
		a := float64(i)*math.Pi/3 + 0.3 - g.phase
		l = append(l, stroke(15, umber+2, on(0.2, a), on(0.62, a)))
	}
	return l
}
