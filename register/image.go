package register

import (
	"image"
	"math"
)

// plane is a grey picture of 32-bit floats, row by row, levels 0 to 255.
type plane struct {
	w, h int
	v    []float32
}

func newPlane(w, h int) plane { return plane{w, h, make([]float32, w*h)} }

// gray rounds the plane to 8 bits.
func (p plane) gray() *image.Gray {
	im := image.NewGray(image.Rect(0, 0, p.w, p.h))
	for i, v := range p.v {
		im.Pix[i] = uint8(max(0, min(255, v+.5)))
	}
	return im
}

// span is one target pixel's share of a source axis: from source pixel i on, with these weights.
type span struct {
	i int
	k []float32
}

// spans splits n source pixels evenly over m target pixels.
func spans(n, m int) []span {
	out := make([]span, m)
	s := float64(n) / float64(m)
	for t := range out {
		a, b := float64(t)*s, float64(t+1)*s
		i, j := int(a), int(math.Ceil(b-1e-9))
		j = min(j, n)
		k := make([]float32, 0, j-i)
		for q := i; q < j; q++ {
			k = append(k, float32((math.Min(b, float64(q+1))-math.Max(a, float64(q)))/s))
		}
		out[t] = span{i, k}
	}
	return out
}

// reduce averages a picture over areas down to w × h; source x = (W/w)(x+0.5)-0.5.
func reduce(im *image.Gray, w, h int) plane {
	sw, sh := im.Rect.Dx(), im.Rect.Dy()
	out := newPlane(w, h)
	xs, ys := spans(sw, w), spans(sh, h)
	row := make([]float32, sw)
	for y, sy := range ys {
		clear(row)
		for q, k := range sy.k {
			o := im.PixOffset(im.Rect.Min.X, im.Rect.Min.Y+sy.i+q)
			for x, v := range im.Pix[o : o+sw] {
				row[x] += k * float32(v)
			}
		}
		dst := out.v[y*w : (y+1)*w]
		for x, sx := range xs {
			var s float32
			for q, k := range sx.k {
				s += k * row[sx.i+q]
			}
			dst[x] = s
		}
	}
	return out
}

// fit returns the size of a w × h picture whose longer side is at most side.
func fit(w, h, side int) (int, int) {
	long := max(w, h)
	if long <= side {
		return w, h
	}
	s := float64(side) / float64(long)
	return max(1, int(math.Round(float64(w)*s))), max(1, int(math.Round(float64(h)*s)))
}

// halved is a photo at full size and averaged over blocks of 2, 4, 8 … px, made when first asked for. Not safe for
// concurrent use.
type halved struct {
	im    *image.Gray
	level [8]plane
}

func newHalved(im *image.Gray) *halved { return &halved{im: im} }

func (p *halved) size() (int, int) { return p.im.Rect.Dx(), p.im.Rect.Dy() }

// at returns the photo averaged over blocks of 2^n px; a last incomplete block is left out.
func (p *halved) at(n int) plane {
	n = max(0, min(n, len(p.level)-1))
	if p.level[n].v != nil {
		return p.level[n]
	}
	sw, sh := p.size()
	b := 1 << n
	for n > 0 && (sw/b < 16 || sh/b < 16) {
		n--
		b = 1 << n
	}
	out := newPlane(sw/b, sh/b)
	sum := make([]int32, out.w)
	f := 1 / float32(b*b)
	for y := 0; y < out.h; y++ {
		clear(sum)
		for j := 0; j < b; j++ {
			o := p.im.PixOffset(p.im.Rect.Min.X, p.im.Rect.Min.Y+y*b+j)
			src := p.im.Pix[o : o+out.w*b]
			switch b {
			case 1:
				for x, v := range src {
					sum[x] += int32(v)
				}
			case 2:
				for x := range sum {
					sum[x] += int32(src[2*x]) + int32(src[2*x+1])
				}
			default:
				for x := range sum {
					var s int32
					for _, v := range src[x*b : (x+1)*b] {
						s += int32(v)
					}
					sum[x] += s
				}
			}
		}
		for x, s := range sum {
			out.v[y*out.w+x] = f * float32(s)
		}
	}
	p.level[n] = out
	return out
}

// frame is the reference's frame at some size: ref = s(x+0.5)-0.5 on each axis.
type frame struct {
	w, h   int
	sx, sy float64
}

func newFrame(refW, refH, side int) frame {
	w, h := fit(refW, refH, side)
	return frame{w, h, float64(refW) / float64(w), float64(refH) / float64(h)}
}

// ref brings a position of the frame to the reference photo.
func (f frame) ref(x, y float64) (float64, float64) { return f.sx*(x+.5) - .5, f.sy*(y+.5) - .5 }

// scale is the reference px one frame px covers.
func (f frame) scale() float64 { return math.Sqrt(f.sx * f.sy) }

// warp resamples the photo into the frame; inside is 0 where the photo does not reach. perRef is the photo px one
// reference px covers, which decides how far the photo is averaged first.
func warp(photo *halved, m Mapping, f frame, perRef float64) (plane, []uint8) {
	n := int(math.Round(math.Log2(math.Max(1, perRef*f.scale()))))
	pw, ph := photo.size()
	src, pix, b := plane{w: pw, h: ph}, photo.im.Pix, 1.0
	stride, first := photo.im.Stride, photo.im.PixOffset(photo.im.Rect.Min.X, photo.im.Rect.Min.Y)
	if n > 0 { // at full size the bytes are taken as they are: 100 Mpx of floats would be 400 MB
		src, pix = photo.at(n), nil
		for int(float64(pw)/(2*b)) >= src.w {
			b *= 2
		}
	}
	out := newPlane(f.w, f.h)
	inside := make([]uint8, f.w*f.h)
	mw, mh := float64(src.w-1), float64(src.h-1)
	row := m.row()
	for y := 0; y < f.h; y++ {
		_, ry := f.ref(0, float64(y))
		row.start(ry)
		for x := 0; x < f.w; x++ {
			rx, _ := f.ref(float64(x), 0)
			px, py := row.at(rx)
			u, v := (px+.5)/b-.5, (py+.5)/b-.5
			if !(u >= 0 && v >= 0 && u <= mw && v <= mh) {
				continue
			}
			i, j := int(u), int(v)
			if i == src.w-1 {
				i--
			}
			if j == src.h-1 {
				j--
			}
			a, c := float32(u-float64(i)), float32(v-float64(j))
			var p, q, r, t float32
			if pix != nil {
				o := first + j*stride + i
				p, q, r, t = float32(pix[o]), float32(pix[o+1]), float32(pix[o+stride]), float32(pix[o+stride+1])
			} else {
				o := j*src.w + i
				p, q, r, t = src.v[o], src.v[o+1], src.v[o+src.w], src.v[o+src.w+1]
			}
			top, bot := p+a*(q-p), r+a*(t-r)
			k := y*f.w + x
			out.v[k] = top + c*(bot-top)
			inside[k] = 1
		}
	}
	return out, inside
}
