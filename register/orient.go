package register

import "math"

// channels of an oriented picture: the gradient's direction with its sign (2) and with the angle doubled (2), which
// is the same for a bright line on dark and a dark one on bright.
const channels = 4

// oriented holds, per px, the gradient's direction weighted by how much it stands out from its surroundings: what is
// left of a picture when exposure, haze, shading and, in the doubled half, the side the light comes from are taken
// away. Steps of 1/orientUnit.
// A margin of nothing surrounds the picture, so that windows may reach over its border.
type oriented struct {
	w, h int     // with the margin
	ch   int     // channels: 4, or 1 for shades
	v    []int16 // channels interleaved
	sum  []int64 // integral image of the squares, (w+1) × (h+1)
	seen []int32 // integral image of the pixels inside the photo
}

const (
	orientUnit = 96
	// orientNoise is the gradient in levels per px that counts as noise: what an 8-bit JPEG of a smooth surface shows
	// after smoothing (common practice, no source).
	orientNoise = 0.8
	orientBox   = 12 // half side of the box that gradients are compared with, px
	orientPad   = 60 // the margin, px: at least any window's radius and search together
)

// orient computes the oriented picture; inside nil means all of it counts.
func orient(p plane, inside []uint8) *oriented {
	w, h := p.w, p.h
	s := smooth(p)
	gx, gy := newPlane(w, h), newPlane(w, h)
	m2 := newPlane(w, h)
	for y := 1; y < h-1; y++ {
		for x := 1; x < w-1; x++ {
			k := y*w + x
			a, b := (s.v[k+1]-s.v[k-1])/2, (s.v[k+w]-s.v[k-w])/2
			gx.v[k], gy.v[k], m2.v[k] = a, b, a*a+b*b
		}
	}
	const pad = orientPad
	ow, oh := w+2*pad, h+2*pad
	o := &oriented{w: ow, h: oh, ch: channels, v: make([]int16, ow*oh*channels), sum: make([]int64, (ow+1)*(oh+1)), seen: make([]int32, (ow+1)*(oh+1))}
	var ok []uint8
	if inside != nil {
		ok = erode(inside, w, h, 4)
		for k := range m2.v {
			if ok[k] == 0 {
				m2.v[k] = 0
			}
		}
	}
	mean := boxMean(m2, orientBox, ok)
	for oy := 0; oy < oh; oy++ {
		var row int64
		var cnt int32
		for ox := 0; ox < ow; ox++ {
			x, y := ox-pad, oy-pad
			k := y*w + x
			if x >= 0 && y >= 0 && x < w && y < h && (ok == nil || ok[k] != 0) {
				cnt++
				if m2.v[k] > 0 {
					m := math.Sqrt(float64(m2.v[k]))
					a := m / math.Sqrt(float64(mean.v[k])+orientNoise*orientNoise)
					a = orientUnit * a / (1 + a)
					c, d := float64(gx.v[k])/m, float64(gy.v[k])/m
					q := o.v[(oy*ow+ox)*channels : (oy*ow+ox+1)*channels]
					q[0], q[1] = int16(a*c), int16(a*d)
					q[2], q[3] = int16(a*(c*c-d*d)), int16(a*2*c*d)
					for _, v := range q {
						row += int64(v) * int64(v)
					}
				}
			}
			i := (oy+1)*(ow+1) + ox + 1
			o.sum[i] = o.sum[i-ow-1] + row
			o.seen[i] = o.seen[i-ow-1] + cnt
		}
	}
	return o
}

// Boxes of shades, half sides in px of the coarse frame: joints and grain are averaged away, the light's gradients are
// taken out.
const (
	shadeFine  = 3
	shadeWide  = 26
	shadeNoise = 3 // levels of difference between neighbouring tiles that count as none
)

// shades computes a picture of one channel: how much brighter or darker a place is than its surroundings, joints averaged
// away. Where orient sees the net of joints, this sees which tile is which.
func shades(p plane, inside []uint8) *oriented {
	w, h := p.w, p.h
	near := boxMean(boxMean(p, shadeFine, inside), shadeFine, inside)
	far := boxMean(near, shadeWide, inside)
	sq := newPlane(w, h)
	for k := range sq.v {
		d := near.v[k] - far.v[k]
		sq.v[k] = d * d
	}
	dev := boxMean(sq, shadeWide, inside)
	const pad = orientPad
	ow, oh := w+2*pad, h+2*pad
	o := &oriented{w: ow, h: oh, ch: 1, v: make([]int16, ow*oh), sum: make([]int64, (ow+1)*(oh+1)), seen: make([]int32, (ow+1)*(oh+1))}
	for oy := 0; oy < oh; oy++ {
		var row int64
		var cnt int32
		for ox := 0; ox < ow; ox++ {
			x, y := ox-pad, oy-pad
			k := y*w + x
			if x >= 0 && y >= 0 && x < w && y < h && (inside == nil || inside[k] != 0) {
				cnt++
				z := float64(near.v[k]-far.v[k]) / math.Sqrt(float64(dev.v[k])+shadeNoise*shadeNoise)
				v := int16(orientUnit * math.Max(-2.5, math.Min(2.5, z)))
				o.v[oy*ow+ox] = v
				row += int64(v) * int64(v)
			}
			i := (oy+1)*(ow+1) + ox + 1
			o.sum[i] = o.sum[i-ow-1] + row
			o.seen[i] = o.seen[i-ow-1] + cnt
		}
	}
	return o
}

// energy sums the squares over the window of the given radius round a position of the picture.
func (o *oriented) energy(cx, cy, r int) float64 {
	w := o.w + 1
	cx, cy = cx+orientPad, cy+orientPad
	a, b, c, d := cx-r, cy-r, cx+r+1, cy+r+1
	return float64(o.sum[d*w+c] - o.sum[b*w+c] - o.sum[d*w+a] + o.sum[b*w+a])
}

// share says how much of the window lies inside the photo, in [0, 1].
func (o *oriented) share(cx, cy, r int) float64 {
	w := o.w + 1
	cx, cy = cx+orientPad, cy+orientPad
	a, b, c, d := cx-r, cy-r, cx+r+1, cy+r+1
	n := o.seen[d*w+c] - o.seen[b*w+c] - o.seen[d*w+a] + o.seen[b*w+a]
	return float64(n) / float64((2*r+1)*(2*r+1))
}

// smooth applies the binomial filter 1 4 6 4 1 on both axes; borders repeat.
func smooth(p plane) plane {
	t, out := newPlane(p.w, p.h), newPlane(p.w, p.h)
	for y := 0; y < p.h; y++ {
		r, d := p.v[y*p.w:(y+1)*p.w], t.v[y*p.w:(y+1)*p.w]
		n := p.w - 1
		for x := range r {
			if x >= 2 && x <= n-2 {
				d[x] = (r[x-2] + r[x+2] + 4*(r[x-1]+r[x+1]) + 6*r[x]) / 16
				continue
			}
			d[x] = (r[max(0, x-2)] + r[min(n, x+2)] + 4*(r[max(0, x-1)]+r[min(n, x+1)]) + 6*r[x]) / 16
		}
	}
	row := func(y int) []float32 {
		y = max(0, min(p.h-1, y))
		return t.v[y*p.w : (y+1)*p.w]
	}
	for y := 0; y < p.h; y++ {
		a, b, c, e, f := row(y-2), row(y-1), row(y), row(y+1), row(y+2)
		d := out.v[y*p.w : (y+1)*p.w]
		for x := range d {
			d[x] = (a[x] + f[x] + 4*(b[x]+e[x]) + 6*c[x]) / 16
		}
	}
	return out
}

// boxMean averages over a box of half side r, over pixels that count when ok is given.
func boxMean(p plane, r int, ok []uint8) plane {
	w, h := p.w, p.h
	sum := make([]float64, (w+1)*(h+1))
	var cnt []int32
	if ok != nil {
		cnt = make([]int32, (w+1)*(h+1))
	}
	for y := 0; y < h; y++ {
		var s float64
		var c int32
		for x := 0; x < w; x++ {
			s += float64(p.v[y*w+x])
			i := (y+1)*(w+1) + x + 1
			sum[i] = sum[i-w-1] + s
			if ok != nil {
				c += int32(ok[y*w+x])
				cnt[i] = cnt[i-w-1] + c
			}
		}
	}
	out := newPlane(w, h)
	for y := 0; y < h; y++ {
		b, d := max(0, y-r)*(w+1), min(h, y+r+1)*(w+1)
		for x := 0; x < w; x++ {
			a, c := max(0, x-r), min(w, x+r+1)
			n := float64((d - b) / (w + 1) * (c - a))
			if ok != nil {
				n = float64(cnt[d+c] - cnt[b+c] - cnt[d+a] + cnt[b+a])
			}
			if n > 0 {
				out.v[y*w+x] = float32((sum[d+c] - sum[b+c] - sum[d+a] + sum[b+a]) / n)
			}
		}
	}
	return out
}

// erode takes r px off the border of a mask of 0 and 1.
func erode(in []uint8, w, h, r int) []uint8 {
	t, out := make([]uint8, len(in)), make([]uint8, len(in))
	for y := 0; y < h; y++ {
		run := 0
		for x := 0; x < w+r; x++ {
			if x < w && in[y*w+x] != 0 {
				run++
			} else if x < w {
				run = 0
			} else {
				run = 0 // beyond the frame nothing is known
			}
			if c := x - r; c >= 0 && run >= 2*r+1 {
				t[y*w+c] = 1
			}
		}
	}
	for x := 0; x < w; x++ {
		run := 0
		for y := 0; y < h; y++ {
			if t[y*w+x] != 0 {
				run++
			} else {
				run = 0
			}
			if c := y - r; c >= 0 && run >= 2*r+1 {
				out[c*w+x] = 1
			}
		}
	}
	return out
}
