package pipeline

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"tilelapse/measure/associate"
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
	lost  []trend.Point

	tiles  []int // indices of the zone's tiles
	area   []float64
	read   [][]bool    // visit x tile
	values [][]float64 // visit x tile, whitened share in percent
	entry  []trend.Entry
	common trend.CommonSet
}

// developments fills the tables of time: trends, intervals between upkeep entries, cleaning order, and the findings of
// the report. Nothing of it goes back into a measured figure.
func (r *run) developments() {
	record := recordOf(r.survey.Record)
	var growths []associate.Growth
	var zones []order.Zone
	for _, v := range r.views {
		for k := range v.spec.Zones {
			z := r.zoneSeries(v, k)
			pts := z.scale
			var note string
			if z.common.Comparable() {
				pts = trend.Restrict(z.common, z.values, z.area, z.scale)
			} else if len(z.used) > 1 {
				pts, note = nil, trend.Note{Code: trend.NotComparable}.String()
			}
			r.trendRows(z, "scale_pct", pts, scaleThreshold, note, len(z.common.Dropped))
			r.trendRows(z, "drift_de00", z.drift, driftThreshold, "", 0)
			r.trendRows(z, "tiles_missing", z.lost, nan, "", 0)
			r.cleaningRows(z, pts)
			growths = append(growths, associate.Growths(v.view.ID, v.spec.Zones[k].ID, pts, z.entry, record)...)
			zones = append(zones, r.orderZone(z, pts, record))
		}
	}
	r.prioritise(zones)
	r.associate(growths)
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

func entriesOf(us []survey.UpkeepRow) []trend.Entry {
	var es []trend.Entry
	for _, u := range us {
		s, err := trend.ParseSpan(u.Date, u.Until)
		if err != nil {
			continue // the survey refused what is no date
		}
		kind := u.Kind
		if kind == "" {
			kind = kindFromWords(u.Work)
		}
		es = append(es, trend.Entry{When: s, Zone: u.Zone, Kind: kind, Work: u.Work})
	}
	return es
}

// kindFromWords reads the kind of an entry from its words when the user's file has no column for it.
func kindFromWords(work string) string {
	w := strings.ToLower(work)
	for _, k := range []struct{ kind, words string }{
		{"replace", "replace"}, {"regrout", "regrout"}, {"repair", "repair"}, {"inspect", "inspect"},
		{"clean", "clean brush descale soften rinse wipe wash scrub"}, {"cut_back", "cut back prune trim"},
	} {
		for _, s := range strings.Fields(k.words) {
			if strings.Contains(w, s) {
				return k.kind
			}
		}
	}
	return ""
}

func (r *run) zoneSeries(v *viewResult, k int) *zoneSeries {
	z := &zoneSeries{view: v, zone: k, entry: trend.ForZone(entriesOf(r.survey.Upkeep), v.spec.Zones[k].ID)}
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
		z.used = append(z.used, i)
		res := v.results[i].Zones[k]
		z.scale = append(z.scale, trend.Point{When: when, Value: res.ScalePct, Lo: res.ScaleLo, Hi: res.ScaleHi})
		z.drift = append(z.drift, trend.Point{When: when, Value: res.DriftDE00, Lo: res.DriftLo, Hi: res.DriftHi})
		missing, _ := r.finalCounts(v, i, k)
		z.lost = append(z.lost, trend.Point{When: when, Value: missing, Lo: nan, Hi: nan})
		read, values := make([]bool, len(z.tiles)), make([]float64, len(z.tiles))
		of := tilesOf(v, i)
		for j, t := range z.tiles {
			values[j] = nan
			if at, ok := of[t]; ok {
				values[j] = v.results[i].Tiles[at].ScalePct
			}
			read[j] = !math.IsNaN(values[j])
		}
		z.read, z.values = append(z.read, read), append(z.values, values)
	}
	z.common = trend.Common(z.read, z.area)
	return z
}

// tilesOf indexes a photo's tile results by tile.
func tilesOf(v *viewResult, i int) map[int]int {
	of := make(map[int]int, len(v.results[i].Tiles))
	for at, t := range v.results[i].Tiles {
		of[t.Tile] = at
	}
	return of
}

func (r *run) trendRows(z *zoneSeries, measure string, pts []trend.Point, threshold float64, note string, dropped int) {
	row := table.Trend{View: z.view.view.ID, Zone: z.view.spec.Zones[z.zone].ID, Measure: measure}
	t := trend.Summarise(pts, threshold)
	whole := fillTrend(row, t)
	if note != "" {
		whole.Note = note
	} else {
		if dropped > 0 {
			t.Notes = append(t.Notes, trend.Note{Code: trend.VisitsDropped, Args: []any{dropped}})
		}
		t.Across(z.entry)
		whole.Note = notes(t.Notes)
	}
	r.set.Trends = append(r.set.Trends, whole)
	stretches := trend.Stretches(pts, z.entry, threshold)
	if len(stretches) < 2 {
		return
	}
	for _, s := range stretches {
		piece := fillTrend(row, s.Trend)
		if math.IsNaN(piece.SlopePerYear) {
			piece.SlopePerYear, piece.Lo, piece.Hi = s.PerYear, s.PerLo, s.PerHi
		}
		piece.Note = strings.TrimPrefix(between(s)+"; "+notes(s.Trend.Notes), "; ")
		r.set.Intervals = append(r.set.Intervals, piece)
	}
}

// between words the upkeep entries at the ends of a stretch.
func between(s trend.Stretch) string {
	var w []string
	if len(s.After) > 0 {
		w = append(w, "after "+entryWords(s.After))
	}
	if len(s.Before) > 0 {
		w = append(w, "before "+entryWords(s.Before))
	}
	return strings.Join(w, ", ")
}

func entryWords(es []trend.Entry) string {
	var w []string
	for _, e := range es {
		w = append(w, strings.TrimSpace(e.When.String()+" "+e.Work))
	}
	return strings.Join(w, " and ")
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

func notes(ns []trend.Note) string { return strings.Join(notesWords(ns), "; ") }

// cleaningRows adds what each cleaning removed and how fast it came back.
func (r *run) cleaningRows(z *zoneSeries, pts []trend.Point) {
	for _, c := range trend.Cleanings(pts, z.entry, nil) {
		row := table.Trend{
			View: z.view.view.ID, Zone: z.view.spec.Zones[z.zone].ID, Measure: "scale_pct removed", Visits: 2,
			From: trend.ISO(c.BeforeVisit.From), To: trend.ISO(c.AfterVisit.To), SlopePerYear: c.PerYear, Lo: c.PerLo, Hi: c.PerHi,
			PTrend: nan, SameSeasonP: nan, Threshold: nan,
		}
		if !math.IsNaN(c.Regrowth.PerUnit) {
			row.SlopePerYear, row.Lo, row.Hi = c.Regrowth.PerUnit, c.Regrowth.Lo, c.Regrowth.Hi
		}
		words := []string{fmt.Sprintf("%s: %s percentage points less on the next visit (%s to %s); the slope is the growth after it",
			entryWords(c.Entries), table.Number(c.Removed, 1), orUnknown(c.Lo), orUnknown(c.Hi))}
		row.Note = strings.Join(append(words, notesWords(c.Notes)...), "; ")
		r.set.Intervals = append(r.set.Intervals, row)
	}
}

func orUnknown(v float64) string {
	if math.IsNaN(v) {
		return "not known"
	}
	return table.Number(v, 1)
}

func notesWords(ns []trend.Note) []string {
	var w []string
	for _, n := range ns {
		w = append(w, n.String())
	}
	return w
}

// orderZone gathers what the cleaning order wants to know of a zone, from its last visit that was read.
func (r *run) orderZone(z *zoneSeries, pts []trend.Point, record trend.Record) order.Zone {
	v := z.view
	id := v.spec.Zones[z.zone].ID
	o := order.Zone{View: v.view.ID, ID: id, Title: zoneTitle(v.view, id), Cm2: nan, Cm2Lo: nan, Cm2Hi: nan, Pct: nan, PctLo: nan, PctHi: nan,
		Told: nan, Growth: nan, GrowthLo: nan, GrowthHi: nan, SinceDays: nan}
	last := -1
	for n, i := range z.used {
		if !math.IsNaN(v.results[i].Zones[z.zone].ScalePct) {
			last = n
		}
	}
	if len(z.used) > 0 {
		i := z.used[len(z.used)-1]
		o.AtRisk, o.Missing = r.atRisk(v, i, z.zone)
		day := z.scale[len(z.scale)-1].When.To
		since := trend.SinceWork(z.entry, day, record)
		o.SinceDays, o.Since = since.Days, since.Note
	}
	if last < 0 {
		return o
	}
	res := v.results[z.used[last]].Zones[z.zone]
	area := v.area.sum(v.zoneTiles(z.zone)) * math.Max(0, res.ReadablePct-res.GapPct) / 100
	o.Visit = v.photos[z.used[last]].visit()
	o.Pct, o.PctLo, o.PctHi, o.Told = res.ScalePct, res.ScaleLo, res.ScaleHi, res.ScaleDetectable
	o.Cm2, o.Cm2Lo, o.Cm2Hi = area*res.ScalePct/100, area*res.ScaleLo/100, area*res.ScaleHi/100
	per := area / 100
	if math.IsNaN(area) {
		per = 1
	}
	if ss := trend.Stretches(pts, z.entry, nan); len(ss) > 0 {
		s := ss[len(ss)-1]
		if !math.IsNaN(s.Trend.Slope) {
			o.Growth, o.GrowthLo, o.GrowthHi = s.Trend.Slope*per, s.Trend.Lo*per, s.Trend.Hi*per
		} else {
			o.Growth, o.GrowthLo, o.GrowthHi = s.PerYear*per, s.PerLo*per, s.PerHi*per
		}
	}
	return o
}

func zoneTitle(v *survey.View, id string) string {
	if v.Drawing != nil {
		for _, s := range v.Drawing.Zones {
			if s.ID == id && s.Title != "" {
				return s.Title
			}
		}
	}
	return id
}

// atRisk counts a zone's tiles that are there and have a missing neighbour, and its missing tiles, after corrections.
func (r *run) atRisk(v *viewResult, i, zone int) (risk, missing int) {
	state := map[int]string{}
	for _, t := range v.results[i].Tiles {
		state[t.Tile] = r.final(v, i, t)
	}
	for t, s := range state {
		if v.model.ZoneOf(t) != zone {
			continue
		}
		if s == "missing" {
			missing++
			continue
		}
		for _, n := range v.graph[t] {
			if state[n] == "missing" {
				risk++
				break
			}
		}
	}
	return risk, missing
}

func (r *run) prioritise(zones []order.Zone) {
	var rates order.Rates
	if c := r.survey.Cleaning; c != nil {
		rates = order.Rates{M2PerHour: c.M2PerHour, CostPerHour: c.CostPerHour, SetupHours: c.SetupHours, TileEach: c.TileEach, Currency: c.Currency}
	}
	plan := order.New(zones, rates)
	r.rule = plan.Rule
	for _, p := range plan.Places {
		growth := p.Zone.Growth
		if plan.Share {
			growth = nan // of the share, not an area
		}
		r.set.Priorities = append(r.set.Priorities, table.Priority{
			Order: float64(p.Order), View: p.Zone.View, Zone: p.Zone.ID, ScaleCm2: p.Zone.Cm2, ScaleCm2Lo: p.Zone.Cm2Lo, ScaleCm2Hi: p.Zone.Cm2Hi,
			GrowthCm2: growth, TilesAtRisk: float64(p.Zone.AtRisk), HoursLo: p.HoursLo, HoursHi: p.HoursHi, CostLo: p.CostLo, CostHi: p.CostHi,
			Currency: rates.Currency, SinceUpkeepDays: p.Zone.SinceDays, Why: p.Why,
		})
	}
}

// associate runs the fixed list of tests, with everything and with each photo left out.
func (r *run) associate(growths []associate.Growth) {
	var keys []string
	for _, v := range r.views {
		for _, p := range v.photos {
			if p.status == statusUsed && p.visit() != "" {
				keys = append(keys, p.rel)
			}
		}
	}
	sort.Strings(keys)
	opt := associate.DefaultOptions()
	quick := opt
	quick.Permutations = 999 // 0.001 is fine enough to see whether a finding hangs on one photo
	sens := associate.LeaveOut(keys, func(without string) []associate.Result {
		o := quick
		if without == "" {
			o = opt
		}
		var views []associate.View
		for _, v := range r.views {
			views = append(views, r.history(v, without))
		}
		return associate.Tests(views, growths, o)
	})
	for _, s := range sens {
		r.findings = append(r.findings, s)
	}
}

// history is a view's tiles over the reported visits, as the association tests read them.
func (r *run) history(v *viewResult, without string) associate.View {
	out := associate.View{ID: v.view.ID}
	var used []int
	for i, p := range v.photos {
		if p.status != statusUsed || p.rel == without {
			continue
		}
		if s, err := trend.ParseSpan(p.taken.From, p.taken.To); err == nil {
			used = append(used, i)
			out.Visits = append(out.Visits, s)
		}
	}
	at := make([]map[int]int, len(used))
	for n, i := range used {
		at[n] = tilesOf(v, i)
	}
	for t, tile := range v.tiles {
		h := associate.Tile{ID: tile.ID, Y: tile.Centroid.Y, Neighbours: v.graph[t]}
		if z := v.model.ZoneOf(t); z >= 0 {
			h.Zone = v.spec.Zones[z].ID
		}
		for n, i := range used {
			state, scale := "", nan
			if k, ok := at[n][t]; ok {
				res := v.results[i].Tiles[k]
				state, scale = r.final(v, i, res), res.ScalePct
			}
			h.States = append(h.States, associate.State(state))
			h.Scale = append(h.Scale, scale)
		}
		out.Tiles = append(out.Tiles, h)
	}
	return out
}
