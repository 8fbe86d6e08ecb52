package chart

import (
	"math"
	"slices"

	"tilelapse/measure/plane"
)

// grid places the chart's field of patches in a picture: a projective mapping from chart coordinates (0 to Cols across,
// 0 to Rows down, patch centres at halves) to px.
type grid struct{ h [8]float64 }

// gridOf returns the mapping that brings the field's four corners, clockwise from the chart's origin, to four points;
// false when three of them stand on a line.
//
// Heckbert (1989), Fundamentals of Texture Mapping and Image Warping, section 2.2.3.
func gridOf(p [4]plane.Point) (grid, bool) {
	dx1, dy1 := p[1].X-p[2].X, p[1].Y-p[2].Y
	dx2, dy2 := p[3].X-p[2].X, p[3].Y-p[2].Y
	sx, sy := p[0].X-p[1].X+p[2].X-p[3].X, p[0].Y-p[1].Y+p[2].Y-p[3].Y
	det := dx1*dy2 - dx2*dy1
	if math.Abs(det) < 1e-9 {
		return grid{}, false
	}
	g, h := (sx*dy2-dx2*sy)/det, (dx1*sy-sx*dy1)/det
	return grid{[8]float64{
		(p[1].X - p[0].X + g*p[1].X) / Cols, (p[3].X - p[0].X + h*p[3].X) / Rows, p[0].X,
		(p[1].Y - p[0].Y + g*p[1].Y) / Cols, (p[3].Y - p[0].Y + h*p[3].Y) / Rows, p[0].Y,
		g / Cols, h / Rows,
	}}, true
}

// at returns the px position of a chart position.
func (g grid) at(u, v float64) plane.Point {
	w := g.h[6]*u + g.h[7]*v + 1
	return plane.Point{X: (g.h[0]*u + g.h[1]*v + g.h[2]) / w, Y: (g.h[3]*u + g.h[4]*v + g.h[5]) / w}
}

// square returns the corners of the square of half-width r pitches around the centre of the patch in column c, row r.
func (g grid) square(col, row int, half float64) [4]plane.Point {
	u, v := float64(col)+0.5, float64(row)+0.5
	return [4]plane.Point{g.at(u-half, v-half), g.at(u+half, v-half), g.at(u+half, v+half), g.at(u-half, v+half)}
}

// pitch returns the smallest side of any of the grid's cells, px.
func (g grid) pitch() float64 {
	least := math.Inf(1)
	for i := range Count {
		q := g.square(i%Cols, i/Cols, 0.5)
		for k := range 4 {
			a, b := q[k], q[(k+1)%4]
			least = math.Min(least, math.Hypot(a.X-b.X, a.Y-b.Y))
		}
	}
	return least
}

// round sorts four points clockwise around their centre, the first one kept first; false unless they span a convex
// quadrangle of some area.
func round(p [4]plane.Point) ([4]plane.Point, bool) {
	var c plane.Point
	for _, q := range p {
		c.X, c.Y = c.X+q.X/4, c.Y+q.Y/4
	}
	if math.IsNaN(c.X+c.Y) || math.IsInf(c.X+c.Y, 0) {
		return p, false
	}
	first := math.Atan2(p[0].Y-c.Y, p[0].X-c.X)
	turn := func(q plane.Point) float64 {
		a := math.Atan2(q.Y-c.Y, q.X-c.X) - first
		if a < 0 {
			a += 2 * math.Pi
		}
		return a
	}
	slices.SortStableFunc(p[1:], func(a, b plane.Point) int {
		if turn(a) < turn(b) {
			return -1
		} else if turn(a) > turn(b) {
			return 1
		}
		return 0
	})
	for k := range 4 {
		a, b, d := p[k], p[(k+1)%4], p[(k+2)%4]
		if (b.X-a.X)*(d.Y-b.Y)-(b.Y-a.Y)*(d.X-b.X) < 1 {
			return p, false
		}
	}
	return p, true
}

// inset moves the field's corners inwards by du pitches across and dv down, as seen by the chart.
func inset(p [4]plane.Point, du, dv float64) ([4]plane.Point, bool) {
	g, ok := gridOf(p)
	if !ok {
		return p, false
	}
	// the marked corners stand du and dv outside of the field: they are -du..Cols+du, scaled onto 0..Cols here
	u, v := du*Cols/(Cols+2*du), dv*Rows/(Rows+2*dv)
	return [4]plane.Point{g.at(u, v), g.at(Cols-u, v), g.at(Cols-u, Rows-v), g.at(u, Rows-v)}, true
}

// reach is the half-width, in pitches, of the window in which a patch has to be even: just inside of the smallest patches
// (patches take 0.76 to 0.88 of the pitch on charts in use, measured on photos). Windows as large as a patch would make
// the grid shrink away from the patches' soft edges.
const reach = 0.36

// uneven returns how uneven the patches of a grid are and how uneven the gaps between and around them: mean squared
// deviations from the patch's mean and from the gaps' mean, in cube roots of light. The gaps are what keeps the grid from
// shrinking into the patches. Infinite where the field leaves the picture.
func uneven(img *plane.Image, root []float32, p [4]plane.Point) float64 {
	g, ok := gridOf(p)
	if !ok {
		return math.Inf(1)
	}
	const side = 5
	sum := 0.0
	for i := range Count {
		var w spot
		for a := range side {
			for b := range side {
				w.add(img, root, g.at(float64(i%Cols)+0.5+reach*(2*float64(a)/(side-1)-1), float64(i/Cols)+0.5+reach*(2*float64(b)/(side-1)-1)))
			}
		}
		sum += w.variance() / Count
	}
	var gap spot
	for _, at := range [3]float64{0.25, 0.5, 0.75} {
		for c := range Cols + 1 {
			for r := range Rows {
				gap.add(img, root, g.at(float64(c), float64(r)+at))
			}
		}
		for c := range Cols {
			for r := range Rows + 1 {
				gap.add(img, root, g.at(float64(c)+at, float64(r)))
			}
		}
	}
	return sum + gap.variance()
}

// spot gathers samples of a place that ought to be even.
type spot struct {
	n     float64
	s, ss [3]float64
	out   bool
}

func (w *spot) add(img *plane.Image, root []float32, q plane.Point) {
	x, y := int(math.Round(q.X)), int(math.Round(q.Y))
	if x < 0 || y < 0 || x >= img.W || y >= img.H {
		w.out = true
		return
	}
	o := 3 * (y*img.W + x)
	for k := range 3 {
		t := float64(root[o+k])
		w.s[k] += t
		w.ss[k] += t * t
	}
	w.n++
}

// variance returns the samples' variance, summed over the channels.
func (w *spot) variance() (v float64) {
	if w.out || w.n == 0 {
		return math.Inf(1)
	}
	for k := range 3 {
		v += w.ss[k]/w.n - w.s[k]*w.s[k]/(w.n*w.n)
	}
	return v
}

// Steps of the search for the field inside the marked corners, in pitches: whoever marks a chart may take the corners
// of the patches (a gap's half inside of the field), printed crosses or the card's.
const (
	insetFrom, insetTo, insetStep = -0.15, 0.65, 0.1
	firstStep, lastStep           = 0.16, 0.005
)

// moves are the shares of a step that each corner takes: the whole field, its sides, its corners, opposite sides apart.
var moves = [...][4]float64{
	{1, 1, 1, 1}, {1, 1, 0, 0}, {0, 1, 1, 0}, {0, 0, 1, 1}, {1, 0, 0, 1},
	{1, 0, 0, 0}, {0, 1, 0, 0}, {0, 0, 1, 0}, {0, 0, 0, 1}, {1, 1, -1, -1}, {1, -1, -1, 1}, {1, -1, 1, -1},
}

// settle finds the field of patches inside the marked corners; it returns its corners and how uneven the patches are.
func settle(img *plane.Image, root []float32, marked [4]plane.Point) ([4]plane.Point, float64) {
	best, least := marked, math.Inf(1)
	for du := insetFrom; du < insetTo; du += insetStep {
		for dv := insetFrom; dv < insetTo; dv += insetStep {
			p, ok := inset(marked, du, dv)
			if !ok {
				continue
			}
			if c := uneven(img, root, p); c < least {
				best, least = p, c
			}
		}
	}
	if math.IsInf(least, 1) {
		return best, least
	}
	g, _ := gridOf(best)
	pitch := g.pitch()
	for step := firstStep; step >= lastStep; step /= 2 {
		for moved, rounds := true, 0; moved && rounds < 20; rounds++ {
			moved = false
			for _, group := range moves {
				for _, d := range [4]plane.Point{{X: 1}, {X: -1}, {Y: 1}, {Y: -1}} {
					p := best
					for k, w := range group {
						p[k].X += w * step * pitch * d.X
						p[k].Y += w * step * pitch * d.Y
					}
					if c := uneven(img, root, p); c < least {
						best, least, moved = p, c, true
					}
				}
			}
		}
	}
	return best, least
}
