package demo

import "math"

// growth holds where scale comes and how its edge runs, for every texel; it depends on no date.
type growth struct {
	wall  *wall
	pull  []float32 // 0 to 1: how much mineral water brings here
	halo  []float32 // 0 to 1: the broad surroundings of the seeps
	grain []float32 // about 0 to 1: the ragged threshold at millimetres
}

// sprout lays seeps along the joints, with drips below each, tide lines, and the grain of the crust.
func sprout(w *wall) *growth {
	n := w.w * w.h
	g := &growth{wall: w, pull: make([]float32, n), halo: make([]float32, n), grain: make([]float32, n)}
	s := w.scene
	for k := 0; k < s.seeps; k++ {
		c := w.cells[int(hash(s.seed+80, k, 0)%uint64(len(w.cells)))].centre
		g.spread(c, 70+90*unit(s.seed+80, k, 1), 0.45+0.4*unit(s.seed+80, k, 2))
		for d, many := 0, 3+int(hash(s.seed+80, k, 3)%6); d < many; d++ {
			at := pt{c.u + 75*signed(s.seed+81, k, d), c.v + 30*signed(s.seed+82, k, d)}
			g.drip(at, uint64(k*16+d))
		}
	}
	for k := 0; k < 24; k++ { // single drips from single bad joints
		c := w.cells[int(hash(s.seed+83, k, 0)%uint64(len(w.cells)))]
		g.drip(pt{c.centre.u + c.reach*signed(s.seed+83, k, 1), c.centre.v + c.reach}, uint64(1000+k))
	}
	rows(w.h, func(y int) {
		for x := 0; x < w.w; x++ {
			k, p := y*w.w+x, w.at(x, y)
			if w.cover[k] == 0 && !within(p, s.panel) {
				g.pull[k], g.halo[k] = 0, 0
				continue
			}
			pull := float64(g.pull[k])
			for i, t := range s.tides {
				d := p.v - t.level - t.slope*p.u - 16*(fbm(s.seed+84+uint64(i), p.u/85, 3.5, 3)-0.5)
				a := t.strength * step(0.12, 0.85, fbm(s.seed+86+uint64(i), p.u/140, 9.5, 3))
				pull = math.Max(pull, a*math.Exp(-d*d/(t.height*t.height)))
				if d > 0 { // splash below the level
					pull = math.Max(pull, 0.45*a*math.Exp(-d/40))
				}
			}
			patch := fbm(s.seed+88, p.u/130, p.v/110, 3)
			lowness := 0.6 + 0.5*(p.v+520)/1040
			pull = math.Max(pull, step(0.52, 0.80, patch)*0.66*lowness)                           // splashed patches
			pull += 0.16 * step(0.4, 0.7, patch) * math.Exp(-math.Max(float64(w.edge[k]), 0)/3.2) // rims first
			g.pull[k] = float32(math.Min(pull, 1.1))
			fine := fbm(s.seed+90, p.u/7.5, p.v/10, 4)
			g.grain[k] = float32(clamp(0.5+1.9*(fine-0.5), 0, 1))
		}
	})
	return g
}

// over calls f for the texels within a box of wall points.
func (w *wall) over(lo, hi pt, f func(k int, p pt)) {
	x0, y0 := w.texel(lo)
	x1, y1 := w.texel(hi)
	for y := max(int(y0), 0); y <= min(int(y1)+1, w.h-1); y++ {
		for x := max(int(x0), 0); x <= min(int(x1)+1, w.w-1); x++ {
			f(y*w.w+x, w.at(x, y))
		}
	}
}

// spread wets the surroundings of a seep.
func (g *growth) spread(c pt, radius, strength float64) {
	r := 2.2 * radius
	g.wall.over(pt{c.u - r, c.v - r}, pt{c.u + r, c.v + r}, func(k int, p pt) {
		d := math.Hypot(p.u-c.u, (p.v-c.v)*0.75) / radius
		h := strength * math.Exp(-d*d)
		g.halo[k] = float32(math.Max(float64(g.halo[k]), h))
		g.pull[k] = float32(math.Max(float64(g.pull[k]), 0.62*h))
	})
}

// drip runs down from a point, wandering, thinning and widening.
func (g *growth) drip(at pt, n uint64) {
	seed := g.wall.scene.seed + 5000 + n*7
	length := 60 + 330*unit(seed, 1, 1)*unit(seed, 1, 2)
	width := 4 + 8*unit(seed, 1, 3)
	strength := 0.6 + 0.45*unit(seed, 1, 4)
	g.wall.over(pt{at.u - 60, at.v - 5}, pt{at.u + 60, at.v + length}, func(k int, p pt) {
		d := p.v - at.v
		if d < 0 || d > length {
			return
		}
		path := at.u + 34*(fbm(seed+1, d/95, 0.5, 2)-0.5)
		wide := width * (0.7 + 0.6*d/length + 0.5*(fbm(seed+2, d/22, 1.5, 2)-0.5))
		x := (p.u - path) / wide
		a := strength * step(0, 9, d) * math.Sqrt(1-d/length) * math.Exp(-x*x)
		g.pull[k] = float32(math.Max(float64(g.pull[k]), a))
	})
}

// amount turns years without cleaning into the strength of growth: fast at first, slower later.
func amount(years float64) float64 { return 0.62 * math.Pow(math.Max(years, 0), 0.72) }

// opacity returns α of a texel after growth of the given strength.
func (g *growth) opacity(k int, strength float64) float64 {
	grain := float64(g.grain[k])
	m := strength*float64(g.pull[k]) - 0.16 - 0.62*grain
	crust := 0.92 * step(-0.04, 0.62, m) * (1 - 0.3*grain)
	veil := 0.20 * step(0.1, 1.1, strength*float64(g.halo[k])) * (1 - 0.7*grain)
	return 1 - (1-crust)*(1-veil)
}

// cover returns α of every texel, years after the reference; cleaned zones were washed down cleanedAt years after it.
// Washing leaves patches and lets what follows grow on from nothing.
func (g *growth) cover(years, cleanedAt float64) []float32 {
	w := g.wall
	out := make([]float32, w.w*w.h)
	now, then, since := amount(years), amount(cleanedAt), amount(years-cleanedAt)
	rows(w.h, func(y int) {
		for x := 0; x < w.w; x++ {
			k := y*w.w + x
			if g.pull[k] == 0 && g.halo[k] == 0 {
				continue
			}
			if years >= cleanedAt {
				if p := w.at(x, y); w.washed(p) {
					left := 0.04 + 0.5*step(0.50, 0.72, fbm(w.scene.seed+92, p.u/24, p.v/30, 3))
					out[k] = float32(math.Max(left*g.opacity(k, then), g.opacity(k, since)))
					continue
				}
			}
			out[k] = float32(g.opacity(k, now))
		}
	})
	return out
}

// washed reports whether a point lies in a zone that the cleaning reached.
func (w *wall) washed(p pt) bool {
	for i := range w.scene.zones {
		if z := &w.scene.zones[i]; z.cleaned && within(p, z.ring) {
			return true
		}
	}
	return false
}
