package pipeline

import (
	"math"

	"tilelapse/measure"
	"tilelapse/measure/trend"
	"tilelapse/pipeline/report"
	"tilelapse/pipeline/table"
)

// sensitivity asks the same photographs otherwise: growth with each visit left out, another baseline, prints excluded.
// What leaving out a photo does to the association tests is in the findings; the other limits of opacity are columns of
// zones.csv.
func (r *run) sensitivity() report.Sensitivity {
	var out report.Sensitivity
	for _, v := range r.views {
		for k := range v.spec.Zones {
			if s, ok := slopeRange(r.zoneSeries(v, k)); ok {
				out.Slopes = append(out.Slopes, s)
			}
		}
		out.Baselines = append(out.Baselines, r.otherBaseline(v)...)
	}
	for _, p := range r.photos {
		if p.status == statusUsed && p.kind != "digital" {
			out.Prints++
		}
	}
	for i, a := range r.withoutPrints {
		if i < len(r.findings) {
			out.WithoutPrints = append(out.WithoutPrints, report.Answer{Question: r.words.Finding(a).Question, With: r.words.Finding(r.findings[i].All).Answer, Without: r.words.Finding(a).Answer})
		}
	}
	return out
}

// slopeRange is a zone's growth of whitening with each visit left out; ok is false where there is no slope, or none left
// when a visit goes.
func slopeRange(z *zoneSeries) (report.SlopeRange, bool) {
	sum := func(z *zoneSeries) trend.Trend {
		pts, _ := z.whitening()
		return trend.Summarise(pts, nan)
	}
	all := sum(z)
	s := report.SlopeRange{View: z.view.view.ID, Zone: z.view.spec.Zones[z.zone].ID, Slope: all.Slope, Lo: all.Lo, Hi: all.Hi, Least: math.Inf(1), Most: math.Inf(-1)}
	if math.IsNaN(s.Slope) {
		return s, false
	}
	for _, i := range z.used {
		rel := z.view.photos[i].rel
		v := sum(z.without(rel)).Slope
		if math.IsNaN(v) {
			return s, false
		}
		if v < s.Least {
			s.Least, s.LeastWithout = v, rel
		}
		if v > s.Most {
			s.Most, s.Without = v, rel
		}
	}
	return s, len(z.used) > 0
}

// otherBaseline closes a view's figures again from another baseline: the first reported photo where the survey counts
// from the reference, the reference where it names a photo.
func (r *run) otherBaseline(v *viewResult) []report.BaselineChange {
	base, other := v.baseline(r.survey), -1
	last := -1
	for i, p := range v.photos {
		if p.status != statusUsed || p.visit() == "" {
			continue
		}
		if base < 0 && other < 0 && v.results[i].Basis != measure.BasisNone {
			other = i
		}
		last = i
	}
	if last < 0 || other == base || other == last {
		return nil
	}
	again := v.model.Close(v.readings, other)
	name := func(i int) string {
		if i < 0 {
			return ""
		}
		return v.photos[i].rel
	}
	var out []report.BaselineChange
	for k, z := range v.results[last].Zones {
		o := again[last].Zones[k]
		out = append(out, report.BaselineChange{
			View: v.view.ID, Zone: v.spec.Zones[z.Zone].ID, Visit: v.photos[last].visit(), Baseline: name(base), Other: name(other),
			Drift: z.DriftDE00, Lo: z.DriftLo, Hi: z.DriftHi, DriftOther: o.DriftDE00, OtherLo: o.DriftLo, OtherHi: o.DriftHi, Off: z.TilesOff, OffOther: o.TilesOff, Missing: z.TilesMissing, MissOther: o.TilesMissing,
		})
	}
	return out
}

// firstLast compares every zone's latest reading with its first, on the tiles read in both. Where the comparison bears no
// interval, those of the two readings are joined as independent errors.
func (r *run) firstLast() []table.Compare {
	var rows []table.Compare
	for _, v := range r.views {
		for k := range v.spec.Zones {
			first, last := -1, -1
			for i, p := range v.photos {
				if p.status == statusUsed && p.visit() != "" && !math.IsNaN(v.results[i].Zones[k].ScalePct) {
					if first < 0 {
						first = i
					}
					last = i
				}
			}
			if first == last {
				continue
			}
			for _, c := range v.compare(first, last, v.photos[first].visit()) {
				if c.Zone != v.spec.Zones[k].ID {
					continue
				}
				if math.IsNaN(c.Lo) || math.IsNaN(c.Hi) {
					a, b := v.results[first].Zones[k], v.results[last].Zones[k]
					d, lo, hi := trend.Difference(trend.Point{Value: a.ScalePct, Lo: a.ScaleLo, Hi: a.ScaleHi}, trend.Point{Value: b.ScalePct, Lo: b.ScaleLo, Hi: b.ScaleHi})
					c.Lo, c.Hi = c.ScaleChange+lo-d, c.ScaleChange+hi-d
				}
				rows = append(rows, c)
			}
		}
	}
	return rows
}
