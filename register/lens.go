package register

import "math"

// lens is how far two lenses bend a picture, as displacements in reference px to add to what a homography takes: radial
// terms of third and fifth order round the middle of the reference and of the photo (Brown, 1971, Photogrammetric
// Engineering 37(8); no tangential terms). Coefficients are shares of half the diagonal at the corner.
type lens struct {
	k          [4]float64
	cx, cy, r  float64 // middle and half diagonal of the reference
	px, py, pr float64 // of the photo
}

func newLens(w, h, pw, ph int) lens {
	return lens{
		cx: float64(w-1) / 2, cy: float64(h-1) / 2, r: math.Hypot(float64(w), float64(h)) / 2,
		px: float64(pw-1) / 2, py: float64(ph-1) / 2, pr: math.Hypot(float64(pw), float64(ph)) / 2,
	}
}

// basis returns the displacement of each coefficient at a reference position, given the homography.
func (l *lens) basis(h mat3, x, y float64) (b [4][2]float64) {
	u, v := (x-l.cx)/l.r, (y-l.cy)/l.r
	q := math.Min(u*u+v*v, 2)
	b[0] = [2]float64{l.r * u * q, l.r * v * q}
	b[1] = [2]float64{b[0][0] * q, b[0][1] * q}
	w := h[6]*x + h[7]*y + h[8]
	if !(w > 0) {
		return b
	}
	px, py := (h[0]*x+h[1]*y+h[2])/w, (h[3]*x+h[4]*y+h[5])/w
	// Derivative of the photo position by the reference position.
	j0, j1 := (h[0]-px*h[6])/w, (h[1]-px*h[7])/w
	j2, j3 := (h[3]-py*h[6])/w, (h[4]-py*h[7])/w
	d := j0*j3 - j1*j2
	if d == 0 {
		return b
	}
	u, v = (px-l.px)/l.pr, (py-l.py)/l.pr
	q = math.Min(u*u+v*v, 2)
	a, c := l.pr*u*q, l.pr*v*q
	b[2] = [2]float64{(j3*a - j1*c) / d, (j0*c - j2*a) / d}
	b[3] = [2]float64{b[2][0] * q, b[2][1] * q}
	return b
}

// at returns the displacement at a reference position.
func (l *lens) at(h mat3, x, y float64) (dx, dy float64) {
	if l.k == [4]float64{} {
		return 0, 0
	}
	for i, b := range l.basis(h, x, y) {
		dx += l.k[i] * b[0]
		dy += l.k[i] * b[1]
	}
	return dx, dy
}

// lensPrior is the usual size of the coefficients: a phone's or a compact's lens bends a corner by a percent or two of
// half the diagonal, nearly all of it third order (common practice, no source). Where votes reach into the corners they
// outweigh it by far; where they do not, it keeps the corners from running away.
var lensPrior = [4]float64{.01, .001, .01, .001}
