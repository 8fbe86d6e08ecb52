package draw

import (
	"image"
	"image/color"
)

// Outlines returns the reference photo, pale, with every tile's outline and the zones drawn on it: to see whether the
// tiles were found, before any figure is believed. Scene.Picture is the reference.
func Outlines(scene Scene) *image.RGBA {
	s := scene.normal()
	notes := append([]string{s.say("tiles", len(s.Tiles))}, s.Notes...)
	p := newPlate(&s, func(p *plate) float64 { return p.linesHeight(notes) })
	p.heading(s.View, join(s.Site, s.say("outlines")), s.Visit, s.say("reference"))
	g := groundOf(&s, baseChroma)
	g.lay(p.canvas, p.view, p.u, func(int) (color.RGBA, float64, pattern) { return color.RGBA{}, 0, nil })
	for _, halo := range []bool{true, false} {
		for _, t := range s.Tiles {
			if halo {
				p.stroke(p.view.rings(t.Rings), 0.35*p.u, color.RGBA{255, 255, 255, 255}, 0, 0)
			} else {
				p.stroke(p.view.rings(t.Rings), 0.15*p.u, color.RGBA{0, 60, 110, 255}, 0, 0)
			}
		}
	}
	sy := symbols{p.canvas, p.u}
	for _, z := range s.Zones {
		sy.zone(p.view.rings(z.Rings))
	}
	p.neatLine()
	p.labels(s.Zones, nil)
	p.lines(p.view.y+p.h+1.6*p.u, notes)
	return p.RGBA
}
