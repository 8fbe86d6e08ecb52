package report

import (
	"cmp"
	"math"
	"sort"
	"strings"

	"tilelapse/measure/order"
	"tilelapse/pipeline/report/words"
	"tilelapse/pipeline/table"
)

// summary says the main things in plain sentences, each with its interval, and what could not be told.
func (p *page) summary(w words.Table) {
	p.lead(w)
	p.glazeLead(w)
	p.tilesLead(w)
	p.sureLead(w)
	p.firstLead(w)
	p.togetherLead(w)
	for _, z := range p.Zones {
		switch {
		case math.IsNaN(z.Latest.ScalePct):
			p.Warnings = append(p.Warnings, w.Say("warn.never", z.Title))
		case z.Latest.Visit != z.Last.Visit:
			p.Warnings = append(p.Warnings, w.Say("warn.unread", z.Title, z.LastDay, z.LatestDay))
		}
	}
	untold := 0
	for _, z := range p.Zones {
		untold += z.Gone.Untold
	}
	if untold > 0 {
		p.Warnings = append(p.Warnings, w.Say("warn.untold", untold))
	}
	if len(p.Rejected) > 0 {
		p.Warnings = append(p.Warnings, w.Say("warn.rejected", len(p.Rejected), len(p.Set.Photos)))
	}
	if len(p.Repeat) == 0 {
		p.Warnings = append(p.Warnings, w.Say("warn.norepeat"))
	}
}

// togetherLead says what went together, and once for all of it that this shows no cause.
func (p *page) togetherLead(w words.Table) {
	told := false
	for _, f := range p.Findings {
		if !f.Told {
			continue
		}
		told = true
		p.headline(w, "together", sentence(f.Answer))
		if len(f.LeftOut.Changes)+len(f.LeftOut.NotMade) > 0 {
			p.headline(w, "together", w.Say("head.fragile"))
		}
	}
	if told {
		p.headline(w, "together", w.Say("head.together"))
	}
}

// sentence cuts an answer before its numbers.
func sentence(s string) string {
	if i := strings.Index(s, ":"); i > 0 {
		s = s[:i]
	}
	return strings.TrimSuffix(s, ".") + "."
}

// lead says which zone is whitened most, and which changed most since its first reading.
func (p *page) lead(w words.Table) {
	var zs []zonePage
	for _, z := range p.Zones {
		if !math.IsNaN(z.Latest.ScalePct) {
			zs = append(zs, z)
		}
	}
	if len(zs) == 0 {
		return
	}
	sort.SliceStable(zs, func(i, j int) bool { return zs[i].Latest.ScalePct > zs[j].Latest.ScalePct })
	top := zs[0]
	alike := 0
	for _, z := range zs[1:] {
		if z.Latest.ScaleHi >= top.Latest.ScaleLo {
			alike++
		}
	}
	s := w.Say("head.most", top.Title, span(w, top.Latest.ScalePct, top.Latest.ScaleLo, top.Latest.ScaleHi, "%"), top.LatestDay)
	if alike > 0 {
		s += " " + w.Say("head.alike", alike)
	}
	p.headline(w, "changed", s)
	var up, down, same, not int
	for _, z := range p.Zones {
		switch z.direction() {
		case 1:
			up++
		case -1:
			down++
		case 0:
			same++
		default:
			not++
		}
	}
	if up+down+same > 0 {
		p.headline(w, "changed", w.Say("head.changes", up, down, same, not))
	}
}

// direction is 1 for more whitening, -1 for less, 0 for no change that can be told, 2 for not known. A change smaller than
// what can be told from none on either visit is none that can be told, whatever its interval.
func (z zonePage) direction() int {
	c := z.Change
	if c == nil || math.IsNaN(c.ScaleChange) || math.IsNaN(c.Lo) || math.IsNaN(c.Hi) {
		return 2
	}
	switch {
	case math.Abs(c.ScaleChange) < z.least():
		return 0
	case c.Lo > 0:
		return 1
	case c.Hi < 0:
		return -1
	}
	return 0
}

// least is the smallest change that can be told from none on both visits, percentage points; 0 = not known.
func (z zonePage) least() float64 {
	return math.Max(nanless(z.First.ScaleDetectable, 0), nanless(z.Latest.ScaleDetectable, 0))
}

// changeWords says how whitening changed between the first and the latest reading of a zone.
func changeWords(z zonePage, w words.Table) string {
	c, first := z.Change, cmp.Or(z.FirstDay, z.First.Visit)
	if math.IsNaN(z.Latest.ScalePct) {
		return "–"
	}
	if z.First.Visit == z.Latest.Visit {
		return w.Say("change.one")
	}
	if c == nil || math.IsNaN(c.ScaleChange) {
		return w.Say("change.none", first)
	}
	by := table.Number(math.Abs(c.ScaleChange), 1)
	switch z.direction() {
	case 1:
		return w.Say("change.up", by, table.Number(c.Lo, 1), table.Number(c.Hi, 1), first)
	case -1:
		return w.Say("change.down", by, table.Number(-c.Hi, 1), table.Number(-c.Lo, 1), first)
	case 0:
		if least := z.least(); math.Abs(c.ScaleChange) < least {
			return w.Say("change.below", table.Number(c.ScaleChange, 1), first, table.Number(least, 1))
		}
		return w.Say("change.same", first, table.Number(c.Lo, 1), table.Number(c.Hi, 1))
	}
	return w.Say("change.bare", table.Number(c.ScaleChange, 1), first)
}

func (p *page) tilesLead(w words.Table) {
	missing, unseen, off, lost := 0, 0, 0, 0
	for _, z := range p.Zones {
		missing += z.Gone.Missing
		unseen += z.Gone.Unseen
		off += z.Gone.Off
	}
	from, to := "", ""
	for _, g := range p.Gaps {
		for _, r := range g.Rows {
			if r.Final == "missing" && r.LastPresent != "" {
				lost++
				if from == "" || r.LastPresent < from {
					from = r.LastPresent
				}
				to = max(to, p.until(g.View, r.First))
			}
		}
	}
	if len(p.Zones) == 0 {
		return
	}
	s := w.Say("head.tiles", missing+unseen)
	if unseen > 0 {
		s = w.Say("head.tiles.unseen", missing+unseen, unseen)
	}
	if lost > 0 {
		s += " " + w.Say("head.lost", lost, from, to)
	}
	if off > 0 {
		s += " " + w.Say("head.off", off)
	}
	p.headline(w, "tiles", s)
}

func (p *page) glazeLead(w words.Table) {
	if len(p.Glazes) == 0 {
		return
	}
	most := p.Glazes[0]
	p.headline(w, "changed", w.Say("head.glaze", most.Glaze.Glaze, most.View, most.Size, most.Figure, p.day(most.View, most.Visit)))
}

// told reports whether a glaze's drift can be told from none.
func told(g table.Glaze) bool { return !math.IsNaN(g.DriftDE00) && g.Lo >= 0.05 }

// driftSize is a key of the words for how plain a glaze's drift is (limits of common practice, no source).
func driftSize(g table.Glaze) string {
	switch {
	case math.IsNaN(g.Lo):
		return "unsure"
	case !told(g):
		return "untold"
	case g.DriftDE00 < 1:
		return "hardly"
	case g.DriftDE00 < 3:
		return "slight"
	}
	return "plain"
}

// headline is one point of the summary: what it is about, and its sentences.
type headline struct{ Label, Text string }

// headline adds a sentence to a point of the summary, points in the order they are first spoken of.
func (p *page) headline(w words.Table, point, text string) {
	label := w.Say("point." + point)
	for i, h := range p.Headlines {
		if h.Label == label {
			p.Headlines[i].Text += " " + text
			return
		}
	}
	p.Headlines = append(p.Headlines, headline{label, text})
}

// sureLead says how sure the figures are and how much of the work they speak of.
func (p *page) sureLead(w words.Table) {
	if len(p.Zones) == 0 {
		return
	}
	read := 0
	for _, z := range p.Zones {
		if !math.IsNaN(z.Latest.ScalePct) {
			read++
		}
	}
	p.headline(w, "sure", w.Say("head.sure", read, len(p.Zones)))
	if n, middle, most := sizes(p.Repeat, func(r table.Repeat) float64 { return r.ScaleDiff }); n > 0 {
		p.headline(w, "sure", w.Say("head.repeat", n, table.Number(middle, 1), table.Number(most, 1)))
	}
	p.headline(w, "sure", w.Say("head.cause"))
}

// firstLead says what to do first, with the cautions that must stand beside it.
func (p *page) firstLead(w words.Table) {
	if len(p.Plan.Places) == 0 || len(p.Priority) == 0 {
		return
	}
	first := p.Priority[0]
	switch {
	case p.Plan.Places[0].Reason.Class != order.ToClean:
		p.headline(w, "first", w.Say("head.nothing"))
	case math.IsNaN(first.ScaleCm2):
		p.headline(w, "first", w.Say("head.first.bare", first.ZoneTitle))
	default:
		p.headline(w, "first", w.Say("head.first", first.ZoneTitle, first.Area))
	}
	p.headline(w, "first", w.Say("head.caution"))
}
