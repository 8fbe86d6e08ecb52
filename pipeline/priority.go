package pipeline

import (
	"math"

	"tilelapse/measure/order"
	"tilelapse/measure/trend"
	"tilelapse/pipeline/survey"
	"tilelapse/pipeline/table"
)

// orderZone gathers what the cleaning order wants to know of a zone, from its last visit that was read.
func (r *run) orderZone(z *zoneSeries, pts []trend.Point, record trend.Record) (o order.Zone, since string) {
	v := z.view
	id := v.spec.Zones[z.zone].ID
	o = order.Zone{View: v.view.ID, ID: id, Title: zoneTitle(v.view, id), Cm2: nan, Cm2Lo: nan, Cm2Hi: nan, Pct: nan, PctLo: nan, PctHi: nan,
		Told: nan, Growth: nan, GrowthLo: nan, GrowthHi: nan, SinceDays: nan}
	last := -1
	for n, i := range z.used {
		if !math.IsNaN(v.results[i].Zones[z.zone].ScalePct) {
			last = n
		}
	}
	o.Blind = true
	if len(z.used) > 0 {
		o.AtRisk, o.Missing, o.Blind = z.atRisk(r.lastSeen(v, z.used))
		day := z.scale[len(z.scale)-1].When.To
		last := trend.SinceWork(z.entry, day)
		o.SinceDays, since = last.Days, r.words.Since(last, record, day)
	}
	if last < 0 {
		return o, since
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
	if ss := trend.Stretches(pts, exceptWater(z.entry), nan); len(ss) > 0 {
		s := ss[len(ss)-1]
		if !math.IsNaN(s.Trend.Slope) {
			o.Growth, o.GrowthLo, o.GrowthHi = s.Trend.Slope*per, s.Trend.Lo*per, s.Trend.Hi*per
		} else {
			o.Growth, o.GrowthLo, o.GrowthHi = s.PerYear*per, s.PerLo*per, s.PerHi*per
		}
	}
	return o, since
}

// exceptWater leaves out that the water was turned off or on: growth a year goes across winters, and a stretch between two
// of them seldom holds two visits.
func exceptWater(es []trend.Entry) []trend.Entry {
	var out []trend.Entry
	for _, e := range es {
		if e.Kind != "water_off" && e.Kind != "water_on" {
			out = append(out, e)
		}
	}
	return out
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

// lastSeen gives the state of every tile of a view, after corrections and as far as last seen on the photos used: what is
// out of sight on the latest visit is not thereby whole. Tiles whose state was told on none are not in it.
func (r *run) lastSeen(v *viewResult, used []int) map[int]string {
	state := map[int]string{}
	for _, i := range used {
		for _, t := range v.results[i].Tiles {
			if s := r.final(v, i, t); isTold(s) {
				state[t.Tile] = s
			}
		}
	}
	return state
}

// atRisk counts a zone's tiles that are there and have a missing neighbour, in whatever zone, and its missing tiles;
// blind = the state of none of its tiles is known.
func (z *zoneSeries) atRisk(state map[int]string) (risk, missing int, blind bool) {
	blind = true
	for _, t := range z.tiles {
		s, known := state[t]
		if !known {
			continue
		}
		blind = false
		if s == "missing" {
			missing++
			continue
		}
		for _, n := range z.view.graph[t] {
			if state[n] == "missing" {
				risk++
				break
			}
		}
	}
	return risk, missing, blind
}

// prioritise fills the cleaning order; since says of every zone, by view and id, when work was last recorded.
func (r *run) prioritise(zones []order.Zone, since map[[2]string]string) {
	var rates order.Rates
	if c := r.survey.Cleaning; c != nil {
		rates = order.Rates{M2PerHour: c.M2PerHour, CostPerHour: c.CostPerHour, SetupHours: c.SetupHours, TileEach: c.TileEach, Currency: c.Currency}
	}
	plan := order.New(zones, rates)
	r.plan, r.since = plan, nil
	for _, p := range plan.Places {
		says := since[[2]string{p.Zone.View, p.Zone.ID}]
		r.since = append(r.since, says)
		growth, risk := p.Zone.Growth, float64(p.Zone.AtRisk)
		if p.Zone.Blind {
			risk = nan
		}
		if plan.Share {
			growth = nan // of the share, not an area
		}
		r.set.Priorities = append(r.set.Priorities, table.Priority{
			Order: float64(p.Order), View: p.Zone.View, Zone: p.Zone.ID, ScaleCm2: p.Zone.Cm2, ScaleCm2Lo: p.Zone.Cm2Lo, ScaleCm2Hi: p.Zone.Cm2Hi,
			GrowthCm2: growth, TilesAtRisk: risk, HoursLo: p.HoursLo, HoursHi: p.HoursHi, CostLo: p.CostLo, CostHi: p.CostHi,
			Currency: rates.Currency, SinceUpkeepDays: p.Zone.SinceDays, Why: r.words.Why(p, r.words.SquareCentimetres, says),
		})
	}
}
