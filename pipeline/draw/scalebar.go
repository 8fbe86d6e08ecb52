package draw

import (
	"math"
	"strconv"
)

// bar is a scale bar: a round length in the unit of its label.
type bar struct {
	px    float64 // its length on the canvas
	parts int     // alternating blocks
	label string  // its length with unit
}

// barOf returns the longest bar of a round length (1, 2 or 5 times a power of ten, or whole and half feet) that is at
// most longest canvas px; mm is the size of a canvas pixel. ok is false when there is none.
func barOf(mm, longest float64, units string) (b bar, ok bool) {
	if !(mm > 0) || math.IsInf(mm, 0) || !(longest > 1) {
		return b, false
	}
	if units == "us" {
		return feet(mm, longest)
	}
	most := mm * longest
	power := math.Pow(10, math.Floor(math.Log10(most)))
	step := 1.0
	for _, s := range []float64{5, 2} {
		if s*power <= most*(1+1e-9) {
			step = s
			break
		}
	}
	length := step * power
	b = bar{px: length / mm, parts: map[float64]int{1: 5, 2: 4, 5: 5}[step]}
	switch {
	case length >= 1000:
		b.label = number(length/1000) + " m"
	case length >= 10:
		b.label = number(length/10) + " cm"
	default:
		b.label = number(length) + " mm"
	}
	return b, b.px >= 4
}

// feet is barOf in feet and inches.
func feet(mm, longest float64) (b bar, ok bool) {
	const inch = 25.4
	most := mm * longest
	for _, l := range []struct {
		inches float64
		label  string
		parts  int
	}{{1200, "100 ft", 5}, {600, "50 ft", 5}, {240, "20 ft", 4}, {120, "10 ft", 5}, {60, "5 ft", 5}, {24, "2 ft", 4},
		{12, "1 ft", 4}, {6, "6 in", 3}, {3, "3 in", 3}, {1, "1 in", 4}, {0.5, "1/2 in", 2}} {
		if l.inches*inch <= most {
			return bar{px: l.inches * inch / mm, parts: l.parts, label: l.label}, true
		}
	}
	return b, false
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

// draw draws the bar with its left end at (x, y), y its upper edge, and returns the width it takes with its label.
func (b bar) draw(c canvas, p pen, x, y, u float64) float64 {
	h := 0.55 * u
	c.box(x-0.1*u, y-0.1*u, b.px+0.2*u, h+0.2*u, ink)
	for i := range b.parts {
		fill := white
		if i%2 == 0 {
			fill = ink
		}
		w := b.px / float64(b.parts)
		c.box(x+float64(i)*w, y, w, h, fill)
	}
	c.write(p, x+b.px+0.8*u, y+h/2+p.cap()/2, b.label, ink)
	return b.px + 0.8*u + p.width(b.label)
}
