package draw

import (
	"image"
	"image/color"
	"math"
)

// Overlay returns the visit as a map: the photo pale, whitening tinted by opacity, tiles that are not plainly there
// marked by shape, zones named, with title, legend and, where a length is known, a scale bar.
func Overlay(scene Scene) *image.RGBA {
	s := scene.normal()
	signs := overlaySigns(&s)
	notes := overlayNotes(&s)
	p := newPlate(&s, func(p *plate) float64 {
		_, rows, _ := p.grid(signs)
		return p.rampHeight(&s) + float64(rows)*rowH*p.u + p.linesHeight(notes)
	})
	p.heading(s.View, join(s.Site, s.say("overlay")), s.Visit, s.say("frame"))

	g := groundOf(&s, baseChroma)
	bounds := classes(s.threshold())
	told := toldByMark(&s)
	unread, other := patches(&s, pixUnread, p), patches(&s, pixOther, p)
	g.lay(p.canvas, p.view, p.u, func(i int) (color.RGBA, float64, pattern) {
		switch c := s.code(i); {
		case told[i]:
		case c <= opacityMax:
			if k := class(float64(c)/opacityMax, bounds); k >= 0 {
				return tints[k], strength[k], nil
			}
		case unread[i] && !s.out(i):
			return white, 0.2, dotted
		case other[i]:
			return white, 0.2, dashed
		}
		return color.RGBA{}, 0, nil
	})
	sy := symbols{p.canvas, p.u}
	marked := p.marks(sy, &s)
	p.neatLine()
	p.labels(s.Zones, marked)

	y := p.view.y + p.h + 1.6*p.u
	y = p.ramp(y, &s)
	y = p.signs(y, signs)
	p.lines(y, notes)
	return p.RGBA
}

// toldByMark marks the pixels of tiles whose own mark says all there is to say: no opacity is drawn there.
func toldByMark(s *Scene) []bool {
	m := newMask(s.W, s.H)
	for _, t := range s.Tiles {
		switch t.State {
		case Missing, Unreadable, OutOfFrame:
			m.add(t.Rings)
		}
	}
	return m.on
}

// patches marks the pixels of a code where they lie together: a hatching on the narrow rims of tiles would be
// nothing but scattered dots.
func patches(s *Scene, code uint8, p *plate) []bool {
	m := newMask(s.W, s.H)
	for i := range m.on {
		m.on[i] = s.code(i) == code
	}
	m.opened(0.3 * p.u / p.view.scale)
	return m.on
}

// strength is how opaque the tint of a class lies over the base map: the lightest lets it show most.
var strength = [4]float64{0.85, 0.9, 0.94, 0.97}

// class returns the class of an opacity, −1 below the first.
func class(a float64, bounds [4]float64) int {
	k := -1
	for i, b := range bounds {
		if a >= b {
			k = i
		}
	}
	return k
}

// marks draws controls, tiles and zones, in this order, and returns what should not be written over.
func (p *plate) marks(sy symbols, s *Scene) (marked []mark) {
	for _, c := range s.Controls {
		sy.control(p.view.rings(c.Rings))
	}
	for _, z := range s.Zones {
		sy.zone(p.view.rings(z.Rings))
	}
	for pass := range 2 { // the marks above all outlines of tiles that are merely not seen
		for _, t := range s.Tiles {
			strong := t.State == Missing || t.State == OffPalette
			if strong != (pass == 1) || t.State == Present || t.State == "" {
				continue
			}
			rings := p.view.rings(t.Rings)
			if len(rings) == 0 {
				continue
			}
			sy.tile(rings, t.State)
			if t.State != OutOfFrame {
				m := mark{rings: rings}
				if strong {
					m.id = t.ID
				}
				marked = append(marked, m)
			}
		}
	}
	for _, t := range s.Tiles {
		if rings := p.view.rings(t.Rings); t.Recorded != "" && len(rings) > 0 {
			sy.recorded(rings)
		}
	}
	return marked
}

// tally counts tiles by state.
func tally(tiles []Tile, state string) int {
	n := 0
	for _, t := range tiles {
		if t.State == state {
			n++
		}
	}
	return n
}

func overlaySigns(s *Scene) []sign {
	of := func(what, state string) string {
		if len(s.Tiles) == 0 {
			return what
		}
		return s.say("count", what, tally(s.Tiles, state))
	}
	tileSign := func(what, state string) sign {
		return sign{of(what, state), func(sy symbols, swatch [][]pt) {
			sy.c.flat(swatch, sample, 1)
			sy.tile(swatch, state)
		}}
	}
	recorded := 0
	for _, t := range s.Tiles {
		if t.Recorded != "" {
			recorded++
		}
	}
	return []sign{
		tileSign(s.say("missing"), Missing),
		tileSign(s.say("off"), OffPalette),
		{of(s.say("hidden"), Hidden), hiddenSwatch},
		tileSign(s.say("unreadable"), Unreadable),
		tileSign(s.say("outside"), OutOfFrame),
		{s.say("other"), func(sy symbols, swatch [][]pt) { sy.patterned(swatch, dashed) }},
		{s.say("recorded", recorded), func(sy symbols, swatch [][]pt) {
			sy.c.flat(swatch, sample, 1)
			sy.recordedAt(middle(swatch))
		}},
		{s.say("zone"), func(sy symbols, swatch [][]pt) { sy.c.flat(swatch, sample, 1); sy.zone(swatch) }},
		{s.say("control"), func(sy symbols, swatch [][]pt) { sy.c.flat(swatch, sample, 1); sy.control(swatch) }},
	}
}

func middle(swatch [][]pt) pt {
	x0, y0, x1, y1 := extent(swatch)
	return pt{(x0 + x1) / 2, (y0 + y1) / 2}
}

// hiddenSwatch is the hatching of what stands in front.
func hiddenSwatch(sy symbols, swatch [][]pt) {
	sy.c.flat(swatch, screenGrey, 1)
	sy.c.fill(swatch, func(x, y int, cover float64) { sy.c.blend(x, y, hatchGrey, cover*hatched(x, y, sy.u)) })
	sy.hidden(swatch)
}

// patterned fills a swatch with a hatching over the base map's grey.
func (s symbols) patterned(swatch [][]pt, hatch pattern) {
	s.c.flat(swatch, sample, 1)
	s.c.fill(swatch, func(x, y int, cover float64) {
		s.c.blend(x, y, white, 0.2*cover)
		s.c.blend(x, y, hatchGrey, cover*hatch(x, y, s.u))
	})
}

func overlayNotes(s *Scene) []string {
	var notes []string
	if s.Opacity == nil {
		notes = append(notes, s.say("unmeasured"))
	}
	return append(notes, s.common()...)
}

// common are the notes of every picture.
func (s *Scene) common() []string {
	var notes []string
	if s.Masked {
		notes = append(notes, s.say("masked"))
	}
	return append(notes, s.Notes...)
}

func join(a, b string) string {
	if a == "" {
		return b
	}
	return a + " · " + b
}

// Sizes of the opacity ramp in units.
const (
	rampBlock  = 5.0
	rampH      = 1.5
	rampAll    = 6.4 // with heading and figures
	rampOthers = 3.4 // without ramp: the row of the scale bar
)

func (p *plate) rampHeight(s *Scene) float64 {
	if s.Opacity == nil {
		if s.MMPerPx > 0 {
			return rampOthers * p.u
		}
		return 0
	}
	if p.barBelow(s) {
		return (rampAll + rampOthers) * p.u
	}
	return rampAll * p.u
}

// rampText heads the ramp.
func rampText(s *Scene) string {
	return s.say("ramp", percent(s.threshold()))
}

func percent(v float64) string { return number(math.Round(v*1000) / 10) }

// scaleBar returns the bar that fits the plate.
func (p *plate) scaleBar(s *Scene) (bar, bool) {
	return barOf(s.MMPerPx/p.view.scale, 0.22*p.w, s.Units)
}

// barBelow reports whether ramp and scale bar need a row each.
func (p *plate) barBelow(s *Scene) bool {
	b, ok := p.scaleBar(s)
	if !ok {
		return false
	}
	ramp := math.Max(4*rampBlock*p.u+4*p.u, p.small.width(rampText(s)))
	return ramp+b.px+p.small.width(s.say("about", b.label))+4*p.u > p.w
}

// ramp draws the classes of opacity at the left and the scale bar at the right, and returns where they end.
func (p *plate) ramp(y float64, s *Scene) float64 {
	end := y + p.rampHeight(s)
	if b, ok := p.scaleBar(s); ok {
		if s.Approx {
			b.label = s.say("about", b.label)
		}
		x, top := p.right()-b.px-0.8*p.u-p.small.width(b.label), y+2.2*p.u
		if s.Opacity == nil || p.barBelow(s) {
			x, top = p.margin, end-2.4*p.u
		}
		b.draw(p.canvas, p.small, x, top, p.u)
	}
	if s.Opacity == nil {
		return end
	}
	p.write(p.small, p.margin, y+p.small.cap(), rampText(s), ink)
	y += 1.7 * p.u
	bounds := classes(s.threshold())
	for k := range tints {
		x := p.margin + float64(k)*rampBlock*p.u
		p.box(x, y, rampBlock*p.u, rampH*p.u, sample)
		p.flat([][]pt{rectangle(x, y, rampBlock*p.u, rampH*p.u)}, tints[k], strength[k])
		text := percent(bounds[k])
		if k > 0 { // the first stands at the margin, the others centred below their class's edge
			x -= p.small.width(text) / 2
		}
		p.write(p.small, x, y+rampH*p.u+0.5*p.u+p.small.cap(), text, ink)
	}
	x := p.margin + rampBlock*p.u // where counting begins
	p.box(x-0.1*p.u, y-0.3*p.u, 0.2*p.u, (rampH+0.6)*p.u, ink)
	p.write(p.small, p.margin+4*rampBlock*p.u-p.small.width("100")/2, y+rampH*p.u+0.5*p.u+p.small.cap(), "100 %", ink)
	return end
}
