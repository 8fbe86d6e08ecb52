package report

import (
	"math"
	"slices"
	"sort"
	"strings"

	"tilelapse/measure/order"
	"tilelapse/pipeline/report/words"
	"tilelapse/pipeline/table"
)

// sheetPage is the work sheet of one trade.
type sheetPage struct {
	Trade    string
	Plans    []gapPage
	Rows     []sheetRow
	Steps    []string
	Cautions []words.Caution
}

// sheetRow is a line to tick off.
type sheetRow struct {
	No, Zone, View string
	Tiles          int
	Blind          bool // how many is not known
	Area           string
	When           string // last seen, or first seen missing
	Why            string
}

// cautionsOf names the cautions that matter most to a trade: a sheet that says everything is not read.
var cautionsOf = map[string][]string{
	"gardener":    {"conservator", "acid", "chlorine", "abrasion", "pump", "slips", "loose", "water", "rules"},
	"tiler":       {"conservator", "acid", "pump", "slips", "loose", "lead", "rules"},
	"conservator": {"acid", "chlorine", "pump", "slips", "aerosol", "loose", "water", "lead", "rules", "cause"},
}

// sheets fills the work sheets.
func (p *page) sheets(w words.Table) {
	for _, trade := range order.Trades() {
		s := sheetPage{Trade: trade, Steps: w.Steps(trade)}
		for _, c := range p.Cautions {
			if slices.Contains(cautionsOf[trade], c.Key) {
				s.Cautions = append(s.Cautions, c)
			}
		}
		switch trade {
		case "gardener":
			p.hiddenSheet(&s, w)
		case "tiler":
			p.gapSheet(&s)
		case "conservator":
			p.zoneSheet(&s)
		}
		p.Sheets = append(p.Sheets, s)
	}
}

// tileAreas returns the cm² of one px² of every zone's tiles, by view and zone; NaN where no length is known.
func (p *page) tileAreas() map[[2]string]float64 {
	px := map[[2]string]float64{}
	for i, t := range p.Set.Tiles {
		if i == 0 || p.Set.Tiles[i-1].Tile != t.Tile || p.Set.Tiles[i-1].View != t.View {
			px[[2]string{t.View, t.Zone}] += t.AreaPx
		}
	}
	out := map[[2]string]float64{}
	for _, z := range p.Zones {
		k := [2]string{z.View, z.ID}
		out[k] = z.Last.AreaCm2 / px[k]
	}
	return out
}

// gapSheet marks the tiles that are not there or of another colour, as far as last seen.
func (p *page) gapSheet(s *sheetPage) {
	cm2 := p.tileAreas()
	for _, g := range p.Gaps {
		shown := gapPage{View: g.View, W: g.W, H: g.H, Back: g.Back}
		still := map[int]bool{}
		rows := map[string]*sheetRow{}
		area := map[string]float64{}
		var order []string
		for _, r := range g.Rows {
			if r.Back() {
				continue
			}
			still[r.No] = true
			if r.Final != "missing" {
				continue
			}
			if rows[r.Zone] == nil {
				order = append(order, r.Zone)
				rows[r.Zone] = &sheetRow{Zone: p.title(g.View, r.Zone), View: g.View, When: r.First}
			}
			rows[r.Zone].Tiles++
			rows[r.Zone].When = min(rows[r.Zone].When, r.First)
			area[r.Zone] += r.AreaPx * cm2[[2]string{g.View, r.Zone}]
		}
		for _, sh := range g.Shapes {
			if still[sh.No] {
				shown.Shapes = append(shown.Shapes, sh)
			}
		}
		if len(still) > 0 {
			s.Plans = append(s.Plans, shown)
		}
		for _, z := range order {
			rows[z].Area, rows[z].When = p.area(area[z]), p.day(g.View, rows[z].When)
			s.Rows = append(s.Rows, *rows[z])
		}
	}
}

// firstClause keeps the head of a reason: a sheet has one line a zone, the report has the rest.
func firstClause(s string) string {
	head, _, _ := strings.Cut(s, ";")
	return head
}

func (p *page) zoneSheet(s *sheetPage) {
	no := map[[2]string]string{}
	for _, q := range p.Priority {
		no[[2]string{q.View, q.Zone}] = table.Number(q.Order, 0)
		s.Rows = append(s.Rows, sheetRow{No: table.Number(q.Order, 0), Zone: q.ZoneTitle, View: q.View, Tiles: int(nanless(q.TilesAtRisk, 0)), Blind: math.IsNaN(q.TilesAtRisk), Area: q.Area, Why: firstClause(q.Reason)})
	}
	for i, v := range p.Views {
		g := gapPage{View: v.ID, W: v.W, H: v.H, Back: p.Gaps[i].Back}
		for _, z := range v.Zones {
			for k, r := range z.Rings {
				sh := gapShape{Kind: "zone"}
				sh.Points, sh.X, sh.Y = outline(r)
				if k == 0 {
					sh.Size = float64(max(v.W, v.H)) / 26
					sh.Label = no[[2]string{v.ID, z.ID}]
				}
				g.Shapes = append(g.Shapes, sh)
			}
		}
		s.Plans = append(s.Plans, g)
	}
}

// hiddenSheet marks the tiles that something stood in front of at the latest visit, longest unseen first.
func (p *page) hiddenSheet(s *sheetPage, w words.Table) {
	type key struct{ view, zone, since string }
	latest := map[string]string{}
	for _, z := range p.Set.Zones {
		latest[z.View] = max(latest[z.View], z.Visit)
	}
	n, px := map[key]int{}, map[key]float64{}
	cm2 := p.tileAreas()
	hidden := map[[2]string]bool{}
	seen := ""
	for i, t := range p.Set.Tiles {
		if i == 0 || p.Set.Tiles[i-1].Tile != t.Tile || p.Set.Tiles[i-1].View != t.View {
			seen = ""
		}
		if t.Visit == latest[t.View] && t.StateFinal == "hidden" {
			k := key{t.View, t.Zone, seen}
			n[k]++
			px[k] += t.AreaPx
			hidden[[2]string{t.View, t.Tile}] = true
		}
		if t.StateFinal != "hidden" && t.StateFinal != "unreadable" && t.StateFinal != "outside" {
			seen = t.Visit
		}
	}
	var keys []key
	for k := range n {
		keys = append(keys, k)
	}
	sort.Slice(keys, func(i, j int) bool {
		a, b := keys[i], keys[j]
		return less(a.since, b.since, a.view, b.view, a.zone, b.zone)
	})
	for _, k := range keys {
		r := sheetRow{Zone: p.title(k.view, k.zone), View: k.view, Tiles: n[k], When: p.day(k.view, k.since), Area: p.area(px[k] * cm2[[2]string{k.view, k.zone}])}
		if r.When == "" {
			r.When = w.Say("gap.never")
		}
		s.Rows = append(s.Rows, r)
	}
	for i, v := range p.Views {
		g := gapPage{View: v.ID, W: v.W, H: v.H, Back: p.Gaps[i].Back}
		for _, t := range v.Tiles {
			if hidden[[2]string{v.ID, t.ID}] {
				sh := gapShape{Kind: "hidden"}
				sh.Points, sh.X, sh.Y = outline(t.Ring)
				g.Shapes = append(g.Shapes, sh)
			}
		}
		if len(g.Shapes) > 0 {
			s.Plans = append(s.Plans, g)
		}
	}
}
