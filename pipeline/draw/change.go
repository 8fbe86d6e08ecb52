package draw

import (
	"image"
	"image/color"
	"math"
)

// Change returns what came and what went between two visits of a view, drawn over the later one. Both scenes must lie
// in the same frame; where one of them was not read, nothing is said and the picture is dotted.
func Change(before, after Scene) *image.RGBA {
	b, a := before.normal(), after.normal()
	if b.W != a.W || b.H != a.H { // another frame: nothing can be compared
		b.Opacity, b.Picture, b.W, b.H = nil, nil, a.W, a.H
		b.Tiles, b.Hidden = nil, nil
	}
	t := transitions(&b, &a)
	signs := changeSigns(&a, t)
	notes := changeNotes(&b, &a)
	p := newPlate(&a, func(p *plate) float64 {
		_, rows, _ := p.grid(signs)
		return p.changeHead(&a) + float64(rows)*rowH*p.u + p.linesHeight(notes)
	})
	p.heading(a.View, join(a.Site, a.say("change")), b.Visit+" → "+a.Visit, a.say("frame"))

	g := groundOf(&a, 0.5*baseChroma)
	d := differences(&b, &a)
	rims(d, &a, p)
	silence(d, &a, unknown, t[incomparable])
	silence(d, &a, nothing, t[lostSince], t[lostAlready], t[lostUnseen])
	g.lay(p.canvas, p.view, p.u, func(i int) (color.RGBA, float64, pattern) {
		switch d[i] {
		case came:
			return tints[3], strength[3], nil
		case went:
			return white, 0.9, nil
		case stayed:
			return tints[1], 0.65, nil
		case unknown:
			return white, 0.2, dotted
		}
		return color.RGBA{}, 0, nil
	})
	p.wentLines(d, g)
	sy := symbols{p.canvas, p.u}
	for _, c := range a.Controls {
		sy.control(p.view.rings(c.Rings))
	}
	for _, z := range a.Zones {
		sy.zone(p.view.rings(z.Rings))
	}
	var marked []mark
	for _, k := range drawOrder {
		for _, i := range t[k] {
			if rings := p.view.rings(a.Tiles[i].Rings); len(rings) > 0 {
				sy.event(rings, k)
				m := mark{rings: rings}
				if k != lostAlready && k != offAlready { // news only
					m.id = a.Tiles[i].ID
				}
				marked = append(marked, m)
			}
		}
	}
	p.neatLine()
	var zones []Zone
	for _, z := range a.Zones { // figures of one visit have no place on a picture of two
		z.Text = ""
		zones = append(zones, z)
	}
	p.labels(zones, marked)

	y := p.view.y + p.h + 1.6*p.u
	if bar, ok := p.scaleBar(&a); ok {
		if a.Approx {
			bar.label = a.say("about", bar.label)
		}
		bar.draw(p.canvas, p.small, p.margin, y+0.3*p.u, p.u)
	}
	y = p.signs(y+p.changeHead(&a), signs)
	p.lines(y, notes)
	return p.RGBA
}

// changeHead is the height of the row of the scale bar.
func (p *plate) changeHead(s *Scene) float64 {
	if _, ok := p.scaleBar(s); ok {
		return 2.6 * p.u
	}
	return 0
}

// What became of a pixel between two visits.
const (
	nothing uint8 = iota
	came          // whitened now, not before
	went          // whitened before, not now
	stayed        // whitened on both visits
	unknown       // not read on one of them
)

// differences compares the opacities of two visits. Each is averaged over the pixels read in a 3 × 3 neighbourhood, and
// a change counts only if it crosses the threshold and is at least half of it: single noisy pixels at the
// threshold are no change.
func differences(b, a *Scene) []uint8 {
	out := make([]uint8, a.W*a.H)
	if b.Opacity == nil || a.Opacity == nil {
		return out
	}
	limit := a.threshold()
	read := func(s *Scene, i int) bool { return s.Opacity[i] <= opacityMax }
	mean := func(s *Scene, x, y int) float64 {
		sum, n := 0, 0
		for j := max(y-1, 0); j <= min(y+1, s.H-1); j++ {
			for i := max(x-1, 0); i <= min(x+1, s.W-1); i++ {
				if c := s.Opacity[j*s.W+i]; c <= opacityMax {
					sum += int(c)
					n++
				}
			}
		}
		return float64(sum) / float64(n) / opacityMax
	}
	for y := range a.H {
		for x := range a.W {
			i := y*a.W + x
			rb, ra := read(b, i), read(a, i)
			switch {
			case rb && ra:
				vb, va := mean(b, x, y), mean(a, x, y)
				switch {
				case va >= limit && vb < limit && va-vb >= limit/2:
					out[i] = came
				case vb >= limit && va < limit && vb-va >= limit/2:
					out[i] = went
				case va >= limit && vb >= limit:
					out[i] = stayed
				}
			case b.Opacity[i] == pixElsewhere && a.Opacity[i] == pixElsewhere:
			case b.Opacity[i] == pixGap || a.Opacity[i] == pixGap: // told by the tile's mark
			case a.out(i):
			default:
				out[i] = unknown
			}
		}
	}
	return out
}

// rims takes the hatching off narrow strips that were not read, as on an overlay.
func rims(d []uint8, s *Scene, p *plate) {
	m := newMask(s.W, s.H)
	for i, v := range d {
		m.on[i] = v == unknown
	}
	m.opened(0.3 * p.u / p.view.scale)
	for i, v := range d {
		if v == unknown && !m.on[i] {
			d[i] = nothing
		}
	}
}

// silence takes back what single pixels seem to say in tiles that can't be compared or are gone.
func silence(d []uint8, s *Scene, becomes uint8, lists ...[]int) {
	m := newMask(s.W, s.H)
	for _, tiles := range lists {
		for _, i := range tiles {
			m.add(s.Tiles[i].Rings)
		}
	}
	for i, on := range m.on {
		if on {
			d[i] = becomes
		}
	}
}

// wentLines draws the level lines of what went, which would be lost in the pale ground without an edge.
func (p *plate) wentLines(d []uint8, g *ground) {
	n := int(p.view.scale)
	w, h := g.s.W, g.s.H
	for y := range h {
		for x := range w {
			i := y*w + x
			if d[i] != went || g.veiled(i) {
				continue
			}
			edge := x == 0 || y == 0 || x == w-1 || y == h-1 || d[i-1] != went || d[i+1] != went || d[i-w] != went || d[i+w] != went
			for sy := range n {
				for sx := range n {
					px, py := int(p.view.x)+x*n+sx, int(p.view.y)+y*n+sy
					a := level(px, py, p.u)
					if edge {
						a = math.Max(a, 0.85)
					}
					p.blend(px, py, leaf, a)
				}
			}
		}
	}
}

// event is what became of a tile between two visits.
type event int

const (
	lostSince    event = iota // there before, missing now
	lostAlready               // missing on both visits
	lostUnseen                // missing now, not seen before
	backAgain                 // missing before, there now
	offSince                  // another colour now, not before
	offAlready                // another colour on both visits
	ownAgain                  // another colour before, its own now
	incomparable              // hidden, unreadable or outside on one of them
	events
)

// drawOrder puts what matters most on top. Tiles that can't be compared are dotted with the picture.
var drawOrder = []event{offAlready, lostAlready, lostUnseen, ownAgain, backAgain, offSince, lostSince}

// transitions sorts the tiles of the later visit by what became of them: indices into after.Tiles. Tiles are matched by
// id; those the earlier visit does not know are not compared.
func transitions(before, after *Scene) [events][]int {
	var out [events][]int
	was := map[string]string{}
	for _, t := range before.Tiles {
		was[t.ID] = plainState(t.State)
	}
	for i, t := range after.Tiles {
		b, ok := was[t.ID]
		if !ok {
			b = Unreadable
		}
		if e, ok := became(b, plainState(t.State)); ok {
			out[e] = append(out[e], i)
		}
	}
	return out
}

func plainState(s string) string {
	if s == "" {
		return Present
	}
	return s
}

// became names a change of state; ok is false when nothing is to be told.
func became(b, a string) (e event, ok bool) {
	seen := func(s string) bool { return s == Present || s == Missing || s == OffPalette }
	switch {
	case a == Missing && b == Missing:
		return lostAlready, true
	case a == Missing && seen(b):
		return lostSince, true
	case a == Missing:
		return lostUnseen, true
	case !seen(a):
		return incomparable, true
	case !seen(b):
		return incomparable, true
	case a == OffPalette && b == OffPalette:
		return offAlready, true
	case a == OffPalette:
		return offSince, true
	case b == Missing:
		return backAgain, true
	case b == OffPalette:
		return ownAgain, true
	}
	return 0, false
}

// event draws what became of a tile.
func (s symbols) event(rings [][]pt, e event) {
	switch e {
	case lostSince:
		s.gap(rings, lost)
	case lostAlready:
		s.gapBefore(rings)
	case lostUnseen:
		s.gapUnseen(rings)
	case backAgain:
		s.back(rings)
	case offSince:
		s.offPalette(rings, amber)
	case offAlready:
		s.offBefore(rings)
	case ownAgain:
		s.offPalette(rings, white)
		at, side := centre(rings)
		r := s.size(side)
		s.c.line(pt{at.x - r, at.y}, pt{at.x + r, at.y}, 0.26*s.u, ink)
	}
}

// gapBefore marks a tile that was missing already: crossed out thinly, without filling.
func (s symbols) gapBefore(rings [][]pt) {
	s.c.flat(rings, white, 0.75)
	s.cross(rings, quiet, 0.2*s.u)
	s.c.stroke(rings, 0.2*s.u, quiet, 0, 0)
}

// offBefore marks a tile that was of another colour already: a small dark lozenge, thinly outlined.
func (s symbols) offBefore(rings [][]pt) {
	s.c.stroke(rings, 0.2*s.u, quiet, 0, 0)
	at, side := centre(rings)
	s.lozenge(at, 0.6*s.size(side), quiet)
}

// gapUnseen marks a missing tile whose state before is not known: one diagonal of two, dashed outline.
func (s symbols) gapUnseen(rings [][]pt) {
	s.c.flat(rings, white, 1)
	x0, y0, x1, y1 := extent(rings)
	s.c.line(pt{x0 + (x1-x0)*0.18, y0 + (y1-y0)*0.18}, pt{x1 - (x1-x0)*0.18, y1 - (y1-y0)*0.18}, 0.34*s.u, lost)
	s.outline(rings, lost, 0.7*s.u)
}

func changeSigns(s *Scene, t [events][]int) []sign {
	grounded := func(label string, draw func(sy symbols, swatch [][]pt)) sign {
		return sign{label, func(sy symbols, swatch [][]pt) {
			sy.c.flat(swatch, sample, 1)
			draw(sy, swatch)
		}}
	}
	tile := func(what string, e event) sign {
		return grounded(s.say("count", s.say(what), len(t[e])), func(sy symbols, swatch [][]pt) { sy.event(swatch, e) })
	}
	return []sign{
		grounded(s.say("came"), func(sy symbols, swatch [][]pt) { sy.c.flat(swatch, tints[3], strength[3]) }),
		grounded(s.say("went"), func(sy symbols, swatch [][]pt) {
			sy.c.flat(swatch, white, 0.9)
			sy.c.fill(swatch, func(x, y int, cover float64) { sy.c.blend(x, y, leaf, cover*level(x, y, sy.u)) })
			sy.c.stroke(swatch, math.Max(1, 0.1*sy.u), leaf, 0, 0)
		}),
		grounded(s.say("stayed"), func(sy symbols, swatch [][]pt) { sy.c.flat(swatch, tints[1], 0.65) }),
		tile("lost.since", lostSince),
		tile("lost.already", lostAlready),
		tile("lost.unseen", lostUnseen),
		tile("back", backAgain),
		tile("off.since", offSince),
		tile("off.already", offAlready),
		tile("off.own", ownAgain),
		grounded(s.say("incomparable", len(t[incomparable])), func(sy symbols, swatch [][]pt) { sy.patterned(swatch, dotted) }),
		{s.say("front"), hiddenSwatch},
	}
}

func changeNotes(b, a *Scene) []string {
	var notes []string
	if a.Opacity == nil || b.Opacity == nil {
		notes = append(notes, a.say("unpaired"))
	}
	return append(notes, a.common()...)
}
