package draw

import (
	"image/color"
	"math"
	"strings"
)

// plate is a picture with its paper: title strip above, picture in a neat line, legend below.
type plate struct {
	canvas
	u       float64 // unit of size: a hundredth of the longer side of a 4:3 picture, canvas px
	margin  float64
	view    view
	w, h    float64 // picture, canvas px
	title   pen
	sub     pen
	label   pen
	figures pen
	small   pen
	tiny    pen
}

// minSide is the least width of a picture on its plate, px: smaller frames are enlarged by a whole factor, so that the
// legend beside them stays legible.
const minSide = 900

// maxTall bounds the height to which a narrow frame is enlarged, px.
const maxTall = 3000

// newPlate lays out a plate for a scene; legend gives the height of what stands below the picture.
func newPlate(s *Scene, legend func(p *plate) float64) *plate {
	n := max(1, min((minSide+s.W-1)/s.W, 16, maxTall/s.H))
	p := &plate{w: float64(s.W * n), h: float64(s.H * n)}
	p.u = math.Max(min(math.Max(p.w, p.h)/100, p.w/64, math.Sqrt(p.w*p.h)/80), 6) // smaller on long and on tall pictures
	p.margin = math.Round(2 * p.u)
	p.title, p.sub = bold.pen(2.1*p.u), regular.pen(1.25*p.u)
	p.label, p.figures = bold.pen(1.6*p.u), bold.pen(1.2*p.u)
	p.small, p.tiny = regular.pen(1.2*p.u), bold.pen(0.95*p.u)
	top := math.Round(p.margin + 5.2*p.u)
	p.view = view{p.margin, top, float64(n)}
	height := top + p.h + 1.6*p.u + legend(p) + p.margin
	p.canvas = newCanvas(int(p.w+2*p.margin), int(math.Ceil(height)), paper)
	return p
}

// right returns the right edge of the picture.
func (p *plate) right() float64 { return p.margin + p.w }

// heading writes the title strip: what and where on the left, when on the right.
func (p *plate) heading(name, below, date, belowDate string) {
	y := p.margin + p.title.cap()
	room := p.w - p.title.width(date) - 2*p.u
	p.write(p.title, p.margin, y, p.title.fit(name, room), ink)
	p.write(p.title, p.right()-p.title.width(date), y, date, ink)
	y += 2.3 * p.u
	room = p.w - p.sub.width(belowDate) - 2*p.u
	p.write(p.sub, p.margin, y, p.sub.fit(below, room), quiet)
	p.write(p.sub, p.right()-p.sub.width(belowDate), y, belowDate, quiet)
}

// fit cuts a text to a width, with an ellipsis.
func (p pen) fit(s string, room float64) string {
	if p.width(s) <= room {
		return s
	}
	r := []rune(s)
	for len(r) > 0 && p.width(string(r)+"…") > room {
		r = r[:len(r)-1]
	}
	return strings.TrimSpace(string(r)) + "…"
}

// neatLine frames the picture.
func (p *plate) neatLine() {
	t := math.Max(1, math.Round(0.12*p.u))
	x, y := p.view.x, p.view.y
	p.box(x-t, y-t, p.w+2*t, t, ink)
	p.box(x-t, y+p.h, p.w+2*t, t, ink)
	p.box(x-t, y, t, p.h, ink)
	p.box(x+p.w, y, t, p.h, ink)
}

// sign is an entry of the legend: a swatch and what it means.
type sign struct {
	label string
	draw  func(sy symbols, swatch [][]pt)
}

// Sizes of a legend entry in units.
const (
	swatchW  = 3.2
	swatchH  = 2.0
	rowH     = 2.9
	labelGap = 0.8
	columns  = 2.2 // gap between columns
)

// grid returns how the entries of a legend are set: columns, rows and column width.
func (p *plate) grid(signs []sign) (cols, rows int, width float64) {
	for _, s := range signs {
		width = math.Max(width, (swatchW+labelGap+columns)*p.u+p.small.width(s.label))
	}
	cols = max(1, min(len(signs), int((p.w+columns*p.u)/width)))
	rows = (len(signs) + cols - 1) / cols
	cols = (len(signs) + rows - 1) / max(rows, 1)
	return cols, rows, width
}

// signs draws the entries of a legend column by column, beginning at y, and returns where they end.
func (p *plate) signs(y float64, signs []sign) float64 {
	_, rows, width := p.grid(signs)
	for i, s := range signs {
		x, top := p.margin+float64(i/rows)*width, y+float64(i%rows)*rowH*p.u
		swatch := [][]pt{rectangle(x, top, swatchW*p.u, swatchH*p.u)}
		s.draw(symbols{p.canvas, p.u}, swatch)
		p.write(p.small, x+(swatchW+labelGap)*p.u, top+swatchH*p.u/2+p.small.cap()/2,
			p.small.fit(s.label, p.right()-x-(swatchW+labelGap)*p.u), ink)
	}
	return y + float64(rows)*rowH*p.u
}

// lines writes notes below a legend.
func (p *plate) lines(y float64, notes []string) {
	y += 0.5 * p.u
	for _, n := range notes {
		for _, l := range p.small.wrap(n, p.w) {
			p.write(p.small, p.margin, y+p.small.cap(), l, quiet)
			y += 1.8 * p.u
		}
	}
}

// linesHeight returns the height that lines takes.
func (p *plate) linesHeight(notes []string) float64 {
	n := 0
	for _, s := range notes {
		n += len(p.small.wrap(s, p.w))
	}
	if n == 0 {
		return 0
	}
	return (float64(n)*1.8 + 0.5) * p.u
}

// sample is the grey of the base map in swatches.
var sample = color.RGBA{206, 206, 202, 255}

// mark is a tile that bears a mark; id is "" when its name is not to be written.
type mark struct {
	id    string
	rings [][]pt
}

// mostNames is how many tile names a picture can bear; above it none is written.
const mostNames = 60

// labels writes zone names where they cover least: inside the zone, clear of marked tiles and of each other; then the
// names of marked tiles beside them, where there is room.
func (p *plate) labels(zones []Zone, marked []mark) {
	var taken [][4]float64
	for _, m := range marked {
		x0, y0, x1, y1 := extent(m.rings)
		taken = append(taken, [4]float64{x0, y0, x1, y1})
	}
	for _, z := range zones {
		rings := p.view.rings(z.Rings)
		if len(rings) == 0 {
			continue
		}
		w, h := p.label.width(z.ID), p.label.cap()
		if z.Text != "" {
			w = math.Max(w, p.figures.width(z.Text))
			h += 0.7*p.u + p.figures.cap()
		}
		x, y := p.place(rings, w, h, taken)
		taken = append(taken, [4]float64{x - p.u, y - p.u, x + w + p.u, y + h + p.u})
		p.halo(p.label, x, y+p.label.cap(), z.ID, ink, white, 0.3*p.u)
		if z.Text != "" {
			p.halo(p.figures, x, y+h, z.Text, ink, white, 0.28*p.u)
		}
	}
	p.names(marked, taken)
}

// names writes the names of marked tiles on the side where nothing else is. A name without room is left out: tiles.csv
// has them all.
func (p *plate) names(marked []mark, taken [][4]float64) {
	count := 0
	for _, m := range marked {
		if m.id != "" {
			count++
		}
	}
	if count > mostNames {
		return
	}
	for _, m := range marked {
		if m.id == "" {
			continue
		}
		w, h, gap := p.tiny.width(m.id), p.tiny.cap(), 0.5*p.u
		at, side := centre(m.rings)
		x0, y0, x1, y1 := extent(m.rings)
		r := math.Max(0.75*p.u, math.Min(0.34*side, 2.2*p.u)) + 0.8*p.u // marks reach beyond small tiles
		x0, y0, x1, y1 = math.Min(x0, at.x-r), math.Min(y0, at.y-r), math.Max(x1, at.x+r), math.Max(y1, at.y+r)
		for _, c := range [4]pt{{at.x - w/2, y1 + gap}, {x1 + gap, at.y - h/2}, {x0 - gap - w, at.y - h/2}, {at.x - w/2, y0 - gap - h}} {
			box := [4]float64{c.x - gap/2, c.y - gap/2, c.x + w + gap/2, c.y + h + gap/2}
			if box[0] < p.view.x || box[1] < p.view.y || box[2] > p.right() || box[3] > p.view.y+p.h || hits(box, taken) {
				continue
			}
			p.halo(p.tiny, c.x, c.y+h, m.id, ink, white, 0.25*p.u)
			taken = append(taken, box)
			break
		}
	}
}

func hits(box [4]float64, taken [][4]float64) bool {
	for _, t := range taken {
		if box[0] < t[2] && box[2] > t[0] && box[1] < t[3] && box[3] > t[1] {
			return true
		}
	}
	return false
}

// place returns the upper left corner for a box of w × h in a zone.
func (p *plate) place(rings [][]pt, w, h float64, taken [][4]float64) (x, y float64) {
	x0, y0, x1, y1 := extent(rings)
	pad := 0.9 * p.u
	x0, y0 = math.Max(x0, p.view.x)+pad, math.Max(y0, p.view.y)+pad
	x1, y1 = math.Min(x1, p.view.x+p.w)-pad-w, math.Min(y1, p.view.y+p.h)-pad-h
	const steps = 14
	best := math.Inf(-1)
	x, y = math.Min(x0, math.Max(x1, p.view.x)), math.Min(y0, math.Max(y1, p.view.y))
	for j := range steps + 1 {
		for i := range steps + 1 {
			fx, fy := float64(i)/steps, float64(j)/steps
			bx, by := x0+fx*math.Max(0, x1-x0), y0+fy*math.Max(0, y1-y0)
			score := -3*fy - fx
			for _, q := range [9]pt{{0, 0}, {0.5, 0}, {1, 0}, {0, 0.5}, {0.5, 0.5}, {1, 0.5}, {0, 1}, {0.5, 1}, {1, 1}} {
				if inside(rings, pt{bx - pad/2 + q.x*(w+pad), by - pad/2 + q.y*(h+pad)}) {
					score += 4
				}
			}
			for _, t := range taken {
				ow := math.Min(bx+w, t[2]) - math.Max(bx, t[0])
				oh := math.Min(by+h, t[3]) - math.Max(by, t[1])
				if ow > 0 && oh > 0 {
					score -= 6
				}
			}
			if score > best {
				best, x, y = score, bx, by
			}
		}
	}
	x = math.Max(p.view.x+2, math.Min(x, p.view.x+p.w-w-2))
	y = math.Max(p.view.y+2, math.Min(y, p.view.y+p.h-h-2))
	return x, y
}

// inside reports whether a position lies in rings, by the even-odd rule.
func inside(rings [][]pt, at pt) bool {
	in := false
	for _, r := range rings {
		for i, a := range r {
			b := r[(i+1)%len(r)]
			if (a.y <= at.y) != (b.y <= at.y) && at.x < a.x+(at.y-a.y)*(b.x-a.x)/(b.y-a.y) {
				in = !in
			}
		}
	}
	return in
}
