package register

import (
	"context"
	"math"
)

// refined is a mapping fitted to what small windows say, and how well they agree with it.
type refined struct {
	m       Mapping
	h       mat3
	votes   []vote
	asked   int     // windows with texture inside the overlap
	heldOut float64 // RMS of votes that took no part in the fit, reference px
	mid     float64 // median of the same
	agree   float64 // share of the asked windows whose vote the mapping meets within tolerancePx of the fine frame
	corr    float64 // median correlation of the agreeing windows
	stiff   float64 // chosen stiffness, +Inf = homography alone
	coarse  float64 // share agreeing in the coarse frame
	q       quality
}

// tolerancePx is how far a window may be off the fitted surface and still agree, px of the frame.
const tolerancePx = 1.5

// Stiffnesses tried for the displacement field, softest first.
var stiffnesses = []float64{.01, .1, 1, 10}

// refine improves a homography by windows, coarse to fine.
func refine(ctx context.Context, ref *Reference, photo *halved, h mat3) (refined, bool, error) {
	r := refined{h: h, m: Mapping{PhotoFromRef: h}}
	for n := range ref.frames {
		if ctx.Err() != nil {
			return r, false, ctx.Err()
		}
		f := ref.frames[n]
		g := f.grid
		p, inside := warp(photo, r.m, f.frame, perRef(r.m, ref.W, ref.H))
		votes, asked, err := windows(f.oriented, orient(p, inside), f.frame, r.m, g)
		if err != nil {
			return r, false, err
		}
		r.votes, r.asked = votes, asked
		if len(votes) < 6 {
			return r, false, nil
		}
		r.h = polish(r.h, votes, .3*f.scale())
		r.m = Mapping{PhotoFromRef: r.h}
		if n == 0 {
			r.coarse = agreement(votes, asked, r.m, tolerancePx*f.scale())
			continue
		}
		r.surface(ref.W, ref.H, f.scale(), n == len(ref.frames)-1)
		r.agree = agreement(votes, asked, r.m, tolerancePx*f.scale())
		r.q = judgeLight(f.grey, p, inside)
	}
	return r, true, nil
}

// perRef returns the photo px a reference px covers in the middle of the overlap (median over a grid).
func perRef(m Mapping, w, h int) float64 {
	var v []float64
	for j := 1; j < 10; j++ {
		for i := 1; i < 10; i++ {
			k := m.jacobian(float64(w*i)/10, float64(h*j)/10, 2)
			if d := k[0]*k[3] - k[1]*k[2]; d > 0 {
				v = append(v, math.Sqrt(d))
			}
		}
	}
	if len(v) == 0 {
		return 1
	}
	return median(v)
}

// agreement returns the share of asked windows that m meets within tol reference px.
func agreement(votes []vote, asked int, m Mapping, tol float64) float64 {
	if asked == 0 {
		return 0
	}
	in := 0
	for i := range votes {
		if e := miss(m, &votes[i]); e <= tol && votes[i].Scale > 0 {
			in++
		}
	}
	return float64(in) / float64(asked)
}

// miss returns how far a mapping is from a vote, in reference px.
func miss(m Mapping, v *vote) float64 {
	px, py := m.Photo(v.X, v.Y)
	j := m.jacobian(v.X, v.Y, 1)
	d := j[0]*j[3] - j[1]*j[2]
	if !(d > 0) {
		return math.Inf(1)
	}
	ex, ey := v.PX-px, v.PY-py
	return math.Hypot((j[3]*ex-j[1]*ey)/d, (j[0]*ey-j[2]*ex)/d)
}

// surface fits the displacement field that the homography leaves over. With choose, five stiffnesses compete: every vote
// is foretold by a fit without its fifth, and the stiffest that foretells nearly as well as the best is taken.
func (r *refined) surface(w, h int, scale float64, choose bool) {
	inv, ok := inv3(r.h)
	if !ok {
		return
	}
	var all []sample
	var scales []float64
	for i := range r.votes {
		v := &r.votes[i]
		ex, ey, good := v.pull(inv)
		if !good || v.Scale == 0 {
			continue
		}
		all = append(all, sample{v.X, v.Y, ex, ey, v.Info})
		scales = append(scales, v.Scale)
	}
	if len(all) < 12 {
		r.stiff = math.Inf(1)
		r.heldOut = math.Inf(1)
		return
	}
	floor := .15 * scale
	best := 1.0
	if choose {
		var costs []float64
		var res [][]float64
		for _, s := range stiffnesses {
			e := foretell(all, scales, w, h, s, floor)
			res = append(res, e)
			costs = append(costs, cost(e, scale))
		}
		flat := make([]float64, len(all))
		for i, s := range all {
			flat[i] = math.Hypot(s.EX, s.EY)
		}
		res, costs = append(res, flat), append(costs, cost(flat, scale))
		low := math.Inf(1)
		for _, c := range costs {
			low = math.Min(low, c)
		}
		k := 0
		for i, c := range costs {
			if c <= low*1.01 {
				k = i
			}
		}
		best = math.Inf(1)
		if k < len(stiffnesses) {
			best = stiffnesses[k]
		}
		r.heldOut, r.mid = trimmed(res[k], scale)
	}
	r.stiff = best
	if math.IsInf(best, 1) {
		return
	}
	l := bend(all, scales, w, h, best, floor)
	if l == nil {
		return
	}
	f := &Field{X0: l.x0, Y0: l.y0, Step: l.step, NX: l.nx, NY: l.ny, DX: make([]float32, len(l.s)), DY: make([]float32, len(l.s))}
	for j := 0; j < l.ny; j++ {
		for i := 0; i < l.nx; i++ {
			k := j*l.nx + i
			x, y := l.x0+float64(i)*l.step, l.y0+float64(j)*l.step
			ax, ay, ok1 := apply3(r.h, x, y)
			bx, by, ok2 := apply3(r.h, x+l.s[k][0], y+l.s[k][1])
			if ok1 && ok2 {
				f.DX[k], f.DY[k] = float32(bx-ax), float32(by-ay)
			}
		}
	}
	r.m = Mapping{PhotoFromRef: r.h, Field: f}
}

// latticeSteps is the number of steps along the reference's longer side: a lens bends over halves of a picture, a curved
// wall over quarters.
const latticeSteps = 20

// bend fits a lattice robustly: four rounds of weights (Geman and McClure) around the residuals' median.
func bend(all []sample, scales []float64, w, h int, stiff, floor float64) *lattice {
	l := latticeFor(w, h, latticeSteps)
	use := make([]sample, len(all))
	weight := append([]float64(nil), scales...)
	errs := make([]float64, len(all))
	for it := 0; it < 4; it++ {
		var total float64
		for i, s := range all {
			s.Info[0] *= weight[i]
			s.Info[1] *= weight[i]
			s.Info[2] *= weight[i]
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
		c := 2.5 * math.Max(floor, median(append([]float64(nil), errs...)))
		for i := range weight {
			g := c * c / (c*c + errs[i]*errs[i])
			weight[i] = scales[i] * g * g
		}
	}
	return &l
}

// folds is into how many parts votes are split: each is foretold by the others.
const folds = 5

// foretell returns, for every sample, how far a field fitted without its fifth is off.
func foretell(all []sample, scales []float64, w, h int, stiff, floor float64) []float64 {
	out := make([]float64, len(all))
	for k := 0; k < folds; k++ {
		var in []sample
		var sc []float64
		for i := range all {
			if i%folds != k {
				in = append(in, all[i])
				sc = append(sc, scales[i])
			}
		}
		l := bend(in, sc, w, h, stiff, floor)
		for i := range all {
			if i%folds != k {
				continue
			}
			x, y := 0.0, 0.0
			if l != nil {
				x, y = l.at(all[i].X, all[i].Y)
			}
			out[i] = math.Hypot(all[i].EX-x, all[i].EY-y)
		}
	}
	return out
}

// cost sums residuals so that the far ones count as lost and no more.
func cost(e []float64, scale float64) float64 {
	c := tolerancePx * scale
	var s float64
	for _, v := range e {
		s += v * v / (v*v + c*c)
	}
	return s
}

// trimmed returns the RMS of the residuals below the point where votes are no longer about the same surface, and the
// median of all.
func trimmed(e []float64, scale float64) (rms, mid float64) {
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
