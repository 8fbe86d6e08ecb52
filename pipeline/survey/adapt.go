package survey

import (
	"math"

	"tilelapse/measure/colour"
)

// XYZ of the white points, Y = 1. D50: ICC.1:2022, the profile connection space's white (printed to four decimals).
// D65: from the chromaticity 0.3127, 0.3290 of IEC 61966-2-1.
var (
	whiteD50 = [3]float64{0.9642, 1, 0.8249}
	whiteD65 = [3]float64{0.3127 / 0.3290, 1, (1 - 0.3127 - 0.3290) / 0.3290}
)

// bradford turns XYZ into the sharpened cone responses in which white points are scaled.
//
// Lam (1985), Metamerism and colour constancy, PhD thesis, University of Bradford; the matrix as printed in ICC.1:2022,
// annex E.
var bradford = [3][3]float64{{0.8951, 0.2664, -0.1614}, {-0.7502, 1.7135, 0.0367}, {0.0389, -0.0685, 1.0296}}

// CIELAB's constants in their exact form, CIE 15:2018.
const (
	labEps   = 216.0 / 24389
	labKappa = 24389.0 / 27
)

// d65FromD50 returns the CIELAB colour under D65 of a colour given under D50, by Bradford's adaptation.
func d65FromD50(c colour.Lab) colour.Lab {
	fy := (c.L + 16) / 116
	inv := func(f float64) float64 {
		if f*f*f > labEps {
			return f * f * f
		}
		return (116*f - 16) / labKappa
	}
	xyz := [3]float64{inv(fy+c.A/500) * whiteD50[0], inv(fy) * whiteD50[1], inv(fy-c.B/200) * whiteD50[2]}
	cone, from, to := apply(bradford, xyz), apply(bradford, whiteD50), apply(bradford, whiteD65)
	for i := range cone {
		cone[i] *= to[i] / from[i]
	}
	xyz = solve(bradford, cone)
	f := func(v, white float64) float64 {
		if v /= white; v > labEps {
			return math.Cbrt(v)
		}
		return (labKappa*(v) + 16) / 116
	}
	fx, fy, fz := f(xyz[0], whiteD65[0]), f(xyz[1], whiteD65[1]), f(xyz[2], whiteD65[2])
	return colour.Lab{L: 116*fy - 16, A: 500 * (fx - fy), B: 200 * (fy - fz)}
}

func apply(m [3][3]float64, v [3]float64) (out [3]float64) {
	for i := range m {
		out[i] = m[i][0]*v[0] + m[i][1]*v[1] + m[i][2]*v[2]
	}
	return out
}

// solve returns x with m·x = v by Cramer's rule.
func solve(m [3][3]float64, v [3]float64) (out [3]float64) {
	det := func(m [3][3]float64) float64 {
		return m[0][0]*(m[1][1]*m[2][2]-m[1][2]*m[2][1]) - m[0][1]*(m[1][0]*m[2][2]-m[1][2]*m[2][0]) +
			m[0][2]*(m[1][0]*m[2][1]-m[1][1]*m[2][0])
	}
	d := det(m)
	for i := range out {
		c := m
		for r := range c {
			c[r][i] = v[r]
		}
		out[i] = det(c) / d
	}
	return out
}
