package pipeline

import (
	"context"
	"fmt"
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
	feat *register.Reference
}

// loadReferences reads every reference photo once. A reference that can't be read is a mistake of the survey: without
// it nothing of the view can be measured.
func (r *run) loadReferences() error {
	r.refs = make([]*reference, len(r.survey.Views))
	errs := make([]error, len(r.refs))
	each(r.opt.Jobs, len(r.refs), func(i int) {
		v := &r.survey.Views[i]
		pic, facts, err := intake.Read(r.survey.Dir, v.Reference, limits(r.survey))
		if err != nil {
			errs[i] = &UsageError{fmt.Errorf("%s: reference photo of view %s: %w", v.Reference, v.ID, err)}
			return
		}
		if err := survey.CheckSize(v, pic.W, pic.H); err != nil {
			errs[i] = &UsageError{err}
			return
		}
		feat, err := register.NewReference(v.ID, pic.Grey(), r.align)
		if err != nil {
			errs[i] = &UsageError{fmt.Errorf("%s: reference photo of view %s: %w", v.Reference, v.ID, err)}
			return
		}
		r.refs[i] = &reference{view: v, sha: facts.SHA256, w: pic.W, h: pic.H, feat: feat}
	}, func(n int) { r.tell(Event{Stage: "references", Done: n, Total: len(r.refs)}) })
	for _, err := range errs {
		if err != nil {
			return err
		}
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
		p.alignKey = ledger.Key("align", register.Method, r.align, refKey, p.facts.SHA256, p.hint)
		if !r.store.Get("align", p.alignKey, &p.align) {
			pic, _, err := intake.Read(r.survey.Dir, p.rel, limits(r.survey))
			if err != nil {
				p.fail(err)
				return
			}
			p.align = register.Align(ctx, feats, pic.Grey(), p.hint, r.align)
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

// rescueAll tries the photos that no reference explains once more: by points a person set, else through photos of the
// same view that did align, nearest in date first. What is tried depends on the set of photos only.
func (r *run) rescueAll(ctx context.Context) error {
	var todo []*photo
	for _, p := range r.usable() {
		if !p.align.Accepted && mayBeRescued(p.align.Reason) {
			todo = append(todo, p)
		}
	}
	aligned := map[string][]*photo{}
	for _, p := range r.usable() {
		if p.align.Accepted {
			aligned[p.align.View] = append(aligned[p.align.View], p)
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
		if results[i].Result.Accepted {
			p.align, p.alignKey = results[i].Result, results[i].key
		}
	}
	return nil
}

type rescued struct {
	Result register.Result
	key    string
}

// helpersTried bounds the time a hopeless photo may take.
const helpersTried = 2

func (r *run) rescue(ctx context.Context, p *photo, aligned map[string][]*photo) (rescued, error) {
	var grey *intake.Picture // decoded when a record is missing only
	load := func() error {
		if grey != nil {
			return nil
		}
		var err error
		grey, _, err = intake.Read(r.survey.Dir, p.rel, limits(r.survey))
		return err
	}
	for _, ref := range r.refs {
		if p.hint != "" && p.hint != ref.view.ID {
			continue
		}
		if pts := r.points(p, ref.view.ID); len(pts) > 0 {
			key := ledger.Key("points", register.Method, r.align, ref.sha, p.facts.SHA256, pts)
			var res register.Result
			if !r.store.Get("align", key, &res) {
				if err := load(); err != nil {
					return rescued{}, nil // the photo's own error was told when it was aligned
				}
				res = register.FromPoints(ref.feat, pts, grey.Grey(), r.align)
				if err := r.store.Put("align", key, res); err != nil {
					return rescued{}, err
				}
			}
			return rescued{res, key}, nil
		}
		near := nearest(p, aligned[ref.view.ID])
		if len(near) == 0 {
			continue
		}
		keys := make([]string, len(near))
		for i, h := range near {
			keys[i] = h.alignKey
		}
		key := ledger.Key("rescue", register.Method, r.align, ref.sha, p.facts.SHA256, keys)
		var res register.Result
		if !r.store.Get("align", key, &res) {
			if err := load(); err != nil {
				return rescued{}, nil
			}
			var hs []register.Helper
			for _, h := range near {
				pic, _, err := intake.Read(r.survey.Dir, h.rel, limits(r.survey))
				if err != nil {
					continue
				}
				hs = append(hs, register.Helper{Key: h.rel, Grey: pic.Grey(), Mapping: h.align.Mapping})
			}
			res = register.Rescue(ctx, ref.feat, hs, grey.Grey(), r.align)
			if err := r.store.Put("align", key, res); err != nil {
				return rescued{}, err
			}
		}
		if res.Accepted {
			return rescued{res, key}, nil
		}
	}
	return rescued{}, nil
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

// mayBeRescued reports whether another way to align is worth trying: not for what no alignment cures.
func mayBeRescued(why register.Reason) bool {
	switch why {
	case register.NoTexture, register.WrongView, register.Blurred, register.OverExposed, register.UnderExposed, register.TooSmall, register.Stopped, register.Broken:
		return false
	}
	return true
}
