package plan

import "math"

// fit finds the pose that agrees best with the lines and with what is usual.
type fit struct {
	plan           *Plan
	lines          []Length
	opt            Options
	focal, focalSD float64 // prior of ln focal length: as long as the picture, +- half (a 36 mm equivalent, 22 to 60)
	scale          float64 // mm per px in the middle, 0 = not given
}

// scaleSD is how well mm_per_px is usually known, as a share (common practice, no source).
const scaleSD = 0.05

// residuals returns differences over their standard errors; nil when the pose is impossible.
func (f *fit) residuals(q pose) []float64 {
	out := make([]float64, 0, len(f.lines)+4)
	for _, l := range f.lines {
		m := f.plan.length(q, l)
		if math.IsNaN(m) || m <= 0 {
			return nil
		}
		px := math.Hypot(l.A.X-l.B.X, l.A.Y-l.B.Y)
		sd := math.Hypot(math.Sqrt2*f.opt.EndPx/px, f.opt.TapePct/100)
		out = append(out, math.Log(m/l.MM)/sd)
	}
	if f.scale > 0 {
		// lengths in the middle, across the tilt: depth over focal length
		out = append(out, (q.depth-q.focal-math.Log(f.scale))/scaleSD)
	}
	return append(out, (q.focal-f.focal)/f.focalSD, q.tx/f.opt.TiltSD, q.ty/f.opt.TiltSD)
}

func square(r []float64) float64 {
	var s float64
	for _, v := range r {
		s += v * v
	}
	return s
}

// solve fills the plan; false when no start leads anywhere.
func (f *fit) solve() bool {
	best, cost := pose{}, math.Inf(1)
	for _, df := range []float64{-0.4, 0, 0.4} {
		for _, t := range [][2]float64{{0, 0}, {.5, 0}, {-.5, 0}, {0, .5}, {0, -.5}, {.5, .5}, {.5, -.5}, {-.5, .5}, {-.5, -.5}} {
			q := pose{f.focal + df*f.focalSD/0.5, t[0], t[1], 0}
			q.depth = f.startDepth(q)
			if math.IsNaN(q.depth) {
				continue
			}
			if got, c := f.descend(q); c < cost-1e-9 {
				best, cost = got, c
			}
		}
	}
	if math.IsInf(cost, 1) {
		return false
	}
	p := f.plan
	p.best = best
	if len(f.lines) > 0 {
		p.TiltDeg = math.Atan(math.Hypot(best.tx, best.ty)) * 180 / math.Pi
		var s, worst float64
		for _, l := range f.lines {
			d := 100 * (p.length(best, l)/l.MM - 1)
			s += d * d
			if math.Abs(d) >= worst {
				worst = math.Abs(d)
				p.WorstLine, p.WorstLinePct = l.ID, d
			}
		}
		p.MisfitPct = math.Sqrt(s / float64(len(f.lines)))
	}
	return f.draw(cost)
}

// startDepth makes the median line right.
func (f *fit) startDepth(q pose) float64 {
	if len(f.lines) == 0 {
		return q.focal + math.Log(f.scale)
	}
	var s float64
	for _, l := range f.lines {
		s += math.Log(l.MM / f.plan.length(q, l))
	}
	return s / float64(len(f.lines))
}

const steps = 60

// jacobian returns the residuals' derivatives by central differences.
func (f *fit) jacobian(q pose, n int) [][4]float64 {
	out := make([][4]float64, n)
	const d = 1e-5
	for k := range 4 {
		u, v := q.vec(), q.vec()
		u[k] += d
		v[k] -= d
		a, b := f.residuals(ofVec(u)), f.residuals(ofVec(v))
		if a == nil || b == nil {
			return nil
		}
		for i := range out {
			out[i][k] = (a[i] - b[i]) / (2 * d)
		}
	}
	return out
}

func (f *fit) descend(q pose) (pose, float64) {
	r := f.residuals(q)
	if r == nil {
		return q, math.Inf(1)
	}
	cost, lambda := square(r), 1e-2
	for range steps {
		jac := f.jacobian(q, len(r))
		if jac == nil {
			break
		}
		a, g := normal(jac, r)
		moved := false
		for range 12 {
			m := a
			for k := range 4 {
				m[k][k] += lambda * (a[k][k] + 1e-9)
			}
			inv, ok := invert(m)
			if !ok {
				lambda *= 4
				continue
			}
			v := q.vec()
			var size float64
			for i := range 4 {
				var s float64
				for k := range 4 {
					s += inv[i][k] * g[k]
				}
				v[i] -= s
				size = max(size, math.Abs(s))
			}
			nr := f.residuals(ofVec(v))
			if nr == nil || square(nr) > cost {
				lambda *= 4
				continue
			}
			q, r = ofVec(v), nr
			moved = size > 1e-10
			cost = square(nr)
			lambda = max(lambda/6, 1e-9)
			break
		}
		if !moved {
			break
		}
	}
	return q, cost
}

func normal(jac [][4]float64, r []float64) (a [4][4]float64, g [4]float64) {
	for i, row := range jac {
		for k := range 4 {
			g[k] += row[k] * r[i]
			for l := range 4 {
				a[k][l] += row[k] * row[l]
			}
		}
	}
	return a, g
}

// draw samples poses from the posterior by a random walk (Metropolis et al. (1953), J. Chem. Phys. 21(6), 1087-1092)
// whose steps follow the normal approximation around the best pose; lines that disagree more than their errors allow
// widen it.
func (f *fit) draw(cost float64) bool {
	p := f.plan
	r := f.residuals(p.best)
	jac := f.jacobian(p.best, len(r))
	if jac == nil {
		return false
	}
	a, _ := normal(jac, r)
	cov, ok := invert(a)
	if !ok {
		return false
	}
	heat := 1.0
	if n := len(f.lines); n > 4 {
		heat = max(1, cost/float64(n-4))
	}
	l, ok := cholesky(cov)
	if !ok {
		return false
	}
	// the step of Gelman, Roberts and Gilks (1996) for four numbers, from memory
	step := 2.38 / 2 * math.Sqrt(heat)
	rnd := source()
	at, now := p.best, cost
	for k := range walk * drawsOf {
		v := at.vec()
		var z [4]float64
		for i := range z {
			z[i] = rnd.NormFloat64()
		}
		for i := range 4 {
			for j := 0; j <= i; j++ {
				v[i] += step * l[i][j] * z[j]
			}
		}
		u := rnd.Float64()
		if nr := f.residuals(ofVec(v)); nr != nil && math.Log(u) < (now-square(nr))/(2*heat) {
			at, now = ofVec(v), square(nr)
		}
		if k%walk == walk-1 {
			p.draws = append(p.draws, at)
		}
	}
	return true
}

// walk is how many steps lie between two draws.
const walk = 25

// invert returns the inverse of a 4 x 4 matrix by elimination with pivots.
func invert(m [4][4]float64) ([4][4]float64, bool) {
	var inv [4][4]float64
	for i := range 4 {
		inv[i][i] = 1
	}
	for c := range 4 {
		p := c
		for r := c + 1; r < 4; r++ {
			if math.Abs(m[r][c]) > math.Abs(m[p][c]) {
				p = r
			}
		}
		if math.Abs(m[p][c]) < 1e-14 {
			return inv, false
		}
		m[c], m[p] = m[p], m[c]
		inv[c], inv[p] = inv[p], inv[c]
		d := m[c][c]
		for k := range 4 {
			m[c][k] /= d
			inv[c][k] /= d
		}
		for r := range 4 {
			if r == c {
				continue
			}
			q := m[r][c]
			for k := range 4 {
				m[r][k] -= q * m[c][k]
				inv[r][k] -= q * inv[c][k]
			}
		}
	}
	return inv, true
}

// cholesky returns the lower root of a symmetric positive matrix.
func cholesky(a [4][4]float64) (l [4][4]float64, ok bool) {
	for i := range 4 {
		for j := 0; j <= i; j++ {
			s := a[i][j]
			for k := 0; k < j; k++ {
				s -= l[i][k] * l[j][k]
			}
			if i == j {
				if s <= 0 {
					return l, false
				}
				l[i][i] = math.Sqrt(s)
			} else {
				l[i][j] = s / l[j][j]
			}
		}
	}
	return l, true
}
