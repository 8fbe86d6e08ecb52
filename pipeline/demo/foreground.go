package demo

import "math"

// foreground is what stands between the camera and the wall in one photo: a plant, given in shares of the picture.
type foreground struct {
	name string
	seed uint64
	x    float64 // where it grows, share of the width
	top  float64 // how far up it reaches, share of the height
	wide float64 // spread, share of the width

	mask []float32 // opacity in the photo, filled by draw
}

// leaf is one blade, or a piece of stem: base, tip and half width in px, with its shade.
type leaf struct {
	x0, y0, x1, y1, half float64
	tone                 rgb
	stem                 bool
}

// leaves lets the plant grow for a picture of w x h px.
func (f *foreground) leaves(w, h int) []leaf {
	var out []leaf
	W, H := float64(w), float64(h)
	for stem := 0; stem < 8; stem++ {
		x, y := W*(f.x+0.22*f.wide*signed(f.seed, stem, 0)), H*1.02
		topX := W * (f.x + 0.5*f.wide*signed(f.seed, stem, 1))
		topY := H * (f.top + 0.35*(1-f.top)*unit(f.seed, stem, 2))
		px, py := x, y
		for n := 1; n <= 16; n++ {
			t := float64(n) / 16
			sx := lerp(x, topX, t*t*0.6+t*0.4)
			sy := lerp(y, topY, t)
			out = append(out, leaf{px, py, sx, sy, W * 0.0022, rgb{0.05, 0.075, 0.025}, true})
			px, py = sx, sy
			if n < 4 || n%2 == 1 {
				continue
			}
			for side := -1.0; side <= 1; side += 2 {
				key := stem*40 + n
				a := -math.Pi/2 + side*(0.55+1.3*unit(f.seed+3, key, int(side)))
				l := W * (0.036 + 0.040*unit(f.seed+4, key, int(side))) * (1.15 - 0.6*t)
				shade := 0.45 + 0.75*unit(f.seed+5, key, int(side))
				out = append(out, leaf{sx, sy, sx + l*math.Cos(a), sy + l*math.Sin(a)*0.8, l * 0.20, rgb{0.095, 0.165, 0.045}.times(shade), false})
			}
		}
	}
	return out
}

// draw paints the plant over a linear picture under a light and remembers what it hides.
func (f *foreground) draw(pix []float32, c *camera, lit rgb) {
	f.mask = make([]float32, c.w*c.h)
	for _, b := range f.leaves(c.w, c.h) {
		dx, dy := b.x1-b.x0, b.y1-b.y0
		l2 := math.Max(dx*dx+dy*dy, 1)
		m := b.half + 2
		for y := max(int(math.Min(b.y0, b.y1)-m), 0); y <= min(int(math.Max(b.y0, b.y1)+m), c.h-1); y++ {
			for x := max(int(math.Min(b.x0, b.x1)-m), 0); x <= min(int(math.Max(b.x0, b.x1)+m), c.w-1); x++ {
				ex, ey := float64(x)-b.x0, float64(y)-b.y0
				t := clamp((ex*dx+ey*dy)/l2, 0, 1)
				across := (ex*dy - ey*dx) / math.Sqrt(l2)
				half := b.half
				if !b.stem {
					half *= math.Sin(math.Pi * math.Min(1, 0.08+0.92*t))
				}
				d := math.Hypot(ex-t*dx, ey-t*dy)
				a := clamp(half-d+0.5, 0, 1)
				if a == 0 {
					continue
				}
				k := y*c.w + x
				vein := 1 - 0.25*math.Exp(-across*across/2) + 0.22*clamp(across/b.half, -1, 1)
				for j := 0; j < 3; j++ {
					pix[3*k+j] = float32(lerp(float64(pix[3*k+j]), b.tone[j]*vein*lit[j], a))
				}
				f.mask[k] = float32(math.Max(float64(f.mask[k]), a))
			}
		}
	}
}

// hides reports whether a photo position lies behind the plant.
func (f *foreground) hides(x, y float64, c *camera) bool {
	if f == nil || f.mask == nil {
		return false
	}
	i, j := int(math.Floor(x+0.5)), int(math.Floor(y+0.5))
	return i >= 0 && j >= 0 && i < c.w && j < c.h && f.mask[j*c.w+i] >= 0.5
}
