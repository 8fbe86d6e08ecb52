package register

import (
	"context"
	"math"
)

// fineRadius is how far round a place fine windows tell its displacement, in steps of their grid.
const fineRadius = 2.4

// refineSheets improves planes found among key points to a surface in parts.
func refineSheets(ctx context.Context, ref *Reference, photo *halved, gs []guess) (refined, bool, error) {
	var r refined
	s, votes, err := plant(ref, photo, gs)
	if err != nil {
		return r, false, err
	}
	if n, err := s.grow(ctx, ref, photo, votes); err != nil || n == 0 {
		return r, false, err
	}
	f := ref.frames[len(ref.frames)-1]
	pw, ph := photo.size()
	radius, floor := fineRadius*float64(f.grid.spacing)*f.scale(), floorPx*f.scale()
	lay := func() (*oriented, plane, []uint8) {
		r.m = s.mapping()
		p, inside := warp(photo, r.m, f.frame, perRef(r.m, ref.W, ref.H))
		return orient(p, inside), p, inside
	}
	img, _, _ := lay()
	rough, _, err := windows(f.oriented, img, f.frame, r.m, f.grid)
	if err != nil {
		return r, false, err
	}
	near := s.nearest(1)
	s.move(s.models(rough, near, radius, floor), near)
	img, _, _ = lay()
	all, signed, doubled, asked, err := witnesses(f.oriented, img, f.frame, r.m, f.grid)
	if err != nil {
		return r, false, err
	}
	r.votes, r.asked = all, len(asked)
	// Votes foretold by models of the others, in whole blocks, as for a surface in one.
	whole := s.models(all, near, radius, floor)
	var errs [][2]float64
	var sample float64
	block := 1.5 * float64(f.grid.spacing) * f.scale()
	for k := range folds {
		var in, rest []vote
		for i := range all {
			if fold(&all[i], block) == k {
				rest = append(rest, all[i])
			} else {
				in = append(in, all[i])
			}
		}
		part := s.models(in, near, radius, floor)
		for i := range rest {
			v := &rest[i]
			if q := &part[s.cell(v.X, v.Y)]; q.n > 0 {
				ox, oy := s.offset(near[s.cell(v.X, v.Y)], v)
				dx, dy := q.at(v.X, v.Y)
				errs = append(errs, [2]float64{ox - dx, oy - dy})
			}
		}
		d := apartModels(whole, part)
		sample += d * d
	}
	if len(errs) < 6 {
		return r, false, nil
	}
	r.heldOut, r.likely.window = trimmed(errs, f.scale())
	r.likely.sample = math.Sqrt(sample * (folds - 1) / folds)
	r.likely.light = apartModels(s.models(signed, near, radius, floor), s.models(doubled, near, radius, floor))
	// Small windows close together follow creases, and tell where the surface is held.
	votes, small, err := windowsIn(f.oriented, img, f.frame, r.m, dense, func(x, y float64) bool { return near[s.cell(x, y)] >= 0 })
	if err != nil {
		return r, false, err
	}
	s.move(s.models(votes, near, denseRadius*float64(dense.spacing)*f.scale(), floor), near)
	_, p, inside := lay()
	r.sheets = s
	r.surface = surface{h: r.m.PhotoFromRef, stiff: math.Inf(1)}
	r.m.Held = r.holdParts(votes, small, float64(dense.spacing)*f.scale(), tolerancePx*f.scale(), pw, ph)
	r.sure = r.m.Held
	r.agree = agreement(all, r.asked, r.m, tolerancePx*f.scale())
	r.coarse = r.agree
	r.q = judgeLight(f.grey, p, inside)
	if err := r.rivals(ref, photo); err != nil {
		return r, false, err
	}
	return r, true, nil
}

// dense is how windows stand in the fine frame of a surface in parts, once it is nearly aligned.
var dense = grid{spacing: 14, radius: 12, search: 4}

// denseRadius is how far round a place dense windows tell its displacement, in steps of their grid.
const denseRadius = 3.2

// apartModels is the RMS distance of two sets of models at the cells that both tell, but for the farthest twentieth, reference px.
func apartModels(a, b []model) float64 {
	var d []float64
	for c := range a {
		if a[c].n >= 2*minLocal && b[c].n > 0 {
			d = append(d, math.Hypot(a[c].a[0]-b[c].a[0], a[c].a[1]-b[c].a[1]))
		}
	}
	if len(d) == 0 {
		return math.Inf(1)
	}
	limit := quantile(d, .95)
	var s, n float64
	for _, v := range d {
		if v <= limit {
			s, n = s+v*v, n+1
		}
	}
	return math.Sqrt(s / n)
}
