package register

import (
	"context"
	"fmt"
	"image"
	"sort"

	"tilelapse/register/internal/cv"
)

// Align recognises the view among refs and aligns the photo to it. hint is the view its folder is named for ("" none):
// it is tried first, and proves nothing.
//
// Cheap features come first; every fit, whatever it came from, is judged by windows that took no part in it, so the
// dear features are only asked when the cheap ones have nothing to show. References are not changed; the same photo and
// references give the same result, in whatever order refs come unless two views show the same surface equally well,
// when the smaller id wins.
func Align(ctx context.Context, refs []*Reference, photo *image.Gray, hint string, opt Options) Result {
	s := newSearch(ctx, photo, opt)
	if r, bad := s.unfit(); bad {
		return r
	}
	if len(refs) == 0 {
		return Result{Reason: WrongView, Detail: "no view to compare with"}
	}
	refs = append([]*Reference(nil), refs...)
	sort.SliceStable(refs, func(i, j int) bool { return refs[i].ID < refs[j].ID })
	var best Result
	for _, k := range kinds {
		if err := ctx.Err(); err != nil {
			return Result{Reason: Stopped, Detail: err.Error()}
		}
		r, done := s.try(refs, k, hint)
		if done {
			return r
		}
		if best.View == "" || r.View != "" && r.Agree > best.Agree {
			best = r
		}
	}
	if best.View == "" {
		best = Result{View: hint, Reason: TooFewMatches, Detail: "no key points agree on a place"}
	}
	if why, detail := s.tooLight(refs); why != Accepted {
		best.Reason, best.Detail = why, detail
	}
	return best
}

// kinds of key points in the order they are tried: by cost, measured 2026 at 12 Mpx on one core: 0.3, 0.9, 0.5, 0.1 and
// 2 s. ORB finds what the others find and little else, but costs next to nothing.
var kinds = []kind{siftPlain, siftWide, akazePlain, orbPlain, siftTilted}

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

// unfit refuses what can't be looked at at all.
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

// place is a first fit to one view.
type place struct {
	ref *Reference
	guess
	pairs []Pair  // all that matched
	unit  float64 // photo px a px of the picture they were found in covers
}

// Views that are looked into: all whose first fit is at least this share of the strongest, and at most so many.
const (
	rivalShare = 0.3
	mostRivals = 3
)

// try looks for the photo among the views by one kind of key points. done: the place is known, and the result is final,
// accepted or not.
func (s *search) try(refs []*Reference, k kind, hint string) (best Result, done bool) {
	places, err := s.rank(refs, k, hint)
	if err != nil {
		return Result{View: hint, Reason: Broken, Detail: err.Error()}, true
	}
	score := func(r Result) float64 { return r.Agree * r.OverlapPct }
	for i, p := range places {
		if i >= mostRivals || float64(len(p.inliers)) < rivalShare*float64(len(places[0].inliers)) {
			break
		}
		r, ok := s.settle(p, "direct "+k.String())
		if !ok {
			continue
		}
		known := r.Accepted || knowsPlace(r.Reason)
		switch {
		case best.View == "", known && !done, known == done && score(r) > score(best):
			best = r
		}
		done = done || known
	}
	return best, done
}

// knowsPlace says of a refusal that the place was recognised, so that looking further is no use.
func knowsPlace(r Reason) bool {
	switch r {
	case Blurred, OverExposed, UnderExposed:
		return true
	}
	return false
}

// settle refines and judges a first fit.
func (s *search) settle(p place, basis string) (Result, bool) {
	r, ok, err := refine(s.ctx, p.ref, s.photo, p.h, p.pairs)
	if debug != nil {
		debug(basis, len(p.inliers), r)
	}
	if err == nil && (!ok || r.agree < inOne) {
		t, found, better := s.inParts(p, r, ok, basis)
		if better {
			return s.verdict(p.ref, &t.refined, t.inliers, basis), true
		}
		if ok && found > 1 && r.coarse >= hopeless {
			pw, ph := s.photo.size()
			r.m.Held, _ = r.hold(p.ref, p.pairs, true, pw, ph)
		}
	}
	if err != nil || !ok {
		return Result{}, false
	}
	// On a repeating surface a fit may be one tile off: where another place fits better, it is tried in its turn.
	if e := r.edges; e.there > e.here && r.coarse >= hopeless {
		f := p.ref.frames[0]
		moved := mul3(r.surface.h, mat3{1, 0, f.sx * float64(e.dx), 0, 1, f.sy * float64(e.dy), 0, 0, 1})
		m, ok, err := refine(s.ctx, p.ref, s.photo, moved, p.pairs)
		if debug != nil {
			debug(basis+" moved", len(p.inliers), m)
		}
		if err == nil && ok && m.edges.here > e.here {
			r = m
		}
	}
	return s.verdict(p.ref, &r, p.inliers, basis), true
}

// Where so many windows agree with one surface it is not looked for in parts. With parts so many must agree: made reliefs had
// 0.58 and more but for two, on which parts were up to 6 px off; another framing of a street had 0.55. Parts must win by this share of the windows,
// and lie this far (ninth tenth, px of the fine frame) from one surface: hard light from aside moves edges by a few px, and
// parts would follow it; less is enough where one surface would be refused. Measured on made reliefs and published pairs
// under raking light, 2026.
const (
	inOne      = .75
	minParts   = .57
	partsGain  = .05
	partsPx    = 6
	refusedPx  = 2.5
	partsTenth = .9
)

// parted is a surface in parts and the key points of all.
type parted struct {
	refined
	inliers []Pair
}

// inParts tries to explain the photo by several planes where one does not do, and returns how many were found.
func (s *search) inParts(p place, one refined, ok bool, basis string) (t parted, found int, better bool) {
	gs, err := planes(p.guess, p.pairs, p.unit)
	if err != nil || len(gs) < 2 {
		return parted{}, len(gs), false
	}
	r, good, err := refineSheets(s.ctx, p.ref, s.photo, gs)
	t.refined = r
	for _, g := range gs {
		t.inliers = append(t.inliers, g.inliers...)
	}
	if debug != nil {
		debug(fmt.Sprintf("%s in %d parts", basis, len(gs)), len(t.inliers), r)
	}
	if err != nil || !good || r.agree < minParts {
		return parted{}, len(gs), false
	}
	if !ok {
		return t, len(gs), true
	}
	least := partsPx * p.ref.frames[len(p.ref.frames)-1].scale()
	if one.agree < minAgree {
		least *= refusedPx / partsPx
	}
	gain := r.agree*float64(r.asked) - (one.agree+partsGain)*float64(one.asked)
	return t, len(gs), gain > 0 && r.sheets.from(one.m) >= least
}

// rank fits the photo to every view and returns the fits, the one most key points agree on first; the hinted view's
// count half more.
func (s *search) rank(refs []*Reference, k kind, hint string) ([]place, error) {
	b, err := s.features(k)
	if err != nil {
		return nil, err
	}
	var out []place
	for _, ref := range refs {
		if s.ctx.Err() != nil {
			return nil, s.ctx.Err()
		}
		a, err := ref.features(k)
		if err != nil {
			return nil, err
		}
		pairs, err := match(a, b, s.opt.Ratio)
		if err != nil {
			return nil, err
		}
		g, ok, err := guessFrom(pairs, b.unit, cv.USACMagsac, inlierPx)
		if err != nil {
			return nil, err
		}
		if ok && len(g.inliers) >= s.opt.MinInliers {
			out = append(out, place{ref, g, pairs, b.unit})
		}
	}
	weight := func(p place) int {
		n := 2 * len(p.inliers)
		if p.ref.ID == hint {
			n += len(p.inliers)
		}
		return n
	}
	sort.SliceStable(out, func(i, j int) bool { return weight(out[i]) > weight(out[j]) })
	return out, nil
}

// inlierPx is how far a key point may be off the first homography, px of the picture it was found in: lenses and curved
// walls are not yet taken out.
const inlierPx = 2

// debug receives the statistics of each try when set, for the tables of the tests.
var debug func(basis string, inliers int, r refined)
