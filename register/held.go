package register

import "math"

// Held says where a mapping is held by windows that agree with it: a lattice of cells over the reference, one bit a cell, row by
// row; cell (i, j) begins at (X0+i*Step, Y0+j*Step). Elsewhere the mapping is a guess and nothing may be read through it.
type Held struct {
	X0   float64 `json:"x0"`
	Y0   float64 `json:"y0"`
	Step float64 `json:"step"`
	NX   int     `json:"nx"`
	NY   int     `json:"ny"`
	Bits []byte  `json:"bits"`
}

func newHeld(l *lattice) *Held {
	nx, ny := l.nx-1, l.ny-1
	return &Held{X0: l.x0, Y0: l.y0, Step: l.step, NX: nx, NY: ny, Bits: make([]byte, (nx*ny+7)/8)}
}

func (h *Held) set(k int, on bool) {
	h.Bits[k/8] &^= 1 << (k % 8)
	if on {
		h.Bits[k/8] |= 1 << (k % 8)
	}
}

func (h *Held) get(k int) bool { return h.Bits[k/8]>>(k%8)&1 != 0 }

// at says whether the mapping is held at a reference position, px; beyond the lattice its border cells count.
func (h *Held) at(x, y float64) bool {
	i, j := int(math.Floor((x-h.X0)/h.Step)), int(math.Floor((y-h.Y0)/h.Step))
	return h.get(max(0, min(h.NY-1, j))*h.NX + max(0, min(h.NX-1, i)))
}

// Read is Photo where the mapping is held by what the pictures show, NaN elsewhere: what is measured is read through it.
func (m Mapping) Read(x, y float64) (px, py float64) {
	if !m.Holds(x, y) {
		return math.NaN(), math.NaN()
	}
	return m.Photo(x, y)
}

// Holds says whether what the pictures show speaks for the mapping at the reference position (x, y), px.
func (m Mapping) Holds(x, y float64) bool { return m.Held == nil || m.Held.at(x, y) }

// How far windows that agree speak for their surroundings. Measured on made curved and stepped walls, rendered scenes and
// published pairs, 2026.
const (
	heldSteps   = 64   // cells along the reference's longer side
	heldRadius  = 2.6  // steps of the fine grid round a place whose windows are counted
	heldLeast   = 3    // windows that must agree there
	heldShare   = .3   // of those that were asked
	heldReach   = 8    // steps of the grid from the nearest that agrees, where there is nothing to ask
	holeShare   = .15  // of the overlap: what has changed inside a flat surface is no reason not to look at it
	holeShareIn = .005 // the same inside a surface in parts
	partRadius  = 1.5  // steps of the dense grid round a place whose windows are counted
	partShare   = .6   // of which so many must agree
	jumpPx      = 1.5  // reference px by which two parts may differ at their rim
)

// hold finds where a mapping is held. at are the places of all windows that were asked.
func (r *refined) hold(ref *Reference, at [][2]float64, pw, ph int) *Held {
	f := ref.frames[len(ref.frames)-1]
	step := float64(f.grid.spacing) * f.scale()
	l := latticeFor(ref.W, ref.H, heldSteps)
	h := newHeld(&l)
	agreed := map[[2]float64]bool{}
	for i := range r.votes {
		if v := &r.votes[i]; v.Scale > 0 && miss(r.m, v) <= tolerancePx*f.scale() {
			agreed[[2]float64{v.X, v.Y}] = true
		}
	}
	// Windows by cells of their own grid, so that neighbours are found quickly.
	gx, gy := int(float64(ref.W)/step)+1, int(float64(ref.H)/step)+1
	cells := make([][]int, gx*gy)
	yes := make([]bool, len(at))
	for i, p := range at {
		c := max(0, min(gy-1, int(p[1]/step)))*gx + max(0, min(gx-1, int(p[0]/step)))
		cells[c] = append(cells[c], i)
		yes[i] = agreed[p]
	}
	n := h.NX * h.NY
	inside, held := make([]bool, n), make([]bool, n)
	total := 0
	for k := range n {
		x, y := h.X0+(float64(k%h.NX)+.5)*h.Step, h.Y0+(float64(k/h.NX)+.5)*h.Step
		px, py := r.m.Photo(x, y)
		if !(px >= 0 && py >= 0 && px <= float64(pw-1) && py <= float64(ph-1)) {
			continue
		}
		inside[k] = true
		total++
		asked, said, far := 0, 0, false
		ci, cj := int(x/step), int(y/step)
		for j := max(0, cj-heldReach); j <= min(gy-1, cj+heldReach); j++ {
			for i := max(0, ci-heldReach); i <= min(gx-1, ci+heldReach); i++ {
				for _, w := range cells[j*gx+i] {
					far = far || yes[w]
					if math.Hypot(at[w][0]-x, at[w][1]-y) > heldRadius*step {
						continue
					}
					asked++
					if yes[w] {
						said++
					}
				}
			}
		}
		held[k] = said >= heldLeast && float64(said) >= heldShare*float64(asked) || asked == 0 && far
	}
	fillHoles(held, inside, make([]bool, n), h.NX, h.NY, int(holeShare*float64(total)))
	return h.filled(held, inside)
}

// filled sets the bits; nil when all that is inside is held.
func (h *Held) filled(held, inside []bool) *Held {
	all := true
	for k := range held {
		h.set(k, held[k])
		all = all && (held[k] || !inside[k])
	}
	if all {
		return nil
	}
	return h
}

// holdParts finds where a surface in parts is held: where most of the small windows next to a place agree, all of one part. at
// are the places of the windows that were asked, step their distance, reference px.
func (r *refined) holdParts(votes []vote, at [][2]float64, step, tol float64, pw, ph int) *Held {
	s := r.sheets
	h := newHeld(&s.node)
	agreed := map[[2]float64]bool{}
	for i := range votes {
		v := &votes[i]
		if v.Scale > 0 && miss(r.m, v) <= tol {
			agreed[[2]float64{v.X, v.Y}] = true
		}
	}
	n := h.NX * h.NY
	inside, held, jump := make([]bool, n), make([]bool, n), make([]bool, n)
	asked, said := make([]int, n), make([]int, n)
	reach := int(math.Ceil(partRadius * step / h.Step))
	for _, p := range at {
		ci, cj := int((p[0]-h.X0)/h.Step), int((p[1]-h.Y0)/h.Step)
		for j := max(0, cj-reach); j <= min(h.NY-1, cj+reach); j++ {
			for i := max(0, ci-reach); i <= min(h.NX-1, ci+reach); i++ {
				x, y := h.X0+(float64(i)+.5)*h.Step, h.Y0+(float64(j)+.5)*h.Step
				if math.Hypot(p[0]-x, p[1]-y) > partRadius*step {
					continue
				}
				asked[j*h.NX+i]++
				if agreed[p] {
					said[j*h.NX+i]++
				}
			}
		}
	}
	total := 0
	for k := range n {
		x, y := h.X0+(float64(k%h.NX)+.5)*h.Step, h.Y0+(float64(k/h.NX)+.5)*h.Step
		px, py := r.m.Photo(x, y)
		if !(px >= 0 && py >= 0 && px <= float64(pw-1) && py <= float64(ph-1)) {
			continue
		}
		inside[k] = true
		total++
		jump[k] = s.jumps(k%h.NX, k/h.NX)
		held[k] = asked[k] >= 3 && float64(said[k]) >= partShare*float64(asked[k])
	}
	jump = wider(jump, h.NX, h.NY) // where parts meet is known to half a window only
	for k := range held {
		held[k] = held[k] && !jump[k]
	}
	fillHoles(held, inside, jump, h.NX, h.NY, int(holeShareIn*float64(total)))
	return h.filled(held, inside)
}

// wider adds to a mask the eight neighbours of its cells.
func wider(in []bool, nx, ny int) []bool {
	out := make([]bool, len(in))
	for k, on := range in {
		if !on {
			continue
		}
		for j := max(0, k/nx-1); j <= min(ny-1, k/nx+1); j++ {
			for i := max(0, k%nx-1); i <= min(nx-1, k%nx+1); i++ {
				out[j*nx+i] = true
			}
		}
	}
	return out
}

// fillHoles marks as held what is surrounded by held cells and no larger than most cells; jumps stay out.
func fillHoles(held, inside, jump []bool, nx, ny, most int) {
	seen := make([]bool, len(held))
	for start := range held {
		if held[start] || seen[start] || !inside[start] {
			continue
		}
		queue, open := []int{start}, false
		seen[start] = true
		for q := 0; q < len(queue); q++ {
			k := queue[q]
			i, j := k%nx, k/nx
			if i == 0 || j == 0 || i == nx-1 || j == ny-1 {
				open = true
				continue
			}
			for _, d := range [4]int{k - 1, k + 1, k - nx, k + nx} {
				if !inside[d] {
					open = true
				} else if !held[d] && !seen[d] {
					seen[d] = true
					queue = append(queue, d)
				}
			}
		}
		if open || len(queue) > most {
			continue
		}
		for _, k := range queue {
			held[k] = !jump[k]
		}
	}
}
