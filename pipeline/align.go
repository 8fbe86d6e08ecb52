package pipeline

import (
	"context"
	"fmt"
	"image"
	"sort"
	"time"

	"tilelapse/pipeline/intake"
	"tilelapse/pipeline/ledger"
	"tilelapse/pipeline/survey"
	"tilelapse/register"
)

// reference is a view's reference photo as the alignment stage needs it.
type reference struct {
	view *survey.View
	sha  string
	w, h int
	need int64               // bytes that decoding takes
	feat *register.Reference // nil when every photo is aligned

	colourless bool // it serves for alignment and for looking only
}

// loadReferences reads every reference photo once. A reference that can't be read is a mistake of the survey: without
// it nothing of the view can be measured.
func (r *run) loadReferences(ctx context.Context) error {
	r.refs = make([]*reference, len(r.survey.Views))
	errs := make([]error, len(r.refs))
	each(r.opt.Jobs, len(r.refs), func(i int) {
		v := &r.survey.Views[i]
		unfit := func(err error) {
			errs[i] = &UsageError{fmt.Errorf("%s: reference photo of view %s: %w", v.Reference, v.ID, err)}
		}
		facts, err := intake.Inspect(r.survey.Dir, v.Reference, limits(r.survey))
		if err != nil {
			unfit(err)
			return
		}
		if err := survey.CheckSize(v, facts.W, facts.H); err != nil {
			errs[i] = &UsageError{err}
			return
		}
		held, err := r.memory.take(ctx, facts.Memory)
		defer held.free()
		if err != nil {
			errs[i] = err
			return
		}
		pic, _, err := intake.Read(r.survey.Dir, v.Reference, r.limitsFor(v.Reference))
		if err != nil {
			unfit(err)
			return
		}
		grey, colourless := pic.Grey(), pic.Colourless()
		pic = nil
		held.keep(int64(len(grey.Pix)))
		feat, err := register.NewReference(v.ID, grey, r.align)
		if err != nil {
			unfit(err)
			return
		}
		r.refs[i] = &reference{view: v, sha: facts.SHA256, w: grey.Rect.Dx(), h: grey.Rect.Dy(), feat: feat, need: facts.Memory, colourless: colourless}
	}, func(n int) { r.tell(Event{Stage: "references", Done: n, Total: len(r.refs)}) })
	for i, err := range errs {
		if err != nil {
			return err
		}
		r.colourless = r.colourless || r.refs[i].colourless
	}
	return nil
}

// alignAll is the first half of pass 1: every photo is recognised and brought onto its reference, or refused.
func (r *run) alignAll(ctx context.Context) error {
	feats := make([]*register.Reference, len(r.refs))
	refKey := make([][2]string, len(r.refs))
	for i, ref := range r.refs {
		feats[i], refKey[i] = ref.feat, [2]string{ref.view.ID, ref.sha}
	}
	todo := r.shard(r.usable())
	errs := make([]error, len(todo))
	each(r.opt.Jobs, len(todo), func(i int) {
		p := todo[i]
		if ctx.Err() != nil {
			return
		}
		p.alignKey = ledger.Key("align", intake.Method, register.Method, r.align, refKey, p.facts.SHA256, p.hint, r.colourless)
		if !r.store.Get("align", p.alignKey, &p.align) {
			grey, held, err := r.grey(ctx, p.rel, p.facts.Memory)
			defer held.free()
			if ctx.Err() != nil {
				return
			}
			if err != nil {
				p.fail(err)
				return
			}
			p.align = register.Align(ctx, feats, grey, p.hint, r.align)
			if ctx.Err() != nil {
				return
			}
			errs[i] = r.store.Put("align", p.alignKey, p.align)
		}
	}, func(n int) { r.tell(Event{Stage: "align", Done: n, Total: len(todo)}) })
	if err := firstOf(ctx, errs); err != nil {
		return err
	}
	return nil
}

// rescueAll tries the photos that were refused once more: by pairs a person set, else through photos of the same view that
// did align, nearest in date first. What is tried depends on the set of photos only.
func (r *run) rescueAll(ctx context.Context) error {
	var todo []*photo
	aligned := map[string][]*photo{}
	for _, p := range r.usable() {
		switch {
		case p.align.Accepted:
			aligned[p.align.View] = append(aligned[p.align.View], p)
		case mayBeRescued(p.align.Reason) || r.pairedByHand(p):
			todo = append(todo, p)
		}
	}
	errs := make([]error, len(todo))
	results := make([]rescued, len(todo)) // applied afterwards, so that no rescue leans on another
	each(r.opt.Jobs, len(todo), func(i int) {
		if ctx.Err() == nil {
			results[i], errs[i] = r.rescue(ctx, todo[i], aligned)
		}
	}, func(n int) { r.tell(Event{Stage: "align again", Done: n, Total: len(todo)}) })
	if err := firstOf(ctx, errs); err != nil {
		return err
	}
	for i, p := range todo {
		// Pairs that did not help are named, rather than what the picture was refused for: a person waits for the answer.
		if res := results[i]; res.Result.Accepted || res.byHand {
			p.align, p.alignKey = res.Result, res.key
		}
	}
	return nil
}

// rescued is what trying again gave; the zero value when there was nothing to try.
type rescued struct {
	Result register.Result
	key    string
	byHand bool // by pairs a person set
}

// Bounds of the time a hopeless photo may take.
const (
	helpersTried = 2 // photos of a view
	viewsTried   = 3 // views without pairs set by hand
)

// rescue tries pairs set by hand in any view, whatever the folder's name says, then the photos of the likeliest views that
// did align.
func (r *run) rescue(ctx context.Context, p *photo, aligned map[string][]*photo) (rescued, error) {
	var own *image.Gray // decoded when a record is missing only
	held := &share{}
	defer func() { held.free() }()
	grey := func() *image.Gray {
		if own == nil {
			// One share for all that is decoded until the end: the photo, and beside its luma one helper after the other.
			need := p.facts.Memory
			for _, ref := range r.likely(p, aligned) {
				for _, h := range nearest(p, aligned[ref.view.ID]) {
					need = max(need, int64(p.facts.W*p.facts.H)+h.facts.Memory)
				}
			}
			var err error
			if held, err = r.memory.take(ctx, need); err != nil {
				return nil
			}
			if own, err = r.greyWithin(p.rel); err != nil {
				return nil // the photo's own error was told when it was aligned
			}
		}
		return own
	}
	var out rescued
	for _, ref := range r.refs {
		pts := r.points(p, ref.view.ID)
		if len(pts) == 0 {
			continue
		}
		res, err := r.byPoints(ref, pts, p, grey)
		if err != nil || res.Result.Accepted {
			return res, err
		}
		if !out.byHand {
			out = res
		}
	}
	if !mayBeRescued(p.align.Reason) {
		return out, nil
	}
	for _, ref := range r.likely(p, aligned) {
		res, err := r.throughOthers(ctx, ref, nearest(p, aligned[ref.view.ID]), p, grey)
		if err != nil || res.Result.Accepted {
			return res, err
		}
	}
	return out, nil
}

// byPoints aligns a photo by pairs set by hand.
func (r *run) byPoints(ref *reference, pts []register.PointPair, p *photo, grey func() *image.Gray) (rescued, error) {
	res := rescued{key: ledger.Key("points", register.Method, r.align, ref.sha, p.facts.SHA256, pts), byHand: true}
	if r.store.Get("align", res.key, &res.Result) {
		return res, nil
	}
	g := grey()
	if g == nil {
		return rescued{}, nil
	}
	res.Result = register.FromPoints(ref.feat, pts, g, r.align)
	return res, r.store.Put("align", res.key, res.Result)
}

// throughOthers aligns a photo through photos of the view that did align.
func (r *run) throughOthers(ctx context.Context, ref *reference, near []*photo, p *photo, grey func() *image.Gray) (rescued, error) {
	keys := make([]string, len(near))
	for i, h := range near {
		keys[i] = h.alignKey
	}
	res := rescued{key: ledger.Key("rescue", register.Method, r.align, ref.sha, p.facts.SHA256, keys)}
	if r.store.Get("align", res.key, &res.Result) {
		return res, nil
	}
	g := grey()
	if g == nil {
		return rescued{}, nil
	}
	var hs []register.Helper
	for _, h := range near {
		hs = append(hs, register.Helper{Key: h.rel, Mapping: h.align.Mapping, Grey: func() *image.Gray {
			other, err := r.greyWithin(h.rel)
			if err != nil {
				return nil
			}
			return other
		}})
	}
	res.Result = register.Rescue(ctx, ref.feat, hs, g, r.align)
	if ctx.Err() != nil {
		return rescued{}, ctx.Err()
	}
	return res, r.store.Put("align", res.key, res.Result)
}

// likely returns the views worth trying that have aligned photos: the one the picture looked most like, the one its folder
// names, then the others in the survey's order.
func (r *run) likely(p *photo, aligned map[string][]*photo) []*reference {
	var out []*reference
	rank := func(ref *reference) int {
		switch ref.view.ID {
		case p.align.View:
			return 0
		case p.hint:
			return 1
		}
		return 2
	}
	for _, ref := range r.refs {
		if len(aligned[ref.view.ID]) > 0 {
			out = append(out, ref)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return rank(out[i]) < rank(out[j]) })
	return out[:min(len(out), viewsTried)]
}

// pairedByHand reports whether a person set pairs for the photo, in any view.
func (r *run) pairedByHand(p *photo) bool {
	for _, ref := range r.refs {
		if len(r.points(p, ref.view.ID)) > 0 {
			return true
		}
	}
	return false
}

// nearest returns the photos nearest in date to p, the nearest first, ties by path.
func nearest(p *photo, among []*photo) []*photo {
	day := func(q *photo) float64 {
		t, err := time.Parse(time.DateOnly, q.visit())
		if err != nil {
			return 0
		}
		return float64(t.Unix()) / 86400
	}
	near := append([]*photo(nil), among...)
	sort.SliceStable(near, func(i, j int) bool {
		a, b := abs(day(near[i])-day(p)), abs(day(near[j])-day(p))
		if a != b {
			return a < b
		}
		return near[i].rel < near[j].rel
	})
	return near[:min(len(near), helpersTried)]
}

func abs(v float64) float64 { return max(v, -v) }

// points returns the pairs set by hand for a photo and view.
func (r *run) points(p *photo, view string) []register.PointPair {
	var pts []register.PointPair
	for _, row := range r.survey.Points {
		if row.View == view && samePhoto(row.Photo, p.rel, r.survey.Photos) {
			pts = append(pts, register.PointPair{RefX: row.RefX, RefY: row.RefY, PhotoX: row.X, PhotoY: row.Y})
		}
	}
	return pts
}

// samePhoto reports whether a name written by the user, from the survey folder or from a photos folder, means rel.
func samePhoto(written, rel string, folders []string) bool {
	written = archiveName(written)
	if written == rel {
		return true
	}
	for _, f := range folders {
		if archiveName(f+"/"+written) == rel {
			return true
		}
	}
	return false
}

// firstOf returns the first error by index, or the context's.
func firstOf(ctx context.Context, errs []error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// mayBeRescued reports whether other photos may help to align a refused one: not where no alignment cures what is wrong.
func mayBeRescued(why register.Reason) bool {
	switch why {
	case register.NoTexture, register.Blurred, register.OverExposed, register.UnderExposed, register.TooSmall, register.Stopped, register.Broken:
		return false
	}
	return true
}
