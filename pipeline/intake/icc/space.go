// Package icc turns colour profiles into what the measuring path needs: a curve a channel and one matrix to linear
// light with sRGB primaries and white D65. It reads matrix/TRC RGB profiles and grey profiles of ICC.1 (versions 2 and
// 4) and refuses the rest, naming what it found.
package icc

import "math"

// Space is an RGB colour space: curves from the encoded sample in [0,1] to linear light in [0,1], and a matrix, row by
// row, from its linear light to that of sRGB primaries with white D65.
type Space struct {
	Name   string
	Curve  [3]func(float64) float64
	Matrix [9]float64
}

// Tables returns the curves over n equally spaced samples, 256 or 65536. Equal curves share one table.
func (s *Space) Tables(n int) [3][]float32 {
	var t [3][]float32
	for c := range t {
		v := make([]float32, n)
		same := c > 0
		for i := range v {
			v[i] = float32(s.Curve[c](float64(i) / float64(n-1)))
			same = same && v[i] == t[0][i]
		}
		if same {
			v = t[0]
		}
		t[c] = v
	}
	return t
}

// chromaticity is a CIE 1931 x, y pair.
type chromaticity struct{ x, y float64 }

// whiteD65 is the white of sRGB, IEC 61966-2-1:1999, table 1.
var whiteD65 = chromaticity{0.3127, 0.3290}

// whiteD50 is the profile connection space's white as XYZ, ICC.1:2022 7.2.16.
var whiteD50 = [3]float64{0.9642, 1, 0.8249}

// bradford is the cone response matrix of Lam (1985), as printed in ICC.1:2022 annex E.
var bradford = [9]float64{0.8951, 0.2664, -0.1614, -0.7502, 1.7135, 0.0367, 0.0389, -0.0685, 1.0296}

// Primaries of spaces that files name without a profile. Red, green, blue.
var (
	primariesSRGB   = [3]chromaticity{{0.64, 0.33}, {0.30, 0.60}, {0.15, 0.06}}       // IEC 61966-2-1:1999, table 1
	primariesP3     = [3]chromaticity{{0.680, 0.320}, {0.265, 0.690}, {0.15, 0.06}}   // SMPTE EG 432-1:2010, with white D65
	primariesAdobe  = [3]chromaticity{{0.64, 0.33}, {0.21, 0.71}, {0.15, 0.06}}       // Adobe RGB (1998) encoding, 2005-05, 4.3.1
	primariesBT2020 = [3]chromaticity{{0.708, 0.292}, {0.170, 0.797}, {0.131, 0.046}} // ITU-R BT.2020-2, table 3
	gammaAdobe      = 563.0 / 256                                                     // Adobe RGB (1998) encoding, 4.3.4.2
	srgbFromXYZ     = inverse(xyzFromRGB(primariesSRGB, whiteD65))
	d65FromD50      = adaptation(whiteD50, xyz(whiteD65))
	nameSRGB        = "sRGB"
	nameP3          = "Display P3"
	nameAdobe       = "Adobe RGB (1998)"
	identity        = [9]float64{1, 0, 0, 0, 1, 0, 0, 0, 1}
)

// SRGB returns sRGB, IEC 61966-2-1:1999.
func SRGB() *Space { return &Space{Name: nameSRGB, Curve: all(srgbCurve), Matrix: identity} }

// DisplayP3 returns the P3 primaries with white D65 and the sRGB curve.
func DisplayP3() *Space {
	return &Space{Name: nameP3, Curve: all(srgbCurve), Matrix: fromPrimaries(primariesP3, whiteD65)}
}

// AdobeRGB returns Adobe RGB (1998).
func AdobeRGB() *Space {
	return &Space{Name: nameAdobe, Curve: all(gamma(gammaAdobe)), Matrix: fromPrimaries(primariesAdobe, whiteD65)}
}

// Coded returns the space of the code points of ITU-T H.273 (primaries, transfer) that photos in common use carry.
// False when they name another space, such as the PQ and HLG curves of high dynamic range.
func Coded(primaries, transfer int) (*Space, bool) {
	s := &Space{}
	switch primaries {
	case 1, 2: // 2 = unspecified
		s.Name, s.Matrix = nameSRGB, identity
	case 9:
		s.Name, s.Matrix = "BT.2020", fromPrimaries(primariesBT2020, whiteD65)
	case 12:
		s.Name, s.Matrix = nameP3, fromPrimaries(primariesP3, whiteD65)
	default:
		return nil, false
	}
	switch transfer {
	case 2, 13:
		s.Curve = all(srgbCurve)
	case 1, 6, 14, 15:
		// Photo encoders write the code of BT.709 for pictures that are sRGB in fact; viewers show both the same way.
		// Common practice, no source.
		s.Curve = all(srgbCurve)
	case 4:
		s.Curve, s.Name = all(gamma(2.2)), s.Name+", gamma 2.2"
	case 8:
		s.Curve, s.Name = all(func(v float64) float64 { return v }), s.Name+", linear"
	default:
		return nil, false
	}
	return s, true
}

// Measured returns the space of a gamma (encoded = linear^gamma, as PNG's gAMA) and the chromaticities of white, red,
// green and blue, x and y each, as PNG's cHRM. White is adapted to D65 by Bradford. False when they make no space.
func Measured(encoding float64, c [8]float64) (*Space, bool) {
	if !(encoding > 0.2 && encoding <= 1.5) {
		return nil, false
	}
	white := chromaticity{c[0], c[1]}
	p := [3]chromaticity{{c[2], c[3]}, {c[4], c[5]}, {c[6], c[7]}}
	for _, q := range append(p[:], white) {
		if !(q.x >= 0 && q.y > 0.001 && q.x+q.y <= 1.001) {
			return nil, false
		}
	}
	s := &Space{Name: "gamma and primaries in the file", Curve: all(gamma(1 / encoding)), Matrix: fromPrimaries(p, white)}
	if !finite(s.Matrix[:]...) {
		return nil, false
	}
	if near(s.Matrix, identity, 0.002) && math.Abs(encoding-0.45455) < 0.001 {
		return SRGB(), true // what PNG writes beside sRGB, PNG (W3C) 11.3.2.5
	}
	return s, true
}

// ChromaticitiesSRGB are white, red, green and blue of sRGB in the order of Measured.
var ChromaticitiesSRGB = [8]float64{0.3127, 0.3290, 0.64, 0.33, 0.30, 0.60, 0.15, 0.06}

func all(f func(float64) float64) [3]func(float64) float64 {
	return [3]func(float64) float64{f, f, f}
}

// srgbCurve is the decoding of IEC 61966-2-1:1999, 5.2, for encoded samples in [0,1].
func srgbCurve(v float64) float64 {
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}

func gamma(g float64) func(float64) float64 {
	return func(v float64) float64 { return math.Pow(v, g) }
}

func xyz(c chromaticity) [3]float64 { return [3]float64{c.x / c.y, 1, (1 - c.x - c.y) / c.y} }

// xyzFromRGB returns the matrix of a space's linear light to XYZ relative to its own white.
func xyzFromRGB(p [3]chromaticity, white chromaticity) [9]float64 {
	var m [9]float64
	for i, c := range p {
		v := xyz(c)
		m[i], m[3+i], m[6+i] = v[0], v[1], v[2]
	}
	s := apply(inverse(m), xyz(white))
	for i := range 9 {
		m[i] *= s[i%3]
	}
	return m
}

// fromPrimaries returns the matrix to sRGB primaries and D65 of a space with its own white.
func fromPrimaries(p [3]chromaticity, white chromaticity) [9]float64 {
	m := xyzFromRGB(p, white)
	if white != whiteD65 {
		m = product(adaptation(xyz(white), xyz(whiteD65)), m)
	}
	return product(srgbFromXYZ, m)
}

// adaptation returns the Bradford matrix from one white to another, both as XYZ with Y = 1.
func adaptation(from, to [3]float64) [9]float64 {
	a, b := apply(bradford, from), apply(bradford, to)
	return product(inverse(bradford), product([9]float64{b[0] / a[0], 0, 0, 0, b[1] / a[1], 0, 0, 0, b[2] / a[2]}, bradford))
}

func apply(m [9]float64, v [3]float64) [3]float64 {
	return [3]float64{
		m[0]*v[0] + m[1]*v[1] + m[2]*v[2],
		m[3]*v[0] + m[4]*v[1] + m[5]*v[2],
		m[6]*v[0] + m[7]*v[1] + m[8]*v[2],
	}
}

func product(a, b [9]float64) [9]float64 {
	var m [9]float64
	for r := range 3 {
		for c := range 3 {
			for k := range 3 {
				m[3*r+c] += a[3*r+k] * b[3*k+c]
			}
		}
	}
	return m
}

// inverse returns the inverse of a 3 x 3 matrix; of a singular one, values that are not finite.
func inverse(m [9]float64) [9]float64 {
	c := [9]float64{
		m[4]*m[8] - m[5]*m[7], m[2]*m[7] - m[1]*m[8], m[1]*m[5] - m[2]*m[4],
		m[5]*m[6] - m[3]*m[8], m[0]*m[8] - m[2]*m[6], m[2]*m[3] - m[0]*m[5],
		m[3]*m[7] - m[4]*m[6], m[1]*m[6] - m[0]*m[7], m[0]*m[4] - m[1]*m[3],
	}
	d := m[0]*c[0] + m[1]*c[3] + m[2]*c[6]
	for i := range c {
		c[i] /= d
	}
	return c
}

func finite(v ...float64) bool {
	for _, x := range v {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}

func near(a, b [9]float64, tol float64) bool {
	for i := range a {
		if !(math.Abs(a[i]-b[i]) <= tol) {
			return false
		}
	}
	return true
}
