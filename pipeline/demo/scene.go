package demo

import "math"

// zone is an area to report on, as the survey's owner would draw it.
type zone struct {
	id, title, kind string // kind as the truth file calls it: coloured, near_black, white_grey
	ring            []pt
	cleaned         bool // washed down in the one cleaning on record
}

// mark is a surface that does not change: stone or steel.
type mark struct {
	id   string
	ring []pt
}

// ruler is a line of known length on the surface.
type ruler struct{ a, b pt }

func (r ruler) mm() float64 { return math.Hypot(r.b.u-r.a.u, r.b.v-r.a.v) }

// tide is a level where water stood: a line along the wall, v = level + slope*u.
type tide struct{ level, slope, height, strength float64 }

// scene is one view: the wall's shape, what is on it and what surrounds it.
type scene struct {
	id, title, prefix string
	seed              uint64
	surface           surface
	panel             []pt
	lay               func() []cell
	glazeAt           func(p pt, i int) int
	lines             []line
	around            func(p pt) rgb
	zones             []zone
	controls          []mark
	rulers            []ruler
	tides             []tide
	seeps             int
	outlines          bool // the survey's SVG holds the tiles' outlines
	odd               int  // visit from which one tile is of another stock, -1 = never
	oddZone           int
	losses            []int // tiles lost before each visit
}

func box(u0, v0, u1, v1 float64) []pt { return []pt{{u0, v0}, {u1, v0}, {u1, v1}, {u0, v1}} }

// stone is dressed sandstone in blocks; w is a block's length, mm.
func stone(seed uint64, p pt, w float64, base rgb) rgb {
	k := math.Floor(p.u / w)
	c := base.times(0.90 + 0.2*unit(seed, int(k), 1))
	c = c.times(0.74 + 0.40*fbm(seed+1, p.u/90, p.v/34, 4) + 0.34*(fbm(seed+2, p.u/4, p.v/4, 3)-0.5))
	if v := value(seed+4, p.u/5, p.v/4); v > 0.93 { // pits
		c = c.times(0.72)
	}
	if d := math.Abs(p.u-k*w) + 2*(fbm(seed+5, p.v/12, 2, 2)-0.5); d < 3 || w-d < 3 {
		c = c.times(0.5 + 0.4*fbm(seed+6, p.u/7, p.v/16, 2))
	}
	return c
}

// render is lime plaster, with the stains of years.
func render(seed uint64, p pt, base rgb) rgb {
	return base.times(0.74 + 0.36*fbm(seed, p.u/170, p.v/210, 4) + 0.16*(fbm(seed+3, p.u/6, p.v/6, 3)-0.5))
}

// setts are small paving blocks.
func setts(seed uint64, p pt, base rgb) rgb {
	r := math.Floor(p.v / 46)
	u := p.u + 31*unit(seed, int(r), 3)
	k := math.Floor(u / 84)
	c := base.times(0.72 + 0.5*unit(seed, int(k), int(r)))
	c = c.times(0.80 + 0.4*fbm(seed+2, p.u/5, p.v/5, 3))
	if u-k*84 < 6 || p.v-r*46 < 5 {
		c = c.times(0.45)
	}
	return c
}

var (
	sandstone = rgb{0.44, 0.385, 0.30}
	greystone = rgb{0.30, 0.295, 0.285}
	lime      = rgb{0.55, 0.46, 0.35}
	brushed   = rgb{0.36, 0.365, 0.375}
	cobble    = rgb{0.20, 0.19, 0.18}
)

// plate is a brushed steel plate with two bolts.
func plate(seed uint64, p pt, ring []pt) rgb {
	lo, hi := bounds(ring)
	c := brushed.times(0.95 + 0.10*fbm(seed, p.u/60, p.v/1.2, 2))
	for _, b := range []pt{{lo.u + 14, (lo.v + hi.v) / 2}, {hi.u - 14, (lo.v + hi.v) / 2}} {
		if d := math.Hypot(p.u-b.u, p.v-b.v); d < 6 {
			return c.times(0.55 + 0.5*step(2, 6, d))
		}
	}
	return c
}

// scenes returns the survey's two views.
func scenes() []*scene { return []*scene{kiteWall(), stairWall()} }

// kiteWall is the concave back wall: kites over barley, cogwheels on slate, chalk above and dark umber below.
func kiteWall() *scene {
	s := &scene{
		id: "kite-wall", title: "Kite wall", prefix: "k", seed: 1000,
		surface: surface{radius: 5200, hollow: true}, panel: box(-800, -520, 800, 520),
		seeps: 13, outlines: true, odd: 3, oddZone: 1, losses: []int{0, 1, 1, 2, 2, 3},
		tides: []tide{{level: 402, height: 11, strength: 1.1}, {level: 338, height: 7, strength: 0.8}, {level: 462, height: 15, strength: 0.7}},
	}
	s.lay = func() []cell { return bond(s.seed, s.panel, 70, 47, 5.5) }
	kites := []kite{{pt{-520, -120}, 330, 250, 0.45}, {pt{-150, 60}, 230, 180, -0.35}}
	cogs := []cog{{pt{330, -60}, 215, 12, 0.1}, {pt{636, 145}, 118, 8, 0.3}}
	for _, k := range kites {
		s.lines = append(s.lines, k.lines()...)
	}
	for _, g := range cogs {
		s.lines = append(s.lines, g.lines()...)
	}
	s.glazeAt = func(p pt, i int) int {
		waver := 130 * (fbm(s.seed+5, p.u/210, p.v/210, 3) - 0.5)
		for n, k := range kites {
			if part := k.sail(p); part > 0 {
				return []int{madder, chalk + 1, madder}[part-1+n]
			}
		}
		for n, g := range cogs {
			switch g.part(p) {
			case 1:
				return family(s.seed, barley+n, 3, 0.5, i)
			case 2:
				return umber + 2
			case 3:
				return slate
			}
		}
		switch {
		case 40*signed(s.seed+6, i, 1)+p.v+0.5*waver > 315:
			return family(s.seed, umber, 3, (520-p.v)/260, i)
		case 34*signed(s.seed+6, i, 1)+p.v+0.6*waver < -372:
			return family(s.seed, chalk, 3, 0.5, i)
		case 110*signed(s.seed+6, i, 2)+p.u+waver > 30:
			return family(s.seed, slate, 4, 0.55-0.5*p.v/520-0.25*math.Sin(p.u/180), i)
		}
		return family(s.seed, barley, 4, 0.50+0.4*math.Sin(p.u/230+p.v/310), i)
	}
	steel := box(838, 120, 902, 260)
	s.around = func(p pt) rgb {
		switch {
		case within(p, steel):
			return plate(s.seed+70, p, steel)
		case p.v < -520 && p.v > -645:
			return stone(s.seed+71, p, 415, sandstone)
		case p.v > 520 && p.v < 640:
			return stone(s.seed+72, pt{p.u + 200, p.v}, 500, greystone)
		case p.v >= 640:
			return setts(s.seed+73, p, cobble)
		case p.v <= -645:
			return render(s.seed+74, p, lime)
		case math.Abs(p.u) < 925:
			return stone(s.seed+75, pt{p.v, p.u}, 260, sandstone)
		}
		return render(s.seed+76, p, lime)
	}
	s.zones = []zone{
		{id: "chalk-band", title: "Chalk band", kind: "white_grey", ring: box(-796, -516, 796, -380)},
		{id: "kite-field", title: "Kite field", kind: "coloured", ring: []pt{{-796, -372}, {20, -372}, {20, 292}, {-796, 292}}},
		{id: "cog-field", title: "Cog field", kind: "coloured", ring: []pt{{24, -372}, {796, -372}, {796, 292}, {24, 292}}, cleaned: true},
		{id: "mill-dark", title: "Mill dark", kind: "near_black", ring: box(-796, 300, 796, 516)},
	}
	s.controls = []mark{
		{"coping-left", box(-700, -625, -440, -545)}, {"coping-right", box(450, -625, 800, -545)},
		{"plinth", box(-160, 545, 260, 615)}, {"pilaster-left", box(-905, -180, -825, 60)}, {"steel-plate", box(856, 128, 884, 252)},
	}
	s.rulers = []ruler{{pt{-780, -440}, pt{-180, -440}}, {pt{-700, 240}, pt{-700, -160}}, {pt{120, 250}, pt{700, 250}}, {pt{760, -300}, pt{760, 60}}, {pt{-300, 480}, pt{500, 480}}}
	return s
}

// rake is the slope of the stair's string on the second view, v at u.
func rake(u float64) float64 { return 540 - (u+820)*480/1640 }

// stairWall is the wall beside the water stair, laid from irregular pieces down to a raking string of stone.
func stairWall() *scene {
	s := &scene{
		id: "stair-wall", title: "Stair wall", prefix: "s", seed: 2000,
		surface: surface{radius: 7600}, panel: []pt{{-820, -560}, {820, -560}, {820, rake(820)}, {-820, rake(-820)}},
		seeps: 15, odd: -1, losses: []int{0, 0, 1, 1, 2, 2},
		tides: []tide{{level: rake(0) - 62, slope: -480.0 / 1640, height: 14, strength: 1.0}, {level: rake(0) - 118, slope: -480.0 / 1640, height: 9, strength: 0.65}},
	}
	s.lay = func() []cell { return broken(s.seed, s.panel, 66, 6) }
	g := cog{pt{-410, 20}, 205, 10, 0.2}
	kites := []kite{{pt{330, -250}, 290, 220, -0.5}, {pt{640, -90}, 170, 130, 0.3}}
	s.lines = g.lines()
	for _, k := range kites {
		s.lines = append(s.lines, k.lines()...)
	}
	s.glazeAt = func(p pt, i int) int {
		waver := 150 * (fbm(s.seed+5, p.u/190, p.v/190, 3) - 0.5)
		for n, k := range kites {
			if part := k.sail(p); part > 0 {
				return []int{barley + 3, madder, barley + 3}[part-1+n]
			}
		}
		switch g.part(p) {
		case 1:
			return family(s.seed, slate, 3, 0.4, i)
		case 2:
			return madder
		case 3:
			return barley + 3
		}
		switch {
		case 35*signed(s.seed+6, i, 1)+p.v-rake(p.u)+0.4*waver > -165:
			return family(s.seed, umber, 3, 0.9-(p.v-rake(p.u)+165)/165, i)
		case 34*signed(s.seed+6, i, 1)+p.v+0.7*waver < -425:
			return family(s.seed, chalk, 3, 0.5, i)
		case 120*signed(s.seed+6, i, 2)+p.u+waver > 0:
			return family(s.seed, slate, 4, 0.5+0.35*math.Sin(p.u/210-p.v/260), i)
		}
		return family(s.seed, barley, 4, 0.45+0.4*math.Sin(p.u/260-p.v/240), i)
	}
	steel := box(-640, -672, -500, -604)
	s.around = func(p pt) rgb {
		below := p.v - rake(p.u)
		switch {
		case within(p, steel):
			return plate(s.seed+70, p, steel)
		case p.v < -560 && p.v > -705:
			return stone(s.seed+71, p, 460, sandstone)
		case p.v <= -705:
			return setts(s.seed+74, pt{p.v * 0.8, p.u * 0.55}, rgb{0.33, 0.20, 0.14})
		case below > 0 && below < 105:
			return stone(s.seed+72, pt{p.u, below * 2}, 380, sandstone)
		case below >= 105:
			r := math.Floor(p.v / 150)
			c := stone(s.seed+73+uint64(int64(r)+20), pt{p.u + 170*r, p.v}, 345, greystone)
			if p.v-150*r < 6 {
				c = c.times(0.5)
			}
			return c
		case math.Abs(p.u) < 940:
			return stone(s.seed+75, pt{p.v, p.u}, 300, sandstone)
		}
		return render(s.seed+76, p, lime)
	}
	s.zones = []zone{
		{id: "cloud-band", title: "Cloud band", kind: "white_grey", ring: box(-816, -556, 816, -440)},
		{id: "lower-flight", title: "Lower flight", kind: "coloured", ring: []pt{{-816, -430}, {-5, -430}, {-5, rake(-5) - 165}, {-816, rake(-816) - 165}}, cleaned: true},
		{id: "upper-flight", title: "Upper flight", kind: "coloured", ring: []pt{{5, -430}, {816, -430}, {816, rake(816) - 165}, {5, rake(5) - 165}}},
		{id: "race-edge", title: "Edge of the race", kind: "near_black", ring: []pt{{-816, rake(-816) - 155}, {816, rake(816) - 155}, {816, rake(816) - 4}, {-816, rake(-816) - 4}}},
	}
	s.controls = []mark{
		{"coping-left", box(-430, -690, -60, -575)}, {"coping-right", box(300, -690, 690, -575)},
		{"string", []pt{{-330, rake(-330) + 18}, {30, rake(30) + 18}, {30, rake(30) + 85}, {-330, rake(-330) + 85}}},
		{"pilaster-right", box(840, -330, 920, -80)}, {"steel-plate", box(-618, -664, -522, -612)},
	}
	s.rulers = []ruler{{pt{-760, -500}, pt{-160, -500}}, {pt{-760, 300}, pt{-760, -100}}, {pt{100, -380}, pt{690, -380}}, {pt{780, -40}, pt{780, -400}}, {pt{-300, -400}, pt{-300, 20}}, {pt{-700, 380}, pt{-700, 500}}}
	return s
}
