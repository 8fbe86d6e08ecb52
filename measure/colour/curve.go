package colour

import "math"

// Decode turns an encoded sRGB component into linear light, both in [0,1] for colours inside the gamut. Negative values
// mirror the curve (extended sRGB), so that colours of a wider gamut keep their sign.
//
// IEC 61966-2-1:1999, section 5.2.
func Decode(v float64) float64 {
	if v < 0 {
		return -Decode(-v)
	}
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}

// Encode turns linear light into an encoded sRGB component, the inverse of Decode.
//
// IEC 61966-2-1:1999, section 5.2.
func Encode(v float64) float64 {
	if v < 0 {
		return -Encode(-v)
	}
	if v <= 0.0031308 {
		return v * 12.92
	}
	return 1.055*math.Pow(v, 1/2.4) - 0.055
}

// XYZ is a tristimulus colour, Y = 1 for the white of its context.
type XYZ [3]float64

// D65 and D50 are the white points used here: chromaticities x=0.3127, y=0.3290 (IEC 61966-2-1) and x=0.3457, y=0.3585
// (CIE 15), 2 degree observer.
var (
	D65 = XYZ{0.3127 / 0.3290, 1, (1 - 0.3127 - 0.3290) / 0.3290}
	D50 = XYZ{0.3457 / 0.3585, 1, (1 - 0.3457 - 0.3585) / 0.3585}
)

var xyzFromRGB, rgbFromXYZ = primaries()

// primaries derives the matrix between linear sRGB and XYZ from the primaries (IEC 61966-2-1, the chromaticities of
// ITU-R BT.709) and D65, so that white is exactly neutral.
func primaries() (m, inv [3][3]float64) {
	xy := [3][2]float64{{0.64, 0.33}, {0.30, 0.60}, {0.15, 0.06}}
	for i, p := range xy {
		m[0][i], m[1][i], m[2][i] = p[0]/p[1], 1, (1-p[0]-p[1])/p[1]
	}
	s := mul(invert(m), D65)
	for r := range 3 {
		for c := range 3 {
			m[r][c] *= s[c]
		}
	}
	return m, invert(m)
}

func mul(m [3][3]float64, v [3]float64) (o [3]float64) {
	for r := range 3 {
		o[r] = m[r][0]*v[0] + m[r][1]*v[1] + m[r][2]*v[2]
	}
	return o
}

func mul3(a, b [3][3]float64) (o [3][3]float64) {
	for r := range 3 {
		for c := range 3 {
			o[r][c] = a[r][0]*b[0][c] + a[r][1]*b[1][c] + a[r][2]*b[2][c]
		}
	}
	return o
}

func invert(m [3][3]float64) (o [3][3]float64) {
	det := 0.0
	for i := range 3 {
		j, k := (i+1)%3, (i+2)%3
		det += m[0][i] * (m[1][j]*m[2][k] - m[1][k]*m[2][j])
	}
	for r := range 3 {
		for c := range 3 {
			r1, r2, c1, c2 := (r+1)%3, (r+2)%3, (c+1)%3, (c+2)%3
			o[c][r] = (m[r1][c1]*m[r2][c2] - m[r1][c2]*m[r2][c1]) / det
		}
	}
	return o
}

// XYZ returns the tristimulus values of linear sRGB, D65.
func (c RGB) XYZ() XYZ { return mul(xyzFromRGB, c) }

// RGB returns linear sRGB of tristimulus values under D65, unclamped.
func (v XYZ) RGB() RGB { return mul(rgbFromXYZ, v) }

// Lab returns the CIELAB colour of v relative to a white point.
//
// ISO/CIE 11664-4; below the cube root's range the standard's straight line is used.
func (v XYZ) Lab(white XYZ) Lab {
	x, y, z := labF(v[0]/white[0]), labF(v[1]/white[1]), labF(v[2]/white[2])
	return Lab{116*y - 16, 500 * (x - y), 200 * (y - z)}
}

// XYZ returns the tristimulus values of c relative to a white point, the inverse of XYZ.Lab.
func (c Lab) XYZ(white XYZ) XYZ {
	y := (c.L + 16) / 116
	return XYZ{white[0] * labInv(y+c.A/500), white[1] * labInv(y), white[2] * labInv(y-c.B/200)}
}

const labEps, labKappa = 216.0 / 24389, 24389.0 / 27 // ISO/CIE 11664-4, exact fractions

func labF(t float64) float64 {
	if t > labEps {
		return math.Cbrt(t)
	}
	return (labKappa*t + 16) / 116
}

func labInv(f float64) float64 {
	if t := f * f * f; t > labEps {
		return t
	}
	return (116*f - 16) / labKappa
}

// Lab returns the CIELAB colour under D65.
func (c RGB) Lab() Lab { return c.XYZ().Lab(D65) }

// RGB returns the linear sRGB colour of a CIELAB colour under D65, unclamped.
func (c Lab) RGB() RGB { return c.XYZ(D65).RGB() }

// bradford is the cone response matrix of the Bradford adaptation (ICC.1:2022, annex E.3).
var bradford = [3][3]float64{{0.8951, 0.2664, -0.1614}, {-0.7502, 1.7135, 0.0367}, {0.0389, -0.0685, 1.0296}}

// Adapt moves a colour seen under white `from` to the corresponding colour under white `to`, by the linear Bradford
// transform.
//
// ICC.1:2022, annex E.3; Lam (1985), thesis, University of Bradford.
func Adapt(v, from, to XYZ) XYZ {
	a, b := mul(bradford, from), mul(bradford, to)
	d := [3][3]float64{{b[0] / a[0]}, {0, b[1] / a[1]}, {0, 0, b[2] / a[2]}}
	return mul(mul3(invert(bradford), mul3(d, bradford)), v)
}

// AdaptLab moves a CIELAB colour relative to white `from` to the one relative to white `to`.
func AdaptLab(c Lab, from, to XYZ) Lab { return Adapt(c.XYZ(from), from, to).Lab(to) }
