package demo

import (
	"fmt"
	"math"
	"sync"
)

// wall is a view's surface as built: textures over the wall in texels, row by row.
type wall struct {
	scene *scene
	mm    float64 // mm a texel
	w, h  int
	cells []cell
	tones []rgb     // mean reflectance of every tile as painted
	fades []bool    // tiles whose glaze fades
	fresh []fading  // what of every tile can fade
	id    []int16   // tile of a texel, -1 = none
	edge  []float32 // mm to the tile's rim, negative or far negative outside
	paint []float32 // reflectance as built, interleaved; under tiles' rims and between them the joint's
	cover []float32 // share of the texel that the tile covers
	bare  []uint8   // share of the texel that shows the tile's own glaze and not a painted line, 255 = all
}

// extent of the textures to each side of the wall's middle, mm: more than any photo shows.
const (
	extentU = 1230.0
	extentV = 930.0
)

// jointTone is the reflectance of the grout, bedTone that of the setting bed behind a lost tile. Common practice has no
// one value; both are choices that look right.
var (
	jointTone = rgb{0.300, 0.282, 0.252}
	bedTone   = rgb{0.175, 0.158, 0.135}
)

// rows runs f over [0,n) in two halves at once; each row is written by one goroutine only.
func rows(n int, f func(y int)) {
	var wg sync.WaitGroup
	for k := 0; k < 2; k++ {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for y := k; y < n; y += 2 {
				f(y)
			}
		}()
	}
	wg.Wait()
}

func (w *wall) at(x, y int) pt {
	return pt{(float64(x)+0.5)*w.mm - extentU, (float64(y)+0.5)*w.mm - extentV}
}

// texel returns the texture position of a wall point: centre of the top left texel = (0,0).
func (w *wall) texel(p pt) (float64, float64) {
	return (p.u+extentU)/w.mm - 0.5, (p.v+extentV)/w.mm - 0.5
}

// build lays the tiles, glazes and paints them, and puts the stone around them.
func build(s *scene, mm float64) *wall {
	w := &wall{scene: s, mm: mm, w: int(2*extentU/mm + 0.5), h: int(2*extentV/mm + 0.5), cells: s.lay()}
	n := w.w * w.h
	w.id, w.edge, w.paint, w.cover, w.bare = make([]int16, n), make([]float32, n), make([]float32, 3*n), make([]float32, n), make([]uint8, n)
	for i := range w.id {
		w.id[i], w.edge[i] = -1, -1000
	}
	for i := range w.cells {
		c := &w.cells[i]
		c.id = fmt.Sprintf("%s%03d", s.prefix, i+1)
		c.glaze = s.glazeAt(c.centre, i)
		for z := range s.zones {
			if within(c.centre, s.zones[z].ring) {
				c.zone = z
				break
			}
		}
		lo, hi := bounds(c.ring)
		for l := range s.lines {
			if b := &s.lines[l].box; b[0].u < hi.u+4 && b[1].u > lo.u-4 && b[0].v < hi.v+4 && b[1].v > lo.v-4 {
				c.lines = append(c.lines, l)
			}
		}
		w.place(i)
	}
	rows(w.h, w.colourRow)
	w.average()
	return w
}

// place writes a tile's number and its distance to the rim into the textures; hand-made rims waver.
func (w *wall) place(i int) {
	c := &w.cells[i]
	lo, hi := bounds(c.ring)
	x0, y0 := w.texel(lo)
	x1, y1 := w.texel(hi)
	for y := max(int(y0)-3, 0); y <= min(int(y1)+3, w.h-1); y++ {
		for x := max(int(x0)-3, 0); x <= min(int(x1)+3, w.w-1); x++ {
			p := w.at(x, y)
			d := toEdge(p, c.ring) + 0.7*(fbm(w.scene.seed+40, p.u/9, p.v/9, 2)-0.5)
			k := y*w.w + x
			if d > float64(w.edge[k]) && d > -4 {
				w.edge[k] = float32(d)
				if d >= 0 {
					w.id[k] = int16(i)
				}
				w.cover[k] = float32(clamp(d/w.mm+0.5, 0, 1))
			}
		}
	}
}

// colourRow fills a row of the texture with reflectance.
func (w *wall) colourRow(y int) {
	s := w.scene
	for x := 0; x < w.w; x++ {
		k, p := y*w.w+x, w.at(x, y)
		var c rgb
		if w.cover[k] > 0 || w.id[k] >= 0 || within(p, s.panel) {
			c = jointTone.times(0.58 + 0.56*fbm(s.seed+50, p.u/5, p.v/5, 3) + 0.30*fbm(s.seed+51, p.u/120, p.v/120, 2))
			if i := w.nearest(k, x, y); i >= 0 {
				g, bare := w.glazed(i, p, float64(w.edge[k]))
				c = c.mix(g, float64(w.cover[k]))
				w.bare[k] = uint8(255*bare*float64(w.cover[k]) + 0.5)
			}
			if w.id[k] < 0 { // dirt settles in joints, next to rims
				c = c.times(0.86)
			}
		} else {
			c = s.around(p)
		}
		for j := range c {
			w.paint[3*k+j] = float32(c[j])
		}
	}
}

// nearest returns the tile a texel belongs to or touches.
func (w *wall) nearest(k, x, y int) int {
	if w.id[k] >= 0 {
		return int(w.id[k])
	}
	if w.cover[k] <= 0 {
		return -1
	}
	for dy := -1; dy <= 1; dy++ {
		for dx := -1; dx <= 1; dx++ {
			if x+dx >= 0 && y+dy >= 0 && x+dx < w.w && y+dy < w.h {
				if i := w.id[k+dy*w.w+dx]; i >= 0 {
					return int(i)
				}
			}
		}
	}
	return -1
}

// glazed returns the reflectance of a point on a tile: its firing, clouds in the glaze, a darker rim where the glaze
// pooled or ran thin, pinholes, fine crazing on some, and the brush strokes. bare is the share that no stroke covers.
func (w *wall) glazed(i int, p pt, rim float64) (c rgb, bare float64) {
	s := w.scene
	cell := &w.cells[i]
	c, bare = tone(s.seed, cell.glaze, i), 1
	next := cell.glaze
	if other := s.glazeAt(pt{cell.centre.u + 25, cell.centre.v + 18}, i); other/4 == next/4 {
		next = other
	}
	cloud := fbm(s.seed+60+uint64(i), p.u/26, p.v/26, 3)
	c = c.mix(tone(s.seed, next, i), step(0.35, 0.8, cloud)*0.5)
	turn := math.Pi * unit(s.seed+66, i, 0)
	along, across := p.u*math.Cos(turn)+p.v*math.Sin(turn), p.v*math.Cos(turn)-p.u*math.Sin(turn)
	brush := fbm(s.seed+67+uint64(i), along/30, across/3.4, 2)
	c = c.times(1 + 0.34*(cloud-0.5) + 0.13*(brush-0.5) + 0.12*(fbm(s.seed+61, p.u/3.2, p.v/3.2, 2)-0.5))
	thin := signed(s.seed+62, i, 0)
	c = c.times(1 + 0.22*thin*math.Exp(-math.Max(rim, 0)/3.5) - 0.10*math.Exp(-math.Max(rim, 0)/1.6))
	if v := value(s.seed+63, p.u/2.6, p.v/2.6); v > 0.965 {
		c = c.times(0.80)
	}
	if unit(s.seed+64, i, 0) < 0.14 {
		c = c.times(1 - 0.13*crazing(s.seed+65+uint64(i), p))
	}
	for _, l := range cell.lines {
		if a := s.lines[l].cover(p); a > 0 {
			c = c.mix(tone(s.seed, s.lines[l].glaze, 7*l), 0.9*a)
			bare *= 1 - 0.9*a
		}
	}
	return c, bare
}

// crazing is a net of hairlines: near the borders of a cellular pattern.
func crazing(seed uint64, p pt) float64 {
	const pitch = 11.0
	u, v := p.u/pitch, p.v/pitch
	bu, bv := int(math.Floor(u)), int(math.Floor(v))
	d1, d2 := 9.0, 9.0
	for dv := -1; dv <= 1; dv++ {
		for du := -1; du <= 1; du++ {
			a, b := float64(bu+du)+unit(seed, bu+du, bv+dv), float64(bv+dv)+unit(seed+1, bu+du, bv+dv)
			d := math.Hypot(u-a, v-b)
			if d < d1 {
				d1, d2 = d, d1
			} else if d < d2 {
				d2 = d
			}
		}
	}
	return 1 - step(0.02, 0.08, d2-d1)
}

// average works out every tile's mean reflectance, which drift and palette speak of.
func (w *wall) average() {
	w.tones, w.fades, w.fresh = make([]rgb, len(w.cells)), make([]bool, len(w.cells)), make([]fading, len(w.cells))
	count := make([]float64, len(w.cells))
	for k, i := range w.id {
		if i < 0 {
			continue
		}
		bare := float64(w.bare[k]) / 255
		w.fresh[i].share += bare
		for j := 0; j < 3; j++ {
			w.tones[i][j] += float64(w.paint[3*k+j])
			w.fresh[i].own[j] += bare * float64(w.paint[3*k+j])
		}
		count[i]++
	}
	for i := range w.tones {
		if count[i] > 0 {
			w.tones[i] = w.tones[i].times(1 / count[i])
			w.fresh[i] = fading{w.fresh[i].share / count[i], w.fresh[i].own.times(1 / count[i])}
		}
		w.fades[i] = glazes[w.cells[i].glaze].fades
	}
}

// fading sums up a tile's own glaze as fired: the mean share of the tile that shows it and the mean of share times
// reflectance. With them the mean of the faded tile is exact.
type fading struct {
	share float64
	own   rgb
}

// weathered returns the reflectance of a texel after some years: the glazes that fade go towards grey, painted lines
// and joints stay.
func (w *wall) weathered(k int, c rgb, years float64) rgb {
	return c.mix(faded, fadePerYear*years*float64(w.bare[k])/255)
}

// mean returns a tile's mean reflectance in a state, scale aside: the colour that drift speaks of.
func (w *wall) mean(st *state, i int) rgb {
	m := w.tones[i]
	switch {
	case i == st.odd:
		return strange
	case w.fades[i]:
		f := fadePerYear * st.years
		return m.plus(faded.times(f * w.fresh[i].share)).plus(w.fresh[i].own.times(-f))
	}
	return m
}
