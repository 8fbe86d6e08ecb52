package chart

import (
	"math"

	"tilelapse/measure/colour"
)

// metric returns the matrix A for which |A d| is, to first order, the CIEDE2000 difference that a small change d of the
// linear light at c makes. It turns a least squares fit in linear light into one of seen differences. The rotation term
// of CIEDE2000, which matters for saturated blues only, is left out here; residuals are told with the full formula.
//
// Weights of Luo, Cui, Rigg (2001), Color Res. Appl. 26(5), 340-350.
func metric(c colour.RGB) (m [3][3]float64) {
	p := c.Lab()
	const pow25to7 = 6103515625
	c7 := math.Pow(p.Chroma(), 7)
	g := 1 + 0.5*(1-math.Sqrt(c7/(c7+pow25to7)))
	chroma := math.Hypot(g*p.A, p.B)
	ca, cb := 1.0, 0.0 // direction of chroma; any will do for a neutral, where both weights are 1
	if chroma > 1e-9 {
		ca, cb = g*p.A/chroma, p.B/chroma
	}
	h := math.Atan2(cb, ca) * 180 / math.Pi
	cos := func(deg float64) float64 { return math.Cos(deg * math.Pi / 180) }
	t := 1 - 0.17*cos(h-30) + 0.24*cos(2*h) + 0.32*cos(3*h+6) - 0.20*cos(4*h-63)
	l := p.L - 50
	sl := 1 + 0.015*l*l/math.Sqrt(20+l*l)
	sc, sh := 1+0.045*chroma, 1+0.015*chroma*t
	for k := range 3 {
		const step = 1e-6
		a, b := c, c
		a[k] -= step
		b[k] += step
		u, v := a.Lab(), b.Lab()
		dl, da, db := (v.L-u.L)/(2*step), g*(v.A-u.A)/(2*step), (v.B-u.B)/(2*step)
		m[0][k] = dl / sl
		m[1][k] = (ca*da + cb*db) / sc
		m[2][k] = (ca*db - cb*da) / sh
	}
	return m
}

// normal gathers the normal equations of a linear least squares problem.
type normal struct {
	n   int
	ata []float64
	atb []float64
	bb  float64
}

func newNormal(n int) *normal {
	return &normal{n: n, ata: make([]float64, n*n), atb: make([]float64, n)}
}

// add takes one equation row·x = rhs of weight w.
func (q *normal) add(row []float64, rhs, w float64) {
	q.bb += w * rhs * rhs
	for i, a := range row {
		if a == 0 {
			continue
		}
		for j := 0; j <= i; j++ {
			q.ata[i*q.n+j] += w * a * row[j]
		}
		q.atb[i] += w * a * rhs
	}
}

// solve returns the solution by Cholesky's method, false when the equations don't settle every unknown.
func (q *normal) solve() ([]float64, bool) {
	n, l := q.n, append([]float64(nil), q.ata...)
	for i := range n {
		d := q.ata[i*n+i]
		for j := 0; j <= i; j++ {
			s := l[i*n+j]
			for k := range j {
				s -= l[i*n+k] * l[j*n+k]
			}
			if i != j {
				l[i*n+j] = s / l[j*n+j]
				continue
			}
			if !(s > 1e-12*d) {
				return nil, false
			}
			l[i*n+i] = math.Sqrt(s)
		}
	}
	x := append([]float64(nil), q.atb...)
	for i := range n {
		for k := range i {
			x[i] -= l[i*n+k] * x[k]
		}
		x[i] /= l[i*n+i]
	}
	for i := n - 1; i >= 0; i-- {
		for k := i + 1; k < n; k++ {
			x[i] -= l[k*n+i] * x[k]
		}
		x[i] /= l[i*n+i]
	}
	return x, true
}
