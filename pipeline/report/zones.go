package report

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"tilelapse/measure/trend"
	"tilelapse/pipeline/report/words"
	"tilelapse/pipeline/table"
)

// zonePage is one zone over the visits.
type zonePage struct {
	View, ID, Title string
	Anchor          string
	Latest          table.Zone // the latest visit that read its whitening, else the latest
	Last            table.Zone // the latest visit
	First           table.Zone // the first visit that read its whitening, else the first
	LatestDay       string     // of these visits, as shown to people
	LastDay         string
	FirstDay        string
	Whitening       Chart
	Drift           Chart
	Losses          Chart
	Spark           Spark
	Rows            []zoneRow
	Trends          []trendLine
	Shared          []string // remarks on every row of Trends
	Intervals       []trendLine
	Change          *table.Compare // between the first and the latest reading, on tiles read in both; nil = one visit
	Gone            gone           // at the latest visit
	Since           string         // last recorded work, in flat words
	SinceDays       string         // and how long before the visit it was, "" = none on record
	Cleanings       []trendLine    // what each cleaning removed
}

// zoneRow is a visit's figures, and how many tiles are neither told on it nor seen missing before.
type zoneRow struct {
	table.Zone
	Untold int
}

// gone counts a zone's tiles that are not there.
type gone struct {
	Missing   int // seen missing on this visit
	Unseen    int // missing when last seen, not told on this visit
	Off       int // off-palette
	Untold    int // neither told on this visit nor seen missing before
	FirstGone int // missing on the first visit
}

// Total is how many tiles are missing as far as last seen.
func (g gone) Total() int { return g.Missing + g.Unseen }

func (p *page) zones(w words.Table) {
	p.frame = frame{words: w, from: days(p.From), to: days(p.To), covers: [2]float64{math.NaN(), math.NaN()}, coverage: w.Say("lane.covers")}
	for i, k := range []string{"due", "asked", "answered", "done"} {
		p.frame.lanes[i] = w.Say("lane." + k)
	}
	if r := p.Survey.Record; r != nil {
		p.frame.covers = [2]float64{days(r.From), days(r.To)}
		if math.IsNaN(p.frame.covers[1]) {
			p.frame.covers[0] = math.NaN()
		}
	}
	taken := map[string][2]string{}
	for _, ph := range p.Set.Photos {
		taken[ph.Photo] = [2]string{ph.TakenFrom, ph.TakenTo}
	}
	lost := p.losses()
	for i, j := 0, 0; i < len(p.Set.Zones); i = j {
		for j = i; j < len(p.Set.Zones) && p.Set.Zones[j].View == p.Set.Zones[i].View && p.Set.Zones[j].Zone == p.Set.Zones[i].Zone; j++ {
		}
		p.Zones = append(p.Zones, p.zone(w, p.Set.Zones[i:j], taken, lost))
	}
}

// zone makes one zone's page from its rows.
func (p *page) zone(w words.Table, rows []table.Zone, taken map[string][2]string, lost map[[3]string]gone) zonePage {
	z := rows[0]
	zp := zonePage{View: z.View, ID: z.Zone, Title: p.title(z.View, z.Zone), Anchor: fmt.Sprintf("zone-%d", len(p.Zones)+1)}
	zp.First, zp.Last = rows[0], rows[len(rows)-1]
	zp.Latest = zp.Last
	read := false
	var scale, drift, gaps []sample
	for _, r := range rows {
		if !math.IsNaN(r.ScalePct) {
			if !read {
				zp.First, read = r, true
			}
			zp.Latest = r
		}
		from, to := days(r.Visit), math.NaN()
		if t, ok := taken[r.Photo]; ok && t[1] != "" {
			to = days(t[1])
		}
		when := p.day(r.View, r.Visit)
		scale = append(scale, sample{from, to, r.ScalePct, r.ScaleLo, r.ScaleHi, when})
		drift = append(drift, sample{from, to, r.DriftDE00, r.DriftLo, r.DriftHi, when})
		g := lost[[3]string{r.View, r.Zone, r.Visit}]
		s := sample{from, to, float64(g.Total()), math.NaN(), math.NaN(), when}
		if g.Untold > 0 {
			s.visit += w.Say("untold", g.Untold)
		}
		if g.Unseen > 0 {
			s.lo, s.hi = float64(g.Missing), s.v
		}
		gaps = append(gaps, s)
		zp.Gone = g
		zp.Rows = append(zp.Rows, zoneRow{r, g.Untold})
	}
	zp.FirstDay, zp.LatestDay, zp.LastDay = p.day(z.View, zp.First.Visit), p.day(z.View, zp.Latest.Visit), p.day(z.View, zp.Last.Visit)
	entries := p.entries(z.Zone, w)
	zp.Whitening = newChart(w.Say("chart.whitening"), "%", scale, p.frame, 5, entries)
	zp.Drift = newChart(w.Say("chart.drift"), "ΔE00", drift, p.frame.bare(), 3, nil)
	zp.Losses = newChart(w.Say("chart.losses"), "", gaps, p.frame.bare(), 4, nil)
	zp.Spark = newSpark(scale, p.frame, 5)
	zp.Trends, zp.Shared = p.slopes(z.View, z.Zone, w)
	for _, t := range p.Set.Intervals {
		if t.View != z.View || t.Zone != z.Zone {
			continue
		}
		line := trendLine{Trend: t, Measure: measureOf(t, w)}
		if t.Measure == "scale_pct removed" {
			zp.Cleanings = append(zp.Cleanings, line)
		} else {
			zp.Intervals = append(zp.Intervals, line)
		}
	}
	for i, c := range p.FirstLast {
		if c.View == z.View && c.Zone == z.Zone {
			zp.Change = &p.FirstLast[i]
		}
	}
	if day, err := trend.Day(zp.Last.Visit); err == nil {
		since := trend.SinceWork(trend.ForZone(p.worked(), z.Zone), day)
		zp.Since = w.Since(since, p.record(), day)
		if !math.IsNaN(since.Days) {
			zp.SinceDays = w.Say("curves.days", int(since.Days))
		}
	}
	return zp
}

// bare is the frame without what the upkeep file covers: it is shown once beside the first chart.
func (f frame) bare() frame {
	f.covers = [2]float64{math.NaN(), math.NaN()}
	return f
}

// losses counts, per view, zone and visit, the tiles missing then, and those missing when last seen.
func (p *page) losses() map[[3]string]gone {
	out := map[[3]string]gone{}
	was := ""
	for i, t := range p.Set.Tiles {
		if i == 0 || p.Set.Tiles[i-1].Tile != t.Tile || p.Set.Tiles[i-1].View != t.View {
			was = ""
		}
		k := [3]string{t.View, t.Zone, t.Visit}
		g := out[k]
		switch t.StateFinal {
		case "missing":
			g.Missing++
			was = t.StateFinal
		case "offpalette":
			g.Off++
			was = t.StateFinal
		case "present":
			was = t.StateFinal
		default:
			if was == "missing" {
				g.Unseen++
			} else {
				g.Untold++
			}
		}
		out[k] = g
	}
	return out
}

// entries are the upkeep entries for a zone, in order of date, each in its lane.
func (p *page) entries(zone string, w words.Table) []entry {
	var es []entry
	for i, u := range p.Survey.Upkeep {
		if u.Zone != "" && !strings.EqualFold(u.Zone, zone) {
			continue
		}
		kind := p.kind(i)
		e := entry{day: days(u.Date), until: days(u.Until), lane: laneOf(kind), sign: w.Say("mark." + named(kind)), label: strings.TrimSpace(u.Date + " " + u.Work), work: trend.Entry{Kind: kind}.IsWork()}
		es = append(es, e)
	}
	sort.SliceStable(es, func(i, j int) bool { return es[i].day < es[j].day })
	return es
}

// laneOf is the lane of a kind of entry: 0 due, 1 asked, 2 answered, 3 everything else.
func laneOf(kind string) int {
	switch kind {
	case "due":
		return 0
	case "asked":
		return 1
	case "answered":
		return 2
	}
	return 3
}

// kind is the kind of the i-th upkeep entry: the user's own, else the one read from its words; "" = neither.
func (p *page) kind(i int) string {
	if k := p.Survey.Upkeep[i].Kind; k != "" || i >= len(p.Kinds) {
		return k
	}
	return p.Kinds[i]
}

// named is a kind of entry as a key of the words.
func named(kind string) string {
	if kind == "" {
		return "other"
	}
	return kind
}

// worked are the upkeep entries as trend reads them.
func (p *page) worked() []trend.Entry {
	var es []trend.Entry
	for i, u := range p.Survey.Upkeep {
		if s, err := trend.ParseSpan(u.Date, u.Until); err == nil {
			es = append(es, trend.Entry{When: s, Zone: u.Zone, Kind: p.kind(i), Work: u.Work})
		}
	}
	return es
}

// record is what period the upkeep file covers, as the user states it.
func (p *page) record() trend.Record {
	out := trend.Unstated
	if r := p.Survey.Record; r != nil {
		out.Source = r.Source
		if s, err := trend.ParseSpan(r.From, r.To); err == nil && r.From != "" && r.To != "" {
			out.Covers = s
		}
	}
	return out
}
