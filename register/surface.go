package register

import "math"

// surface is a fitted mapping in parts: the photo position of a reference position x is that of x plus the lenses' and
// the lattice's displacement under the homography.
type surface struct {
	h     mat3
	lens  lens
	bent  bool     // lenses were fitted
	bend  *lattice // nil = none
	stiff float64  // of bend, +Inf = none
}

// shift returns the displacement at a reference position, reference px.
func (s *surface) shift(x, y float64) (float64, float64) {
	dx, dy := s.lens.at(s.h, x, y)
	if s.bend != nil {
		bx, by := s.bend.at(x, y)
		dx, dy = dx+bx, dy+by
	}
	return dx, dy
}

// latticeSteps is the number of steps along the reference's longer side: a lens bends over halves of a picture, a curved
// wall over quarters.
const latticeSteps = 20

// mapping writes the surface as a homography and a field.
func (s *surface) mapping(w, h int) Mapping {
	if s.bend == nil && s.lens.k == [4]float64{} {
		return Mapping{PhotoFromRef: s.h}
	}
	l := latticeFor(w, h, latticeSteps)
	f := &Field{X0: l.x0, Y0: l.y0, Step: l.step, NX: l.nx, NY: l.ny, DX: make([]float32, len(l.s)), DY: make([]float32, len(l.s))}
	for j := 0; j < l.ny; j++ {
		for i := 0; i < l.nx; i++ {
			k := j*l.nx + i
			x, y := l.x0+float64(i)*l.step, l.y0+float64(j)*l.step
			dx, dy := s.shift(x, y)
			ax, ay, ok1 := apply3(s.h, x, y)
			bx, by, ok2 := apply3(s.h, x+dx, y+dy)
			if ok1 && ok2 {
				f.DX[k], f.DY[k] = float32(bx-ax), float32(by-ay)
			}
		}
	}
	return Mapping{PhotoFromRef: s.h, Field: f}
}

// leftover returns what the surface leaves over of each vote, reference px; Inf where it can't tell.
func (s *surface) leftover(votes []vote) [][2]float64 {
	inv, ok := inv3(s.h)
	out := make([][2]float64, len(votes))
	for i := range votes {
		v := &votes[i]
		ex, ey, good := v.pull(inv)
		if !ok || !good {
			out[i] = [2]float64{math.Inf(1), 0}
			continue
		}
		dx, dy := s.shift(v.X, v.Y)
		out[i] = [2]float64{ex - dx, ey - dy}
	}
	return out
}

// fitSurface fits homography, lenses and lattice in this order, each to what the ones before leave over.
func fitSurface(from surface, votes []vote, bent bool, stiff, floor float64, w, h int) surface {
	s := surface{lens: from.lens, bent: bent, stiff: math.Inf(1)}
	s.h, s.lens = polish(from.h, from.lens, bent, votes, floor)
	if math.IsInf(stiff, 1) {
		return s
	}
	if l := bend(s.leftover(votes), votes, w, h, stiff, floor); l != nil {
		s.bend, s.stiff = l, stiff
	}
	return s
}

// bend fits a lattice robustly: three rounds of weights (Geman and McClure) around the residuals' median.
func bend(left [][2]float64, votes []vote, w, h int, stiff, floor float64) *lattice {
	l := latticeFor(w, h, latticeSteps)
	var all []sample
	var scales []float64
	for i := range votes {
		if e := left[i]; votes[i].Scale > 0 && !math.IsInf(e[0], 0) && !math.IsNaN(e[0]+e[1]) {
			all = append(all, sample{votes[i].X, votes[i].Y, e[0], e[1], votes[i].Info})
			scales = append(scales, votes[i].Scale)
		}
	}
	if len(all) < 12 {
		return nil
	}
	errs := make([]float64, len(all))
	for i, s := range all {
		errs[i] = math.Hypot(s.EX, s.EY)
	}
	use := make([]sample, len(all))
	for it := 0; it < 3; it++ {
		c := 2.5 * math.Max(floor, median(append([]float64(nil), errs...)))
		if it == 0 {
			c *= 2 // what bends is not yet an outlier
		}
		var total float64
		for i, s := range all {
			g := c * c / (c*c + errs[i]*errs[i])
			k := scales[i] * g * g
			for q := range s.Info {
				s.Info[q] *= k
			}
			use[i] = s
			total += (s.Info[0] + s.Info[2]) / 2
		}
		if total <= 0 {
			return nil
		}
		per := total / float64(l.nx*l.ny)
		if !l.fit(use, stiff*per, 1e-4*per) {
			return nil
		}
		for i, s := range all {
			x, y := l.at(s.X, s.Y)
			errs[i] = math.Hypot(s.EX-x, s.EY-y)
		}
	}
	return &l
}

// folds is into how many parts votes are split: each is foretold by the others.
const folds = 5

// fold says which part a vote belongs to: whole blocks of neighbouring windows go together, because windows that overlap
// share their errors.
func fold(v *vote, block float64) int {
	i, j := int(v.X/block), int(v.Y/block)
	return ((i+2*j)%folds + folds) % folds
}

// foretold is a kind of surface judged by votes that took no part in fitting it.
type foretold struct {
	errs  [][2]float64   // how far the surface fitted without a vote's fifth is off that vote, reference px
	parts [folds]surface // the surfaces fitted without each fifth
}

// foretell fits a kind of surface without each fifth of the votes. The homography begins at from and is fitted again each
// time.
func foretell(from surface, votes []vote, bent bool, stiff, floor, block float64, w, h int) foretold {
	out := foretold{errs: make([][2]float64, len(votes))}
	for k := 0; k < folds; k++ {
		var in, rest []vote
		var at []int
		for i := range votes {
			if fold(&votes[i], block) == k {
				rest = append(rest, votes[i])
				at = append(at, i)
			} else {
				in = append(in, votes[i])
			}
		}
		s := fitSurface(from, in, bent, stiff, floor, w, h)
		out.parts[k] = s
		for i, e := range s.leftover(rest) {
			out.errs[at[i]] = e
		}
	}
	return out
}

// cost sums residuals so that the far ones count as lost and no more: at most 1 a vote.
func cost(e [][2]float64, scale float64) float64 {
	c := tolerancePx * scale
	var s float64
	for _, p := range e {
		v := math.Hypot(p[0], p[1])
		if math.IsInf(v, 0) || math.IsNaN(v) {
			s++
			continue
		}
		s += v * v / (v*v + c*c)
	}
	return s
}

// trimmed returns the RMS of the residuals below the point where votes are no longer about the same surface, and the
// median of all.
func trimmed(left [][2]float64, scale float64) (rms, mid float64) {
	e := make([]float64, len(left))
	for i, p := range left {
		e[i] = math.Hypot(p[0], p[1])
	}
	mid = median(append([]float64(nil), e...))
	c := math.Max(3*1.4826*mid, tolerancePx*scale)
	var s float64
	n := 0
	for _, v := range e {
		if v <= c {
			s += v * v
			n++
		}
	}
	if n == 0 {
		return math.Inf(1), mid
	}
	return math.Sqrt(s / float64(n)), mid
}

// stiffnesses of the lattices that compete, stiffest first.
var stiffnesses = []float64{100, 10, 1, .1}

// What a plainer surface may cost more: a share of all votes, and times the cost of the best. Softer surfaces always
// foretell a little better, because they follow what light does to edges; measured on rendered scenes and published
// pairs, 2026.
const (
	lensSlack, lensTimes = .004, 1.05
	bendSlack, bendTimes = .05, 1.15
)

// minBentVotes is the smallest number of votes that lenses are fitted to.
const minBentVotes = 40

// choice is the surface taken, how its kind foretells votes, and the cost of every kind that was tried.
type choice struct {
	surface
	foretold
	costs []float64
}

// choose fits a homography, lenses and lattices of several stiffnesses, and takes the plainest that foretells votes
// which took no part nearly as well as the best: a flat wall through good lenses is a homography, lenses bend, some
// walls curve.
func choose(from surface, votes []vote, scale, block float64, w, h int) choice {
	floor := floorPx * scale
	none := math.Inf(1)
	best := choice{surface: fitSurface(from, votes, false, none, floor, w, h)}
	best.foretold = foretell(best.surface, votes, false, none, floor, block, w, h)
	costs := []float64{cost(best.errs, scale)}
	best.costs = costs
	n := float64(len(votes))
	if len(votes) < minBentVotes {
		return best
	}
	bent := fitSurface(best.surface, votes, true, none, floor, w, h)
	be := foretell(bent, votes, true, none, floor, block, w, h)
	costs = append(costs, cost(be.errs, scale))
	base := costs[1]
	if costs[0] > lensTimes*costs[1]+lensSlack*n {
		best.surface, best.foretold = bent, be
	} else {
		base = costs[0]
	}
	best.costs = costs
	// A lattice can't win when all there is to win is within the slack, and says nothing when hardly any vote is met.
	if base <= bendSlack*n || base > .8*n {
		return best
	}
	start := best.surface
	low := base
	var tried []foretold
	for _, s := range stiffnesses {
		x := foretell(start, votes, start.bent, s, floor, block, w, h)
		tried = append(tried, x)
		costs = append(costs, cost(x.errs, scale))
		low = math.Min(low, costs[len(costs)-1])
	}
	best.costs = costs
	limit := bendTimes*low + bendSlack*n
	if base <= limit {
		return best
	}
	for i, s := range stiffnesses {
		if costs[2+i] <= limit {
			best.surface, best.foretold = fitSurface(start, votes, start.bent, s, floor, w, h), tried[i]
			break // the softest that foretells best is within its own limit, so one is found
		}
	}
	return best
}

// floorPx is the smallest residual that lowers a vote's weight in the fine frame, px of the frame.
const floorPx = .15
