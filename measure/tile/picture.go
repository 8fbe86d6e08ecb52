package tile

import (
	"math"

	"tilelapse/measure/plane"
)

// blind are the flags that make a pixel useless here. A dark end is still known to be dark.
const blind = plane.Outside | plane.High | plane.Moving | plane.Loose

// floor is added to linear light before a logarithm: about the noise of a dark pixel of a camera JPEG (our choice).
const floor = 0.01

// usableShare is the share of px that can be read.
func usableShare(img *plane.Image, px []int32) float64 {
	if len(px) == 0 {
		return 0
	}
	n := 0
	for _, i := range px {
		if img.Flags[i]&blind == 0 {
			n++
		}
	}
	return float64(n) / float64(len(px))
}

// enough is how many pixels a median is taken of; of more, evenly chosen ones do.
const enough = 400

// medianColour is the median of each channel over the readable pixels, NaN when there are none.
func medianColour(img *plane.Image, px []int32, buf *[3][]float32) (m [3]float64) {
	for c := range buf {
		buf[c] = buf[c][:0]
	}
	step := len(px)/enough + 1
	for k := 0; k < len(px); k += step {
		i := px[k]
		if img.Flags[i]&blind != 0 {
			continue
		}
		for c := range buf {
			buf[c] = append(buf[c], img.RGB[3*i+int32(c)])
		}
	}
	for c := range m {
		m[c] = middle(buf[c])
	}
	return m
}

// planes is a picture as logarithms: luminance and two colour ratios, with a floor that keeps the noise of dark pixels
// small.
type planes struct {
	w, h  int
	lum   []float32
	rg    []float32
	bg    []float32
	flags []uint8
	mono  bool // without colour: only luminance tells anything
}

// newPlanes fills the planes where at is true.
func newPlanes(img *plane.Image, at []bool) *planes {
	n := img.W * img.H
	p := &planes{w: img.W, h: img.H, lum: make([]float32, n), rg: make([]float32, n), bg: make([]float32, n), flags: img.Flags}
	for i := range n {
		if !at[i] {
			continue
		}
		r, g, b := float64(max(0, img.RGB[3*i])), float64(max(0, img.RGB[3*i+1])), float64(max(0, img.RGB[3*i+2]))
		lg := math.Log(g + floor)
		p.lum[i] = float32(math.Log(0.2126*r + 0.7152*g + 0.0722*b + floor)) // luminance of sRGB primaries, IEC 61966-2-1
		p.rg[i] = float32(math.Log(r+floor) - lg)
		p.bg[i] = float32(math.Log(b+floor) - lg)
	}
	return p
}

// chroma is the root mean square spread of the colour ratios where at is true, log units.
func (p *planes) chroma(at []bool) float64 {
	const stride = 7 // a sample of the pixels does
	var n, s1, s2, q1, q2 float64
	for i := 0; i < len(at); i += stride {
		if !at[i] || p.flags[i]&blind != 0 {
			continue
		}
		a, b := float64(p.rg[i]), float64(p.bg[i])
		n, s1, s2, q1, q2 = n+1, s1+a, s2+b, q1+a*a, q2+b*b
	}
	if n == 0 {
		return 0
	}
	return math.Sqrt(math.Max(0, q1/n-s1*s1/(n*n)+q2/n-s2*s2/(n*n)))
}

// roughness is the typical fine texture over px: the median absolute difference of log luminance from the mean of its
// four neighbours. NaN when nothing can be read.
func (p *planes) roughness(px []int32, buf []float32) float64 {
	v := buf[:0]
	w := int32(p.w)
	for _, i := range px {
		x, y := int(i)%p.w, int(i)/p.w
		if x < 1 || y < 1 || x >= p.w-1 || y >= p.h-1 || p.flags[i]&blind != 0 {
			continue
		}
		d := p.lum[i] - 0.25*(p.lum[i-1]+p.lum[i+1]+p.lum[i-w]+p.lum[i+w])
		v = append(v, max(d, -d))
	}
	return middle(v)
}

// relief is the root mean square structure over px, all channels together, log units.
func (p *planes) relief(px []int32) float64 {
	var s [3][2]float64
	n := 0.0
	for _, i := range px {
		if p.flags[i]&blind != 0 {
			continue
		}
		n++
		for k, v := range [3]float32{p.lum[i], p.rg[i], p.bg[i]} {
			s[k][0] += float64(v)
			s[k][1] += float64(v) * float64(v)
		}
	}
	if n < 2 {
		return 0
	}
	var v float64
	for k := range s {
		v += s[k][1]/n - s[k][0]*s[k][0]/(n*n)
	}
	return math.Sqrt(math.Max(0, v))
}

// pattern gathers two pictures' common structure.
type pattern struct {
	n float64
	s [3][5]float64
}

// add takes the pixels px of both pictures in.
func (c *pattern) add(a, b *planes, px []int32) {
	for _, i := range px {
		if (a.flags[i]|b.flags[i])&blind != 0 {
			continue
		}
		c.n++
		for k, v := range [3][2]float64{
			{float64(a.lum[i]), float64(b.lum[i])},
			{float64(a.rg[i]), float64(b.rg[i])},
			{float64(a.bg[i]), float64(b.bg[i])},
		} {
			if k > 0 && (a.mono || b.mono) {
				break
			}
			s := &c.s[k]
			s[0] += v[0]
			s[1] += v[1]
			s[2] += v[0] * v[0]
			s[3] += v[1] * v[1]
			s[4] += v[0] * v[1]
		}
	}
}

// likeness is the correlation of the structure, all channels together, in [-1,1]; NaN of fewer than 8 px.
func (c *pattern) likeness() float64 {
	if c.n < 8 {
		return math.NaN()
	}
	var va, vb, cov float64
	for _, s := range c.s {
		va += s[2]/c.n - s[0]*s[0]/(c.n*c.n)
		vb += s[3]/c.n - s[1]*s[1]/(c.n*c.n)
		cov += s[4]/c.n - s[0]*s[1]/(c.n*c.n)
	}
	return cov / math.Sqrt(math.Max(va, 1e-9)*math.Max(vb, 1e-9))
}

func likeness(a, b *planes, px []int32) float64 {
	var c pattern
	c.add(a, b, px)
	return c.likeness()
}
