package demo

import (
	"fmt"
	"strings"
)

// regions draws a view's SVG over its reference photo. SVG user units have their origin at the corner of the top left
// pixel, the frame's positions at its centre: half a pixel apart.
func (f *frame) regions(ref string) string {
	s, c := f.wall.scene, f.camera
	var b strings.Builder
	points := func(ring [][2]float64) string {
		var p []string
		for _, q := range ring {
			p = append(p, fmt.Sprintf("%.2f,%.2f", q[0]+0.5, q[1]+0.5))
		}
		return strings.Join(p, " ")
	}
	fmt.Fprintf(&b, `<?xml version="1.0" encoding="UTF-8"?>
<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" viewBox="0 0 %d %d" width="%d" height="%d">
  <title>%s</title>
  <image xlink:href="../%s" width="%d" height="%d"/>
  <g id="zones" class="zone" fill="none" stroke="#1a7f37" stroke-width="3">
`, c.w, c.h, c.w, c.h, s.title, ref, c.w, c.h)
	for _, z := range s.zones {
		fmt.Fprintf(&b, "    <polygon id=%q points=%q><title>%s</title></polygon>\n", z.id, points(f.drawn(z.ring, 60)), z.title)
	}
	b.WriteString("  </g>\n  <g id=\"controls\" class=\"control\" fill=\"none\" stroke=\"#0969da\" stroke-width=\"3\">\n")
	for _, m := range s.controls {
		fmt.Fprintf(&b, "    <polygon id=%q points=%q/>\n", m.id, points(f.drawn(m.ring, 60)))
	}
	b.WriteString("  </g>\n  <g id=\"lengths\" class=\"length\" stroke=\"#bf3989\" stroke-width=\"2\">\n")
	for _, r := range s.rulers {
		x0, y0 := c.project(r.a.u, r.a.v)
		x1, y1 := c.project(r.b.u, r.b.v)
		fmt.Fprintf(&b, "    <line id=\"%.0fmm\" x1=\"%.2f\" y1=\"%.2f\" x2=\"%.2f\" y2=\"%.2f\"/>\n", r.mm(), x0+0.5, y0+0.5, x1+0.5, y1+0.5)
	}
	b.WriteString("  </g>\n")
	if s.outlines {
		b.WriteString("  <g id=\"tiles\" class=\"tile\" fill=\"none\" stroke=\"#d1242f\" stroke-width=\"1\">\n")
		for i, ring := range f.rings {
			fmt.Fprintf(&b, "    <polygon id=%q points=%q/>\n", f.wall.cells[i].id, points(ring))
		}
		b.WriteString("  </g>\n")
	}
	b.WriteString("</svg>\n")
	return b.String()
}

// paletteText is palette.csv.
func paletteText() string {
	var b strings.Builder
	b.WriteString("glaze,L,a,b\n")
	for _, g := range glazes {
		fmt.Fprintf(&b, "%s,%g,%g,%g\n", g.name, g.lab.L, g.lab.A, g.lab.B)
	}
	return b.String()
}
