package register

import (
	"context"
	"fmt"
	"image"
)

// Align recognises the view among refs and aligns the photo to it. hint is the view its folder is named for ("" none):
// it is tried first, and proves nothing.
func Align(ctx context.Context, refs []*Reference, photo *image.Gray, hint string, opt Options) Result {
	s := newSearch(ctx, photo, opt)
	if r, bad := s.unfit(); bad {
		return r
	}
	var best Result
	for _, ref := range refs {
		r := s.direct(ref)
		if r.Accepted && (!best.Accepted || r.Agree > best.Agree) || !best.Accepted && r.Agree >= best.Agree {
			best = r
		}
	}
	return best
}

// search is the work on one photo.
type search struct {
	ctx   context.Context
	photo *halved
	opt   Options
	feats map[kind]*features
}

func newSearch(ctx context.Context, photo *image.Gray, opt Options) *search {
	return &search{ctx: ctx, photo: newHalved(photo), opt: opt, feats: map[kind]*features{}}
}

// minPhotoPx is the smallest side of a photo that can be compared.
const minPhotoPx = 160

func (s *search) unfit() (Result, bool) {
	if s.photo.im == nil {
		return Result{Reason: Broken, Detail: "no picture"}, true
	}
	if w, h := s.photo.size(); min(w, h) < minPhotoPx {
		return Result{Reason: TooSmall, Detail: fmt.Sprintf("%d × %d px, %d needed on the shorter side", w, h, minPhotoPx)}, true
	}
	if err := s.opt.Validate(); err != nil {
		return Result{Reason: Broken, Detail: err.Error()}, true
	}
	return Result{}, false
}

func (s *search) features(k kind) (*features, error) {
	if f := s.feats[k]; f != nil {
		return f, nil
	}
	f, err := detect(s.photo.im, k, s.opt)
	if err == nil {
		s.feats[k] = f
	}
	return f, err
}

// debug receives the statistics of each try when set, for the tables of the tests.
var debug func(kind string, matches, inliers int, r refined)

func (s *search) direct(ref *Reference) Result {
	var last Result
	for _, k := range []kind{siftPlain, siftWide, akazePlain, orbPlain, siftTilted} {
		a, err := ref.features(k)
		if err != nil {
			return Result{View: ref.ID, Reason: Broken, Detail: err.Error()}
		}
		b, err := s.features(k)
		if err != nil {
			return Result{View: ref.ID, Reason: Broken, Detail: err.Error()}
		}
		pairs, err := match(a, b, s.opt.Ratio)
		if err != nil {
			return Result{View: ref.ID, Reason: Broken, Detail: err.Error()}
		}
		g, ok, err := guessFrom(pairs, b.unit, 38, 2)
		if err != nil || !ok || len(g.inliers) < 6 {
			continue
		}
		r, ok, err := refine(s.ctx, ref, s.photo, g.h)
		if debug != nil {
			debug(k.String(), len(pairs), len(g.inliers), r)
		}
		if err != nil || !ok {
			continue
		}
		res := s.verdict(ref, &r, g.inliers, "direct "+k.String())
		if res.Accepted || res.Reason == Blurred || res.Reason == OverExposed || res.Reason == UnderExposed {
			return res
		}
		if last.View == "" || res.Agree > last.Agree {
			last = res
		}
	}
	if last.View == "" {
		return Result{View: ref.ID, Reason: TooFewMatches, Detail: "no feature type gave a fit", Basis: "direct"}
	}
	return last
}
