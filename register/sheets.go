package register

import "math"

// sheets is a surface in parts: steps of a cascade, strips of a niche. A cell of the reference belongs to one part, or to
// none. Inside a part the displacement is what the windows around a place say; across parts it may jump.
type sheets struct {
	f      frame
	w, h   int // of the reference, px
	nx, ny int
	label  []int        // of a cell, -1 = none
	hs     []mat3       // where each part began
	main   int          // the part whose homography the others are told against
	node   lattice      // finer than the cells
	of     []int        // the part that holds at a node
	to     [][2]float64 // photo position of a node
}

func newSheets(f frame, w, h int) *sheets {
	s := &sheets{f: f, w: w, h: h, nx: (f.w-1)/patch.spacing + 1, ny: (f.h-1)/patch.spacing + 1}
	s.label = make([]int, s.nx*s.ny)
	for i := range s.label {
		s.label[i] = -1
	}
	s.node = latticeFor(w, h, max(s.nx, s.ny)*finerNodes)
	return s
}

// cell returns the cell of a reference position.
func (s *sheets) cell(x, y float64) int {
	u, v := (x+.5)/s.f.sx-.5, (y+.5)/s.f.sy-.5
	x0, y0 := float64((s.f.w-1)%patch.spacing/2), float64((s.f.h-1)%patch.spacing/2)
	i := int(math.Floor((u-x0)/float64(patch.spacing) + .5))
	j := int(math.Floor((v-y0)/float64(patch.spacing) + .5))
	return max(0, min(s.ny-1, j))*s.nx + max(0, min(s.nx-1, i))
}

// around calls f with the cells within r of cell c.
func (s *sheets) around(c, r int, f func(d int)) {
	ci, cj := c%s.nx, c/s.nx
	for j := max(0, cj-r); j <= min(s.ny-1, cj+r); j++ {
		for i := max(0, ci-r); i <= min(s.nx-1, ci+r); i++ {
			f(j*s.nx + i)
		}
	}
}

// nearest returns for every cell the label of the nearest labelled one within r cells, -1 where there is none; ties go to
// the cell that comes first.
func (s *sheets) nearest(r int) []int { return s.nearestOf(s.label, r) }

// nearestOf is nearest for any labels.
func (s *sheets) nearestOf(label []int, r int) []int {
	out := append([]int(nil), label...)
	for c, l := range label {
		if l >= 0 {
			continue
		}
		best := math.MaxInt
		s.around(c, r, func(d int) {
			if label[d] < 0 {
				return
			}
			dx, dy := d%s.nx-c%s.nx, d/s.nx-c/s.nx
			if q := dx*dx + dy*dy; q < best {
				best, out[c] = q, label[d]
			}
		})
	}
	return out
}

// begin lays the nodes by the homography of the part that holds there.
func (s *sheets) begin(hs []mat3) {
	count := make([]int, len(hs))
	for _, l := range s.label {
		if l >= 0 {
			count[l]++
		}
	}
	for k, n := range count {
		if n > count[s.main] {
			s.main = k
		}
	}
	s.hs = hs
	near := s.nearest(max(s.nx, s.ny))
	s.of, s.to = make([]int, len(s.node.s)), make([][2]float64, len(s.node.s))
	for k := range s.to {
		x, y := s.place(k)
		s.of[k] = max(0, near[s.cell(x, y)])
		if px, py, ok := apply3(hs[s.of[k]], x, y); ok {
			s.to[k] = [2]float64{px, py}
		}
	}
}

// place is the reference position of a node.
func (s *sheets) place(k int) (x, y float64) {
	l := &s.node
	return l.x0 + float64(k%l.nx)*l.step, l.y0 + float64(k/l.nx)*l.step
}

// mapping returns the nodes as a homography and what they add to it.
func (s *sheets) mapping() Mapping {
	l := &s.node
	f := &Field{X0: l.x0, Y0: l.y0, Step: l.step, NX: l.nx, NY: l.ny, DX: make([]float32, len(s.to)), DY: make([]float32, len(s.to))}
	for k, p := range s.to {
		x, y := s.place(k)
		if ax, ay, ok := apply3(s.hs[s.main], x, y); ok {
			f.DX[k], f.DY[k] = float32(p[0]-ax), float32(p[1]-ay)
		}
	}
	return Mapping{PhotoFromRef: s.hs[s.main], Field: f}
}

// at returns where part l puts a reference position: between nodes of that part alone, so that nothing is mixed at its rim.
func (s *sheets) at(l int, x, y float64) (px, py float64, ok bool) {
	px, py, ok = apply3(s.hs[l], x, y)
	o, a, b := s.node.cell(x, y)
	var dx, dy, sum float64
	for i, w := range [4]float64{(1 - a) * (1 - b), a * (1 - b), (1 - a) * b, a * b} {
		k := o + i%2 + i/2*s.node.nx
		if s.of[k] != l {
			continue
		}
		nx, ny := s.place(k)
		if hx, hy, good := apply3(s.hs[l], nx, ny); good {
			dx, dy, sum = dx+w*(s.to[k][0]-hx), dy+w*(s.to[k][1]-hy), sum+w
		}
	}
	if sum < 1e-6 {
		return px, py, false
	}
	return px + dx/sum, py + dy/sum, ok
}

// offset returns how far a vote is off part l, reference px; NaN where the part can't tell.
func (s *sheets) offset(l int, v *vote) (float64, float64) {
	px, py, ok := s.at(l, v.X, v.Y)
	if !ok {
		return math.NaN(), math.NaN()
	}
	return back(s.hs[l], v, px, py)
}

// back brings a vote's distance from a photo position to the reference by the slope of h; NaN where h can't tell.
func back(h mat3, v *vote, px, py float64) (float64, float64) {
	j := Mapping{PhotoFromRef: h}.jacobian(v.X, v.Y, 1)
	d := j[0]*j[3] - j[1]*j[2]
	if !(d > 0) {
		return math.NaN(), math.NaN()
	}
	ex, ey := v.PX-px, v.PY-py
	return (j[3]*ex - j[1]*ey) / d, (j[0]*ey - j[2]*ex) / d
}

// from returns how far the parts are from another mapping, reference px: the ninth tenth over the cells that have a label.
func (s *sheets) from(m Mapping) float64 {
	var d []float64
	x0, y0 := (s.f.w-1)%patch.spacing/2, (s.f.h-1)%patch.spacing/2
	for c, l := range s.label {
		if l < 0 {
			continue
		}
		x, y := s.f.ref(float64(x0+c%s.nx*patch.spacing), float64(y0+c/s.nx*patch.spacing))
		px, py, ok := s.at(l, x, y)
		qx, qy := m.Photo(x, y)
		if !ok {
			continue
		}
		ex, ey := back(s.hs[l], &vote{X: x, Y: y, PX: qx, PY: qy}, px, py)
		if v := math.Hypot(ex, ey); !math.IsNaN(v) {
			d = append(d, v)
		} else {
			d = append(d, math.Inf(1)) // the other can't tell
		}
	}
	if len(d) == 0 {
		return 0
	}
	return quantile(d, partsTenth)
}

// jumps says whether the nodes round cell (i, j) of the lattice belong to parts that differ there.
func (s *sheets) jumps(i, j int) bool {
	n := s.node.nx
	k := [4]int{j*n + i, j*n + i + 1, (j+1)*n + i, (j+1)*n + i + 1}
	for _, d := range k[1:] {
		if s.of[d] == s.of[k[0]] {
			continue
		}
		x, y := s.place(d)
		px, py, ok := s.at(s.of[k[0]], x, y)
		if !ok {
			return true
		}
		ex, ey := back(s.hs[s.of[d]], &vote{X: x, Y: y, PX: s.to[d][0], PY: s.to[d][1]}, px, py)
		if !(math.Hypot(ex, ey) <= jumpPx) {
			return true
		}
	}
	return false
}
