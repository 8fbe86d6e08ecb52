package colour

import "math"

// CIEDE2000 returns the colour difference ΔE00 of two CIELAB colours, L in [0,100], both under the same white, with
// kL = kC = kH = 1. Symmetric in its arguments; NaN if any component is NaN. Where the two hues differ by exactly 180
// degrees the mean hue is ambiguous and the last bit of the arithmetic decides.
//
// Sharma, Wu, Dalal (2005), Color Res. Appl. 30(1), 21-30, doi:10.1002/col.20070.
func CIEDE2000(p, q Lab) float64 {
	const pow25to7 = 6103515625
	c1, c2 := math.Hypot(p.A, p.B), math.Hypot(q.A, q.B)
	cm := (c1 + c2) / 2
	c7 := math.Pow(cm, 7)
	g := 0.5 * (1 - math.Sqrt(c7/(c7+pow25to7)))
	a1, a2 := (1+g)*p.A, (1+g)*q.A
	c1, c2 = math.Hypot(a1, p.B), math.Hypot(a2, q.B)
	h1, h2 := hue(p.B, a1), hue(q.B, a2)

	dl, dc, dh := q.L-p.L, c2-c1, 0.0
	hm := h1 + h2
	if c1*c2 != 0 {
		d := h2 - h1
		switch {
		case math.Abs(d) <= 180:
			hm = (h1 + h2) / 2
		case h1+h2 < 360:
			hm = (h1 + h2 + 360) / 2
		default:
			hm = (h1 + h2 - 360) / 2
		}
		if d > 180 {
			d -= 360
		} else if d < -180 {
			d += 360
		}
		dh = 2 * math.Sqrt(c1*c2) * sin(d/2)
	}
	lm := (p.L+q.L)/2 - 50
	cm = (c1 + c2) / 2
	t := 1 - 0.17*cos(hm-30) + 0.24*cos(2*hm) + 0.32*cos(3*hm+6) - 0.20*cos(4*hm-63)
	sl := 1 + 0.015*lm*lm/math.Sqrt(20+lm*lm)
	sc := 1 + 0.045*cm
	sh := 1 + 0.015*cm*t
	c7 = math.Pow(cm, 7)
	w := (hm - 275) / 25
	rt := -2 * math.Sqrt(c7/(c7+pow25to7)) * sin(60*math.Exp(-w*w))
	l, c, h := dl/sl, dc/sc, dh/sh
	return math.Sqrt(math.Max(0, l*l+c*c+h*h+rt*c*h))
}

// hue returns the hue angle in degrees, [0, 360), 0 for a neutral.
func hue(b, a float64) float64 {
	if a == 0 && b == 0 {
		return 0
	}
	h := math.Atan2(b, a) * 180 / math.Pi
	if h < 0 {
		h += 360
	}
	return h
}

func sin(deg float64) float64 { return math.Sin(deg * math.Pi / 180) }
func cos(deg float64) float64 { return math.Cos(deg * math.Pi / 180) }

// Chroma returns sqrt(a²+b²).
func (c Lab) Chroma() float64 { return math.Hypot(c.A, c.B) }
