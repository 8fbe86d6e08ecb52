package register

import (
	"fmt"
	"image"
	"math"
)

// quality is what the pictures themselves say once one lies on the other, in the reference's fine frame.
type quality struct {
	sharpness float64 // variance of the Laplacian over the reference's
	detail    float64 // of the reference's finest detail, the share the photo repeats, against two octaves coarser
	clipped   float64 // share of the overlap burnt out or black
	white     float64 // share burnt out
	black     float64
	refWhite  float64 // the reference's own share of the same area
	refBlack  float64
}

// Levels from which a pixel counts as burnt out or black: a JPEG's rounding and the averaging of the frame move a
// clipped pixel by a few levels (common practice, no source).
const (
	whiteLevel = 250
	blackLevel = 3
)

// judgeLight measures a warped photo against the reference's plane.
func judgeLight(ref, img plane, inside []uint8) quality {
	var q quality
	var n, wh, bl, rw, rb float64
	for i, ok := range inside {
		if ok == 0 {
			continue
		}
		n++
		if img.v[i] >= whiteLevel {
			wh++
		}
		if img.v[i] <= blackLevel {
			bl++
		}
		if ref.v[i] >= whiteLevel {
			rw++
		}
		if ref.v[i] <= blackLevel {
			rb++
		}
	}
	if n == 0 {
		return q
	}
	q.white, q.black, q.refWhite, q.refBlack = wh/n, bl/n, rw/n, rb/n
	q.clipped = q.white + q.black
	fine := laplacian(ref, img, inside, 1)
	coarse := laplacian(ref, img, inside, 4)
	if fine.ref > 0 {
		q.sharpness = fine.img / fine.ref
	}
	if fine.ref > 0 && coarse.ref > 0 && coarse.both > 0 {
		q.detail = (fine.both / fine.ref) / (coarse.both / coarse.ref)
	}
	return q
}

// second holds the variances of two planes' Laplacians and their covariance.
type second struct{ ref, img, both float64 }

// laplacian compares the Laplacians of both planes after averaging over blocks of b px, over blocks inside the photo.
func laplacian(ref, img plane, inside []uint8, b int) second {
	w, h := ref.w/b, ref.h/b
	small := func(p plane) ([]float32, []uint8) {
		if b == 1 {
			return p.v, inside
		}
		v, ok := make([]float32, w*h), make([]uint8, w*h)
		for y := 0; y < h; y++ {
			for x := 0; x < w; x++ {
				var s float32
				all := uint8(1)
				for j := 0; j < b; j++ {
					for i := 0; i < b; i++ {
						o := (y*b+j)*p.w + x*b + i
						s += p.v[o]
						all &= inside[o]
					}
				}
				v[y*w+x], ok[y*w+x] = s/float32(b*b), all
			}
		}
		return v, ok
	}
	a, ok := small(ref)
	c, _ := small(img)
	var sa, sc, qa, qc, qb, n float64
	for y := 1; y < h-1; y++ {
		for x := 1; x < w-1; x++ {
			o := y*w + x
			if ok[o]&ok[o-1]&ok[o+1]&ok[o-w]&ok[o+w] == 0 {
				continue
			}
			u := float64(4*a[o] - a[o-1] - a[o+1] - a[o-w] - a[o+w])
			v := float64(4*c[o] - c[o-1] - c[o+1] - c[o-w] - c[o+w])
			sa += u
			sc += v
			qa += u * u
			qc += v * v
			qb += u * v
			n++
		}
	}
	if n == 0 {
		return second{}
	}
	sa, sc = sa/n, sc/n
	return second{qa/n - sa*sa, qc/n - sc*sc, qb/n - sa*sc}
}

// shape says whether a mapping can be what a camera saw of a surface: not mirrored or folded anywhere in the overlap,
// not stretched or tilted beyond reason.
func shape(m Mapping, w, h, pw, ph int) (Reason, string) {
	const n = 12
	in := 0
	low, high, flat := math.Inf(1), 0.0, 1.0
	for j := 0; j <= n; j++ {
		for i := 0; i <= n; i++ {
			x, y := float64(i)*float64(w-1)/n, float64(j)*float64(h-1)/n
			px, py := m.Read(x, y)
			if !(px >= 0 && py >= 0 && px <= float64(pw-1) && py <= float64(ph-1)) {
				continue
			}
			in++
			k := m.jacobian(x, y, math.Max(1, float64(max(w, h))/200))
			d := k[0]*k[3] - k[1]*k[2]
			if !(d > 0) {
				return Folded, fmt.Sprintf("folded at (%.0f, %.0f)", x, y)
			}
			// Singular values of the 2 × 2 derivative.
			s := k[0]*k[0] + k[1]*k[1] + k[2]*k[2] + k[3]*k[3]
			r := math.Sqrt(math.Max(0, s*s-4*d*d))
			big, small := math.Sqrt((s+r)/2), math.Sqrt(math.Max(0, (s-r)/2))
			low, high = math.Min(low, small), math.Max(high, big)
			flat = math.Max(flat, big/math.Max(1e-9, small))
		}
	}
	if in == 0 {
		return SmallOverlap, "nothing of the view is in the picture"
	}
	if low < 1./40 || high > 40 || flat > 6 || high/low > 30 {
		return Extreme, fmt.Sprintf("scale %.3g to %.3g photo px a reference px, stretched %.1f to 1", low, high, flat)
	}
	return Accepted, ""
}

// spread returns into how many of the 6 × 6 fields of the overlap that were asked the agreeing windows reach.
func spread(r *refined, w, h int, tol float64) (reached, asked int) {
	const n = 6
	var have, hit [n * n]bool
	for i := range r.votes {
		v := &r.votes[i]
		k := min(n-1, int(v.Y*n/float64(h)))*n + min(n-1, int(v.X*n/float64(w)))
		have[k] = true
		if v.Scale > 0 && miss(r.m, v) <= tol {
			hit[k] = true
		}
	}
	for k := range have {
		if have[k] {
			asked++
		}
		if hit[k] {
			reached++
		}
	}
	return reached, asked
}

// Acceptance, measured on rendered scenes and published real pairs in 2026: windows of a right mapping agree to 0.54
// and more, under raking light that turns shading round; of a wrong one to 0.21 at most.
const (
	minAgree   = 0.38
	minCoarse  = 0.45 // of the coarse frame's windows: enough to know the place
	minWindows = 15   // agreeing windows
	// A blurred photo repeats next to nothing of the reference's finest detail (0.09 and less, others 0.29 and more);
	// its sharpness is 0.15 and less, all noise (others 0.18 and more, but for photos out of focus on purpose);
	// it is still good for tiles while half of the windows find their place.
	minDetail       = 0.15
	maxBlurred      = 0.25
	minBlurredAgree = 0.5
	// minLimitPx keeps the limit of the residual above what windows can tell in a small reference.
	minLimitPx = 3
	// surelyInliers is the number of key points that outweighs shades which night or hard shadows have turned round.
	surelyInliers = 40
	// partsTiles is by which share of the places more must speak for here than for elsewhere where a surface was taken
	// apart: parts fit the joints of another wall more easily than one surface does. Right ones had 0.68 and more, walls
	// with the same joints and other glazes 0.17 and less.
	partsTiles = 0.4
	// minForHere is the smallest number of places that must speak for here against the best other place.
	minForHere = 5
)

// verdict fills in a result from a refined mapping.
func (s *search) verdict(ref *Reference, r *refined, inliers []Pair, basis string) Result {
	pw, ph := s.photo.size()
	m := r.m.rounded()
	out := Result{View: ref.ID, Mapping: m, Inliers: len(inliers), RMSPx: r.likely.px(), Agree: r.agree, Basis: basis, Pairs: inliers}
	if math.IsInf(out.RMSPx, 0) || math.IsNaN(out.RMSPx) {
		out.RMSPx = 0
	}
	out.OverlapPct = 100 * m.Overlap(ref.W, ref.H, pw, ph)
	out.PxPerRef = perRef(m, ref.W, ref.H)
	out.Sharpness, out.ClippedPct = r.q.sharpness, 100*r.q.clipped
	out.Reason, out.Detail = s.reason(ref, r, m, out)
	out.Accepted = out.Reason == Accepted
	return out
}

func (s *search) reason(ref *Reference, r *refined, m Mapping, out Result) (Reason, string) {
	pw, ph := s.photo.size()
	if in := 100 * (Mapping{PhotoFromRef: m.PhotoFromRef, Field: m.Field}).Overlap(ref.W, ref.H, pw, ph); in < s.opt.MinOverlapPct {
		return SmallOverlap, fmt.Sprintf("%.1f %% of the view is in the picture, %.1f %% needed", in, s.opt.MinOverlapPct)
	}
	// Blur and burnt-out light are named before what they cause, when the place itself is beyond doubt.
	placed := r.agree >= minAgree || r.coarse >= minCoarse
	if why, detail := s.exposure(r.q); placed && why != Accepted {
		return why, detail
	}
	if placed && r.agree < minAgree && r.q.sharpness < maxBlurred {
		return Blurred, fmt.Sprintf("%.0f %% of the places agree at a quarter of the size, %.0f %% at full size, %.0f %% needed", 100*r.coarse, 100*r.agree, 100*minAgree)
	}
	if placed && (r.q.sharpness < s.opt.MinSharpness || r.q.sharpness < maxBlurred && r.q.detail < minDetail && r.agree < minBlurredAgree) {
		return Blurred, fmt.Sprintf("sharpness %.3f of the reference's, %.0f %% of its finest detail repeated, %.0f %% of the places agree", r.q.sharpness, 100*r.q.detail, 100*r.agree)
	}
	if r.asked < minWindows {
		return NoTexture, fmt.Sprintf("%d places with texture, %d needed", r.asked, minWindows)
	}
	tol := tolerancePx * ref.frames[len(ref.frames)-1].scale()
	if r.agree < minAgree || r.agree*float64(r.asked) < minWindows {
		return WrongView, fmt.Sprintf("%.0f %% of %d places agree, %.0f %% needed", 100*r.agree, r.asked, 100*minAgree)
	}
	if out.OverlapPct < s.opt.MinOverlapPct {
		return SmallOverlap, fmt.Sprintf("the pictures agree on %.1f %% of the view, %.1f %% needed", out.OverlapPct, s.opt.MinOverlapPct)
	}
	if why, detail := shape(m, ref.W, ref.H, pw, ph); why != Accepted {
		return why, detail
	}
	if e := r.edges; e.forHere < minForHere || e.forHere < 3*e.forThere {
		f := ref.frames[0]
		return Repeat, fmt.Sprintf("(%.0f, %.0f) px from here it fits as well: of %d places %d speak for here, %d for there", f.sx*float64(e.dx), f.sy*float64(e.dy), e.windows, e.forHere, e.forThere)
	}
	if t := r.shades; t.forHere < 2*t.forThere && out.Inliers < surelyInliers {
		return WrongView, fmt.Sprintf("its joints fit, its tiles do not: of %d places %d speak for here, %d for elsewhere", t.windows, t.forHere, t.forThere)
	}
	if t := r.shades; r.sheets != nil && float64(t.forHere-t.forThere) < partsTiles*float64(t.windows) {
		return WrongView, fmt.Sprintf("its joints fit in parts, its tiles do not: of %d places %d speak for here, %d for elsewhere", t.windows, t.forHere, t.forThere)
	}
	if a, n := spread(r, ref.W, ref.H, tol); n > 3 && a*3 < n {
		return Crowded, fmt.Sprintf("agreement in %d of %d parts of the view", a, n)
	}
	if limit := math.Max(minLimitPx, s.opt.MaxRMSPermille/1000*float64(max(ref.W, ref.H))); !(r.heldOut <= limit) || math.IsInf(r.likely.px(), 0) {
		return Imprecise, fmt.Sprintf("%.2f px off where it was not fitted, %.2f allowed", r.heldOut, limit)
	}
	return Accepted, ""
}

// exposure refuses a picture of which too much is burnt out or black, beyond what the reference itself shows.
func (s *search) exposure(q quality) (Reason, string) {
	if x := 100 * (q.white - q.refWhite); x > s.opt.MaxClippedPct {
		return OverExposed, fmt.Sprintf("%.0f %% of the view burnt out, %.0f %% in the reference", 100*q.white, 100*q.refWhite)
	}
	if x := 100 * (q.black - q.refBlack); x > s.opt.MaxClippedPct {
		return UnderExposed, fmt.Sprintf("%.0f %% of the view black, %.0f %% in the reference", 100*q.black, 100*q.refBlack)
	}
	return Accepted, ""
}

// tooLight says of a photo whose place was not found whether that is no wonder: too much of its middle is burnt out or black,
// beyond what the middle of any view shows. The middle, because a scanned print has a white margin and a night a black sky.
func (s *search) tooLight(refs []*Reference) (Reason, string) {
	white, black := middleClipped(s.photo.im)
	var refWhite, refBlack float64
	for _, r := range refs {
		w, b := middleClipped(r.grey)
		refWhite, refBlack = math.Max(refWhite, w), math.Max(refBlack, b)
	}
	if 100*(white-refWhite) > s.opt.MaxClippedPct {
		return OverExposed, fmt.Sprintf("%.0f %% of the middle of the picture burnt out, and its place was not found", 100*white)
	}
	if 100*(black-refBlack) > s.opt.MaxClippedPct {
		return UnderExposed, fmt.Sprintf("%.0f %% of the middle of the picture black, and its place was not found", 100*black)
	}
	return Accepted, ""
}

// middleClipped returns which shares of the middle of a picture, half as wide and as high, are burnt out and black.
func middleClipped(im *image.Gray) (white, black float64) {
	w, h := im.Rect.Dx(), im.Rect.Dy()
	n := 0.
	for y := h / 4; y < h-h/4; y++ {
		o := im.PixOffset(im.Rect.Min.X, im.Rect.Min.Y+y)
		for _, v := range im.Pix[o+w/4 : o+w-w/4] {
			n++
			if v >= whiteLevel {
				white++
			}
			if v <= blackLevel {
				black++
			}
		}
	}
	return white / n, black / n
}
