package register

import (
	"context"
	"image"
)

// Helper is a photo of the same view that did align.
type Helper struct {
	Key     string // what Result.Basis names it by
	Grey    *image.Gray
	Mapping Mapping // of the helper: its photo from the reference
}

// Rescue aligns a photo that failed directly through photos of the same view that did align, in the order given
// (nearest in date first): the photo is aligned to the helper, the two mappings are composed, and the result is refined
// and judged against the reference itself, as any other.
func Rescue(ctx context.Context, ref *Reference, helpers []Helper, photo *image.Gray, opt Options) Result {
	s := newSearch(ctx, photo, opt)
	if r, bad := s.unfit(); bad {
		return r
	}
	last := Result{View: ref.ID, Reason: TooFewMatches, Detail: "no other photo of the view helps"}
	for _, h := range helpers {
		if ctx.Err() != nil {
			return Result{View: ref.ID, Reason: Stopped, Detail: ctx.Err().Error()}
		}
		for _, k := range []kind{siftPlain, siftWide} {
			a, err := detect(h.Grey, k, opt)
			if err != nil {
				continue
			}
			b, err := s.features(k)
			if err != nil {
				continue
			}
			pairs, err := match(a, b, opt.Ratio)
			if err != nil {
				continue
			}
			g, ok, err := guessFrom(pairs, b.unit, 38, 2)
			if err != nil || !ok || len(g.inliers) < opt.MinInliers {
				continue
			}
			// The helper's own bend is left to the refinement.
			r, ok, err := refine(ctx, ref, s.photo, mul3(g.h, h.Mapping.PhotoFromRef))
			if err != nil || !ok {
				continue
			}
			res := s.verdict(ref, &r, nil, "rescue:"+h.Key+" "+k.String())
			res.Inliers = len(g.inliers)
			if res.Accepted {
				return res
			}
			if res.Agree >= last.Agree {
				last = res
			}
		}
	}
	return last
}
