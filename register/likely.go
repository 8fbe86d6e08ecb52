package register

import (
	"math"

	"tilelapse/register/internal/cv"
)

// likely holds what tells a mapping's own error, each an RMS or median in reference px. A window's residual is mostly the
// window's noise, which a fit of a thousand windows averages out; what it does not average out is what windows have in
// common. Fits that should be equal show it: they differ by what is wrong with either.
type likely struct {
	window float64 // median distance of windows that took no part to the surface fitted without them
	sample float64 // standard error of the surface by leaving each fifth out (jackknife), over the overlap
	light  float64 // between the surfaces by the two ways to read a gradient, over the overlap
}

// px joins them to about twice the RMS error to expect over the overlap, reference px.
//
// The weights were found on 33 rendered photos, 79 real pairs and 113 changed ones by the middle of the log ratio to the
// true error, data sets weighing equally: 3, 3 and 0.25 to 0.35, each time the same when any one of the sets was left
// out, whose errors they then foretold with a median ratio of 0.8 to 1.5 and, all together, a rank correlation of 0.88
// (scenes), 0.88 (real) and 0.89 (both). Twice that, so that it is not below the error of a photo that light has shifted
// as a whole, which nothing inside it can tell. The RMS of left-out windows alone ranked 0.76, 0.79 and 0.72; the
// jackknife alone 0.79, 0.90, 0.89; the two readings alone 0.85, 0.83, 0.84; residuals that neighbours have in common
// 0.79, 0.84, 0.75; another fit for places without windows 0.22, 0.71, 0.56; the fit of the frame before 0.85, 0.74,
// 0.74; the same windows sought backwards 0.18, 0.88, 0.29; windows half a step aside 0.70, 0.89, 0.86 (2026).
func (l likely) px() float64 {
	return math.Sqrt(36*(l.sample*l.sample+l.light*l.light) + l.window*l.window)
}

// witnesses is windows, which also reads every window by the gradient's signed direction and by the doubled angle alone.
// Light from another side turns the one and not the other. asked are the places of all windows.
func witnesses(ref, img *oriented, f frame, m Mapping, g grid) (votes, signed, doubled []vote, asked [][2]float64, err error) {
	at, centres := places(ref, img, f, g)
	var total []float32
	var by [2][]vote
	for k := range by {
		a, b := ref.half(k), img.half(k)
		sums, err := cv.Correlate(a.v, b.v, a.w, a.h, a.ch, centres, g.radius, g.search)
		if err != nil {
			return nil, nil, nil, nil, err
		}
		by[k] = read(sums, at, a, b, f, m, g)
		if total == nil {
			total = sums
			continue
		}
		for i, v := range sums {
			total[i] += v
		}
	}
	return read(total, at, ref, img, f, m, g), by[0], by[1], f.refs(at), nil
}

// half returns the signed channels (0) or the doubled ones (1) of an oriented picture.
func (o *oriented) half(k int) *oriented {
	const n = channels / 2
	out := &oriented{w: o.w, h: o.h, ch: n, v: make([]int16, o.w*o.h*n), sum: make([]int64, len(o.sum)), seen: o.seen}
	for y := 0; y < o.h; y++ {
		var row int64
		for x := 0; x < o.w; x++ {
			from, to := (y*o.w+x)*channels+k*n, (y*o.w+x)*n
			for c := 0; c < n; c++ {
				v := o.v[from+c]
				out.v[to+c] = v
				row += int64(v) * int64(v)
			}
			i := (y+1)*(o.w+1) + x + 1
			out.sum[i] = out.sum[i-o.w-1] + row
		}
	}
	return out
}

// area is a reference and a photo, px, and which part of the reference counts; nil = all.
type area struct {
	w, h, pw, ph int
	held         *Held
}

// apart returns how far apart fits of a chosen kind are that should agree, RMS over the overlap in reference px: those
// that leave a fifth of the votes out, as the standard error they imply, and those to either half of the channels.
func apart(c *choice, signed, doubled []vote, floor float64, a area) (sample, light float64) {
	var s float64
	for k := range c.parts {
		d := distance(&c.surface, &c.parts[k], a)
		s += d * d
	}
	one := fitSurface(c.surface, signed, c.bent, c.stiff, floor, a.w, a.h)
	two := fitSurface(c.surface, doubled, c.bent, c.stiff, floor, a.w, a.h)
	return math.Sqrt(s * (folds - 1) / folds), distance(&one, &two, a)
}

// distance returns how far apart two surfaces are over the overlap, RMS in reference px.
func distance(p, q *surface, a area) float64 {
	inv, ok := inv3(p.h)
	if !ok {
		return math.Inf(1)
	}
	const n = 16
	var s, all float64
	for j := 0; j < n; j++ {
		for i := 0; i < n; i++ {
			x, y := (float64(i)+.5)*float64(a.w)/n-.5, (float64(j)+.5)*float64(a.h)/n-.5
			if a.held != nil && !a.held.at(x, y) {
				continue
			}
			px, py, ok := apply3(p.h, x, y)
			if !ok || px < 0 || py < 0 || px > float64(a.pw-1) || py > float64(a.ph-1) {
				continue
			}
			ox, oy := p.shift(x, y)
			dx, dy := q.shift(x, y)
			px, py, ok = apply3(q.h, x+dx, y+dy)
			if !ok {
				continue
			}
			v := vote{X: x + ox, Y: y + oy, PX: px, PY: py}
			if ex, ey, ok := v.pull(inv); ok {
				s += ex*ex + ey*ey
				all++
			}
		}
	}
	if all == 0 {
		return 0
	}
	return math.Sqrt(s / all)
}
