package pipeline

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"time"

	"tilelapse/measure"
	"tilelapse/measure/chart"
	"tilelapse/pipeline/intake"
	"tilelapse/pipeline/ledger"
	"tilelapse/pipeline/survey"
	"tilelapse/register"
)

// resultFolders are the folders of results a run owns whole: what it did not write there is removed.
var resultFolders = []string{"series", "outlines", "overlays", "changes", "rejected", "unmasked"}

// finish writes the tables, the account of the run and the two lists of hashes, in this order: the lists come last.
func (r *run) finish(ctx context.Context) error {
	if err := r.writeTables(); err != nil {
		return err
	}
	if err := r.report(ctx); err != nil {
		return err
	}
	b, err := r.account()
	if err != nil {
		return err
	}
	if err := r.write("run.json", b); err != nil {
		return err
	}
	originals, err := r.originals()
	if err != nil {
		return err
	}
	if err := r.write(ledger.OriginalsFile, ledger.Format(originals)); err != nil {
		return err
	}
	if err := r.store.Prune(r.wrote, resultFolders...); err != nil {
		return err
	}
	results, err := ledger.HashFolder(r.opt.Out, ledger.SkipResult)
	if err != nil {
		return err
	}
	return r.write(ledger.ResultsFile, ledger.Format(results))
}

// originals lists every input: what the survey file names, and every photo found that could be read.
func (r *run) originals() ([]ledger.Entry, error) {
	var es []ledger.Entry
	for _, f := range r.survey.Inputs {
		h, err := ledger.HashFile(filepath.Join(r.survey.Dir, filepath.FromSlash(f)))
		if err != nil {
			return nil, fmt.Errorf("%s: hash: %w", f, err)
		}
		es = append(es, ledger.Entry{Path: f, SHA256: h})
	}
	for _, p := range r.photos {
		if p.facts.SHA256 != "" {
			es = append(es, ledger.Entry{Path: p.rel, SHA256: p.facts.SHA256})
		}
	}
	sort.Slice(es, func(i, j int) bool { return es[i].Path < es[j].Path })
	last := ""
	uniq := es[:0]
	for _, e := range es { // a baseline is a photo and an input of the survey file
		if e.Path != last {
			uniq = append(uniq, e)
		}
		last = e.Path
	}
	return uniq, nil
}

// account is run.json: enough to repeat the run. It holds no clock, host or absolute path, so that the same inputs
// give the same bytes.
func (r *run) account() ([]byte, error) {
	type viewAccount struct {
		ID, Reference, SHA256 string
		Frame                 [2]int
		ReferencePxPerPixel   int
		Zones, Tiles          int
		TilesFound            bool
		AreaBasis             string
		Deposit               any
		Chart                 []string `json:",omitempty"` // what was read of the reference's colour chart
		Lights                map[string]*measure.Light
	}
	type account struct {
		Program  string
		Version  string
		Methods  map[string]string
		Site     string
		Settings map[string]any
		Counts   map[string]int
		Reasons  []ReasonCount
		Views    []viewAccount
	}
	a := account{
		Program: "tilelapse", Version: r.opt.Version, Site: r.survey.Site,
		Methods:  map[string]string{"intake": intake.Method, "register": register.Method, "measure": measure.Method, "outline": outlineMethod, "resample": resampleMethod, "chart": chart.Method},
		Settings: map[string]any{"coverage_opacity": r.survey.Opacity, "deposit": r.survey.Deposit, "limits": r.survey.Limits, "align": r.align, "view": r.opt.View, "clock": r.survey.Clock, "chart": r.survey.ChartMade},
		Counts:   map[string]int{"photos": len(r.photos), statusUsed: r.count(statusUsed), statusSpare: r.count(statusSpare), statusRejected: r.count(statusRejected)},
		Reasons:  r.reasons(),
	}
	for i, v := range r.views {
		va := viewAccount{
			ID: v.view.ID, Reference: v.view.Reference, SHA256: r.refs[i].sha, ReferencePxPerPixel: v.frame.K,
			Zones: len(v.spec.Zones), Tiles: len(v.tiles), TilesFound: v.found, AreaBasis: v.area.basis(),
			Lights: map[string]*measure.Light{}, Chart: v.chart.words(),
		}
		va.Frame[0], va.Frame[1] = v.frame.Size()
		for j, p := range v.photos {
			va.Lights[p.rel] = v.lights[j]
		}
		a.Views = append(a.Views, va)
	}
	b, err := json.MarshalIndent(ledger.Plain(a), "", "  ")
	return append(b, '\n'), err
}

func (r *run) count(status string) int {
	n := 0
	for _, p := range r.photos {
		if p.status == status {
			n++
		}
	}
	return n
}

// reasons counts refused photos by the first words of their reason, most frequent first.
func (r *run) reasons() []ReasonCount {
	n := map[string]int{}
	for _, p := range r.photos {
		if p.status == statusRejected {
			words, _, _ := strings.Cut(p.reason, ":")
			if strings.HasPrefix(words, "duplicate of") {
				words = "duplicate"
			}
			n[words]++
		}
	}
	rs := make([]ReasonCount, 0, len(n))
	for k, c := range n {
		rs = append(rs, ReasonCount{k, c})
	}
	sort.Slice(rs, func(i, j int) bool {
		if rs[i].Count != rs[j].Count {
			return rs[i].Count > rs[j].Count
		}
		return rs[i].Reason < rs[j].Reason
	})
	return rs
}

func (r *run) summary() (*Summary, error) {
	digest, err := ledger.HashFile(filepath.Join(r.opt.Out, ledger.ResultsFile))
	if err != nil {
		return nil, err
	}
	s := &Summary{
		Out: r.opt.Out, Found: len(r.photos), Used: r.count(statusUsed), Spare: r.count(statusSpare), Refused: r.count(statusRejected),
		Reasons: r.reasons(), Digest: digest,
	}
	// Told, and not written: results hold no clock, and a date ahead of this machine's clock may be this machine's fault.
	today := time.Now().AddDate(0, 0, 1).Format(time.DateOnly)
	s.Warnings = ahead(r.photos, today)
	for _, v := range r.views {
		for _, z := range v.spec.Zones {
			if gridded(z.ID, v.tiles) {
				s.Warnings = append(s.Warnings, fmt.Sprintf("view %s, zone %s: %s", v.view.ID, z.ID, gridNote))
			}
		}
	}
	for _, v := range r.views {
		if v.chart.Why != "" {
			s.Warnings = append(s.Warnings, v.view.Reference+": "+strings.Join(v.chart.words(), "; "))
		}
	}
	if s.Used == 0 {
		return s, ErrNothing
	}
	for _, p := range r.photos {
		if p.unread {
			return s, ErrUnread
		}
	}
	return s, nil
}

// ErrDiffers says that originals or results are not the ones of the run.
var ErrDiffers = errors.New("not the files of the run")

// Verify compares a survey's originals and results with the lists its run wrote. It returns ErrDiffers together with
// the differences. Photos that came since the run count as added.
func Verify(surveyDir, out string) ([]ledger.Difference, int, error) {
	if out == "" {
		out = filepath.Join(surveyDir, "out")
	}
	diffs, n, err := ledger.Verify(surveyDir, out)
	if errors.Is(err, os.ErrNotExist) {
		return nil, 0, usage("%s: there are no results to verify here; run the survey first, or name the folder with --out", out)
	}
	if err != nil {
		return nil, n, err
	}
	added, err := addedPhotos(surveyDir, out)
	if err != nil {
		return nil, n, err
	}
	diffs = append(diffs, added...)
	if len(diffs) > 0 {
		return diffs, n, ErrDiffers
	}
	return nil, n, nil
}

// addedPhotos lists photos found now that the list of originals does not have.
func addedPhotos(dir, out string) ([]ledger.Difference, error) {
	s, err := survey.Load(dir)
	if err != nil {
		return nil, nil // the survey file is one of the originals: that it was altered is told already
	}
	f, err := os.Open(filepath.Join(out, ledger.OriginalsFile))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	es, err := ledger.Parse(f)
	if err != nil {
		return nil, err
	}
	listed := map[string]bool{}
	for _, e := range es {
		listed[e.Path] = true
	}
	found, err := intake.Find(s.Dir, s.Photos)
	if err != nil {
		return nil, err
	}
	var ds []ledger.Difference
	for _, p := range found {
		if !listed[p.Path] && p.Err == nil {
			ds = append(ds, ledger.Difference{List: ledger.OriginalsFile, Path: p.Path, What: "added"})
		}
	}
	return ds, nil
}
