package draw

import (
	"image"
	"image/color"
	"math"

	"tilelapse/pipeline/report/words"
)

// Sizes of the picture of a rejected photo.
const (
	rejectedSide  = 620 // longer side of each of the two pictures, px
	rejectedFine  = 200 // detail they keep, px a longer side: enough to know a wall again, too little to know a face
	rejectedLines = 80  // pairs drawn at most, evenly taken
)

// pairInks tell neighbouring lines apart; they differ in lightness too.
var pairInks = [4]color.RGBA{{230, 159, 0, 255}, {0, 114, 178, 255}, {86, 200, 255, 255}, {213, 60, 120, 255}}

// Rejected returns a picture that shows why a photo was not aligned: reference and photo side by side, reduced, the pairs
// of points that were found joined by lines, and the caption's lines above. A pair is x and y in the reference, x and y
// in the photo, px of the given pictures, pixel centres at whole numbers. A nil picture leaves its place empty. Since
// nobody has been looked for in these pictures, they keep no fine detail. w words what the program says.
func Rejected(ref, photo *image.Gray, pairs [][4]float64, caption []string, w words.Table) *image.RGBA {
	a, sa := softened(ref)
	b, sb := softened(photo)
	const u, gap = 10.0, 24.0
	margin := 2 * u
	wa, wb := float64(a.Rect.Dx()), float64(b.Rect.Dx())
	h := math.Max(float64(a.Rect.Dy()), float64(b.Rect.Dy()))
	head, text := bold.pen(1.7*u), regular.pen(1.35*u)
	width := math.Max(wa+gap+wb, 640)
	var lines []string
	for i, s := range caption {
		p := text
		if i == 0 {
			p = head
		}
		lines = append(lines, p.wrap(s, width)...)
	}
	top := margin + 2.3*u*float64(len(lines)) + 2.4*u
	c := newCanvas(int(width+2*margin), int(math.Ceil(top+h+margin)), paper)
	y := margin + head.cap()
	first := 0
	if len(caption) > 0 {
		first = len(head.wrap(caption[0], width))
	}
	for i, s := range lines {
		p, colour := text, quiet
		if i < first {
			p, colour = head, ink
		}
		c.write(p, margin, y, s, colour)
		y += 2.3 * u
	}
	xa, xb := margin, margin+wa+gap
	c.write(text, xa, top-0.7*u, w.Say("draw.refused.reference"), quiet)
	c.write(text, xb, top-0.7*u, w.Say("draw.refused.photo"), quiet)
	c.grey(a, int(xa), int(top))
	c.grey(b, int(xb), int(top))
	step := max(1, (len(pairs)+rejectedLines-1)/rejectedLines)
	for i, k := 0, 0; i < len(pairs); i, k = i+step, k+1 {
		q := pairs[i]
		p1 := pt{xa + (q[0]+0.5)*sa, top + (q[1]+0.5)*sa}
		p2 := pt{xb + (q[2]+0.5)*sb, top + (q[3]+0.5)*sb}
		if !finite(p1, p2) || p1.x < xa || p1.x > xa+wa || p2.x < xb || p2.x > xb+wb ||
			math.Min(p1.y, p2.y) < top || math.Max(p1.y, p2.y) > top+h {
			continue
		}
		colour := pairInks[k%len(pairInks)]
		c.line(p1, p2, 1.3, colour)
		for _, p := range []pt{p1, p2} {
			c.disc(p, 4, ink)
			c.disc(p, 2.8, colour)
		}
	}
	return c.RGBA
}

func finite(ps ...pt) bool {
	for _, p := range ps {
		if math.IsNaN(p.x+p.y) || math.IsInf(p.x+p.y, 0) {
			return false
		}
	}
	return true
}

// softened returns a picture at the size it is shown in, with the detail it may keep, and the factor of its size.
func softened(in *image.Gray) (*image.Gray, float64) {
	small, _ := reduced(in, rejectedFine)
	shown, f := reduced(in, rejectedSide)
	w, h := small.Rect.Dx(), small.Rect.Dy()
	sx, sy := float64(w)/float64(shown.Rect.Dx()), float64(h)/float64(shown.Rect.Dy())
	at := func(x, y int) float64 {
		return float64(small.Pix[min(max(y, 0), h-1)*small.Stride+min(max(x, 0), w-1)])
	}
	for y := range shown.Rect.Dy() {
		v := (float64(y)+0.5)*sy - 0.5
		y0 := int(math.Floor(v))
		v -= float64(y0)
		for x := range shown.Rect.Dx() {
			u := (float64(x)+0.5)*sx - 0.5
			x0 := int(math.Floor(u))
			u -= float64(x0)
			top := (1-u)*at(x0, y0) + u*at(x0+1, y0)
			low := (1-u)*at(x0, y0+1) + u*at(x0+1, y0+1)
			shown.Pix[y*shown.Stride+x] = uint8((1-v)*top + v*low + 0.5)
		}
	}
	return shown, f
}

// reduced returns a picture whose longer side is at most side px, by averaging, and the factor.
func reduced(in *image.Gray, side int) (*image.Gray, float64) {
	if in == nil || in.Rect.Empty() {
		return image.NewGray(image.Rect(0, 0, side, side*3/4)), 1
	}
	w, h := in.Rect.Dx(), in.Rect.Dy()
	f := math.Min(1, float64(side)/float64(max(w, h)))
	ow, oh := max(1, int(float64(w)*f)), max(1, int(float64(h)*f))
	out := image.NewGray(image.Rect(0, 0, ow, oh))
	for y := range oh {
		y0, y1 := y*h/oh, max((y+1)*h/oh, y*h/oh+1)
		for x := range ow {
			x0, x1 := x*w/ow, max((x+1)*w/ow, x*w/ow+1)
			sum := 0
			for sy := y0; sy < y1; sy++ {
				o := in.PixOffset(in.Rect.Min.X+x0, in.Rect.Min.Y+sy)
				for _, v := range in.Pix[o : o+x1-x0] {
					sum += int(v)
				}
			}
			out.Pix[y*out.Stride+x] = uint8(sum / ((x1 - x0) * (y1 - y0)))
		}
	}
	return out, f
}

// grey lays a grey picture on the canvas, a little paled so that lines show.
func (c canvas) grey(in *image.Gray, x0, y0 int) {
	for y := range in.Rect.Dy() {
		for x := range in.Rect.Dx() {
			v := 40 + int(in.Pix[y*in.Stride+x])*215/255
			o := c.PixOffset(x0+x, y0+y)
			c.Pix[o], c.Pix[o+1], c.Pix[o+2] = uint8(v), uint8(v), uint8(v)
		}
	}
}
