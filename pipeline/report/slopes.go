package report

import (
	"math"
	"slices"
	"strings"

	"tilelapse/measure/trend"
	"tilelapse/pipeline/report/words"
	"tilelapse/pipeline/table"
)

// trendLine is a row of trends.csv or intervals.csv with its measure and remarks in words.
type trendLine struct {
	table.Trend
	Measure string
	Says    []string // of trends: remarks of this row alone
	Same    bool     // of trends: the same count on every visit
}

// standing are the remarks whose rule is said once above all slopes, or that the row shows by itself.
var standing = []trend.Code{
	trend.FewVisits, trend.NoTestAtFour, trend.NoInterval, trend.Widened, trend.NoForecastFew, trend.NoForecastFlat, trend.Forecast, trend.OpenEnd,
}

// measureOf names what a row of trends or intervals tells of.
func measureOf(t table.Trend, w words.Table) string {
	return w.Say("measure." + strings.ReplaceAll(t.Measure, " ", "_"))
}

// slopes are a zone's rows of trends with their remarks: those of every row are told once, beside the rows.
func (p *page) slopes(view, zone string, w words.Table) (lines []trendLine, shared []string) {
	said := map[string]int{}
	for _, t := range p.Set.Trends {
		if t.View != view || t.Zone != zone {
			continue
		}
		l := trendLine{Trend: t, Measure: measureOf(t, w)}
		for _, n := range p.Notes[[3]string{t.View, t.Zone, t.Measure}] {
			switch {
			case n.Code == trend.Unchanging:
				l.Same = true
			case !slices.Contains(standing, n.Code):
				says := w.Note(n)
				l.Says = append(l.Says, says)
				said[says]++
			}
		}
		lines = append(lines, l)
	}
	if len(lines) < 2 {
		return lines, nil
	}
	for i, l := range lines {
		lines[i].Says = slices.DeleteFunc(l.Says, func(s string) bool {
			common := said[s] == len(lines)
			if common && i == 0 {
				shared = append(shared, s)
			}
			return common
		})
	}
	return lines, shared
}

// tested counts the p-values of slopes that the report shows.
func (p *page) tested() int {
	n := 0
	for _, z := range p.Zones {
		for _, t := range z.Trends {
			if !math.IsNaN(t.PTrend) && !t.Same {
				n++
			}
		}
	}
	return n
}

// slopeWords words a slope with what is known of it.
func slopeWords(t trendLine, w words.Table) string {
	a := table.Number(t.SlopePerYear, 2)
	switch {
	case math.IsNaN(t.SlopePerYear):
		return ""
	case t.Same:
		return w.Say("trend.same")
	case math.IsNaN(t.Lo) || math.IsNaN(t.Hi):
		return w.Say("trend.slopeonly", a)
	case math.IsNaN(t.PTrend):
		return w.Say("trend.nop", a, table.Number(t.Lo, 2), table.Number(t.Hi, 2))
	}
	s := w.Say("trend.slope", a, table.Number(t.Lo, 2), table.Number(t.Hi, 2), probability(t.PTrend))
	if !math.IsNaN(t.SameSeasonP) {
		s += w.Say("trend.season", probability(t.SameSeasonP))
	}
	return s
}
