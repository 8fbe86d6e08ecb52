package intake

import (
	"math"
	"sort"
)

// colourlessBelow is by how much, in 8 bit codes, the colours of 99 of 100 pixels may differ from one tone curve in a
// picture that has no colours of its own. Measured: black and white 0, toned and faded scans of it 6 to 10, colour
// photographs 30 and more, those of a white board and of a scene under one lamp being the least.
const colourlessBelow = 12

// Colourless reports whether a picture is black and white, or toned in one hue: then its colours hang on its lightness
// alone, as a smooth curve. Whitening and other glaze are told by colours, and in such a picture half of all tiles would
// pass for whitened. What a file declares is no help: most black and white scans are saved in colour.
func (p *Picture) Colourless() bool {
	const most = 10_000 // pixels looked at, or a few more
	step := max(1, int(math.Sqrt(float64(p.W)*float64(p.H)/most)))
	n := (p.W/step + 1) * (p.H/step + 1)
	light, warm, cool := make([]float64, 0, n), make([]float64, 0, n), make([]float64, 0, n)
	for y := step / 2; y < p.H; y += step {
		for x := step / 2; x < p.W; x += step {
			var v [3]float64
			for c := range v {
				if i := 3*(y*p.W+x) + c; p.Pix16 != nil {
					v[c] = float64(p.Pix16[i]) / 257
				} else {
					v[c] = float64(p.Pix[i])
				}
			}
			light = append(light, (v[0]+2*v[1]+v[2])/4)
			warm = append(warm, v[0]-v[1])
			cool = append(cool, v[2]-v[1])
		}
	}
	if len(light) == 0 {
		return true
	}
	curves := powers(light)
	without(warm, curves)
	without(cool, curves)
	off := light[:0]
	for i := range warm {
		off = append(off, math.Hypot(warm[i], cool[i]))
	}
	sort.Float64s(off)
	return off[len(off)*99/100] < colourlessBelow
}

// powers returns 1, t and t² made orthogonal to each other, those that are not zero.
func powers(t []float64) [][]float64 {
	var out [][]float64
	for n := range 3 {
		v := make([]float64, len(t))
		for i := range v {
			v[i] = math.Pow(t[i]/255, float64(n))
		}
		without(v, out)
		if dot(v, v) > 1e-9*float64(len(t)) {
			out = append(out, v)
		}
	}
	return out
}

// without takes out of v its least squares fit by orthogonal curves.
func without(v []float64, curves [][]float64) {
	for _, c := range curves {
		k := dot(v, c) / dot(c, c)
		for i := range v {
			v[i] -= k * c[i]
		}
	}
}

func dot(a, b []float64) float64 {
	s := 0.0
	for i := range a {
		s += a[i] * b[i]
	}
	return s
}
