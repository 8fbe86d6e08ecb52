package pipeline

import (
	"errors"
	"fmt"
	"math"
	"path"
	"sort"
	"strings"
	"time"

	"tilelapse/pipeline/intake"
	"tilelapse/pipeline/survey"
	"tilelapse/register"
)

// Status of a photo (contract words).
const (
	statusUsed     = "used"
	statusSpare    = "spare"
	statusRejected = "rejected"
)

// photo is one photo found and what became of it.
type photo struct {
	rel    string // relative to the survey folder, with slashes
	facts  intake.Facts
	unread bool   // could not be read from disk
	reason string // why it is rejected, "" = it is not (yet)

	taken  survey.DateRange // zero = undated
	source string           // where the date comes from
	kind   string           // digital, print, slide, copy
	hint   string           // view its folder or archive.csv names
	notes  []string

	align    register.Result
	alignKey string
	status   string
	combined string // the photo of the same visit that is reported instead, for a spare

	pxPerTile           float64
	readKey, pictureKey string // records of pass 2
}

// visit is the date the photo stands for: the first day it may have been taken.
func (p *photo) visit() string { return p.taken.From }

// sameDay reports whether two photos are known to be of one day. Two of the same year or month share a visit, as that is
// named by its first day, but what differs between them may be a change.
func sameDay(a, b *photo) bool { return a.taken.From != "" && a.taken.Exact() && a.taken == b.taken }

func (p *photo) reject(reason string) {
	p.status, p.reason = statusRejected, reason
}

// collect finds the photos of a survey, reads what each file says of itself, and dates it. Photos come sorted by path.
func collect(s *survey.Survey, jobs int, tell func(Event)) ([]*photo, error) {
	found, err := intake.Find(s.Dir, s.Photos)
	if err != nil {
		return nil, &UsageError{err}
	}
	ps := make([]*photo, len(found))
	lim := limits(s)
	each(jobs, len(found), func(i int) {
		p := &photo{rel: found[i].Path, kind: "digital"}
		ps[i] = p
		err := found[i].Err
		if err == nil {
			var f *intake.Facts
			f, err = intake.Inspect(s.Dir, p.rel, lim)
			if f != nil {
				p.facts = *f
			}
		}
		p.fail(err)
	}, func(n int) { tell(Event{Stage: "read", Done: n, Total: len(found)}) })

	archive := map[string]survey.ArchiveRow{}
	for _, r := range s.Archive {
		archive[archiveName(r.Photo)] = r
	}
	first := map[string]string{}
	for _, p := range ps {
		p.date(s, archive)
		if p.facts.SHA256 == "" || p.reason != "" {
			continue
		}
		if of, dup := first[p.facts.SHA256]; dup {
			p.reject("duplicate of " + of)
			continue
		}
		first[p.facts.SHA256] = p.rel
	}
	doubtCameras(s, ps)
	return ps, nil
}

// fail notes the error that keeps a photo from being used; nil is none.
func (p *photo) fail(err error) {
	if err == nil {
		return
	}
	var e *intake.Error
	p.unread = errors.As(err, &e) && e.Kind == intake.Unread
	p.reject(err.Error())
}

func limits(s *survey.Survey) intake.Limits {
	return intake.Limits{MaxMpx: s.Limits.MaxMpx, MaxMB: s.Limits.MaxMB}
}

func archiveName(p string) string { return strings.TrimPrefix(path.Clean(p), "./") }

// date sets when the photo was taken and from where that is known: archive.csv, the camera's own date, then the path.
func (p *photo) date(s *survey.Survey, archive map[string]survey.ArchiveRow) {
	row, listed := archive[p.rel]
	if !listed {
		for _, f := range s.Photos { // archive.csv may name photos as seen from the photos folder
			if r, ok := archive[strings.TrimPrefix(p.rel, f+"/")]; ok {
				row, listed = r, true
				break
			}
		}
	}
	if listed {
		if row.Kind != "" {
			p.kind = row.Kind
		}
		p.hint = row.View
		if row.Taken.From != "" {
			p.taken, p.source = row.Taken, "archive.csv"
			if row.Basis != "" {
				p.source += ": " + row.Basis
			}
		}
	}
	if p.hint == "" {
		p.hint = folderHint(p.rel, s.Views)
	}
	if p.source != "" {
		return
	}
	if day, note := cameraDay(p.facts, s.Clock); day != "" {
		p.taken, p.source = survey.DateRange{From: day, To: day}, "EXIF"
		if note != "" {
			p.source += ", " + note
		}
		if other, ok := intake.DateFromPath(p.rel); ok && apart(day, other) > clockDoubt {
			p.notes = append(p.notes, fmt.Sprintf("the camera says %s, the path says %s: if the clock was wrong, correct it with clock in survey.yaml", day, other))
		}
		return
	}
	if day, ok := intake.DateFromPath(p.rel); ok {
		p.taken, p.source = survey.DateRange{From: day, To: day}, "path"
	}
}

// clockDoubt is how many days a camera's date and the date in the path may differ before the clock is doubted: folders
// are often named on the day the card was emptied (our choice).
const clockDoubt = 7

// apart is the time between two ISO dates in days, 0 when one is none.
func apart(a, b string) float64 {
	x, err1 := time.Parse(time.DateOnly, a)
	y, err2 := time.Parse(time.DateOnly, b)
	if err1 != nil || err2 != nil {
		return 0
	}
	return math.Abs(x.Sub(y).Hours()) / 24
}

// folderHint returns the view whose id is the name of a folder the photo lies in, or of the file without its ending.
func folderHint(rel string, views []survey.View) string {
	parts := strings.Split(rel, "/")
	parts[len(parts)-1] = strings.TrimSuffix(parts[len(parts)-1], path.Ext(rel))
	for i := len(parts) - 1; i >= 0; i-- {
		for _, v := range views {
			if strings.EqualFold(parts[i], v.ID) {
				return v.ID
			}
		}
	}
	return ""
}

// cameraDay returns the local day a camera recorded, corrected by the survey's clock entries.
func cameraDay(f intake.Facts, clocks []survey.Clock) (day, note string) {
	if f.Taken == "" || f.Scanner {
		return "", ""
	}
	t, err := time.Parse("2006-01-02T15:04:05", f.Taken)
	if err != nil {
		return "", ""
	}
	shift := time.Duration(0)
	for _, c := range clocks { // the last entry that began before the photo counts
		if (strings.EqualFold(c.Camera, f.Model) || strings.EqualFold(c.Camera, f.Camera)) && !t.Before(c.From) {
			shift = c.Add
		}
	}
	if shift != 0 {
		note = fmt.Sprintf("clock corrected by %s", days(shift))
	}
	return t.Add(shift).Format(time.DateOnly), note
}

func days(d time.Duration) string {
	if h := d.Hours(); math.Mod(h, 24) != 0 {
		return fmt.Sprintf("%g h", h)
	}
	return fmt.Sprintf("%g d", d.Hours()/24)
}

// choose sets which of several photos of one view and visit is reported, by a rule that does not see the result: the
// one that shows most of the view unclipped, then the sharper one, then the first by path.
func choose(ps []*photo) {
	groups := map[string][]*photo{}
	var keys []string
	for _, p := range ps {
		if p.status == statusRejected || p.visit() == "" {
			continue
		}
		k := p.align.View + "\x00" + p.visit()
		if groups[k] == nil {
			keys = append(keys, k)
		}
		groups[k] = append(groups[k], p)
	}
	for _, k := range keys {
		g := groups[k]
		sort.SliceStable(g, func(i, j int) bool {
			a, b := g[i], g[j]
			if x, y := readable(a), readable(b); x != y {
				return x > y
			}
			if x, y := rounded(a.align.Sharpness, 0.05), rounded(b.align.Sharpness, 0.05); x != y {
				return x > y
			}
			return a.rel < b.rel
		})
		for i, p := range g {
			if i == 0 {
				p.status = statusUsed
				continue
			}
			p.status, p.combined = statusSpare, g[0].rel
		}
	}
}

// readable is the share of the view a photo shows unclipped, in whole percents: finer differences are no reason to
// prefer one photo.
func readable(p *photo) float64 {
	return rounded(p.align.OverlapPct*(1-p.align.ClippedPct/100), 1)
}

func rounded(v, step float64) float64 { return math.Round(v/step) * step }
