package register

import "math"

type mat3 = [9]float64

func det3(m mat3) float64 {
	return m[0]*(m[4]*m[8]-m[5]*m[7]) - m[1]*(m[3]*m[8]-m[5]*m[6]) + m[2]*(m[3]*m[7]-m[4]*m[6])
}

func mul3(a, b mat3) mat3 {
	var c mat3
	for i := 0; i < 3; i++ {
		for j := 0; j < 3; j++ {
			c[3*i+j] = a[3*i]*b[j] + a[3*i+1]*b[3+j] + a[3*i+2]*b[6+j]
		}
	}
	return c
}

// inv3 returns the inverse, ok false when there is none.
func inv3(m mat3) (mat3, bool) {
	d := det3(m)
	if d == 0 || math.IsNaN(d) || math.IsInf(d, 0) {
		return mat3{}, false
	}
	r := mat3{
		m[4]*m[8] - m[5]*m[7], m[2]*m[7] - m[1]*m[8], m[1]*m[5] - m[2]*m[4],
		m[5]*m[6] - m[3]*m[8], m[0]*m[8] - m[2]*m[6], m[2]*m[3] - m[0]*m[5],
		m[3]*m[7] - m[4]*m[6], m[1]*m[6] - m[0]*m[7], m[0]*m[4] - m[1]*m[3],
	}
	for i := range r {
		r[i] /= d
	}
	return r, true
}

// apply3 maps a position; ok false beyond the horizon. The sign of the matrix is such that the last row is positive in
// front of the camera.
func apply3(m mat3, x, y float64) (float64, float64, bool) {
	w := m[6]*x + m[7]*y + m[8]
	if !(w > 0) {
		return math.NaN(), math.NaN(), false
	}
	return (m[0]*x + m[1]*y + m[2]) / w, (m[3]*x + m[4]*y + m[5]) / w, true
}

// unit3 scales a homography by a positive number so that its last place is 1 or -1; the sign, which says what lies in
// front of the camera, stays.
func unit3(m mat3) mat3 {
	k := math.Abs(m[8])
	if k < 1e-12 {
		k = 0
		for _, v := range m {
			k = math.Max(k, math.Abs(v))
		}
	}
	if k == 0 {
		return m
	}
	for i := range m {
		m[i] /= k
	}
	return m
}

// solve solves a·x = b in place by elimination with pivoting; false when singular.
func solve(a [][]float64, b []float64) bool {
	n := len(b)
	for c := 0; c < n; c++ {
		p := c
		for r := c + 1; r < n; r++ {
			if math.Abs(a[r][c]) > math.Abs(a[p][c]) {
				p = r
			}
		}
		if math.Abs(a[p][c]) < 1e-14 {
			return false
		}
		a[c], a[p] = a[p], a[c]
		b[c], b[p] = b[p], b[c]
		for r := c + 1; r < n; r++ {
			f := a[r][c] / a[c][c]
			if f == 0 {
				continue
			}
			for k := c; k < n; k++ {
				a[r][k] -= f * a[c][k]
			}
			b[r] -= f * b[c]
		}
	}
	for c := n - 1; c >= 0; c-- {
		for k := c + 1; k < n; k++ {
			b[c] -= a[c][k] * b[k]
		}
		b[c] /= a[c][c]
	}
	return true
}

// vote is what one window, or one pair set by hand, says: reference position (X, Y) lies at photo position (PX, PY).
// Info is the inverse covariance's shape in reference px, [xx, xy, yy], 1 for a window of ordinary certainty.
type vote struct {
	X, Y, PX, PY float64
	Info         [3]float64
	Peak         float64 // correlation at the match, 1 = equal
	Lone         float64 // by how much it exceeds every other place in the search
	Scale        float64 // weight given by the neighbours, 0 = voted out
}

// pull returns the vote's position brought back to the reference by the inverse of h, minus its own: what h leaves over,
// in reference px.
func (v *vote) pull(inv mat3) (ex, ey float64, ok bool) {
	x, y, w := inv[0]*v.PX+inv[1]*v.PY+inv[2], inv[3]*v.PX+inv[4]*v.PY+inv[5], inv[6]*v.PX+inv[7]*v.PY+inv[8]
	if w == 0 {
		return 0, 0, false
	}
	return x/w - v.X, y/w - v.Y, true
}

// polish fits a homography to votes, beginning at h, and with bent also the lenses' coefficients: the correction is a
// homography near the identity in the reference's frame, so residuals are reference px, and votes lose weight with
// their distance (Geman and McClure, 1987) on a width that follows the residuals' own median, never below floor px.
func polish(h mat3, l lens, bent bool, votes []vote, floor float64) (mat3, lens) {
	if len(votes) < 4 {
		return h, l
	}
	if !bent {
		l.k = [4]float64{}
	}
	var cx, cy, s float64
	for i := range votes {
		cx += votes[i].X
		cy += votes[i].Y
	}
	n := float64(len(votes))
	cx, cy = cx/n, cy/n
	for i := range votes {
		s += math.Hypot(votes[i].X-cx, votes[i].Y-cy)
	}
	s = math.Max(1, s/n)
	from, to := mat3{s, 0, cx, 0, s, cy, 0, 0, 1}, mat3{1 / s, 0, -cx / s, 0, 1 / s, -cy / s, 0, 0, 1}
	errs := make([][2]float64, len(votes))
	dist := make([]float64, 0, len(votes))
	const most = 12
	dim := 8
	if bent {
		dim = most
	}
	a := make([][]float64, dim)
	for i := range a {
		a[i] = make([]float64, dim)
	}
	b := make([]float64, dim)
	for it := 0; it < 12; it++ {
		inv, ok := inv3(h)
		if !ok {
			return h, l
		}
		dist = dist[:0]
		for i := range votes {
			v := &votes[i]
			ex, ey, good := v.pull(inv)
			if !good {
				ex, ey = math.Inf(1), 0
			}
			dx, dy := l.at(h, v.X, v.Y)
			ex, ey = ex-dx, ey-dy
			errs[i] = [2]float64{ex, ey}
			if v.Scale > 0 {
				dist = append(dist, math.Hypot(ex, ey))
			}
		}
		if len(dist) < 4 {
			return h, l
		}
		mid := math.Max(floor, median(dist))
		c := 2.5 * mid
		for i := range a {
			clear(a[i])
		}
		clear(b)
		var total float64
		for i := range votes {
			v := &votes[i]
			ex, ey := errs[i][0]/s, errs[i][1]/s
			e2 := (ex*ex + ey*ey) * s * s
			if v.Scale == 0 || math.IsInf(e2, 0) || math.IsNaN(e2) {
				continue
			}
			g := c * c / (c*c + e2)
			w := v.Scale * g * g
			x, y := (v.X-cx)/s, (v.Y-cy)/s
			// Columns: shift x, shift y, xx, xy, yx, yy, tilt x, tilt y, lenses.
			jx := [most]float64{1, 0, x, y, 0, 0, x * x, x * y}
			jy := [most]float64{0, 1, 0, 0, x, y, x * y, y * y}
			if bent {
				for k, q := range l.basis(h, v.X, v.Y) {
					jx[8+k], jy[8+k] = q[0]/s, q[1]/s
				}
			}
			p, q, r := w*v.Info[0], w*v.Info[1], w*v.Info[2]
			total += p + r
			for i := 0; i < dim; i++ {
				ux, uy := p*jx[i]+q*jy[i], q*jx[i]+r*jy[i]
				for k := 0; k < dim; k++ {
					a[i][k] += ux*jx[k] + uy*jy[k]
				}
				b[i] += ux*ex + uy*ey
			}
		}
		if total == 0 {
			return h, l
		}
		for i := 2; i < 8; i++ {
			a[i][i] += 1e-6 * total // keeps what the votes can't tell where it is
		}
		if bent {
			// The usual size of a lens's bend against the votes' own noise.
			for i := 8; i < dim; i++ {
				f := mid / s / lensPrior[i-8]
				a[i][i] += f * f
				b[i] -= f * f * l.k[i-8]
			}
		}
		if !solve(a, b) {
			return h, l
		}
		c3 := mat3{1 + b[2], b[3], b[0], b[4], 1 + b[5], b[1], -b[6], -b[7], 1}
		h = unit3(mul3(h, mul3(from, mul3(c3, to))))
		var big float64
		for i, v := range b {
			if i >= 8 {
				l.k[i-8] += v
			}
			big = math.Max(big, math.Abs(v))
		}
		if big*s < .002*floor {
			break
		}
	}
	return h, l
}

// median returns the middle of v, the mean of both for an even number; v is reordered. NaN when empty.
func median(v []float64) float64 { return quantile(v, .5) }

// quantile is Hyndman and Fan's type 7; v is sorted in place.
func quantile(v []float64, q float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	sortFloats(v)
	p := q * float64(len(v)-1)
	i := int(p)
	if i >= len(v)-1 {
		return v[len(v)-1]
	}
	return v[i] + (p-float64(i))*(v[i+1]-v[i])
}
