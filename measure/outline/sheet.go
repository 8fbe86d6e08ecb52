package outline

import (
	"math"
	"runtime"
	"sync"

	"tilelapse/measure/plane"
)

// sheet is the working picture: CIELAB in three planes over the part of the frame that is looked at.
type sheet struct {
	x0, y0 int // of its top left pixel in the measuring frame
	w, h   int
	ch     [3][]float32 // L, a, b
	use    []bool       // what is looked at in the step at hand: inner or wide
	zone   []bool       // in a zone
	inner  []bool       // free and in a zone
	wide   []bool       // free and in a zone or its margin
	free   []bool       // in the photo and not ignored, a gap or given
	given  []bool       // in an outline that was given
}

// rows calls f for blocks of rows in parallel; f must only write to its own rows.
func rows(h int, f func(y0, y1 int)) {
	n := min(runtime.GOMAXPROCS(0), 8)
	const block = 32
	var wg sync.WaitGroup
	next := make(chan int)
	for range n {
		wg.Go(func() {
			for y := range next {
				f(y, min(y+block, h))
			}
		})
	}
	for y := 0; y < h; y += block {
		next <- y
	}
	close(next)
	wg.Wait()
}

// newSheet converts the part of ref inside the box to CIELAB under D65.
func newSheet(ref *plane.Image, x0, y0, x1, y1 int) *sheet {
	s := &sheet{x0: x0, y0: y0, w: x1 - x0, h: y1 - y0}
	n := s.w * s.h
	for c := range s.ch {
		s.ch[c] = make([]float32, n)
	}
	rows(s.h, func(a, b int) {
		for y := a; y < b; y++ {
			for x := range s.w {
				i := y*s.w + x
				o := 3 * ((y+y0)*ref.W + x + x0)
				s.ch[0][i], s.ch[1][i], s.ch[2][i] = lab(ref.RGB[o], ref.RGB[o+1], ref.RGB[o+2])
			}
		}
	})
	return s
}

// lab turns linear light, sRGB primaries, into CIELAB under D65 (IEC 61966-2-1 matrix, CIE 15). Single precision and
// clamped: it serves to tell tiles from joints, never a figure.
func lab(r, g, b float32) (float32, float32, float32) {
	r, g, b = min(max(r, 0), 1.5), min(max(g, 0), 1.5), min(max(b, 0), 1.5)
	x := (0.4124*r + 0.3576*g + 0.1805*b) / 0.95047
	y := 0.2126*r + 0.7152*g + 0.0722*b
	z := (0.0193*r + 0.1192*g + 0.9505*b) / 1.08883
	fx, fy, fz := labCurve(x), labCurve(y), labCurve(z)
	return 116*fy - 16, 500 * (fx - fy), 200 * (fy - fz)
}

func labCurve(t float32) float32 {
	if t <= 216.0/24389 {
		return (24389.0/27*t + 16) / 116
	}
	return float32(math.Cbrt(float64(t)))
}

// blur smooths src with a Gaussian of the given sigma, px; edges repeat.
func blur(src []float32, w, h int, sigma float64) []float32 {
	r := max(1, int(math.Ceil(2.5*sigma)))
	k := make([]float32, 2*r+1)
	var sum float64
	for i := range k {
		sum += math.Exp(-float64((i-r)*(i-r)) / (2 * sigma * sigma))
	}
	for i := range k {
		k[i] = float32(math.Exp(-float64((i-r)*(i-r))/(2*sigma*sigma)) / sum)
	}
	tmp, dst := make([]float32, w*h), make([]float32, w*h)
	rows(h, func(a, b int) {
		for y := a; y < b; y++ {
			row := src[y*w : (y+1)*w]
			for x := range w {
				var v float32
				if x >= r && x+r < w {
					for i, q := range k {
						v += q * row[x+i-r]
					}
				} else {
					for i, q := range k {
						v += q * row[min(max(x+i-r, 0), w-1)]
					}
				}
				tmp[y*w+x] = v
			}
		}
	})
	rows(h, func(a, b int) {
		for y := a; y < b; y++ {
			out := dst[y*w : (y+1)*w]
			for i, q := range k {
				row := tmp[min(max(y+i-r, 0), h-1)*w:]
				for x := range out {
					out[x] += q * row[x]
				}
			}
		}
	})
	return dst
}
