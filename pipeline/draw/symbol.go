package draw

import (
	"image/color"
	"math"
)

// symbols draws the shapes that tell a tile's state. Each differs by shape or hatching, not by colour alone: a gap is
// crossed out like an opening in a plan, another colour bears a lozenge, what is in front is hatched, what can't be
// read is dotted.
type symbols struct {
	c canvas
	u float64 // unit of size, canvas px
}

// size returns how large a mark in a tile is drawn: to the tile's measure, but never too small to be seen.
func (s symbols) size(side float64) float64 {
	return math.Max(0.75*s.u, math.Min(0.34*side, 2.2*s.u))
}

// outline draws a tile's outline over a rim of white.
func (s symbols) outline(rings [][]pt, colour color.RGBA, dash float64) {
	s.c.stroke(rings, 0.5*s.u, white, 0, 0)
	s.c.stroke(rings, 0.24*s.u, colour, dash, dash)
}

// gap crosses a missing tile out. The bed stays faintly visible, so that the finding can be judged.
func (s symbols) gap(rings [][]pt, colour color.RGBA) {
	x0, y0, x1, y1 := extent(rings)
	s.c.flat(rings, white, 0.6)
	s.cross(rings, colour, math.Max(0.24*s.u, math.Min(0.04*math.Hypot(x1-x0, y1-y0), 0.5*s.u)))
	s.outline(rings, colour, 0)
}

// cross draws the two diagonals of a tile's bounds through its middle, inside its outline.
func (s symbols) cross(rings [][]pt, colour color.RGBA, width float64) {
	x0, y0, x1, y1 := extent(rings)
	at, _ := centre(rings)
	w, h := (x1-x0)/2, (y1-y0)/2
	if !(w > 0 && h > 0) {
		return
	}
	diagonal := math.Hypot(w, h)
	s.c.fill(rings, func(x, y int, cover float64) {
		dx, dy := float64(x)+0.5-at.x, float64(y)+0.5-at.y
		d := math.Min(math.Abs(dx*h-dy*w), math.Abs(dx*h+dy*w)) / diagonal
		s.c.blend(x, y, colour, cover*clamp(width/2-d+0.5))
	})
}

// lozenge draws a diamond on its corner, filled with a colour.
func (s symbols) lozenge(at pt, r float64, inner color.RGBA) {
	d := func(r float64) [][]pt {
		return [][]pt{{{at.x, at.y - r}, {at.x + r, at.y}, {at.x, at.y + r}, {at.x - r, at.y}}}
	}
	s.c.flat(d(r+0.55*s.u), white, 1)
	s.c.flat(d(r+0.25*s.u), ink, 1)
	s.c.flat(d(r-0.1*s.u), inner, 1)
}

// offPalette marks a tile of another colour; inner fills the lozenge.
func (s symbols) offPalette(rings [][]pt, inner color.RGBA) {
	s.outline(rings, ink, 0)
	at, side := centre(rings)
	s.lozenge(at, s.size(side), inner)
}

// hidden marks a tile that something stands in front of. The hatching is laid with the picture.
func (s symbols) hidden(rings [][]pt) { s.c.stroke(rings, 0.16*s.u, hatchGrey, 0, 0) }

// unreadable dots a tile and draws its outline dashed.
func (s symbols) unreadable(rings [][]pt) {
	s.c.fill(rings, func(x, y int, cover float64) {
		s.c.blend(x, y, white, 0.35*cover)
		s.c.blend(x, y, ink, cover*dotted(x, y, s.u))
	})
	s.c.stroke(rings, 0.4*s.u, white, 0, 0)
	s.c.stroke(rings, 0.2*s.u, ink, 0.7*s.u, 0.5*s.u)
}

// absent pales a tile that is not in the photo, and outlines it thinly.
func (s symbols) absent(rings [][]pt) {
	s.c.flat(rings, paper, 0.8)
	s.c.stroke(rings, 0.1*s.u, pencil, 0, 0)
}

// back marks a tile that is there again: a plus in a ring.
func (s symbols) back(rings [][]pt) {
	at, side := centre(rings)
	s.outline(rings, leaf, 0)
	r := s.size(side)
	s.c.disc(at, r+0.45*s.u, white)
	s.c.disc(at, r+0.15*s.u, leaf)
	s.c.disc(at, r-0.3*s.u, white)
	s.c.line(pt{at.x - 0.45*r, at.y}, pt{at.x + 0.45*r, at.y}, 0.28*s.u, leaf)
	s.c.line(pt{at.x, at.y - 0.45*r}, pt{at.x, at.y + 0.45*r}, 0.28*s.u, leaf)
}

// recorded puts a small square at a mark's upper right: the upkeep file speaks of this tile.
func (s symbols) recorded(rings [][]pt) {
	at, side := centre(rings)
	r := s.size(side) + 0.3*s.u
	s.recordedAt(pt{at.x + r, at.y - r})
}

func (s symbols) recordedAt(at pt) {
	square := func(half float64, ink color.RGBA) { s.c.box(at.x-half, at.y-half, 2*half, 2*half, ink) }
	square(0.75*s.u, white)
	square(0.55*s.u, ink)
	square(0.28*s.u, white)
}

// tile draws a tile's state; present tiles are left as they are.
func (s symbols) tile(rings [][]pt, state string) {
	switch state {
	case Missing:
		s.gap(rings, lost)
	case OffPalette:
		s.offPalette(rings, amber)
	case Hidden:
		s.hidden(rings)
	case Unreadable:
		s.unreadable(rings)
	case OutOfFrame:
		s.absent(rings)
	}
}

// zone draws a zone's outline: dark with a white rim, so that it shows on every ground.
func (s symbols) zone(rings [][]pt) {
	s.c.stroke(rings, 0.5*s.u, white, 0, 0)
	s.c.stroke(rings, 0.2*s.u, ink, 0, 0)
}

// control draws the outline of a control: dash and dot lines are the mark of a reference surface here.
func (s symbols) control(rings [][]pt) {
	s.c.stroke(rings, 0.4*s.u, white, 0, 0)
	s.c.stroke(rings, 0.16*s.u, quiet, 0.9*s.u, 0.5*s.u)
}
