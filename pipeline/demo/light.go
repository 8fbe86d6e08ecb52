package demo

import (
	"math"

	"tilelapse/measure/colour"
)

// light is the weather of one photo. Levels are relative; exposure brings them to the camera's scale.
type light struct {
	name         string
	skyK, sunK   float64 // correlated colour temperature, kelvin
	sky, sun     float64 // share of the light from each on an unshadowed spot
	fromU, fromV float64 // slope that the light comes from: it picks out relief
	gradU, gradV float64 // change of level a metre
	relief       float64
	shadow       func(p pt) float64 // share of the sun that gets through, nil = all
	shadows      []string           // what the truth file calls it
	adapt        float64            // how far the camera's white balance follows the light, 0 to 1
	exposure     float64            // 1 = a white surface in full light just under clipping
	flare        float64            // veiling light in the lens, linear
	blur         float64            // px
	noise        float64            // deviation at white, linear
}

// daylight returns the colour of daylight of a correlated colour temperature, green = 1. The locus of CIE D
// illuminants, CIE 15:2004, 3.1; coefficients from memory, checked by its test against D65's published chromaticity.
func daylight(k float64) rgb {
	var x float64
	if k <= 7000 {
		x = -4.6070e9/(k*k*k) + 2.9678e6/(k*k) + 0.09911e3/k + 0.244063
	} else {
		x = -2.0064e9/(k*k*k) + 1.9018e6/(k*k) + 0.24748e3/k + 0.237040
	}
	y := -3*x*x + 2.870*x - 0.275
	c := colour.XYZ{x / y, 1, (1 - x - y) / y}.RGB()
	return rgb{c[0] / c[1], 1, c[2] / c[1]}
}

// dapple is the shadow of foliage: soft spots of sun.
func dapple(seed uint64) func(p pt) float64 {
	return func(p pt) float64 {
		big := fbm(seed, p.u/420, p.v/420, 2)
		leaves := fbm(seed+1, p.u/62, p.v/62, 3)
		return 1 - step(0.38, 0.62, big)*(1-0.9*step(0.40, 0.60, leaves))
	}
}

// eaves is a roof's edge: everything above a slanting line lies in shadow, with a penumbra.
func eaves(level, slope, soft float64) func(p pt) float64 {
	return func(p pt) float64 { return step(-soft, soft, p.v-level-slope*p.u) }
}

// rail is the shadow of posts and a handrail.
func rail(first, pitch, wide, slope float64) func(p pt) float64 {
	return func(p pt) float64 {
		u := math.Mod(p.u+slope*p.v-first+10*pitch, pitch)
		post := step(wide-12, wide+12, math.Abs(u-pitch/2))
		d := math.Abs(p.v - 0.12*p.u - 150)
		return post * step(10, 28, d)
	}
}

// lean returns the brightness of a facet that leans by (nu, nv) towards the light.
func (l *light) lean(nu, nv float64) float64 {
	return math.Max(0.25, 1+l.relief*(nu*l.fromU+nv*l.fromV))
}

// shine returns what the wall sends to the camera, per texel, interleaved, before exposure.
func (l *light) shine(d *desk, w *wall, g *growth, st *state) []float32 {
	out := room(&d.shine, 3*w.w*w.h)
	sky, sun := daylight(l.skyK).times(l.sky), daylight(l.sunK).times(l.sun)
	seed := w.scene.seed
	rows(w.h, func(y int) {
		for x := 0; x < w.w; x++ {
			k := y*w.w + x
			p := w.at(x, y)
			c, i := w.surfaceAt(st, k, p)
			a := float64(st.alpha[k])
			if a > 0 {
				crust := deposit.times(0.96 + 0.08*float64(g.grain[k]))
				c = c.mix(crust, a)
			}
			nu, nv, deep := w.slope(k, x, y, i >= 0 && st.gone[i])
			if a > 0 && x > 0 && y > 0 { // the crust's own relief
				nu += 1.2 * a * float64(g.grain[k-1]-g.grain[k])
				nv += 1.2 * a * float64(g.grain[k-w.w]-g.grain[k])
			}
			even := (1 + l.gradU*p.u/1000 + l.gradV*p.v/1000) * (0.97 + 0.06*value(seed+97, p.u/500, p.v/500)) * deep
			through := 1.0
			if l.shadow != nil {
				through = l.shadow(p)
			}
			lit := sky.times(even * (1 + 0.3*(l.lean(nu, nv)-1))).plus(sun.times(even * through * l.lean(nu, nv)))
			c = c.filter(lit)
			if i >= 0 && !st.gone[i] {
				c = c.plus(l.gloss(w, i, p, nu, nv, sky, sun.times(through)).times((1 - a) * float64(w.cover[k])))
			}
			for j := range c {
				out[3*k+j] = float32(c[j])
			}
		}
	})
	return out
}

// surfaceAt returns a texel's reflectance without scale on the day, and its tile or -1.
func (w *wall) surfaceAt(st *state, k int, p pt) (rgb, int) {
	c := rgb{float64(w.paint[3*k]), float64(w.paint[3*k+1]), float64(w.paint[3*k+2])}
	i := int(w.id[k])
	if i < 0 {
		return c, i
	}
	switch {
	case st.gone[i]:
		return w.bed(p), i
	case i == st.odd:
		c = strange.times((c[0] + c[1] + c[2]) / (w.tones[i][0] + w.tones[i][1] + w.tones[i][2]))
	case w.fades[i]:
		c = w.weathered(k, c, st.years)
	}
	return c, i
}

// bed is the mortar behind a lost tile: rough, with the marks of the comb.
func (w *wall) bed(p pt) rgb {
	s := w.scene.seed
	comb := math.Sin(p.v/2.6 + 0.25*p.u/2.6 + 9*fbm(s+98, p.u/45, p.v/45, 2))
	return bedTone.times((0.35 + 1.3*fbm(s+99, p.u/5, p.v/5, 4)) * (1 + 0.15*comb))
}

// slope returns which way the surface leans at a texel and how open it lies: rims of tiles are rounded, a gap is a pit.
func (w *wall) slope(k, x, y int, gone bool) (nu, nv, open float64) {
	open = 1
	e := float64(w.edge[k])
	if x == 0 || y == 0 || x == w.w-1 || y == w.h-1 || e < -3 {
		return 0, 0, open
	}
	gu := (float64(w.edge[k+1]) - float64(w.edge[k-1])) / (2 * w.mm)
	gv := (float64(w.edge[k+w.w]) - float64(w.edge[k-w.w])) / (2 * w.mm)
	if math.Abs(gu) > 2 || math.Abs(gv) > 2 {
		return 0, 0, open
	}
	if gone {
		t := math.Exp(-math.Max(e, 0) / 4)
		return 0.8 * t * gu, 0.8 * t * gv, 0.95 - 0.55*t
	}
	if e < 0 {
		return 0, 0, 0.88
	}
	t := 0.45 * math.Exp(-e/2.4)
	return -t * gu, -t * gv, open
}

// gloss is the light a glaze mirrors: a little of the sky all over, and glints of the sun where a pillowed tile faces it.
func (l *light) gloss(w *wall, i int, p pt, nu, nv float64, sky, sun rgb) rgb {
	c := &w.cells[i]
	s := w.scene.seed + 110
	shiny := 0.35 + 0.65*unit(s, i, 1)
	pu := 0.075*(p.u-c.centre.u)/c.reach + 0.030*signed(s, i, 2) + 0.3*nu
	pv := 0.075*(p.v-c.centre.v)/c.reach + 0.030*signed(s, i, 3) + 0.3*nv
	mirror := 0.010 * shiny * (1 - 4*pv + 5*math.Max(-nv, 0) + 0.9*(fbm(s+1, p.u/30, p.v/24, 3)-0.5))
	out := sky.times(math.Max(mirror, 0))
	du, dv := pu-0.10*l.fromU, pv-0.095*l.fromV
	if d := (du*du + dv*dv) / (0.012 * 0.012); d < 12 {
		out = out.plus(sun.times(0.9 * shiny * math.Exp(-d)))
	}
	return out
}
