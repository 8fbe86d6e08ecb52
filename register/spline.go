package register

import "math"

// lattice is a smooth displacement over the reference, in reference px, on nodes of even step: the bilinear surface that
// lies nearest to the votes and bends least (discrete thin plate: squared second differences).
type lattice struct {
	x0, y0, step float64
	nx, ny       int
	s            [][2]float64
}

// latticeFor lays a lattice over a w × h reference with about n steps along its longer side.
func latticeFor(w, h, n int) lattice {
	step := float64(max(w, h)) / float64(n)
	nx, ny := int(math.Ceil(float64(w)/step))+1, int(math.Ceil(float64(h)/step))+1
	nx, ny = max(3, nx), max(3, ny)
	l := lattice{step: step, nx: nx, ny: ny, s: make([][2]float64, nx*ny)}
	l.x0, l.y0 = (float64(w-1)-step*float64(nx-1))/2, (float64(h-1)-step*float64(ny-1))/2
	return l
}

func (l *lattice) cell(x, y float64) (o int, a, b float64) {
	u := max(0, min(float64(l.nx-1), (x-l.x0)/l.step))
	v := max(0, min(float64(l.ny-1), (y-l.y0)/l.step))
	i, j := min(int(u), l.nx-2), min(int(v), l.ny-2)
	return j*l.nx + i, u - float64(i), v - float64(j)
}

func (l *lattice) at(x, y float64) (float64, float64) {
	o, a, b := l.cell(x, y)
	p, q, r, t := l.s[o], l.s[o+1], l.s[o+l.nx], l.s[o+l.nx+1]
	f := func(c int) float64 {
		top, bot := p[c]+a*(q[c]-p[c]), r[c]+a*(t[c]-r[c])
		return top + b*(bot-top)
	}
	return f(0), f(1)
}

// sample is a wanted displacement (EX, EY) at (X, Y) with its certainty.
type sample struct {
	X, Y, EX, EY float64
	Info         [3]float64
}

// fit moves the lattice to the samples. stiff weighs bending against the samples' total certainty spread over the
// lattice's cells; shrink pulls displacements towards nothing where no sample speaks (both without unit).
func (l *lattice) fit(samples []sample, stiff, shrink float64) bool {
	n := 2 * l.nx * l.ny
	// The unknowns run along the shorter side, which keeps the band narrow.
	across := l.ny < l.nx
	at := func(i, j int) int {
		if across {
			return 2 * (i*l.ny + j)
		}
		return 2 * (j*l.nx + i)
	}
	short := l.nx
	if across {
		short = l.ny
	}
	band := 4*short + 2
	m := newBanded(n, band)
	rhs := make([]float64, n)
	for i := range samples {
		s := &samples[i]
		o, a, b := l.cell(s.X, s.Y)
		ci, cj := o%l.nx, o/l.nx
		k := [4]int{at(ci, cj), at(ci+1, cj), at(ci, cj+1), at(ci+1, cj+1)}
		w := [4]float64{(1 - a) * (1 - b), a * (1 - b), (1 - a) * b, a * b}
		bx, by := s.Info[0]*s.EX+s.Info[1]*s.EY, s.Info[1]*s.EX+s.Info[2]*s.EY
		for p := 0; p < 4; p++ {
			rhs[k[p]] += w[p] * bx
			rhs[k[p]+1] += w[p] * by
			for q := 0; q < 4; q++ {
				ww := w[p] * w[q]
				m.add(k[p], k[q], ww*s.Info[0])
				m.add(k[p], k[q]+1, ww*s.Info[1])
				m.add(k[p]+1, k[q], ww*s.Info[1])
				m.add(k[p]+1, k[q]+1, ww*s.Info[2])
			}
		}
	}
	penal := func(k []int, w []float64, f float64) {
		for p := range k {
			for q := range k {
				v := f * w[p] * w[q]
				m.add(k[p], k[q], v)
				m.add(k[p]+1, k[q]+1, v)
			}
		}
	}
	for j := 0; j < l.ny; j++ {
		for i := 0; i < l.nx; i++ {
			penal([]int{at(i, j)}, []float64{1}, shrink)
			if i > 0 && i < l.nx-1 {
				penal([]int{at(i-1, j), at(i, j), at(i+1, j)}, []float64{1, -2, 1}, stiff)
			}
			if j > 0 && j < l.ny-1 {
				penal([]int{at(i, j-1), at(i, j), at(i, j+1)}, []float64{1, -2, 1}, stiff)
			}
			if i < l.nx-1 && j < l.ny-1 {
				penal([]int{at(i, j), at(i+1, j), at(i, j+1), at(i+1, j+1)}, []float64{1, -1, -1, 1}, 2*stiff)
			}
		}
	}
	if !m.solve(rhs) {
		return false
	}
	for j := 0; j < l.ny; j++ {
		for i := 0; i < l.nx; i++ {
			k := at(i, j)
			l.s[j*l.nx+i] = [2]float64{rhs[k], rhs[k+1]}
		}
	}
	return true
}

// banded is a symmetric matrix of which only the lower band is kept, row by row.
type banded struct {
	n, b int
	v    []float64
}

func newBanded(n, b int) *banded { return &banded{n, b, make([]float64, n*(b+1))} }

func (m *banded) add(r, c int, v float64) {
	if c <= r {
		m.v[r*(m.b+1)+c-r+m.b] += v
	}
}

// solve replaces x by the solution (Cholesky inside the band); false when the matrix is not positive definite.
func (m *banded) solve(x []float64) bool {
	b, w := m.b, m.b+1
	for r := 0; r < m.n; r++ {
		row := m.v[r*w : r*w+w] // row[b] is the diagonal
		for c := max(0, r-b); c <= r; c++ {
			other := m.v[c*w : c*w+w]
			s := row[c-r+b]
			for k := max(0, r-b); k < c; k++ {
				s -= row[k-r+b] * other[k-c+b]
			}
			if c < r {
				row[c-r+b] = s / other[b]
				continue
			}
			if !(s > 0) {
				return false
			}
			row[b] = math.Sqrt(s)
		}
	}
	for r := 0; r < m.n; r++ {
		row := m.v[r*w : r*w+w]
		for k := max(0, r-b); k < r; k++ {
			x[r] -= row[k-r+b] * x[k]
		}
		x[r] /= row[b]
	}
	for r := m.n - 1; r >= 0; r-- {
		row := m.v[r*w : r*w+w]
		x[r] /= row[b]
		for k := max(0, r-b); k < r; k++ {
			x[k] -= row[k-r+b] * x[r]
		}
	}
	return true
}
