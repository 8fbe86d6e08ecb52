package pipeline

import (
	"context"
	"errors"
	"fmt"
	"hash/fnv"

	"tilelapse/measure/associate"
	"tilelapse/measure/order"
	"tilelapse/measure/trend"
	"tilelapse/pipeline/ledger"
	"tilelapse/pipeline/report/words"
	"tilelapse/pipeline/survey"
	"tilelapse/pipeline/table"
	"tilelapse/register"
)

// run is one run going on.
type run struct {
	opt           Options
	survey        *survey.Survey
	store         *ledger.Store
	align         register.Options
	memory        *memory
	refs          []*reference
	colourless    bool // some reference has no colours
	photos        []*photo
	views         []*viewResult
	set           table.Set
	words         words.Table
	plan          order.Plan                 // the cleaning order
	since         []string                   // of every place of the plan: when work was last recorded
	trendNotes    map[[3]string][]trend.Note // by view, zone and measure
	findings      []associate.Sensitivity
	withoutPrints []associate.Result // the same tests without prints, slides and copies; nil = there are none
	wrote         map[string]bool    // results written, relative to the output folder
	tell          func(Event)
}

// Summary says what a run did.
type Summary struct {
	Out                         string
	Found, Used, Spare, Refused int
	Reasons                     []ReasonCount // of refused photos, most frequent first
	Digest                      string        // SHA-256 of SHA256SUMS
	Warnings                    []string      // what the user should look at, and is in no result
	Sharded                     bool          // pass 1 only: nothing was written but the store
}

// ReasonCount is how many photos were refused for a reason.
type ReasonCount struct {
	Reason string
	Count  int
}

// Run measures a survey folder and writes the output folder. A photo that can't be used is a row in photos.csv and
// never an error; ErrUnread and ErrNothing come with a Summary, after everything else was written.
func Run(ctx context.Context, opt Options) (*Summary, error) {
	opt, err := opt.filled()
	if err != nil {
		return nil, err
	}
	s, err := survey.Load(opt.Survey)
	if err != nil {
		return nil, err
	}
	if err := keepView(s, opt.View); err != nil {
		return nil, err
	}
	w, err := words.Load(s.Report.Language)
	if err != nil {
		return nil, err
	}
	store, err := ledger.Open(opt.Out, opt.Shards > 0, opt.Fresh)
	if err != nil {
		return nil, err
	}
	defer store.Close()
	r := &run{opt: opt, survey: s, words: w, store: store, align: register.DefaultOptions(), memory: newMemory(decodedBytes), wrote: map[string]bool{}, tell: opt.Events}
	for _, stage := range []func(context.Context) error{r.find, r.alignEvery, r.measureEvery, r.tabulate, r.draw, r.finish} {
		if err := stage(ctx); err != nil {
			if errors.Is(err, errSharded) {
				return &Summary{Out: opt.Out, Found: len(r.photos), Sharded: true}, nil
			}
			return nil, err
		}
	}
	return r.summary()
}

// errSharded ends a run that does its share of pass 1 only.
var errSharded = errors.New("shard done")

func (r *run) find(context.Context) error {
	ps, err := collect(r.survey, r.opt.Jobs, r.tell)
	r.photos = ps
	return err
}

func (r *run) alignEvery(ctx context.Context) error {
	if err := r.loadReferences(ctx); err != nil {
		return err
	}
	if err := r.alignAll(ctx); err != nil {
		return err
	}
	if r.opt.Shards > 0 {
		return errSharded
	}
	if err := r.rescueAll(ctx); err != nil {
		return err
	}
	for _, p := range r.usable() {
		if !p.align.Accepted {
			p.reject(p.align.Reason.Words() + detail(p.align.Detail))
		}
	}
	for _, ref := range r.refs {
		ref.feat = nil // some 80 MB a view, of no more use
	}
	choose(r.photos)
	return nil
}

func detail(s string) string {
	if s == "" {
		return ""
	}
	return ": " + s
}

// usable returns the photos not refused so far, in path order.
func (r *run) usable() []*photo {
	var ps []*photo
	for _, p := range r.photos {
		if p.status != statusRejected {
			ps = append(ps, p)
		}
	}
	return ps
}

// shard keeps every Shards-th photo by a hash of its path; all of them in a whole run.
func (r *run) shard(ps []*photo) []*photo {
	if r.opt.Shards == 0 {
		return ps
	}
	var mine []*photo
	for _, p := range ps {
		h := fnv.New32a()
		h.Write([]byte(p.rel))
		if int(h.Sum32()%uint32(r.opt.Shards)) == r.opt.Shard-1 {
			mine = append(mine, p)
		}
	}
	return mine
}

// keepView leaves one view of the survey when the user asks for one.
func keepView(s *survey.Survey, id string) error {
	if id == "" {
		return nil
	}
	for _, v := range s.Views {
		if v.ID == id {
			s.Views = []survey.View{v}
			return nil
		}
	}
	return usage("--view %s: survey.yaml has no view of this id", id)
}

// write puts a result into the output folder and remembers it for the list of hashes.
func (r *run) write(rel string, b []byte) error {
	r.wrote[rel] = true
	if err := r.store.WriteFile(rel, b); err != nil {
		return fmt.Errorf("%s: write: %w", rel, err)
	}
	return nil
}
