package draw

import (
	"image"
	"image/color"
	"math"
	"slices"

	"tilelapse/measure/plane"
)

// canvas is a picture being drawn. Its positions have their origin at the corner of the top left pixel.
type canvas struct{ *image.RGBA }

func newCanvas(w, h int, paper color.RGBA) canvas {
	c := canvas{image.NewRGBA(image.Rect(0, 0, w, h))}
	for i := 0; i < len(c.Pix); i += 4 {
		c.Pix[i], c.Pix[i+1], c.Pix[i+2], c.Pix[i+3] = paper.R, paper.G, paper.B, 255
	}
	return c
}

// blend lays a colour over a pixel, a in [0,1]. Outside the picture it does nothing.
func (c canvas) blend(x, y int, ink color.RGBA, a float64) {
	if a <= 0 || x < 0 || y < 0 || x >= c.Rect.Max.X || y >= c.Rect.Max.Y {
		return
	}
	w := int(math.Min(a, 1)*256 + 0.5)
	p := c.Pix[c.PixOffset(x, y):]
	p = p[:3:3]
	p[0] = uint8((int(p[0])*(256-w) + int(ink.R)*w + 128) >> 8)
	p[1] = uint8((int(p[1])*(256-w) + int(ink.G)*w + 128) >> 8)
	p[2] = uint8((int(p[2])*(256-w) + int(ink.B)*w + 128) >> 8)
}

// pt is a position on a canvas.
type pt struct{ x, y float64 }

// subRows is how many lines a pixel's coverage is summed over; along a line it is exact.
const subRows = 4

// fill calls paint with the covered share of every pixel inside the rings, by the even-odd rule.
func (c canvas) fill(rings [][]pt, paint func(x, y int, cover float64)) {
	x0, y0, x1, y1 := extent(rings)
	left, right := max(int(math.Floor(x0)), 0), min(int(math.Ceil(x1)), c.Rect.Max.X)
	top, bottom := max(int(math.Floor(y0)), 0), min(int(math.Ceil(y1)), c.Rect.Max.Y)
	if left >= right || top >= bottom {
		return
	}
	row := make([]float64, right-left)
	var cross []float64
	for y := top; y < bottom; y++ {
		clear(row)
		for sub := range subRows {
			at := float64(y) + (float64(sub)+0.5)/subRows
			cross = cross[:0]
			for _, ring := range rings {
				for i, a := range ring {
					b := ring[(i+1)%len(ring)]
					if (a.y <= at) != (b.y <= at) {
						cross = append(cross, a.x+(at-a.y)*(b.x-a.x)/(b.y-a.y))
					}
				}
			}
			slices.Sort(cross)
			for i := 0; i+1 < len(cross); i += 2 {
				span(row, cross[i]-float64(left), cross[i+1]-float64(left))
			}
		}
		for i, v := range row {
			if v > 0 {
				paint(left+i, y, v/subRows)
			}
		}
	}
}

// span adds to every pixel of a row how much of it lies in [a, b].
func span(row []float64, a, b float64) {
	a, b = math.Max(a, 0), math.Min(b, float64(len(row)))
	for i := int(a); i < len(row) && float64(i) < b; i++ {
		row[i] += math.Min(b, float64(i+1)) - math.Max(a, float64(i))
	}
}

func extent(rings [][]pt) (x0, y0, x1, y1 float64) {
	x0, y0, x1, y1 = math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, ring := range rings {
		for _, p := range ring {
			x0, y0, x1, y1 = math.Min(x0, p.x), math.Min(y0, p.y), math.Max(x1, p.x), math.Max(y1, p.y)
		}
	}
	return x0, y0, x1, y1
}

// flat fills rings with one colour.
func (c canvas) flat(rings [][]pt, ink color.RGBA, a float64) {
	c.fill(rings, func(x, y int, cover float64) { c.blend(x, y, ink, a*cover) })
}

// box fills an upright rectangle.
func (c canvas) box(x, y, w, h float64, ink color.RGBA) {
	c.flat([][]pt{rectangle(x, y, w, h)}, ink, 1)
}

func rectangle(x, y, w, h float64) []pt {
	return []pt{{x, y}, {x + w, y}, {x + w, y + h}, {x, y + h}}
}

// line draws a straight line of a width, with round ends.
func (c canvas) line(a, b pt, width float64, ink color.RGBA) {
	half := width/2 + 0.5
	x0, x1 := min(a.x, b.x)-half, max(a.x, b.x)+half
	top, bottom := max(int(math.Floor(min(a.y, b.y)-half)), 0), min(int(math.Ceil(max(a.y, b.y)+half)), c.Rect.Max.Y)
	dx, dy := b.x-a.x, b.y-a.y
	ll := dx*dx + dy*dy
	for y := top; y < bottom; y++ {
		lo, hi := x0, x1
		if math.Abs(dy) > 1e-9 { // only the part of the row near the line
			t0, t1 := (float64(y)-half-a.y)/dy, (float64(y)+1+half-a.y)/dy
			if t0 > t1 {
				t0, t1 = t1, t0
			}
			e0, e1 := a.x+clamp(t0)*dx, a.x+clamp(t1)*dx
			lo, hi = max(lo, min(e0, e1)-half), min(hi, max(e0, e1)+half)
		}
		for x := max(int(math.Floor(lo)), 0); x < min(int(math.Ceil(hi)), c.Rect.Max.X); x++ {
			px, py := float64(x)+0.5-a.x, float64(y)+0.5-a.y
			t := 0.0
			if ll > 0 {
				t = clamp((px*dx + py*dy) / ll)
			}
			if d := math.Hypot(px-t*dx, py-t*dy); d < half {
				c.blend(x, y, ink, math.Min(half-d, math.Min(1, width)))
			}
		}
	}
}

func clamp(t float64) float64 { return math.Max(0, math.Min(1, t)) }

// stroke draws the closed outlines of rings. dash > 0 draws dashes of that length and gaps of gap.
func (c canvas) stroke(rings [][]pt, width float64, ink color.RGBA, dash, gap float64) {
	for _, ring := range rings {
		along := 0.0 // how far into the pattern of dash and gap
		for i, a := range ring {
			b := ring[(i+1)%len(ring)]
			if dash <= 0 {
				c.line(a, b, width, ink)
				continue
			}
			length := math.Hypot(b.x-a.x, b.y-a.y)
			for s := 0.0; s < length; {
				on, left := along < dash, dash-along
				if !on {
					left = dash + gap - along
				}
				e := min(s+left, length)
				if on {
					c.line(pt{a.x + s/length*(b.x-a.x), a.y + s/length*(b.y-a.y)}, pt{a.x + e/length*(b.x-a.x), a.y + e/length*(b.y-a.y)}, width, ink)
				}
				switch { // set, not summed up: a remainder of rounding would never be used up
				case e < s+left:
					along += e - s
				case on:
					along = dash
				default:
					along = 0
				}
				s = e
			}
		}
	}
}

// disc fills a circle.
func (c canvas) disc(at pt, r float64, ink color.RGBA) { c.line(at, at, 2*r, ink) }

// view maps measuring px onto the canvas.
type view struct {
	x, y  float64 // corner of the picture on the canvas
	scale float64 // canvas px a measuring px
}

// faraway bounds positions, canvas px: far outside any picture, near enough to draw lines to.
const faraway = 1e5

func (v view) rings(in [][]plane.Point) [][]pt {
	out := make([][]pt, 0, len(in))
	for _, r := range in {
		ring := make([]pt, 0, len(r))
		for _, p := range r {
			q := v.at(p)
			if math.IsNaN(q.x) || math.IsNaN(q.y) {
				continue
			}
			q = pt{math.Max(-faraway, math.Min(q.x, faraway)), math.Max(-faraway, math.Min(q.y, faraway))}
			if len(ring) == 0 || q != ring[len(ring)-1] {
				ring = append(ring, q)
			}
		}
		if len(ring) > 1 {
			out = append(out, ring)
		}
	}
	return out
}

func (v view) at(p plane.Point) pt {
	return pt{v.x + (p.X+0.5)*v.scale, v.y + (p.Y+0.5)*v.scale}
}

// centre returns the centroid of the largest ring and the side of a square of its area.
func centre(rings [][]pt) (pt, float64) {
	var best float64
	var at pt
	for _, r := range rings {
		var a, cx, cy float64
		o := r[0] // near the ring, so that no digits are lost
		for i, p := range r {
			q := r[(i+1)%len(r)]
			w := (p.x-o.x)*(q.y-o.y) - (q.x-o.x)*(p.y-o.y)
			a += w
			cx += (p.x - o.x + q.x - o.x) * w
			cy += (p.y - o.y + q.y - o.y) * w
		}
		if math.Abs(a)/2 > best {
			best = math.Abs(a) / 2
			at = pt{o.x + cx/(3*a), o.y + cy/(3*a)}
		}
	}
	return at, math.Sqrt(best)
}
