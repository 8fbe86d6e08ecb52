package register

import "math"

// model is what votes around a place add to a mapping there, reference px: shift and slopes, and how many votes it rests on.
type model struct {
	x, y float64
	a    [6]float64 // dx, dy, dx by x, dx by y, dy by x, dy by y
	n    int
}

func (m *model) at(x, y float64) (dx, dy float64) {
	u, v := x-m.x, y-m.y
	return m.a[0] + m.a[2]*u + m.a[3]*v, m.a[1] + m.a[4]*u + m.a[5]*v
}

// models fits, for every cell with a label, the votes of that part within radius reference px (moving least squares,
// Lancaster and Salkauskas 1981, Math. Comp. 37, made robust by Geman and McClure's weights): where a surface has a
// crease, the side that most votes lie on wins. A cell where too few speak has n = 0.
func (s *sheets) models(votes []vote, label []int, radius, floor float64) []model {
	bucket := make([][]int, len(label))
	off := make([][2]float64, len(votes))
	for i := range votes {
		c := s.cell(votes[i].X, votes[i].Y)
		if votes[i].Scale == 0 || label[c] < 0 {
			continue
		}
		if off[i][0], off[i][1] = s.offset(label[c], &votes[i]); !math.IsNaN(off[i][0]) {
			bucket[c] = append(bucket[c], i)
		}
	}
	reach := int(math.Ceil(radius/(float64(patch.spacing)*s.f.scale()))) + 1
	out := make([]model, len(label))
	x0, y0 := (s.f.w-1)%patch.spacing/2, (s.f.h-1)%patch.spacing/2
	for c := range out {
		x, y := s.f.ref(float64(x0+c%s.nx*patch.spacing), float64(y0+c/s.nx*patch.spacing))
		out[c] = model{x: x, y: y}
		if label[c] < 0 {
			continue
		}
		var near []sample
		s.around(c, reach, func(d int) {
			if label[d] != label[c] {
				return
			}
			for _, i := range bucket[d] {
				v := &votes[i]
				q := math.Hypot(v.X-x, v.Y-y) / radius
				if q >= 1 {
					continue
				}
				k := v.Scale * (1 - q*q) * (1 - q*q)
				near = append(near, sample{(v.X - x) / radius, (v.Y - y) / radius, off[i][0], off[i][1], [3]float64{k * v.Info[0], k * v.Info[1], k * v.Info[2]}})
			}
		})
		if len(near) >= minLocal {
			out[c].a = affine(near, floor)
			for i := 2; i < 6; i++ {
				out[c].a[i] /= radius
			}
			out[c].n = len(near)
		}
	}
	return out
}

// minLocal is the smallest number of votes a place's own displacement is told from.
const minLocal = 5

// affine fits shift and slopes robustly to samples whose positions are within 1 of nothing.
func affine(near []sample, floor float64) (p [6]float64) {
	ex, ey := make([]float64, len(near)), make([]float64, len(near))
	for i, v := range near {
		ex[i], ey[i] = v.EX, v.EY
	}
	p[0], p[1] = median(ex), median(ey)
	dist := make([]float64, len(near))
	for it := 0; it < 6; it++ {
		for i, v := range near {
			dist[i] = math.Hypot(v.EX-p[0]-p[2]*v.X-p[3]*v.Y, v.EY-p[1]-p[4]*v.X-p[5]*v.Y)
		}
		c := 2.5 * math.Max(floor, median(append([]float64(nil), dist...)))
		a, b := make([][]float64, 6), make([]float64, 6)
		for i := range a {
			a[i] = make([]float64, 6)
		}
		var total float64
		for i, v := range near {
			g := c * c / (c*c + dist[i]*dist[i])
			g *= g
			u, w, t := g*v.Info[0], g*v.Info[1], g*v.Info[2]
			total += (u + t) / 2
			jx, jy := [6]float64{1, 0, v.X, v.Y, 0, 0}, [6]float64{0, 1, 0, 0, v.X, v.Y}
			bx, by := u*v.EX+w*v.EY, w*v.EX+t*v.EY
			for i := range 6 {
				qx, qy := u*jx[i]+w*jy[i], w*jx[i]+t*jy[i]
				for k := range 6 {
					a[i][k] += qx*jx[k] + qy*jy[k]
				}
				b[i] += jx[i]*bx + jy[i]*by
			}
		}
		for i := range 6 {
			k := 1e-6
			if i >= 2 {
				k = slopeTie
			}
			a[i][i] += k*total + 1e-12
		}
		if !solve(a, b) {
			return p
		}
		copy(p[:], b)
	}
	return p
}

// slopeTie holds slopes that few votes tell, as a share of the votes' weight.
const slopeTie = .02

// move adds models, told with labels, to the nodes: that of the node's own cell, or of the nearest cell that has one; a node
// then belongs to that cell's part.
func (s *sheets) move(ms []model, label []int) {
	have := make([]int, len(ms))
	for c := range have {
		have[c] = -1
		if ms[c].n > 0 {
			have[c] = c
		}
	}
	from := s.nearestOf(have, max(s.nx, s.ny))
	to, of := append([][2]float64(nil), s.to...), append([]int(nil), s.of...)
	reach := growCells * float64(patch.spacing) * s.f.scale()
	for k := range s.to {
		x, y := s.place(k)
		c := from[s.cell(x, y)]
		if c < 0 {
			continue
		}
		q, l := &ms[c], label[c]
		// Beyond the cells that speak slopes are followed no further than they were told from.
		dx, dy := q.at(q.x+max(-reach, min(reach, x-q.x)), q.y+max(-reach, min(reach, y-q.y)))
		px, py, ok := s.at(l, x, y)
		if !ok { // another part held here: carry on from the cell that speaks
			hx, hy, _ := apply3(s.hs[l], x, y)
			gx, gy, _ := apply3(s.hs[l], q.x, q.y)
			cx, cy, _ := s.at(l, q.x, q.y)
			px, py = hx+cx-gx, hy+cy-gy
		}
		j := Mapping{PhotoFromRef: s.hs[l]}.jacobian(x, y, 1)
		p := [2]float64{px + j[0]*dx + j[1]*dy, py + j[2]*dx + j[3]*dy}
		if !math.IsNaN(p[0] + p[1]) {
			to[k], of[k] = p, l
		}
	}
	s.to, s.of = to, of
}
