package register

import (
	"context"
	"image"

	"tilelapse/register/internal/cv"
)

// Helper is a photo of the same view that did align.
type Helper struct {
	Key     string             // what Result.Basis names it by
	Grey    func() *image.Gray // decodes it; called when its turn comes, nil = it can't be read
	Mapping Mapping            // of the helper: its photo from the reference
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
		if err := ctx.Err(); err != nil {
			return Result{View: ref.ID, Reason: Stopped, Detail: err.Error()}
		}
		grey := h.Grey()
		for _, k := range []kind{siftPlain, siftWide} {
			g, ok := s.through(grey, k)
			if !ok {
				continue
			}
			// The helper's own bend is left to the refinement.
			g.h = mul3(g.h, h.Mapping.PhotoFromRef)
			g.inliers = nil
			r, ok := s.settle(place{ref: ref, guess: g}, "rescue:"+h.Key+" "+k.String())
			if !ok {
				continue
			}
			if r.Accepted || knowsPlace(r.Reason) {
				return r
			}
			if r.Agree >= last.Agree {
				last = r
			}
		}
	}
	return last
}

// through fits the photo to a helper's picture.
func (s *search) through(helper *image.Gray, k kind) (guess, bool) {
	if helper == nil || min(helper.Rect.Dx(), helper.Rect.Dy()) < minPhotoPx {
		return guess{}, false
	}
	a, err := detect(helper, k, s.opt)
	if err != nil {
		return guess{}, false
	}
	b, err := s.features(k)
	if err != nil {
		return guess{}, false
	}
	pairs, err := match(a, b, s.opt.Ratio)
	if err != nil {
		return guess{}, false
	}
	g, ok, err := guessFrom(pairs, b.unit, cv.USACMagsac, inlierPx)
	return g, err == nil && ok && len(g.inliers) >= s.opt.MinInliers
}
