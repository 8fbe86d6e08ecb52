// Package scale tells mineral scale from glaze, pixel by pixel: each pixel's light is split into what the clean glaze
// sends and what a whitish deposit sends.
package scale

import "math"

// Mix is what the two-component split of one pixel found: I = A*glaze + B*deposit.
type Mix struct {
	A, B     float64 // amounts of glaze and deposit light, both >= 0
	Alpha    float64 // B/(A+B) before A and B were held at 0 or above: noise around 0 stays symmetric
	Sigma    float64 // standard error of Alpha
	Residual float64 // root mean square of (I - A*glaze - B*deposit)/noise over the channels
}

// Prior is what is expected of the sum A+B, the illumination's level relative to the tile's.
type Prior struct {
	Level float64 // expected A+B
	Sigma float64 // its standard error; +Inf = nothing is known
}

// Split fits I = a*glaze + b*deposit by weighted least squares over the three channels, with noise the standard error of
// each channel of I, and a + b held near the prior's level. Colours are linear light under one illumination. Without a
// prior the split of a glaze parallel to the deposit (grey, white, black) has no answer: Sigma is then +Inf.
func Split(i, glaze, deposit, noise [3]float64, p Prior) Mix {
	var gg, gd, dd, gi, di float64
	for c := range 3 {
		w := 1 / (noise[c] * noise[c])
		gg += w * glaze[c] * glaze[c]
		gd += w * glaze[c] * deposit[c]
		dd += w * deposit[c] * deposit[c]
		gi += w * glaze[c] * i[c]
		di += w * deposit[c] * i[c]
	}
	if !math.IsInf(p.Sigma, 1) {
		w := 1 / (p.Sigma * p.Sigma)
		gg, gd, dd = gg+w, gd+w, dd+w
		gi, di = gi+w*p.Level, di+w*p.Level
	}
	det := gg*dd - gd*gd
	if !(det > 1e-12*gg*dd) {
		return Mix{Alpha: math.NaN(), Sigma: math.Inf(1)}
	}
	a, b := (dd*gi-gd*di)/det, (gg*di-gd*gi)/det
	m := Mix{A: a, B: b}
	s := a + b
	if s > 1e-6 {
		m.Alpha = b / s
		// dα = (a db - b da)/s²
		va, vb, cab := dd/det, gg/det, -gd/det
		m.Sigma = math.Sqrt(math.Max(0, a*a*vb+b*b*va-2*a*b*cab)) / (s * s)
	} else {
		m.Alpha, m.Sigma = math.NaN(), math.Inf(1)
	}
	if a < 0 {
		m.A, m.B = 0, math.Max(0, di/dd)
	} else if b < 0 {
		m.A, m.B = math.Max(0, gi/gg), 0
	}
	r := 0.0
	for c := range 3 {
		d := (i[c] - m.A*glaze[c] - m.B*deposit[c]) / noise[c]
		r += d * d
	}
	m.Residual = math.Sqrt(r / 3)
	return m
}
