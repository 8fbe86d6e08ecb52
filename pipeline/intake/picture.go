package intake

import "image"

// Picture is a decoded photo, upright, as encoded samples: 3*W*H interleaved R, G, B in Pix (8 bit) or Pix16 (16 bit),
// the other nil. Pixel (0,0) is the top left one.
//
// Linear light with sRGB primaries and white D65 of pixel i is Matrix · (Curve[0][r], Curve[1][g], Curve[2][b]),
// unclamped: colours outside the sRGB gamut go below 0 or above 1.
type Picture struct {
	W, H   int
	Pix    []uint8
	Pix16  []uint16
	Curve  [3][]float32 // encoded sample to linear light of the photo's own primaries: 256 or 65536 long
	Matrix [9]float32   // own primaries to sRGB primaries, D65, row by row
	Colour string       // "sRGB", "Display P3", "sRGB (no profile)" …
}

// Grey returns the luma of the encoded samples, 8 bit, with the weights of ITU-R BT.601 (0.299, 0.587, 0.114): what
// features are looked for in, not a measure of light.
func (p *Picture) Grey() *image.Gray {
	g := image.NewGray(image.Rect(0, 0, p.W, p.H))
	if p.Pix16 != nil {
		for i := range g.Pix {
			s := p.Pix16[3*i : 3*i+3 : 3*i+3]
			// The high byte alone: a 16 bit sample of 257*v gives what the 8 bit sample v gives.
			g.Pix[i] = uint8((19595*uint32(s[0]>>8) + 38470*uint32(s[1]>>8) + 7471*uint32(s[2]>>8) + 1<<15) >> 16)
		}
		return g
	}
	for i := range g.Pix {
		s := p.Pix[3*i : 3*i+3 : 3*i+3]
		g.Pix[i] = uint8((19595*uint32(s[0]) + 38470*uint32(s[1]) + 7471*uint32(s[2]) + 1<<15) >> 16)
	}
	return g
}

// Linear returns the linear light of pixel (x, y), see Picture.
func (p *Picture) Linear(x, y int) [3]float32 {
	i := 3 * (y*p.W + x)
	var v [3]float32
	for c := range v {
		if p.Pix16 != nil {
			v[c] = p.Curve[c][p.Pix16[i+c]]
		} else {
			v[c] = p.Curve[c][p.Pix[i+c]]
		}
	}
	m := &p.Matrix
	return [3]float32{
		m[0]*v[0] + m[1]*v[1] + m[2]*v[2],
		m[3]*v[0] + m[4]*v[1] + m[5]*v[2],
		m[6]*v[0] + m[7]*v[1] + m[8]*v[2],
	}
}

// turn makes the picture upright in place, after EXIF orientation 1..8 (CIPA DC-008, tag 0x0112). Any other value
// leaves it as it is.
func (p *Picture) turn(orientation int) {
	if orientation < 2 || orientation > 8 {
		return
	}
	if p.Pix16 != nil {
		p.Pix16 = turned(p.Pix16, p.W, p.H, orientation)
	} else {
		p.Pix = turned(p.Pix, p.W, p.H, orientation)
	}
	if orientation >= 5 {
		p.W, p.H = p.H, p.W
	}
}

// turned returns the pixels of a w x h picture made upright. Flips happen in place; a quarter turn needs a second
// buffer.
func turned[T uint8 | uint16](pix []T, w, h, orientation int) []T {
	at := func(x, y int) int { return 3 * (y*w + x) }
	swap := func(i, j int) {
		pix[i], pix[i+1], pix[i+2], pix[j], pix[j+1], pix[j+2] = pix[j], pix[j+1], pix[j+2], pix[i], pix[i+1], pix[i+2]
	}
	switch orientation {
	case 2: // mirrored left to right
		for y := range h {
			for x := range w / 2 {
				swap(at(x, y), at(w-1-x, y))
			}
		}
		return pix
	case 3: // turned by 180°
		for i, j := 0, w*h-1; i < j; i, j = i+1, j-1 {
			swap(3*i, 3*j)
		}
		return pix
	case 4: // mirrored top to bottom
		for y := range h / 2 {
			for x := range w {
				swap(at(x, y), at(x, h-1-y))
			}
		}
		return pix
	}
	// The others swap rows and columns.
	to := newUpright(w, h, orientation)
	out := make([]T, 3*w*h)
	// Blocks of 64 x 64 keep both the rows read and the columns written in the cache.
	const block = 64
	for y0 := 0; y0 < h; y0 += block {
		for x0 := 0; x0 < w; x0 += block {
			for y := y0; y < min(y0+block, h); y++ {
				for x := x0; x < min(x0+block, w); x++ {
					o, s := 3*(to.base+x*to.dx+y*to.dy), at(x, y)
					out[o], out[o+1], out[o+2] = pix[s], pix[s+1], pix[s+2]
				}
			}
		}
	}
	return out
}

// upright tells where a stored pixel belongs in the upright picture, counted in pixels: at base + x·dx + y·dy.
type upright struct{ w, h, base, dx, dy int }

// newUpright is of a stored w x h picture and its EXIF orientation.
func newUpright(w, h, orientation int) upright {
	switch orientation {
	case 2:
		return upright{w, h, w - 1, -1, w}
	case 3:
		return upright{w, h, w*h - 1, -1, -w}
	case 4:
		return upright{w, h, (h - 1) * w, 1, -w}
	case 5:
		return upright{h, w, 0, h, 1}
	case 6:
		return upright{h, w, h - 1, h, -1}
	case 7:
		return upright{h, w, w*h - 1, -h, -1}
	case 8:
		return upright{h, w, (w - 1) * h, -h, 1}
	}
	return upright{w, h, 0, 1, w}
}
