// Package light holds what is known of a photo's light and camera against the reference's: one gain a channel, or two
// where sunlit and shaded surface differ in colour.
package light

import (
	"math"
	"slices"
)

// Line is the gain of each channel as a function of the light's level: gain_c(y) = A_c + B_c*y, y the level (the
// luminance of the gain). Sunlit surface gets sun and sky, shaded surface the sky alone: every mixture of the two lies
// on a straight line in linear light. One light alone is A = 0.
type Line struct {
	A [3]float64 `json:"a"`
	B [3]float64 `json:"b"`
	// Lo and Hi bound the levels the line was learned from.
	Lo float64 `json:"lo"`
	Hi float64 `json:"hi"`
	// Sigma is the relative disagreement of the controls with the line, per channel, level left out.
	Sigma [3]float64 `json:"sigma"`
}

// Luma are the luminance weights of linear sRGB (IEC 61966-2-1, ITU-R BT.709).
var Luma = [3]float64{0.2126, 0.7152, 0.0722}

// Y returns the luminance of linear sRGB.
func Y(c [3]float64) float64 { return Luma[0]*c[0] + Luma[1]*c[1] + Luma[2]*c[2] }

// At returns the gains at level y, with levels beyond those learned held at the line's ends in colour.
func (l Line) At(y float64) [3]float64 {
	q := y
	if l.Hi > 0 {
		q = math.Min(math.Max(y, l.Lo), l.Hi)
	}
	var g [3]float64
	for c := range 3 {
		g[c] = l.A[c] + l.B[c]*q
	}
	n := Y(g)
	if !(n > 0) {
		return [3]float64{y, y, y}
	}
	for c := range 3 {
		g[c] *= y / n
	}
	return g
}

// Sample is a gain seen on a stable surface, photo over reference, with its weight.
type Sample struct {
	Gain   [3]float64
	Weight float64
	Group  int // the control it was seen on
}

// Fit learns the line from samples of stable surfaces. With little spread of level, or few samples, one light is
// assumed (A = 0). ok is false when there are no samples.
func Fit(samples []Sample) (l Line, ok bool) {
	var ys []float64
	for _, s := range samples {
		if y := Y(s.Gain); y > 0 && s.Weight > 0 {
			ys = append(ys, y)
		}
	}
	if len(ys) == 0 {
		return Line{A: [3]float64{}, B: [3]float64{1, 1, 1}}, false
	}
	slices.Sort(ys)
	l.Lo, l.Hi = ys[0], ys[len(ys)-1]
	// chromatic gain of each channel is fitted with weights that leave out what disagrees (Cauchy weights)
	spread := l.Hi/l.Lo > 1.6 && len(ys) >= 8
	w := make([]float64, len(samples))
	for i, s := range samples {
		w[i] = s.Weight
	}
	for range 8 {
		for c := range 3 {
			var sw, sy, syy, sg, sgy float64
			for i, s := range samples {
				y := Y(s.Gain)
				if !(y > 0) {
					continue
				}
				// relative errors: divide by y²
				k := w[i] / (y * y)
				sw, sy, syy, sg, sgy = sw+k, sy+k*y, syy+k*y*y, sg+k*s.Gain[c], sgy+k*y*s.Gain[c]
			}
			if d := sw*syy - sy*sy; spread && d > 1e-9*sw*syy {
				l.A[c], l.B[c] = (syy*sg-sy*sgy)/d, (sw*sgy-sy*sg)/d
			} else {
				l.A[c], l.B[c] = 0, sgy/syy
			}
		}
		for i, s := range samples {
			y := Y(s.Gain)
			if !(y > 0) {
				w[i] = 0
				continue
			}
			r := 0.0
			for c := range 3 {
				d := (s.Gain[c] - l.A[c] - l.B[c]*y) / y
				r += d * d
			}
			w[i] = s.Weight / (1 + r/(3*0.03*0.03))
		}
	}
	for c := range 3 {
		var sw, s2 float64
		for i, s := range samples {
			y := Y(s.Gain)
			if !(y > 0) {
				continue
			}
			d := (s.Gain[c] - l.A[c] - l.B[c]*y) / y
			sw, s2 = sw+w[i], s2+w[i]*d*d
		}
		if sw > 0 {
			l.Sigma[c] = math.Sqrt(s2 / sw)
		}
	}
	return l, true
}
