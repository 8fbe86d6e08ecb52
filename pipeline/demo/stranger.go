package demo

import (
	"image"
	"math"
)

// stranger takes the photo that does not belong: a brick yard wall with a plank door and a bicycle wheel against it.
func stranger(w, h int) *image.RGBA {
	pix := make([]float32, 3*w*h)
	scale := 1600 / float64(w)
	rows(h, func(y int) {
		for x := 0; x < w; x++ {
			p := pt{float64(x)*scale + 0.06*float64(y)*scale, float64(y)*scale - 0.04*float64(x)*scale}
			c := yard(p)
			for j := range c {
				pix[3*(y*w+x)+j] = float32(c[j] * 0.8)
			}
		}
	})
	l := light{flare: 0.006, blur: 0.7, noise: 0.011}
	return develop(&desk{}, pix, w, h, &l, 4242)
}

func yard(p pt) rgb {
	switch {
	case p.v > 985:
		return rgb{0.16, 0.15, 0.13}.times(0.6 + 0.8*fbm(300, p.u/9, p.v/5, 4))
	case math.Abs(math.Hypot(p.u-1250, p.v-800)-180) < 8, math.Hypot(p.u-1250, p.v-800) < 180 && spoke(p.u-1250, p.v-800):
		return rgb{0.03, 0.03, 0.032}
	case within(p, box(480, 330, 860, 990)):
		k := math.Floor(p.u / 76)
		c := rgb{0.13, 0.20, 0.15}.times(0.75 + 0.4*unit(301, int(k), 0) + 0.3*(fbm(302, p.u/3, p.v/90, 3)-0.5))
		if p.u-76*k < 4 || math.Abs(p.v-470) < 3 || math.Hypot(p.u-815, p.v-690) < 13 {
			return c.times(0.3)
		}
		return c
	case within(p, box(450, 290, 890, 335)):
		return rgb{0.42, 0.40, 0.36}.times(0.8 + 0.4*fbm(303, p.u/6, p.v/6, 3))
	}
	r := math.Floor(p.v / 39)
	u := p.u + 56*math.Mod(math.Abs(r), 2)
	k := math.Floor(u / 112)
	if u-112*k < 8 || p.v-39*r < 8 {
		return rgb{0.36, 0.33, 0.28}.times(0.75 + 0.5*fbm(304, p.u/4, p.v/4, 3))
	}
	warm := unit(305, int(k), int(r))
	return rgb{0.30, 0.115, 0.065}.mix(rgb{0.17, 0.075, 0.06}, warm).times(0.65 + 0.7*fbm(306, p.u/8, p.v/8, 4))
}

func spoke(u, v float64) bool {
	a := math.Atan2(v, u) * 14 / math.Pi
	return math.Abs(a-math.Round(a))*math.Hypot(u, v) < 7
}
