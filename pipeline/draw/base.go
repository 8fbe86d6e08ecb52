package draw

import (
	"image"
	"image/color"
	"math"

	"tilelapse/measure/plane"
)

// How the photo becomes a base map: what is left of its contrast and colour. Our choice, by eye on made and rendered
// scenes: pale enough that the darkest tint stands out on near-black glazes, strong enough to know the artwork again.
const (
	baseDark   = 190 // grey value that the photo's blacks become: lighter than the lightest tint
	baseLight  = 250 // and its whites
	baseChroma = 0.45
)

// luma returns the brightness of encoded sRGB values (Rec. 709 weights, in 256ths).
func luma(r, g, b uint8) int { return (54*int(r) + 183*int(g) + 19*int(b)) >> 8 }

// tone is the mapping of a photo's brightness onto the base map.
type tone [256]uint8

// toneOf stretches the photo's brightness between its 1st and 99th hundredth, so that visits in dull and in bright
// light look alike.
//
// Pixels outside use, and those of front, do not count: what is covered leaves no trace.
func toneOf(s *Scene, use, front []bool) *tone {
	var count [256]int
	total := 0
	for i := range s.W * s.H {
		if !s.out(i) && (use == nil || use[i]) && (front == nil || !front[i]) {
			p := s.Picture.Pix[4*i:]
			count[luma(p[0], p[1], p[2])]++
			total++
		}
	}
	lo, hi := 0, 255
	sum := 0
	for v, n := range count {
		if sum += n; sum <= total/100 {
			lo = v
		}
		if sum < total-total/100 {
			hi = v
		}
	}
	var t tone
	span := math.Max(float64(hi-lo), 40) // a blank picture is not stretched
	for v := range t {
		t[v] = uint8(baseDark + (baseLight-baseDark)*clamp(float64(v-lo)/span) + 0.5)
	}
	return &t
}

// mute returns the base map's colour of a photo's colour.
func (t *tone) mute(r, g, b uint8, chroma float64) color.RGBA {
	y := luma(r, g, b)
	base := float64(t[y])
	part := func(v uint8) uint8 {
		return uint8(math.Max(0, math.Min(255, base+chroma*float64(int(v)-y))) + 0.5)
	}
	return color.RGBA{part(r), part(g), part(b), 255}
}

// keep marks the pixels within a margin of zones and controls: the rest is surroundings. own are zones and controls
// without the margin. Both are nil when the scene has neither, so that nothing is marked off.
func keep(s *Scene) (kept, own []bool) {
	if len(s.Zones)+len(s.Controls) == 0 {
		return nil, nil
	}
	mask := newMask(s.W, s.H)
	for _, z := range s.Zones {
		mask.add(z.Rings)
	}
	for _, c := range s.Controls {
		mask.add(c.Rings)
	}
	return mask.grown(s.margin()), mask.on
}

// margin is the width of the strip around zones and controls that is not coarsened, px.
func (s *Scene) margin() float64 { return surround * math.Hypot(float64(s.W), float64(s.H)) }

// surround is the margin around zones and controls that is not coarsened, as a share of the picture's diagonal.
const surround = 0.015

// mask is a bitmap on the measuring frame.
type mask struct {
	w, h int
	on   []bool
}

func newMask(w, h int) *mask { return &mask{w, h, make([]bool, w*h)} }

// add sets the pixels whose centres lie in the rings.
func (m *mask) add(rings [][]plane.Point) {
	c := canvas{&image.RGBA{Rect: image.Rect(0, 0, m.w, m.h)}}
	c.fill(view{scale: 1}.rings(rings), func(x, y int, cover float64) {
		if cover >= 0.5 {
			m.on[y*m.w+x] = true
		}
	})
}

// far is a distance beyond any picture.
const far = float32(1e9)

// distance returns how far every pixel is from the nearest one that is set, px, by two sweeps with the steps 1 and √2: up
// to 8 % too long off the axes, which does not matter for a margin.
func (m *mask) distance(set bool) []float32 {
	d := make([]float32, m.w*m.h)
	for i, on := range m.on {
		if on != set {
			d[i] = far
		}
	}
	relax := func(i, x, y, dx, dy int, step float32) {
		if x += dx; x < 0 || x >= m.w {
			return
		}
		if y += dy; y < 0 || y >= m.h {
			return
		}
		if v := d[y*m.w+x] + step; v < d[i] {
			d[i] = v
		}
	}
	for y := range m.h {
		for x := range m.w {
			i := y*m.w + x
			relax(i, x, y, -1, 0, 1)
			relax(i, x, y, 0, -1, 1)
			relax(i, x, y, -1, -1, math.Sqrt2)
			relax(i, x, y, 1, -1, math.Sqrt2)
		}
	}
	for y := m.h - 1; y >= 0; y-- {
		for x := m.w - 1; x >= 0; x-- {
			i := y*m.w + x
			relax(i, x, y, 1, 0, 1)
			relax(i, x, y, 0, 1, 1)
			relax(i, x, y, 1, 1, math.Sqrt2)
			relax(i, x, y, -1, 1, math.Sqrt2)
		}
	}
	return d
}

// grown returns the pixels within r px of the mask.
func (m *mask) grown(r float64) []bool {
	d := m.distance(true)
	out := make([]bool, len(d))
	for i, v := range d {
		out[i] = float64(v) <= r
	}
	return out
}

// inFront returns what stands in front: pixels measured as hidden, hidden tiles, and Hidden, with the joints and gaps
// between them closed. Outside own, where nothing is measured, it is drawn on over the margin, since what stands before a
// zone's edge goes on beyond it. nil = nothing.
func inFront(s *Scene, own []bool) []bool {
	m := newMask(s.W, s.H)
	some := false
	for i := range m.on {
		if s.code(i) == pixHidden || (s.Hidden != nil && s.Hidden[i]) {
			m.on[i], some = true, true
		}
	}
	for _, t := range s.Tiles {
		if t.State == Hidden {
			m.add(t.Rings)
			some = true
		}
	}
	if !some {
		return nil
	}
	r := math.Max(0.008*float64(max(s.W, s.H)), 3) // wider than a joint, narrower than a tile
	wide := &mask{s.W, s.H, m.grown(r)}
	back := wide.distance(false)
	for i := range m.on {
		if float64(back[i]) > r-2 { // r > 2; two pixels beyond the closed shape: the rim of what is hidden shows nothing
			m.on[i] = true
		}
	}
	if own != nil {
		d := m.distance(true)
		for i, v := range d {
			if !own[i] && float64(v) <= 1.3*s.margin() {
				m.on[i] = true
			}
		}
	}
	m.fillHoles(enclosed * s.W * s.H / 1000)
	return m.on
}

// enclosed is how large a hole in what stands in front may be to be covered too, in thousandths of the picture.
const enclosed = 10

// opened drops the parts of the mask that are narrower than 2r px.
func (m *mask) opened(r float64) {
	inner := m.distance(false)
	for i, v := range inner {
		m.on[i] = float64(v) > r
	}
	m.on = m.grown(r)
}

// fillHoles sets the parts of the rest that the mask encloses wholly, up to an area in px.
func (m *mask) fillHoles(most int) {
	seen := make([]bool, len(m.on))
	var part []int
	for start := range m.on {
		if m.on[start] || seen[start] {
			continue
		}
		part = append(part[:0], start)
		seen[start] = true
		open := false
		for k := 0; k < len(part); k++ {
			x, y := part[k]%m.w, part[k]/m.w
			if x == 0 || y == 0 || x == m.w-1 || y == m.h-1 {
				open = true
			}
			for _, d := range [4][2]int{{-1, 0}, {1, 0}, {0, -1}, {0, 1}} {
				nx, ny := x+d[0], y+d[1]
				if nx < 0 || ny < 0 || nx >= m.w || ny >= m.h {
					continue
				}
				if j := ny*m.w + nx; !m.on[j] && !seen[j] {
					seen[j] = true
					part = append(part, j)
				}
			}
		}
		if !open && len(part) <= most {
			for _, j := range part {
				m.on[j] = true
			}
		}
	}
}

// blocks is how many coarse blocks the longer side of a picture has.
const blocks = 36

// coarse returns the mean colours of the blocks of the surroundings and the block's side, px. Pixels of the kept part, of
// what stands in front and outside the photo do not count.
func coarse(s *Scene, kept, front []bool) (mean []color.RGBA, across, side int) {
	side = max((max(s.W, s.H)+blocks-1)/blocks, 1)
	across = (s.W + side - 1) / side
	down := (s.H + side - 1) / side
	sum := make([][4]int, across*down)
	for y := range s.H {
		for x := range s.W {
			i := y*s.W + x
			if kept[i] || s.out(i) || (front != nil && front[i]) {
				continue
			}
			b := &sum[(y/side)*across+x/side]
			p := s.Picture.Pix[4*i:]
			b[0] += int(p[0])
			b[1] += int(p[1])
			b[2] += int(p[2])
			b[3]++
		}
	}
	mean = make([]color.RGBA, len(sum))
	for i, b := range sum {
		if b[3] > 0 {
			mean[i] = color.RGBA{uint8(b[0] / b[3]), uint8(b[1] / b[3]), uint8(b[2] / b[3]), 255}
		}
	}
	return mean, across, side
}

// ground is the base map of a scene with what says how it is to be drawn.
type ground struct {
	s     *Scene
	kept  []bool       // nil = all
	front []bool       // nil = none
	base  []color.RGBA // W*H
}

// groundOf makes the base map. chroma is what is left of the photo's colour.
func groundOf(s *Scene, chroma float64) *ground {
	kept, own := keep(s)
	g := &ground{s: s, kept: kept, front: inFront(s, own), base: make([]color.RGBA, s.W*s.H)}
	t := toneOf(s, g.kept, g.front)
	var mean []color.RGBA
	var across, side int
	if s.Masked && g.kept != nil && s.Picture != nil {
		mean, across, side = coarse(s, g.kept, g.front)
	}
	for y := range s.H {
		for x := range s.W {
			i := y*s.W + x
			switch {
			case s.out(i):
				g.base[i] = paper
			case mean != nil && !g.kept[i]:
				m := mean[(y/side)*across+x/side]
				g.base[i] = t.mute(m.R, m.G, m.B, chroma)
			default:
				p := s.Picture.Pix[4*i:]
				g.base[i] = t.mute(p[0], p[1], p[2], chroma)
			}
		}
	}
	return g
}

// veiled reports whether something stands in front of a pixel.
func (g *ground) veiled(i int) bool { return g.front != nil && g.front[i] }

// lay paints the base map and, pixel by pixel, what over gives: a colour with its strength, and a hatching.
func (g *ground) lay(c canvas, v view, u float64, over func(i int) (color.RGBA, float64, pattern)) {
	n := int(v.scale)
	for y := range g.s.H {
		for x := range g.s.W {
			i := y*g.s.W + x
			tint, a, hatch := over(i)
			for sy := range n {
				for sx := range n {
					px, py := int(v.x)+x*n+sx, int(v.y)+y*n+sy
					o := c.PixOffset(px, py)
					b := g.base[i]
					c.Pix[o], c.Pix[o+1], c.Pix[o+2] = b.R, b.G, b.B
					if g.veiled(i) {
						if g.s.Masked {
							c.blend(px, py, screenGrey, 1)
						} else {
							c.blend(px, py, screenGrey, 0.35)
						}
						c.blend(px, py, hatchGrey, hatched(px, py, u))
						continue
					}
					c.blend(px, py, tint, a)
					if hatch != nil {
						c.blend(px, py, hatchGrey, hatch(px, py, u))
					}
				}
			}
		}
	}
}
