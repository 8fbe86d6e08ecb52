package report

import (
	"html/template"
	"math"
	"sort"

	"tilelapse/pipeline/report/words"
	"tilelapse/pipeline/table"
)

// MaxBytes bounds report.html: it must still open from a mail. Pictures are made smaller until it fits.
const MaxBytes = 15 << 20

// page is what the templates show.
type page struct {
	Input
	Site         string
	From, To     string
	Headlines    []headline
	Warnings     []string
	Zones        []zonePage
	Compare      []comparePage
	Gaps         []gapPage
	Priority     []priorityPage
	Glazes       []glazePage // whose drift is told, the largest first
	Untold       []glazePage // whose drift can't be told from none
	ToPalette    bool        // some glaze was held against its intended colour
	Upkeep       []upkeepLine
	Follow       []followLine
	Silent       []silentLine
	Shared       words.Shared // limits that tests have in common
	Record       string
	Rule         string // of the cleaning order
	Cautions     []words.Caution
	NoEntry      string
	PerYear      []yearBar
	Opacities    []opacityLine
	SameOrder    bool
	Rejected     []table.Photo
	Used         []table.Photo
	Repeat       []table.Repeat
	ControlLines []controlLine
	Tested       int // slopes shown with a p-value
	Metric       bool
	Sheets       []sheetPage

	frame  frame
	ranges map[[2]string][2]string // by view and visit: the days it may have been, of ranges only
}

type priorityPage struct {
	table.Priority
	ZoneTitle           string
	Area, Growth, Hours string
	Cost, Reason        string
}

type glazePage struct {
	table.Glaze
	Was, Now template.CSS
	Figure   string
	Size     string
}

// glazeTable is a table of glazes.
type glazeTable struct {
	Name      string
	Rows      []glazePage
	ToPalette bool
}

// newPage picks from the tables what the reports show.
func newPage(in Input, w words.Table) *page {
	p := &page{Input: in, Site: in.Survey.Site, Metric: in.Survey.Report.Units != "us"}
	for _, z := range in.Set.Zones {
		if p.From == "" || z.Visit < p.From {
			p.From = z.Visit
		}
		p.To = max(p.To, z.Visit)
	}
	for _, ph := range in.Set.Photos {
		if ph.Status == "rejected" {
			p.Rejected = append(p.Rejected, ph)
		} else {
			p.Used = append(p.Used, ph)
		}
	}
	p.Repeat = in.Set.Repeat
	p.dates()
	p.zones(w)
	p.gaps(w)
	p.priorities(w)
	p.glazes(w)
	p.upkeep(w)
	p.perYear(w)
	p.opacities()
	p.controls()
	p.Tested = p.tested()
	p.Else.Slopes = inOrder(p, p.Else.Slopes, func(s SlopeRange) (string, string) { return s.View, s.Zone })
	p.Else.Baselines = inOrder(p, p.Else.Baselines, func(b BaselineChange) (string, string) { return b.View, b.Zone })
	p.shared()
	p.summary(w)
	return p
}

// title returns the name of a zone shown to people.
func (p *page) title(view, zone string) string {
	for _, v := range p.Views {
		if v.ID != view {
			continue
		}
		for _, z := range v.Zones {
			if z.ID == zone && z.Title != "" {
				return z.Title
			}
		}
	}
	return zone
}

const cm2PerSqFt = 929.0304 // 30.48 cm squared, exact

const cm2PerSqIn = 6.4516 // 2.54 cm squared, exact

// unit picks the unit an area is told in: its cm², its name and its digits.
func (p *page) unit(cm2 float64) (size float64, name string, digits int) {
	a := math.Abs(cm2)
	switch {
	case p.Metric && a < 1000:
		return 1, p.Words.Say("unit.cm2"), 0
	case p.Metric && a < 100000:
		return 10000, p.Words.Say("unit.m2"), 2
	case p.Metric:
		return 10000, p.Words.Say("unit.m2"), 1
	case a < cm2PerSqFt:
		return cm2PerSqIn, p.Words.Say("unit.sqin"), 0
	case a < 10*cm2PerSqFt:
		return cm2PerSqFt, p.Words.Say("unit.sqft"), 1
	}
	return cm2PerSqFt, p.Words.Say("unit.sqft"), 0
}

// area writes an area in the report's units.
func (p *page) area(cm2 float64) string {
	if math.IsNaN(cm2) {
		return "–"
	}
	size, name, digits := p.unit(cm2)
	return table.Number(cm2/size, digits) + name
}

// areaSpan writes an area with its interval.
func (p *page) areaSpan(cm2, lo, hi float64) string {
	if math.IsNaN(cm2) || math.IsNaN(lo) || math.IsNaN(hi) {
		return p.area(cm2)
	}
	size, name, digits := p.unit(cm2)
	return p.Words.Say("span", table.Number(cm2/size, digits)+name, table.Number(lo/size, digits), table.Number(hi/size, digits))
}

func (p *page) priorities(w words.Table) {
	p.Cautions = w.Cautions()
	if len(p.Set.Priorities) > 0 {
		p.Rule = w.Rule(p.Plan)
	}
	for i, r := range p.Set.Priorities {
		q := priorityPage{Priority: r, ZoneTitle: p.title(r.View, r.Zone), Area: p.areaSpan(r.ScaleCm2, r.ScaleCm2Lo, r.ScaleCm2Hi), Growth: p.area(r.GrowthCm2), Reason: r.Why}
		if i < len(p.Plan.Places) {
			if z := p.Plan.Places[i].Zone; !math.IsNaN(r.GrowthCm2) {
				q.Growth = p.areaSpan(r.GrowthCm2, z.GrowthLo, z.GrowthHi)
			}
			q.Reason = w.Why(p.Plan.Places[i], p.areaSpan, p.Since[i])
		}
		q.Hours, q.Cost = "–", "–"
		if !math.IsNaN(r.HoursLo) {
			q.Hours = table.Number(r.HoursLo, 1) + " – " + table.Number(r.HoursHi, 1)
		}
		if !math.IsNaN(r.CostLo) {
			q.Cost = table.Number(r.CostLo, 0) + " – " + table.Number(r.CostHi, 0) + " " + r.Currency
		}
		p.Priority = append(p.Priority, q)
	}
}

// glazes shows the latest visit's drift of each glaze as two swatches.
func (p *page) glazes(w words.Table) {
	latest := map[string]table.Glaze{}
	var keys []string
	for _, g := range p.Set.Glazes {
		k := g.View + "\x00" + g.Glaze
		if _, ok := latest[k]; !ok {
			keys = append(keys, k)
		}
		if !math.IsNaN(g.DriftDE00) && g.Visit >= latest[k].Visit {
			latest[k] = g
		}
	}
	sort.Strings(keys)
	for _, k := range keys {
		g := latest[k]
		if g.Glaze == "" || math.IsNaN(g.RefL) {
			continue
		}
		p.ToPalette = p.ToPalette || !math.IsNaN(g.PaletteDE00)
		one := glazePage{
			Glaze: g, Was: swatch(g.RefL, g.RefA, g.RefB), Now: swatch(g.RefL+g.DL, g.RefA+g.DA, g.RefB+g.DB),
			Figure: table.Number(g.DriftDE00, 1), Size: w.Say("drift." + driftSize(g)),
		}
		if !math.IsNaN(g.Lo) && !math.IsNaN(g.Hi) {
			one.Figure = span(w, g.DriftDE00, g.Lo, g.Hi, "")
		}
		if told(g) {
			p.Glazes = append(p.Glazes, one)
		} else {
			p.Untold = append(p.Untold, one)
		}
	}
	sort.SliceStable(p.Glazes, func(i, j int) bool { return p.Glazes[i].DriftDE00 > p.Glazes[j].DriftDE00 })
}

// less compares pairs of keys in turn.
func less(keys ...string) bool {
	for i := 0; i+1 < len(keys); i += 2 {
		if keys[i] != keys[i+1] {
			return keys[i] < keys[i+1]
		}
	}
	return false
}
