package register

import (
	"math"
	"slices"
	"sort"
)

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

// What speaks for a mapping of one surface, and what against it. Measured on made curved and stepped walls, rendered scenes and
// published pairs, 2026.
const (
	heldSteps   = 64   // cells along the reference's longer side
	aroundSteps = 1.8  // steps of a frame's grid round a place whose windows are counted
	againstPx   = 3    // px of a frame by which windows that agree with one another must be off to speak against
	againstFine = 6    // px of the fine frame below which light from aside may move what is seen
	friends     = 3    // of the eight windows around that must say the same
	samePx      = 1.5  // px of a frame by which they may differ
	clearLone   = .1   // by which a window's place must beat all others to speak against
	pairSteps   = 2.5  // steps of the fine grid round a place whose key points are counted
	pairSlope   = .1   // of how far off they are, by which key points may differ and say the same
	reachSteps  = 8    // steps of the fine grid by which what agrees is carried on
	sureSteps   = 2    // steps of the fine grid round a window that agrees
	holeShare   = .15  // of the overlap: silence in the midst of a surface is no reason not to look at it
	rimShare    = .03  // the same at the rim
	holeShareIn = .005 // of the overlap: holes inside a surface in parts
	partRadius  = 1.5  // steps of the dense grid round a place whose windows are counted
	partShare   = .6   // of which so many must agree
	jumpPx      = 1.5  // reference px by which two parts may differ at their rim
)

// said is what the windows of one frame said.
type said struct {
	votes []vote
	asked [][2]float64 // places of all windows
	step  float64      // distance of windows, reference px
	px    float64      // reference px a px of the frame
}

// hold finds where the mapping of one surface is held, and where its fine windows agree. Windows that agree hold what lies
// between and around them; absence of evidence is none against: light, shadows, blur and things in front make windows fall
// silent. Not held is where neighbours agree on another place, and what lies beyond the windows' reach, which nothing speaks
// for; nor, where several planes were found, wide areas on which windows should speak and don't. pairs are all key points that
// matched: they tell of places further off than windows look.
func (r *refined) hold(ref *Reference, pairs []Pair, several bool, pw, ph int) (lenient, sure *Held) {
	l := latticeFor(ref.W, ref.H, heldSteps)
	h := newHeld(&l)
	n := h.NX * h.NY
	inside, total := h.inside(r.m, pw, ph)
	fine := &r.said[len(r.said)-1]
	against, decided := make([]bool, n), make([]bool, n)
	var spoke [][2]float64
	for i := len(r.said) - 1; i >= 0; i-- { // the finest that speaks decides
		spoke = append(spoke, r.weighUp(&r.said[i], h, decided, against)...)
		if i == len(r.said)-1 {
			sure = newHeld(&l)
			sure = sure.filled(h.near(spoke, sureSteps*fine.step), inside)
		}
	}
	r.pairsAgainst(pairs, h, decided, against)
	if several {
		h.silent(r.said[len(r.said)-2], decided, against, inside, total)
	}
	ring := hull(spoke)
	near := h.near(spoke, reachSteps*fine.step)
	held := make([]bool, n)
	for k := range n {
		x, y := h.middle(k)
		held[k] = inside[k] && !against[k] && (near[k] || within(ring, x, y))
	}
	return h.filled(held, inside), sure
}

// silent adds to what is against the areas on which no window speaks though many were asked, but for small ones and larger
// ones in the midst of what is held.
func (h *Held) silent(s said, decided, against, inside []bool, total int) {
	asked := make([]int, len(decided))
	for _, p := range s.asked {
		h.cells(p[0], p[1], aroundSteps*s.step, func(k int) { asked[k]++ })
	}
	fine := make([]bool, len(decided))
	for k := range fine {
		fine[k] = inside[k] && (decided[k] || asked[k] < friends)
	}
	none := make([]bool, len(decided))
	fillHoles(fine, inside, none, h.NX, h.NY, int(holeShare*float64(total)), int(rimShare*float64(total)))
	for k := range fine {
		against[k] = against[k] || inside[k] && !fine[k]
	}
}

// middle is the middle of a cell.
func (h *Held) middle(k int) (x, y float64) {
	return h.X0 + (float64(k%h.NX)+.5)*h.Step, h.Y0 + (float64(k/h.NX)+.5)*h.Step
}

// inside marks the cells whose middles lie in a photo of pw x ph px, and counts them.
func (h *Held) inside(m Mapping, pw, ph int) (in []bool, total int) {
	in = make([]bool, h.NX*h.NY)
	for k := range in {
		px, py := m.Photo(h.middle(k))
		if in[k] = px >= 0 && py >= 0 && px <= float64(pw-1) && py <= float64(ph-1); in[k] {
			total++
		}
	}
	return in, total
}

// cells calls f with the cells whose middles are within d of (x, y).
func (h *Held) cells(x, y, d float64, f func(k int)) {
	i0, i1 := int(math.Ceil((x-d-h.X0)/h.Step-.5)), int(math.Floor((x+d-h.X0)/h.Step-.5))
	j0, j1 := int(math.Ceil((y-d-h.Y0)/h.Step-.5)), int(math.Floor((y+d-h.Y0)/h.Step-.5))
	for j := max(0, j0); j <= min(h.NY-1, j1); j++ {
		for i := max(0, i0); i <= min(h.NX-1, i1); i++ {
			k := j*h.NX + i
			if cx, cy := h.middle(k); math.Hypot(cx-x, cy-y) <= d {
				f(k)
			}
		}
	}
}

// near marks the cells that lie within d of a place.
func (h *Held) near(places [][2]float64, d float64) []bool {
	out := make([]bool, h.NX*h.NY)
	for _, p := range places {
		h.cells(p[0], p[1], d, func(k int) { out[k] = true })
	}
	return out
}

// weighUp marks the cells against which more windows of a frame speak than for, and returns the places of those that speak for
// the mapping; either with the windows around them, for one alone may be chance.
func (r *refined) weighUp(s *said, h *Held, decided, against []bool) (agree [][2]float64) {
	type cell [2]int
	at := map[cell]int{}
	off := make([][2]float64, len(s.votes))
	key := func(v *vote) cell { return cell{int(math.Round(v.X / s.step)), int(math.Round(v.Y / s.step))} }
	for i := range s.votes {
		v := &s.votes[i]
		off[i][0], off[i][1] = offset(r.m, v)
		if v.Scale > 0 && !math.IsNaN(off[i][0]) {
			at[key(v)] = i
		}
	}
	yes, no := make([]int, len(against)), make([]int, len(against))
	least := math.Max(againstPx*s.px, againstFine*r.said[len(r.said)-1].px)
	for i := range s.votes {
		v := &s.votes[i]
		c := key(v)
		if at[c] != i || v.Scale == 0 {
			continue
		}
		same := 0
		for _, d := range eight {
			if j, ok := at[cell{c[0] + d[0], c[1] + d[1]}]; ok && math.Hypot(off[i][0]-off[j][0], off[i][1]-off[j][1]) <= samePx*s.px {
				same++
			}
		}
		if same < friends {
			continue
		}
		count := yes
		switch e := math.Hypot(off[i][0], off[i][1]); {
		case e <= tolerancePx*s.px:
			agree = append(agree, [2]float64{v.X, v.Y})
		case e > least && v.Lone >= clearLone:
			count = no
		default:
			continue
		}
		h.cells(v.X, v.Y, aroundSteps*s.step, func(k int) { count[k]++ })
	}
	for k := range against {
		if decided[k] {
			continue
		}
		if most := max(yes[k], no[k]); most >= friends {
			decided[k], against[k] = true, no[k] > yes[k]
		}
	}
	return agree
}

// pairsAgainst marks, of the cells on which windows are silent, those in which key points agree with one another on another place.
func (r *refined) pairsAgainst(pairs []Pair, h *Held, decided, against []bool) {
	fine := &r.said[len(r.said)-1]
	reach := pairSteps * fine.step
	var bad []vote
	var off [][2]float64
	yes, no := make([]int, len(against)), make([]int, len(against))
	for _, p := range pairs {
		v := vote{X: p.RefX, Y: p.RefY, PX: p.PhotoX, PY: p.PhotoY}
		ex, ey := offset(r.m, &v)
		switch e := math.Hypot(ex, ey); {
		case e <= againstFine*fine.px:
			h.cells(v.X, v.Y, reach, func(k int) { yes[k]++ })
		case e > againstFine*fine.px:
			bad, off = append(bad, v), append(off, [2]float64{ex, ey})
		}
	}
	for i := range bad {
		same := 0
		for j := range bad {
			if i != j && math.Hypot(bad[i].X-bad[j].X, bad[i].Y-bad[j].Y) <= reach &&
				math.Hypot(off[i][0]-off[j][0], off[i][1]-off[j][1]) <= againstFine*fine.px/2+pairSlope*math.Hypot(off[i][0], off[i][1]) {
				same++
			}
		}
		if same >= friends {
			h.cells(bad[i].X, bad[i].Y, reach, func(k int) { no[k]++ })
		}
	}
	for k := range against {
		if !decided[k] && no[k] > friends && no[k] > yes[k] {
			against[k] = true
		}
	}
}

var eight = [8][2]int{{-1, -1}, {0, -1}, {1, -1}, {-1, 0}, {1, 0}, {-1, 1}, {0, 1}, {1, 1}}

// hull returns the convex hull of places, anticlockwise (Andrew's monotone chain, 1979, Information Processing Letters 9(5)).
func hull(places [][2]float64) [][2]float64 {
	p := append([][2]float64(nil), places...)
	sort.Slice(p, func(i, j int) bool { return p[i][0] < p[j][0] || p[i][0] == p[j][0] && p[i][1] < p[j][1] })
	if len(p) < 3 {
		return nil
	}
	var ring [][2]float64
	for range 2 {
		start := len(ring)
		for _, q := range p {
			for len(ring) >= start+2 && turn(ring[len(ring)-2], ring[len(ring)-1], q) <= 0 {
				ring = ring[:len(ring)-1]
			}
			ring = append(ring, q)
		}
		ring = ring[:len(ring)-1]
		slices.Reverse(p)
	}
	return ring
}

func turn(a, b, c [2]float64) float64 {
	return (b[0]-a[0])*(c[1]-a[1]) - (b[1]-a[1])*(c[0]-a[0])
}

// within says whether a place lies inside a hull.
func within(ring [][2]float64, x, y float64) bool {
	for i, a := range ring {
		if turn(a, ring[(i+1)%len(ring)], [2]float64{x, y}) < 0 {
			return false
		}
	}
	return len(ring) >= 3
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
	inside, total := h.inside(r.m, pw, ph)
	held, jump := make([]bool, n), make([]bool, n)
	asked, said := make([]int, n), make([]int, n)
	for _, p := range at {
		h.cells(p[0], p[1], partRadius*step, func(k int) {
			asked[k]++
			if agreed[p] {
				said[k]++
			}
		})
	}
	for k := range n {
		if !inside[k] {
			continue
		}
		jump[k] = s.jumps(k%h.NX, k/h.NX)
		held[k] = asked[k] >= 3 && float64(said[k]) >= partShare*float64(asked[k])
	}
	jump = wider(jump, h.NX, h.NY) // where parts meet is known to half a window only
	for k := range held {
		held[k] = held[k] && !jump[k]
	}
	fillHoles(held, inside, jump, h.NX, h.NY, int(holeShareIn*float64(total)), 0)
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

// fillHoles marks as held what is surrounded by held cells and no larger than most cells, or no larger than mostOpen where it
// reaches the rim; jumps stay out.
func fillHoles(held, inside, jump []bool, nx, ny, most, mostOpen int) {
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
			}
			for _, d := range [4][2]int{{i - 1, j}, {i + 1, j}, {i, j - 1}, {i, j + 1}} {
				if d[0] < 0 || d[1] < 0 || d[0] >= nx || d[1] >= ny {
					continue
				}
				q := d[1]*nx + d[0]
				if !inside[q] {
					open = true
				} else if !held[q] && !seen[q] {
					seen[q] = true
					queue = append(queue, q)
				}
			}
		}
		if len(queue) > most || open && len(queue) > mostOpen {
			continue
		}
		for _, k := range queue {
			held[k] = !jump[k]
		}
	}
}
