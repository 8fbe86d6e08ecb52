package pipeline

import (
	"math"
	"strings"

	"tilelapse/measure"
	"tilelapse/measure/order"
	"tilelapse/measure/trend"
	"tilelapse/pipeline/survey"
	"tilelapse/pipeline/table"
)

// Thresholds whose date is worked out where a trend supports it (our choice: a quarter of the readable tile area, and a
// colour difference that is plain to see).
const (
	scaleThreshold = 25.0
	driftThreshold = 5.0
)

// zoneSeries is one zone over the reported visits: figures for the zone, and readings of its tiles.
type zoneSeries struct {
	view  *viewResult
	zone  int
	used  []int // indices of reported photos, by date
	scale []trend.Point
	drift []trend.Point
	when  []trend.Span

	tiles  []int // indices of the zone's tiles
	area   []float64
	read   [][]bool    // visit x tile: whitening was read
	values [][]float64 // visit x tile, whitened share in percent
	states [][]string  // visit x tile, after corrections
	entry  []trend.Entry
	common trend.CommonSet
}

// developments fills the tables of time: trends, intervals between upkeep entries, cleaning order, and the findings of
// the report. Nothing of it goes back into a measured figure.
func (r *run) developments() error {
	record := recordOf(r.survey.Record)
	var zones []order.Zone
	since := map[[2]string]string{}
	var all []*zoneSeries
	for _, v := range r.views {
		for k := range v.spec.Zones {
			z := r.zoneSeries(v, k)
			all = append(all, z)
			pts, note := z.whitening()
			r.trendRows(z, "scale_pct", pts, scaleThreshold, note)
			r.trendRows(z, "drift_de00", z.drift, driftThreshold, remark{})
			lost, note := z.losses()
			r.trendRows(z, "tiles_missing", lost, nan, note)
			r.cleaningRows(z, pts)
			o, says := r.orderZone(z, pts, record)
			zones, since[[2]string{o.View, o.ID}] = append(zones, o), says
		}
	}
	r.prioritise(zones, since)
	return r.associate(all, record)
}

// remark is what is to be said of a series: either instead of a trend, or beside it.
type remark struct {
	instead []trend.Note
	beside  []trend.Note
}

// whitening returns the zone's whitened share on the tiles read on every visit kept, and what is to be said of it.
func (z *zoneSeries) whitening() ([]trend.Point, remark) {
	if z.common.Comparable() {
		say := remark{}
		if n := len(z.common.Dropped); n > 0 {
			say.beside = append(say.beside, trend.Note{Code: trend.VisitsDropped, Args: []any{n}})
		}
		return trend.Restrict(z.common, z.values, z.area, z.scale), say
	}
	if len(z.used) > 1 {
		return nil, remark{instead: []trend.Note{{Code: trend.NotComparable}}}
	}
	return z.scale, remark{}
}

// losses counts missing tiles among those whose state is told on every visit kept: a zone that is partly out of frame or
// overgrown would else seem to have lost fewer.
func (z *zoneSeries) losses() ([]trend.Point, remark) {
	told := make([][]bool, len(z.used))
	for n, ss := range z.states {
		told[n] = make([]bool, len(ss))
		for j, s := range ss {
			told[n][j] = isTold(s)
		}
	}
	c := trend.Common(told, z.area)
	if !c.Comparable() {
		if len(z.used) > 1 {
			return nil, remark{instead: []trend.Note{{Code: trend.NotComparable}}}
		}
		return nil, remark{}
	}
	var pts []trend.Point
	for _, n := range c.Visits {
		missing := 0.0
		for _, j := range c.Tiles {
			if z.states[n][j] == string(measure.Missing) {
				missing++
			}
		}
		pts = append(pts, trend.Point{When: z.when[n], Value: missing, Lo: nan, Hi: nan})
	}
	say := remark{}
	if n := len(c.Dropped); n > 0 {
		say.beside = append(say.beside, trend.Note{Code: trend.VisitsDropped, Args: []any{n}})
	}
	if len(c.Tiles) < len(z.tiles) {
		say.beside = append(say.beside, trend.Note{Code: trend.CommonTiles, Args: []any{len(c.Tiles), len(z.tiles)}})
	}
	return pts, say
}

// isTold reports whether a state says if the tile is there.
func isTold(state string) bool {
	return state == string(measure.Present) || state == string(measure.Missing) || state == string(measure.OffPalette)
}

func recordOf(rec *survey.Record) trend.Record {
	if rec == nil {
		return trend.Unstated
	}
	out := trend.Unstated
	out.Source = rec.Source
	if s, err := trend.ParseSpan(rec.From, rec.To); err == nil && rec.From != "" && rec.To != "" {
		out.Covers = s
	}
	return out
}

func (r *run) entries() []trend.Entry {
	var es []trend.Entry
	for _, u := range r.survey.Upkeep {
		s, err := trend.ParseSpan(u.Date, u.Until)
		if err != nil {
			continue // the survey refused what is no date
		}
		kind := u.Kind
		if kind == "" {
			kind = r.kindFromWords(u.Work)
		}
		es = append(es, trend.Entry{When: s, Zone: u.Zone, Kind: kind, Work: u.Work})
	}
	return es
}

// kindFromWords reads the kind of an entry from its words when the user's file has no column for it, by the words of the
// report's language.
func (r *run) kindFromWords(work string) string {
	w := strings.ToLower(work)
	for _, kind := range []string{"replace", "regrout", "repair", "inspect", "clean", "cut_back"} {
		for _, s := range strings.Fields(r.words.Say("read." + kind)) {
			if strings.Contains(w, s) {
				return kind
			}
		}
	}
	return ""
}

func (r *run) zoneSeries(v *viewResult, k int) *zoneSeries {
	z := &zoneSeries{view: v, zone: k, entry: trend.ForZone(r.entries(), v.spec.Zones[k].ID)}
	for t, tile := range v.tiles {
		if v.model.ZoneOf(t) == k {
			z.tiles = append(z.tiles, t)
			z.area = append(z.area, tile.AreaPx)
		}
	}
	for i, p := range v.photos {
		if p.status != statusUsed || p.visit() == "" {
			continue
		}
		when, err := trend.ParseSpan(p.taken.From, p.taken.To)
		if err != nil {
			continue
		}
		z.used, z.when = append(z.used, i), append(z.when, when)
		res := v.results[i].Zones[k]
		z.scale = append(z.scale, trend.Point{When: when, Value: res.ScalePct, Lo: res.ScaleLo, Hi: res.ScaleHi})
		z.drift = append(z.drift, trend.Point{When: when, Value: res.DriftDE00, Lo: res.DriftLo, Hi: res.DriftHi})
		read, values, states := make([]bool, len(z.tiles)), make([]float64, len(z.tiles)), make([]string, len(z.tiles))
		of := tilesOf(v, i)
		for j, t := range z.tiles {
			values[j] = nan
			if at, ok := of[t]; ok {
				values[j] = v.results[i].Tiles[at].ScalePct
				states[j] = r.final(v, i, v.results[i].Tiles[at])
			}
			read[j] = !math.IsNaN(values[j])
		}
		z.read, z.values, z.states = append(z.read, read), append(z.values, values), append(z.states, states)
	}
	z.common = trend.Common(z.read, z.area)
	return z
}

// without returns the series with one photo left out, the series itself when the photo is not in it.
func (z *zoneSeries) without(rel string) *zoneSeries {
	for n, i := range z.used {
		if z.view.photos[i].rel != rel {
			continue
		}
		c := *z
		c.used, c.when = drop(z.used, n), drop(z.when, n)
		c.scale, c.drift = drop(z.scale, n), drop(z.drift, n)
		c.read, c.values, c.states = drop(z.read, n), drop(z.values, n), drop(z.states, n)
		c.common = trend.Common(c.read, c.area)
		return &c
	}
	return z
}

// drop returns a copy of a slice without its n-th element.
func drop[T any](s []T, n int) []T { return append(append(make([]T, 0, len(s)), s[:n]...), s[n+1:]...) }

// tilesOf indexes a photo's tile results by tile.
func tilesOf(v *viewResult, i int) map[int]int {
	of := make(map[int]int, len(v.results[i].Tiles))
	for at, t := range v.results[i].Tiles {
		of[t.Tile] = at
	}
	return of
}

// trendRows adds a series' row to trends, and its stretches between upkeep entries to intervals. A slope is given from
// trend.MinVisits visits on only; under that the note says what can be said.
func (r *run) trendRows(z *zoneSeries, measure string, pts []trend.Point, threshold float64, say remark) {
	row := table.Trend{View: z.view.view.ID, Zone: z.view.spec.Zones[z.zone].ID, Measure: measure}
	t := trend.Summarise(pts, threshold)
	whole := fillTrend(row, t)
	notes := say.instead
	if len(notes) == 0 {
		t.Across(z.entry)
		notes = append(t.Notes, say.beside...)
	}
	whole.Note = r.notes(notes)
	if r.trendNotes == nil {
		r.trendNotes = map[[3]string][]trend.Note{}
	}
	r.trendNotes[[3]string{row.View, row.Zone, measure}] = notes
	r.set.Trends = append(r.set.Trends, whole)
	stretches := trend.Stretches(pts, exceptWater(z.entry), threshold)
	if len(stretches) < 2 {
		return
	}
	for _, s := range stretches {
		piece := fillTrend(row, s.Trend)
		s.Trend.Across(z.entry)
		piece.Note = strings.TrimPrefix(r.words.Between(s)+"; "+r.notes(s.Trend.Notes), "; ")
		r.set.Intervals = append(r.set.Intervals, piece)
	}
}

func fillTrend(row table.Trend, t trend.Trend) table.Trend {
	row.Visits = float64(t.Visits)
	if t.Visits > 0 {
		row.From, row.To = trend.ISO(t.From.From), trend.ISO(t.To.To)
	}
	row.SlopePerYear, row.Lo, row.Hi = t.Slope, t.Lo, t.Hi
	row.PTrend, row.SameSeasonP = t.P, t.SameSeasonP
	row.Threshold, row.ReachedOn, row.ReachedLo, row.ReachedHi = t.Threshold, t.ReachedOn, t.ReachedLo, t.ReachedHi
	return row
}

// notes words remarks as one cell of a table.
func (r *run) notes(ns []trend.Note) string { return strings.Join(r.words.Notes(ns), "; ") }

// cleaningRows adds what each cleaning removed and how fast it came back.
func (r *run) cleaningRows(z *zoneSeries, pts []trend.Point) {
	for _, c := range trend.Cleanings(pts, exceptWater(z.entry), nil) {
		row := table.Trend{
			View: z.view.view.ID, Zone: z.view.spec.Zones[z.zone].ID, Measure: "scale_pct removed", Visits: 2,
			From: trend.ISO(c.BeforeVisit.From), To: trend.ISO(c.AfterVisit.To), SlopePerYear: c.Regrowth.PerUnit, Lo: c.Regrowth.Lo, Hi: c.Regrowth.Hi,
			PTrend: nan, SameSeasonP: nan, Threshold: nan,
		}
		row.Note = r.words.Cleaning(c)
		r.set.Intervals = append(r.set.Intervals, row)
	}
}
