package demo

import (
	"image"
	"math"

	"tilelapse/measure/colour"
)

// encode turns linear light in [0,1] into an sRGB code by table.
var encode = func() []uint8 {
	t := make([]uint8, 1<<16)
	for i := range t {
		t[i] = uint8(255*colour.Encode(float64(i)/(1<<16-1)) + 0.5)
	}
	return t
}()

func code(v float32) uint8 {
	switch {
	case v <= 0:
		return 0
	case v >= 1:
		return 255
	}
	return encode[int(v*(1<<16-1)+0.5)]
}

// blockPx is the spacing of the lattice on which the camera is worked out; between, the wall position is
// interpolated: under 0.002 texels off.
const blockPx = 8

// scan calls f for every pixel of a camera's picture with the texture positions of four samples inside the pixel.
func (w *wall) scan(c *camera, f func(x, y int, at *[4][2]float64)) {
	nx, ny := (c.w+blockPx)/blockPx+1, (c.h+blockPx)/blockPx+1
	grid := make([][2]float64, nx*ny)
	rows(ny, func(j int) {
		for i := 0; i < nx; i++ {
			u, v := c.see(float64(i*blockPx)-0.5, float64(j*blockPx)-0.5)
			grid[j*nx+i][0], grid[j*nx+i][1] = w.texel(pt{u, v})
		}
	})
	rows(c.h, func(y int) {
		var at [4][2]float64
		for x := 0; x < c.w; x++ {
			i, j := x/blockPx, y/blockPx
			a, b, d, e := grid[j*nx+i], grid[j*nx+i+1], grid[(j+1)*nx+i], grid[(j+1)*nx+i+1]
			for n := range at {
				tx := (float64(x-i*blockPx) + 0.25 + 0.5*float64(n&1)) / blockPx
				ty := (float64(y-j*blockPx) + 0.25 + 0.5*float64(n>>1)) / blockPx
				for k := 0; k < 2; k++ {
					at[n][k] = lerp(lerp(a[k], b[k], tx), lerp(d[k], e[k], tx), ty)
				}
			}
			f(x, y, &at)
		}
	})
}

// corner returns the texel left above a texture position and the weights to its right and lower neighbours; beyond the
// texture the rim is repeated.
func (w *wall) corner(at [2]float64) (k int, tx, ty float32) {
	x, y := clamp(at[0], 0, float64(w.w)-1.001), clamp(at[1], 0, float64(w.h)-1.001)
	i, j := int(x), int(y)
	return j*w.w + i, float32(x - float64(i)), float32(y - float64(j))
}

// plane resamples a one-channel texture into a camera's picture.
func (w *wall) plane(field []float32, c *camera) []float32 {
	out := make([]float32, c.w*c.h)
	w.scan(c, func(x, y int, at *[4][2]float64) {
		var sum float32
		for n := range at {
			k, tx, ty := w.corner(at[n])
			a := field[k] + tx*(field[k+1]-field[k])
			b := field[k+w.w] + tx*(field[k+w.w+1]-field[k+w.w])
			sum += a + ty*(b-a)
		}
		out[y*c.w+x] = sum / 4
	})
	return out
}

// tiles returns the tile at every pixel's centre in a camera's picture, -1 = none.
func (w *wall) tiles(c *camera) []int16 {
	out := make([]int16, c.w*c.h)
	w.scan(c, func(x, y int, at *[4][2]float64) {
		px, py := (at[0][0]+at[3][0])/2, (at[0][1]+at[3][1])/2
		i, j := int(math.Floor(px+0.5)), int(math.Floor(py+0.5))
		out[y*c.w+x] = -1
		if i >= 0 && j >= 0 && i < w.w && j < w.h {
			out[y*c.w+x] = w.id[j*w.w+i]
		}
	})
	return out
}

// expose takes the photo: resample, lens, exposure and white balance, what stands in front, noise, sRGB curve.
func (w *wall) expose(d *desk, shine []float32, c *camera, l *light, front *foreground, seed uint64) *image.RGBA {
	full := daylight(l.skyK).times(l.sky).plus(daylight(l.sunK).times(l.sun))
	gain := rgb{}
	for j := range gain {
		gain[j] = l.exposure / (full[1] * math.Pow(full[j]/full[1], l.adapt))
	}
	pix := room(&d.pix, 3*c.w*c.h)
	w.scan(c, func(x, y int, at *[4][2]float64) {
		var sum [3]float32
		for n := range at {
			k, tx, ty := w.corner(at[n])
			for j := 0; j < 3; j++ {
				a := shine[3*k+j] + tx*(shine[3*k+3+j]-shine[3*k+j])
				m := 3 * (k + w.w)
				b := shine[m+j] + tx*(shine[m+3+j]-shine[m+j])
				sum[j] += a + ty*(b-a)
			}
		}
		k := 3 * (y*c.w + x)
		r := (math.Hypot(float64(x)-c.cx, float64(y)-c.cy) / c.focal)
		fall := 1 / (1 + 0.9*r*r) / (1 + 0.9*r*r) // lens: the corners are a little darker
		for j := range sum {
			pix[k+j] = float32(float64(sum[j]) / 4 * gain[j] * fall)
		}
	})
	if front != nil {
		front.draw(pix, c, full.filter(gain))
	}
	return develop(d, pix, c.w, c.h, l, seed)
}

// develop blurs a linear picture as lenses do, adds flare and noise, and writes sRGB codes.
func develop(d *desk, pix []float32, w, h int, l *light, seed uint64) *image.RGBA {
	soft := blurred(d, pix, w, h, l.blur)
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	rows(h, func(y int) {
		for x := 0; x < w; x++ {
			k := 3 * (y*w + x)
			o := img.PixOffset(x, y)
			for j := 0; j < 3; j++ {
				v := float64(soft[k+j]) + l.flare
				v += l.noise * math.Sqrt(math.Max(v, 0)+0.01) * bell(seed+uint64(j), x, y)
				img.Pix[o+j] = code(float32(v))
			}
			img.Pix[o+3] = 255
		}
	})
	return img
}

// desk holds the large buffers from photo to photo.
type desk struct{ shine, pix, across []float32 }

// room returns a buffer of n numbers, the old one if it is large enough. What it holds is to be overwritten.
func room(b *[]float32, n int) []float32 {
	if cap(*b) < n {
		*b = make([]float32, n)
	}
	return (*b)[:n]
}

// blurred smooths in place with a 5-tap binomial-like kernel of the given deviation (px, up to about 1).
func blurred(d *desk, pix []float32, w, h int, sigma float64) []float32 {
	var k [3]float32
	for i := range k {
		k[i] = float32(math.Exp(-float64(i*i) / (2 * sigma * sigma)))
	}
	sum := k[0] + 2*k[1] + 2*k[2]
	for i := range k {
		k[i] /= sum
	}
	pass := func(dst, src []float32, nx, stepX int, line func(n int) int, lines int) []float32 {
		rows(lines, func(n int) {
			base := line(n)
			for x := 0; x < nx; x++ {
				at := func(d int) int { return base + min(max(x+d, 0), nx-1)*stepX }
				a, b, c, d, e := at(-2), at(-1), at(0), at(1), at(2)
				for j := 0; j < 3; j++ {
					dst[c+j] = k[0]*src[c+j] + k[1]*(src[b+j]+src[d+j]) + k[2]*(src[a+j]+src[e+j])
				}
			}
		})
		return dst
	}
	across := pass(room(&d.across, len(pix)), pix, w, 3, func(y int) int { return 3 * y * w }, h)
	return pass(pix, across, h, 3*w, func(x int) int { return 3 * x }, w)
}
