package report

import (
	"image"
	"image/color"
	"math"

	"golang.org/x/image/draw"

	"tilelapse/measure/plane"
)

// PictureSide is the longer side of a picture in the reports at most, px: enough to fill a screen or half a page.
const PictureSide = 1400

// Scene is an aligned picture with what must not be shown of it. Positions are px of Image, pixel centres at whole numbers.
type Scene struct {
	Image  *image.RGBA
	Front  []bool            // one a pixel: something stands in front; nil = nothing
	Hidden [][]plane.Point   // outlines of tiles behind something
	Keep   [][][]plane.Point // rings of zones and controls; what is far from all of them is coarsened; nil = keep all
}

const (
	keepMargin = 0.015 // of the diagonal, around zones and controls
	closeShare = 0.008 // of the longer side: wider than a joint, narrower than a tile
	blockCount = 36    // coarse blocks along the longer side
)

// Veil returns the scene at most PictureSide px long, without what may show people, cars or neighbouring ground: what
// stands in front is hatched opaque, what lies beyond a margin around zones and controls is coarsened to blocks.
// Transparent pixels, outside the photo's frame, become even grey.
func Veil(s Scene) *image.RGBA {
	b := s.Image.Bounds()
	w, h := b.Dx(), b.Dy()
	k := 1.0
	if m := max(w, h); m > PictureSide {
		k = float64(m) / PictureSide
		w, h = max(1, int(float64(w)/k)), max(1, int(float64(h)/k))
	}
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	draw.Draw(out, out.Bounds(), image.NewUniform(color.RGBA{200, 200, 200, 255}), image.Point{}, draw.Src)
	if k == 1 {
		draw.Draw(out, out.Bounds(), s.Image, b.Min, draw.Over)
	} else {
		draw.ApproxBiLinear.Scale(out, out.Bounds(), s.Image, b, draw.Over, nil)
	}
	sx, sy := float64(b.Dx())/float64(w), float64(b.Dy())/float64(h)
	front := make([]bool, w*h)
	some := false
	if len(s.Front) == b.Dx()*b.Dy() {
		for i, on := range s.Front {
			if on {
				x, y := int(float64(i%b.Dx())/sx), int(float64(i/b.Dx())/sy)
				front[min(y, h-1)*w+min(x, w-1)], some = true, true
			}
		}
	}
	scaled := func(r []plane.Point) []plane.Point {
		q := make([]plane.Point, len(r))
		for i, p := range r {
			q[i] = plane.Point{X: (p.X+0.5)/sx - 0.5, Y: (p.Y+0.5)/sy - 0.5}
		}
		return q
	}
	for _, r := range s.Hidden {
		fill(front, w, h, [][]plane.Point{scaled(r)})
		some = true
	}
	if some {
		// Closed over joints, and a little wider: the rim of what stands in front shows nothing either.
		r := math.Max(3, closeShare*float64(max(w, h)))
		front = grown(front, w, h, r)
		front = shrunk(front, w, h, r-2)
	}
	if s.Keep != nil {
		keep := make([]bool, w*h)
		for _, rings := range s.Keep {
			var q [][]plane.Point
			for _, r := range rings {
				q = append(q, scaled(r))
			}
			fill(keep, w, h, q)
		}
		coarsen(out, grown(keep, w, h, keepMargin*math.Hypot(float64(w), float64(h))), front)
	}
	if some {
		hatch(out, front)
	}
	return out
}

// fill sets the pixels whose centres lie in the rings, by the even-odd rule.
func fill(on []bool, w, h int, rings [][]plane.Point) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, r := range rings {
		for _, p := range r {
			lo, hi = math.Min(lo, p.Y), math.Max(hi, p.Y)
		}
	}
	for y := max(0, int(math.Floor(lo))); y <= min(h-1, int(math.Ceil(hi))); y++ {
		var xs []float64
		for _, r := range rings {
			for i, p := range r {
				q := r[(i+1)%len(r)]
				if (p.Y > float64(y)) != (q.Y > float64(y)) {
					xs = append(xs, p.X+(float64(y)-p.Y)/(q.Y-p.Y)*(q.X-p.X))
				}
			}
		}
		sortFloats(xs)
		for i := 0; i+1 < len(xs); i += 2 {
			for x := max(0, int(math.Ceil(xs[i]))); x <= min(w-1, int(math.Floor(xs[i+1]))); x++ {
				on[y*w+x] = true
			}
		}
	}
}

func sortFloats(xs []float64) {
	for i := 1; i < len(xs); i++ { // a line crosses few edges
		for j := i; j > 0 && xs[j] < xs[j-1]; j-- {
			xs[j], xs[j-1] = xs[j-1], xs[j]
		}
	}
}

// grown returns the pixels within r px of those set, measured along two sweeps of steps 1 and √2.
func grown(on []bool, w, h int, r float64) []bool {
	d := distance(on, w, h)
	out := make([]bool, len(on))
	for i, v := range d {
		out[i] = v <= r
	}
	return out
}

// shrunk returns the pixels farther than r px from those not set.
func shrunk(on []bool, w, h int, r float64) []bool {
	not := make([]bool, len(on))
	for i, v := range on {
		not[i] = !v
	}
	d := distance(not, w, h)
	out := make([]bool, len(on))
	for i, v := range d {
		out[i] = on[i] && v > r
	}
	return out
}

func distance(on []bool, w, h int) []float64 {
	d := make([]float64, len(on))
	for i, v := range on {
		if !v {
			d[i] = 1e9
		}
	}
	look := func(x, y, dx, dy int, step float64) {
		if nx, ny := x+dx, y+dy; nx >= 0 && nx < w && ny >= 0 && ny < h {
			d[y*w+x] = math.Min(d[y*w+x], d[ny*w+nx]+step)
		}
	}
	for y := range h {
		for x := range w {
			look(x, y, -1, 0, 1)
			look(x, y, 0, -1, 1)
			look(x, y, -1, -1, math.Sqrt2)
			look(x, y, 1, -1, math.Sqrt2)
		}
	}
	for y := h - 1; y >= 0; y-- {
		for x := w - 1; x >= 0; x-- {
			look(x, y, 1, 0, 1)
			look(x, y, 0, 1, 1)
			look(x, y, 1, 1, math.Sqrt2)
			look(x, y, -1, 1, math.Sqrt2)
		}
	}
	return d
}

// coarsen paints what is not kept in blocks of its mean colour; what stands in front does not count.
func coarsen(img *image.RGBA, kept, front []bool) {
	w, h := img.Rect.Dx(), img.Rect.Dy()
	side := max(1, (max(w, h)+blockCount-1)/blockCount)
	for y0 := 0; y0 < h; y0 += side {
		for x0 := 0; x0 < w; x0 += side {
			var sum [3]int
			n := 0
			each := func(do func(i int)) {
				for y := y0; y < min(h, y0+side); y++ {
					for x := x0; x < min(w, x0+side); x++ {
						if !kept[y*w+x] {
							do(y*w + x)
						}
					}
				}
			}
			each(func(i int) {
				if !front[i] {
					for c := range 3 {
						sum[c] += int(img.Pix[4*i+c])
					}
					n++
				}
			})
			each(func(i int) {
				for c := range 3 {
					img.Pix[4*i+c] = uint8(sum[c] / max(n, 1))
				}
			})
		}
	}
}

// hatch paints what is set as an opaque grey with slanting lines.
func hatch(img *image.RGBA, on []bool) {
	w := img.Rect.Dx()
	step := max(8, w/110)
	for i, v := range on {
		if !v {
			continue
		}
		c := uint8(214)
		if ((i%w)+(i/w))%step < max(2, step/4) {
			c = 120
		}
		img.Pix[4*i], img.Pix[4*i+1], img.Pix[4*i+2] = c, c, c
	}
}
