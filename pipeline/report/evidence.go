package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"tilelapse/measure/trend"
	"tilelapse/pipeline/report/words"
	"tilelapse/pipeline/table"
)

type upkeepLine struct{ Date, Zone, Kind, Work, Note, Doc string }

// followLine is an entry that something was due or asked for, and what the file holds after it.
type followLine struct {
	Date, Zone, Kind, Work string
	Answer, Done           string
}

// silentLine is the longest time without an entry of work, within what the file covers, of the zones that share it.
type silentLine struct {
	Zone     string
	From, To string
	Days     int
}

type yearBar struct {
	Year           string
	Used, Rejected int
	UsedW, RejW    float64
}

// controlLine is a stable surface with the size of its readings.
type controlLine struct {
	View, Control string
	Readings      int
	Middle, Most  float64
	Notes         string
}

// opacityLine is a zone's latest figure at three limits of opacity.
type opacityLine struct {
	Title, Visit   string
	At10, At, At40 float64
	Was10, Was     float64
	Was40          float64
}

func (p *page) zoneName(zone string, w words.Table) string {
	if zone == "" {
		return w.Say("upkeep.everywhere")
	}
	for _, z := range p.Zones {
		if strings.EqualFold(z.ID, zone) {
			return z.Title
		}
	}
	return zone
}

// upkeep fills the entries of the upkeep file, what followed what was due or asked, and the times without an entry.
func (p *page) upkeep(w words.Table) {
	for i, u := range p.Survey.Upkeep {
		date := u.Date
		if u.Until != "" && u.Until != u.Date {
			date += " – " + u.Until
		}
		kind := w.Say("kind." + named(u.Kind))
		if u.Kind == "" && p.kind(i) != "" {
			kind = w.Say("kind.read", w.Say("kind."+p.kind(i)))
		}
		p.Upkeep = append(p.Upkeep, upkeepLine{date, p.zoneName(u.Zone, w), kind, u.Work, u.Note, u.Doc})
	}
	sort.SliceStable(p.Upkeep, func(i, j int) bool { return p.Upkeep[i].Date < p.Upkeep[j].Date })
	switch r := p.Survey.Record; {
	case r != nil && r.Source != "":
		p.Record = w.Say("upkeep.record", orUnknown(r.From, w), orUnknown(r.To, w), r.Source)
	case r != nil:
		p.Record = w.Say("upkeep.record", orUnknown(r.From, w), orUnknown(r.To, w), w.Say("upkeep.nosource"))
	default:
		p.Record = w.Say("upkeep.norecord")
	}
	p.NoEntry = w.NoEntry(p.record())
	p.follow(w)
	p.silences()
}

func orUnknown(s string, w words.Table) string {
	if s == "" {
		return w.Say("unknown")
	}
	return s
}

// follow lists what was due or asked with the next answer and the next entry of work for the same zone.
func (p *page) follow(w words.Table) {
	es := p.worked()
	sort.SliceStable(es, func(i, j int) bool { return es[i].When.From < es[j].When.From })
	for _, e := range es {
		if e.Kind != "due" && e.Kind != "asked" {
			continue
		}
		l := followLine{Date: e.When.String(), Zone: p.zoneName(e.Zone, w), Kind: w.Say("kind." + e.Kind), Work: e.Work, Answer: p.NoEntry, Done: p.NoEntry}
		if e.Kind == "due" {
			l.Answer = ""
		}
		answered, done := false, false
		for _, o := range es {
			if o.When.Before(e.When) || (o.Zone != "" && e.Zone != "" && !strings.EqualFold(o.Zone, e.Zone)) {
				continue
			}
			after := fmt.Sprintf("%s: %s (%s)", o.When, o.Work, later(e.When, o.When, w))
			if o.Kind == "answered" && e.Kind == "asked" && !answered {
				l.Answer, answered = after, true
			}
			if o.IsWork() && !done {
				l.Done, done = after, true
			}
		}
		p.Follow = append(p.Follow, l)
	}
}

// later words how long after one entry another was; dates that overlap have no order.
func later(a, b trend.Span, w words.Table) string {
	least, most := b.From-a.To, b.To-a.From
	switch {
	case least == most:
		return w.Say("follow.days", least)
	case !a.Before(b):
		return w.Say("follow.overlap")
	}
	return w.Say("follow.between", least, most)
}

// silences lists every zone's longest time without an entry of work, when the survey says what the file covers.
func (p *page) silences() {
	rec := p.record()
	if !rec.Stated() {
		return
	}
	for _, z := range p.Zones {
		from := rec.Covers.From
		best := trend.Span{From: 0, To: -1}
		look := func(to int) {
			if to-from > best.To-best.From {
				best = trend.Span{From: from, To: to}
			}
		}
		for _, e := range trend.ForZone(p.worked(), z.ID) {
			if !e.IsWork() || e.When.To < rec.Covers.From || e.When.From > rec.Covers.To {
				continue
			}
			look(e.When.From)
			from = max(from, e.When.To)
		}
		look(rec.Covers.To)
		line := silentLine{z.Title, trend.ISO(best.From), trend.ISO(best.To), best.To - best.From}
		same := false
		for i, o := range p.Silent {
			if o.From == line.From && o.To == line.To {
				p.Silent[i].Zone, same = o.Zone+", "+line.Zone, true
			}
		}
		if !same {
			p.Silent = append(p.Silent, line)
		}
	}
}

// shared gathers the limits that tests have in common, to be told once.
func (p *page) shared() {
	for _, f := range p.Findings {
		if !f.Made {
			continue
		}
		for _, l := range f.Shared.Limits {
			if !slices.Contains(p.Shared.Limits, l) {
				p.Shared.Limits = append(p.Shared.Limits, l)
			}
		}
		for _, l := range f.Shared.Weaken {
			if !slices.Contains(p.Shared.Weaken, l) {
				p.Shared.Weaken = append(p.Shared.Weaken, l)
			}
		}
	}
}

// perYear counts photos by year.
func (p *page) perYear(w words.Table) {
	n := map[string]*yearBar{}
	var years []string
	for _, ph := range p.Set.Photos {
		y := yearsOf(ph.Visit)
		if ph.TakenTo != "" && ph.TakenFrom != "" {
			y = yearsOf(ph.TakenFrom + " – " + ph.TakenTo)
		}
		if n[y] == nil {
			n[y] = &yearBar{Year: y}
			years = append(years, y)
		}
		if ph.Status == "rejected" {
			n[y].Rejected++
		} else {
			n[y].Used++
		}
	}
	sort.Strings(years)
	most := 1
	for _, b := range n {
		most = max(most, b.Used+b.Rejected)
	}
	for i, y := range years {
		if i > 0 { // years without any photo are years too
			var a, b int
			if _, err := fmt.Sscan(years[i-1], &a); err == nil {
				if _, err := fmt.Sscan(y, &b); err == nil && b-a <= 60 {
					for k := a + 1; k < b; k++ {
						p.PerYear = append(p.PerYear, yearBar{Year: fmt.Sprint(k)})
					}
				}
			}
		}
		b := *n[y]
		b.UsedW, b.RejW = 100*float64(b.Used)/float64(most), 100*float64(b.Rejected)/float64(most)
		if y == "" {
			b.Year = w.Say("undated")
		}
		p.PerYear = append(p.PerYear, b)
	}
}

// inOrder puts what is told of zones in the order of the page.
func inOrder[T any](p *page, rows []T, of func(T) (view, zone string)) []T {
	at := map[[2]string]int{}
	for i, z := range p.Zones {
		at[[2]string{z.View, z.ID}] = i
	}
	rows = slices.Clone(rows)
	slices.SortStableFunc(rows, func(a, b T) int {
		av, az := of(a)
		bv, bz := of(b)
		return cmp.Compare(at[[2]string{av, az}], at[[2]string{bv, bz}])
	})
	return rows
}

// controls sums up the readings of every stable surface: their list is as long as the survey, and stands in controls.csv.
func (p *page) controls() {
	for i, j := 0, 0; i < len(p.Set.Controls); i = j {
		c := p.Set.Controls[i]
		for j = i; j < len(p.Set.Controls) && p.Set.Controls[j].View == c.View && p.Set.Controls[j].Control == c.Control; j++ {
		}
		of := p.Set.Controls[i:j]
		l := controlLine{View: c.View, Control: c.Control}
		l.Readings, l.Middle, l.Most = sizes(of, func(c table.Control) float64 { return c.DE00 })
		var notes []string
		for _, o := range of {
			if o.Note != "" && !slices.Contains(notes, o.Note) {
				notes = append(notes, o.Note)
			}
		}
		l.Notes = strings.Join(notes, "; ")
		p.ControlLines = append(p.ControlLines, l)
	}
}

// opacities sets every zone's figures at the three limits of opacity side by side.
func (p *page) opacities() {
	for _, z := range p.Zones {
		if math.IsNaN(z.Latest.ScalePct) {
			continue
		}
		p.Opacities = append(p.Opacities, opacityLine{z.Title, z.LatestDay, z.Latest.Scale10Pct, z.Latest.ScalePct, z.Latest.Scale40Pct, z.First.Scale10Pct, z.First.ScalePct, z.First.Scale40Pct})
	}
	order := func(of func(opacityLine) float64) string {
		ls := append([]opacityLine(nil), p.Opacities...)
		sort.SliceStable(ls, func(i, j int) bool { return nanless(of(ls[i]), -1) > nanless(of(ls[j]), -1) })
		var names []string
		for _, l := range ls {
			names = append(names, l.Title)
		}
		return strings.Join(names, "\x00")
	}
	mid := order(func(l opacityLine) float64 { return l.At })
	p.SameOrder = mid == order(func(l opacityLine) float64 { return l.At10 }) && mid == order(func(l opacityLine) float64 { return l.At40 })
}

// sizes sums up figures by their number, their middle and their largest, sign aside; NaN is left out.
func sizes[T any](rows []T, of func(T) float64) (n int, middle, most float64) {
	var ds []float64
	for _, r := range rows {
		if d := of(r); !math.IsNaN(d) {
			ds = append(ds, math.Abs(d))
		}
	}
	if len(ds) == 0 {
		return 0, math.NaN(), math.NaN()
	}
	sort.Float64s(ds)
	m := ds[len(ds)/2]
	if len(ds)%2 == 0 {
		m = (ds[len(ds)/2-1] + ds[len(ds)/2]) / 2
	}
	return len(ds), m, ds[len(ds)-1]
}

// sizesIn words sizes, "" when there are none.
func sizesIn[T any](w words.Table, key string, rows []T, of func(T) float64) string {
	n, middle, most := sizes(rows, of)
	if n == 0 {
		return ""
	}
	return w.Say(key, n, table.Number(middle, 1), table.Number(most, 1))
}

// withoutPhoto words what leaving out each photo did to a finding.
func withoutPhoto(f Finding, w words.Table) string {
	if !f.Made {
		return w.Say("out.notmade")
	}
	l := f.LeftOut
	s := w.Say("out.range", probability(l.PLo), probability(l.PHi))
	if !math.IsNaN(l.EffectLo) && !math.IsNaN(l.EffectHi) {
		s += " " + w.Say("out.effect", table.Number(l.EffectLo, 2), l.LoWithout, bounded(l.EffectHi, w), l.HiWithout)
	}
	switch {
	case len(l.Changes)+len(l.NotMade) == 0:
		s += " " + w.Say("out.same")
	case len(l.Changes)+len(l.NotMade) > 6:
		s += " " + w.Say("out.many", len(l.Changes)+len(l.NotMade))
	default:
		s += " " + w.Say("out.changes", strings.Join(append(append([]string(nil), l.Changes...), l.NotMade...), ", "))
	}
	return s
}

func bounded(v float64, w words.Table) string {
	if math.IsInf(v, 1) {
		return w.Say("unbounded")
	}
	return table.Number(v, 2)
}

// probability writes a p-value, never as nothing.
func probability(p float64) string {
	switch {
	case math.IsNaN(p):
		return "–"
	case p < 0.0001:
		return "< 0.0001"
	case p < 0.01:
		return fmt.Sprintf("%.4f", p)
	}
	return fmt.Sprintf("%.3f", p)
}
