package register

import (
	"context"
	"fmt"
	"image"
	"math"
)

// PointPair is a pair set by hand: a photo position and the reference position it shows, px.
type PointPair struct{ PhotoX, PhotoY, RefX, RefY float64 }

// minPoints is the smallest number of pairs set by hand.
const minPoints = 6

// FromPoints aligns a photo by pairs set by hand. At least six are needed, so that they check one another. If the
// pictures agree with the pairs, the mapping is refined by the pictures and judged as any other; if they say nothing,
// the pairs stand alone and RMSPx is what they leave over, made up for the fit.
func FromPoints(ref *Reference, pts []PointPair, photo *image.Gray, opt Options) Result {
	s := newSearch(context.Background(), photo, opt)
	if r, bad := s.unfit(); bad {
		return r
	}
	res := Result{View: ref.ID, Basis: "points", Inliers: len(pts)}
	if len(pts) < minPoints {
		res.Reason, res.Detail = TooFewPoints, fmt.Sprintf("%d pairs, %d needed", len(pts), minPoints)
		return res
	}
	var pairs []Pair
	for _, p := range pts {
		pairs = append(pairs, Pair{p.RefX, p.RefY, p.PhotoX, p.PhotoY})
	}
	h, off, ok := handFit(pairs)
	if !ok {
		res.Reason, res.Detail = TooFewPoints, "the pairs lie on one line"
		return res
	}
	pw, ph := s.photo.size()
	limit := handPermille / 1000 * float64(max(ref.W, ref.H))
	res.Pairs, res.Mapping, res.RMSPx = pairs, Mapping{PhotoFromRef: h}.rounded(), off
	res.OverlapPct = 100 * res.Mapping.Overlap(ref.W, ref.H, pw, ph)
	res.PxPerRef = perRef(res.Mapping, ref.W, ref.H)
	if why, detail := shape(res.Mapping, ref.W, ref.H, pw, ph); why != Accepted {
		res.Reason, res.Detail = why, detail
		return res
	}
	if off > limit {
		res.Reason, res.Detail = PointsApart, fmt.Sprintf("pairs are %.1f px from where the others put them, %.1f allowed", off, limit)
		return res
	}
	r, good, err := refine(s.ctx, ref, s.photo, h, nil)
	if err == nil && good {
		if v := s.verdict(ref, &r, pairs, "points"); v.Accepted && near(v.Mapping, pairs, 3*math.Max(off, limit/3)) {
			return v
		}
	}
	f := ref.frames[len(ref.frames)-1]
	p, inside := warp(s.photo, res.Mapping, f.frame, res.PxPerRef)
	q := judgeLight(f.grey, p, inside)
	res.Sharpness, res.ClippedPct = q.sharpness, 100*q.clipped
	if res.OverlapPct < opt.MinOverlapPct {
		res.Reason, res.Detail = SmallOverlap, fmt.Sprintf("%.1f %% of the view is in the picture, %.1f %% needed", res.OverlapPct, opt.MinOverlapPct)
		return res
	}
	// Pairs tell the place. They do not bring back what light or focus took.
	if why, detail := s.exposure(q); why != Accepted {
		res.Reason, res.Detail = why, detail
		return res
	}
	if q.sharpness < opt.MinSharpness {
		res.Reason, res.Detail = Blurred, fmt.Sprintf("sharpness %.4f of the reference's, %.4f needed", q.sharpness, opt.MinSharpness)
		return res
	}
	res.Accepted = true
	res.Detail = "the pairs stand alone: the pictures themselves do not agree closely enough to refine them"
	return res
}

// handPermille is how far pairs set by hand may miss one another, thousandths of the reference's longer side: a few px
// of clicking and a surface that is not quite flat (our choice).
const handPermille = 8.0

// near says whether a mapping meets pairs within tol reference px, RMS.
func near(m Mapping, pairs []Pair, tol float64) bool {
	var s float64
	for _, p := range pairs {
		v := vote{X: p.RefX, Y: p.RefY, PX: p.PhotoX, PY: p.PhotoY}
		e := miss(m, &v)
		s += e * e
	}
	return math.Sqrt(s/float64(len(pairs))) <= tol
}

// handFit fits a homography to pairs and returns the RMS distance, in reference px, that pairs it had not seen would
// miss it by: what is left over, made up for the eight numbers that were fitted.
func handFit(pairs []Pair) (mat3, float64, bool) {
	h, ok := direct4(pairs)
	if !ok {
		return h, 0, false
	}
	votes := make([]vote, len(pairs))
	for i, p := range pairs {
		votes[i] = vote{X: p.RefX, Y: p.RefY, PX: p.PhotoX, PY: p.PhotoY}
	}
	var s float64
	for _, e := range (&surface{h: h}).leftover(votes) {
		s += e[0]*e[0] + e[1]*e[1]
	}
	n := float64(len(pairs))
	return h, math.Sqrt(2*s/(2*n-8)) * math.Sqrt(1+4/n), true
}

// direct4 solves the homography of four and more pairs by least squares on normalised positions, last place 1
// (Hartley and Zisserman, Multiple View Geometry, 2003, chapter 4).
func direct4(pairs []Pair) (mat3, bool) {
	norm := func(get func(p Pair) (float64, float64)) (mat3, mat3, bool) {
		var cx, cy, s float64
		for _, p := range pairs {
			x, y := get(p)
			cx += x
			cy += y
		}
		n := float64(len(pairs))
		cx, cy = cx/n, cy/n
		for _, p := range pairs {
			x, y := get(p)
			s += math.Hypot(x-cx, y-cy)
		}
		s /= n * math.Sqrt2
		if s < 1e-9 {
			return mat3{}, mat3{}, false
		}
		return mat3{1 / s, 0, -cx / s, 0, 1 / s, -cy / s, 0, 0, 1}, mat3{s, 0, cx, 0, s, cy, 0, 0, 1}, true
	}
	tr, _, ok1 := norm(func(p Pair) (float64, float64) { return p.RefX, p.RefY })
	tp, ip, ok2 := norm(func(p Pair) (float64, float64) { return p.PhotoX, p.PhotoY })
	if !ok1 || !ok2 || len(pairs) < 4 {
		return mat3{}, false
	}
	a := make([][]float64, 8)
	for i := range a {
		a[i] = make([]float64, 8)
	}
	b := make([]float64, 8)
	for _, p := range pairs {
		x, y, _ := apply3(tr, p.RefX, p.RefY)
		u, v, _ := apply3(tp, p.PhotoX, p.PhotoY)
		for _, r := range [2][9]float64{{x, y, 1, 0, 0, 0, -u * x, -u * y, u}, {0, 0, 0, x, y, 1, -v * x, -v * y, v}} {
			for i := 0; i < 8; i++ {
				for k := 0; k < 8; k++ {
					a[i][k] += r[i] * r[k]
				}
				b[i] += r[i] * r[8]
			}
		}
	}
	for i := 0; i < 8; i++ {
		if a[i][i] < 1e-9 {
			return mat3{}, false
		}
	}
	if !solve(a, b) {
		return mat3{}, false
	}
	h := mat3{b[0], b[1], b[2], b[3], b[4], b[5], b[6], b[7], 1}
	return unit3(mul3(ip, mul3(h, tr))), true
}
