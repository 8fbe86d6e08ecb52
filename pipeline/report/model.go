package report

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"html/template"
	"image"
	"image/jpeg"
	"math"
	"sort"
	"strings"

	"golang.org/x/image/draw"

	"tilelapse/pipeline/survey"
	"tilelapse/pipeline/table"
)

// MaxBytes bounds report.html: it must still open from a mail. Pictures are made smaller until it fits.
const MaxBytes = 15 << 20

// page is what the templates show.
type page struct {
	Input
	Site      string
	From, To  string
	Headlines []string
	Warnings  []string
	Zones     []zonePage
	Compare   []comparePage
	Gaps      []gapPage
	Priority  []priorityPage
	Glazes    []glazePage
	Upkeep    []upkeepLine
	Record    string
	PerYear   []yearBar
	Rejected  []table.Photo
	Used      []table.Photo
	Repeat    []table.Repeat
	Controls  []table.Control
	Metric    bool
	Unseen    []unseenLine
}

type zonePage struct {
	View, ID, Title string
	Latest          table.Zone
	Whitening       Chart
	Drift           Chart
	Losses          Chart
	Rows            []table.Zone
	Trends          []table.Trend
	Intervals       []table.Trend
}

type comparePage struct {
	View     string
	Pictures []shownPicture
	First    int
	Last     int
}

type shownPicture struct {
	Visit string
	URI   template.URL
	W, H  int
}

type gapPage struct {
	View   string
	W, H   int
	Back   template.URL
	Shapes []gapShape
	Rows   []gapRow
}

// TextSize is the height of numbers on the map, in its own units.
func (g gapPage) TextSize() float64 { return float64(max(g.W, g.H)) / 55 }

type gapShape struct {
	Points, Label string
	X, Y          float64
	Kind          string // missing or offpalette
}

type gapRow struct {
	No                        int
	Tile, Zone, Kind          string
	LastPresent, First, Final string
	Confidence                string
	Recorded                  string
	Why                       string
	Beside                    float64
	stillThere                bool
}

type priorityPage struct {
	table.Priority
	ZoneTitle           string
	Area, Growth, Hours string
	Cost                string
}

type glazePage struct {
	table.Glaze
	Was, Now template.CSS
	Figure   string
}

type upkeepLine struct{ Date, Zone, Kind, Work, Note, Doc string }

type yearBar struct {
	Year           string
	Used, Rejected int
	UsedW, RejW    float64
}

// newPage picks from the tables what the reports show.
func newPage(in Input, w words) (*page, error) {
	p := &page{Input: in, Site: in.Survey.Site, Metric: in.Survey.Report.Units != "us"}
	days := map[string]bool{}
	for _, z := range in.Set.Zones {
		days[z.Visit] = true
	}
	visits := make([]string, 0, len(days))
	for d := range days {
		visits = append(visits, d)
	}
	sort.Strings(visits)
	if len(visits) > 0 {
		p.From, p.To = visits[0], visits[len(visits)-1]
	}
	for _, ph := range in.Set.Photos {
		if ph.Status == "rejected" {
			p.Rejected = append(p.Rejected, ph)
		} else {
			p.Used = append(p.Used, ph)
		}
	}
	p.Repeat, p.Controls = in.Set.Repeat, in.Set.Controls
	p.zones(w)
	p.gaps(w)
	p.priorities(w)
	p.glazes(w)
	p.upkeep(w)
	p.perYear()
	p.headlines(w)
	p.unseen(w)
	return p, nil
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

func (p *page) zones(w words) {
	from, to := dayOf(p.From), dayOf(p.To)
	var rows []table.Zone
	flush := func() {
		if len(rows) == 0 {
			return
		}
		z := rows[0]
		zp := zonePage{View: z.View, ID: z.Zone, Title: p.title(z.View, z.Zone), Rows: rows, Latest: rows[len(rows)-1]}
		var scale, drift, lost []sample
		for _, r := range rows {
			d := dayOf(r.Visit)
			scale = append(scale, sample{d, r.ScalePct, r.ScaleLo, r.ScaleHi, r.Visit})
			drift = append(drift, sample{d, r.DriftDE00, r.DriftLo, r.DriftHi, r.Visit})
			lost = append(lost, sample{d, r.TilesMissing, math.NaN(), math.NaN(), r.Visit})
		}
		marks := p.marks(z.Zone, w)
		zp.Whitening = newChart(w.say("chart.whitening"), "%", scale, from, to, 5, marks)
		zp.Drift = newChart(w.say("chart.drift"), "ΔE00", drift, from, to, 3, marks)
		zp.Losses = newChart(w.say("chart.losses"), "", lost, from, to, 4, marks)
		for _, t := range p.Set.Trends {
			if t.View == z.View && t.Zone == z.Zone {
				zp.Trends = append(zp.Trends, t)
			}
		}
		for _, t := range p.Set.Intervals {
			if t.View == z.View && t.Zone == z.Zone {
				zp.Intervals = append(zp.Intervals, t)
			}
		}
		p.Zones = append(p.Zones, zp)
		rows = nil
	}
	for _, z := range p.Set.Zones {
		if len(rows) > 0 && (rows[0].View != z.View || rows[0].Zone != z.Zone) {
			flush()
		}
		rows = append(rows, z)
	}
	flush()
}

func dayOf(iso string) float64 { return days(iso) }

// marks are the upkeep entries for a zone, lettered by kind.
func (p *page) marks(zone string, w words) []Mark {
	var ms []Mark
	for _, u := range p.Survey.Upkeep {
		if u.Zone != "" && !strings.EqualFold(u.Zone, zone) {
			continue
		}
		ms = append(ms, Mark{X: days(u.Date), Sign: w.say("mark." + kindOf(u)), Label: u.Date + " " + u.Work})
	}
	return ms
}

// kindOf is an entry's kind, or "other" when the user gave none.
func kindOf(u survey.UpkeepRow) string {
	if u.Kind == "" {
		return "other"
	}
	return u.Kind
}

// gaps lists every tile once seen missing or off-palette, with when it was last seen present.
func (p *page) gaps(w words) {
	for _, v := range p.Views {
		ring := map[string]Tile{}
		for _, t := range v.Tiles {
			ring[t.ID] = t
		}
		g := gapPage{View: v.ID, W: v.W, H: v.H}
		if n := len(v.Pictures); n > 0 {
			g.Back = dataURI(v.Pictures[n-1].JPEG)
		}
		var rows []table.Tile
		flush := func() {
			if len(rows) == 0 {
				return
			}
			if r, ok := gapOf(rows); ok {
				r.No = len(g.Rows) + 1
				g.Rows = append(g.Rows, r)
				if t, ok := ring[r.Tile]; ok {
					s := gapShape{Kind: r.Kind, Label: fmt.Sprint(r.No)}
					var pts []string
					for _, q := range t.Ring {
						pts = append(pts, fmt.Sprintf("%.1f,%.1f", q.X, q.Y))
						s.X += q.X / float64(len(t.Ring))
						s.Y += q.Y / float64(len(t.Ring))
					}
					s.Points = strings.Join(pts, " ")
					g.Shapes = append(g.Shapes, s)
				}
			}
			rows = nil
		}
		for _, t := range p.Set.Tiles {
			if t.View != v.ID {
				continue
			}
			if len(rows) > 0 && rows[0].Tile != t.Tile {
				flush()
			}
			rows = append(rows, t)
		}
		flush()
		p.Gaps = append(p.Gaps, g)
	}
}

// gapOf sums up one tile's rows, in visit order: the first visit it was seen missing or off-palette.
func gapOf(rows []table.Tile) (gapRow, bool) {
	last := ""
	for _, t := range rows {
		switch t.State {
		case "present":
			last = t.Visit
		case "missing", "offpalette":
			end := rows[len(rows)-1]
			return gapRow{
				Tile: t.Tile, Zone: t.Zone, Kind: t.State, LastPresent: last, First: t.Visit, Final: end.StateFinal,
				Confidence: table.Number(t.Confidence, 2), Recorded: t.Recorded, Why: t.Why, Beside: t.GapsBeside,
			}, true
		}
	}
	return gapRow{}, false
}

func (p *page) area(cm2 float64) string {
	if math.IsNaN(cm2) {
		return "–"
	}
	if p.Metric {
		return table.Number(cm2/10000, 2) + " m²"
	}
	return table.Number(cm2/929.0304, 1) + " sq ft"
}

func (p *page) priorities(w words) {
	for _, r := range p.Set.Priorities {
		q := priorityPage{Priority: r, ZoneTitle: p.title(r.View, r.Zone)}
		q.Area = p.area(r.ScaleCm2)
		if !math.IsNaN(r.ScaleCm2Lo) {
			q.Area += " (" + p.area(r.ScaleCm2Lo) + " – " + p.area(r.ScaleCm2Hi) + ")"
		}
		q.Growth = p.area(r.GrowthCm2)
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
func (p *page) glazes(w words) {
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
	for _, k := range keys {
		g := latest[k]
		if g.Glaze == "" || math.IsNaN(g.RefL) {
			continue
		}
		p.Glazes = append(p.Glazes, glazePage{
			Glaze: g, Was: swatch(g.RefL, g.RefA, g.RefB), Now: swatch(g.RefL+g.DL, g.RefA+g.DA, g.RefB+g.DB),
			Figure: span(g.DriftDE00, g.Lo, g.Hi, ""),
		})
	}
}

func (p *page) upkeep(w words) {
	for _, u := range p.Survey.Upkeep {
		zone := u.Zone
		if zone == "" {
			zone = w.say("upkeep.everywhere")
		}
		date := u.Date
		if u.Until != "" && u.Until != u.Date {
			date += " – " + u.Until
		}
		p.Upkeep = append(p.Upkeep, upkeepLine{date, zone, w.say("kind." + kindOf(u)), u.Work, u.Note, u.Doc})
	}
	sort.SliceStable(p.Upkeep, func(i, j int) bool { return p.Upkeep[i].Date < p.Upkeep[j].Date })
	switch r := p.Survey.Record; {
	case r != nil && r.Source != "":
		p.Record = w.say("upkeep.record", orDash(r.From), orDash(r.To), r.Source)
	case r != nil:
		p.Record = w.say("upkeep.record", orDash(r.From), orDash(r.To), w.say("upkeep.nosource"))
	default:
		p.Record = w.say("upkeep.norecord")
	}
}

func orDash(s string) string {
	if s == "" {
		return "?"
	}
	return s
}

func (p *page) perYear() {
	n := map[string]*yearBar{}
	var years []string
	for _, ph := range p.Set.Photos {
		y := "undated"
		if len(ph.Visit) >= 4 {
			y = ph.Visit[:4]
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
	for _, y := range years {
		b := n[y]
		b.UsedW, b.RejW = 100*float64(b.Used)/float64(most), 100*float64(b.Rejected)/float64(most)
		p.PerYear = append(p.PerYear, *b)
	}
}

// headlines says the main things in plain sentences, each with its interval.
func (p *page) headlines(w words) {
	zs := append([]zonePage(nil), p.Zones...)
	sort.SliceStable(zs, func(i, j int) bool { return nanless(zs[i].Latest.ScalePct, -1) > nanless(zs[j].Latest.ScalePct, -1) })
	for i, z := range zs {
		if i == 3 || math.IsNaN(z.Latest.ScalePct) {
			break
		}
		first := z.Rows[0]
		for _, r := range z.Rows {
			if !math.IsNaN(r.ScalePct) {
				first = r
				break
			}
		}
		p.Headlines = append(p.Headlines, w.say("head.zone", z.Title, span(z.Latest.ScalePct, z.Latest.ScaleLo, z.Latest.ScaleHi, "%"), z.Latest.Visit,
			span(first.ScalePct, first.ScaleLo, first.ScaleHi, "%"), first.Visit))
	}
	var was, now, off float64
	for _, z := range p.Zones {
		was += nanless(z.Rows[0].TilesMissing, 0)
		now += nanless(z.Latest.TilesMissing, 0)
		off += nanless(z.Latest.TilesOffPalette, 0)
	}
	if len(p.Zones) > 0 {
		p.Headlines = append(p.Headlines, w.say("head.tiles", table.Number(now, 0), table.Number(was, 0), table.Number(off, 0)))
	}
	if len(p.Priority) > 0 {
		p.Headlines = append(p.Headlines, w.say("head.first", p.Priority[0].ZoneTitle, p.Priority[0].Why))
	}
	unread := 0
	for _, z := range p.Zones {
		if math.IsNaN(z.Latest.ScalePct) {
			unread++
			p.Warnings = append(p.Warnings, w.say("warn.unread", z.Title, z.Latest.Visit, orDash(z.Latest.Notes)))
		}
	}
	if len(p.Rejected) > 0 {
		p.Warnings = append(p.Warnings, w.say("warn.rejected", len(p.Rejected), len(p.Set.Photos)))
	}
}

func dataURI(jpg []byte) template.URL {
	return template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(jpg))
}

// pictures fills the comparison with pictures scaled to side px at most, so that all of them stay under budget bytes.
func (p *page) pictures(budget int) error {
	n := 0
	for _, v := range p.Views {
		n += len(v.Pictures)
	}
	side, quality := 1400, 82
	for ; ; side, quality = side*3/4, quality-4 {
		p.Compare = nil
		total := 0
		for i, v := range p.Views {
			c := comparePage{View: v.ID}
			for _, pic := range v.Pictures {
				b, w, h, err := shrink(pic.JPEG, side, quality)
				if err != nil {
					return fmt.Errorf("picture of view %s, visit %s: %w", v.ID, pic.Visit, err)
				}
				total += len(b) * 4 / 3
				c.Pictures = append(c.Pictures, shownPicture{pic.Visit, dataURI(b), w, h})
			}
			if len(c.Pictures) == 0 {
				continue
			}
			c.Last = len(c.Pictures) - 1
			p.Compare = append(p.Compare, c)
			p.Gaps[i].Back = c.Pictures[c.Last].URI
			total += len(c.Pictures[c.Last].URI)
		}
		if total <= budget || side < 300 {
			return nil
		}
	}
}

// shrink decodes a JPEG and encodes it again with its longer side at most side px.
func shrink(b []byte, side, quality int) ([]byte, int, int, error) {
	img, err := jpeg.Decode(bytes.NewReader(b))
	if err != nil {
		return nil, 0, 0, err
	}
	w, h := img.Bounds().Dx(), img.Bounds().Dy()
	if m := max(w, h); m > side {
		w, h = w*side/m, h*side/m
		small := image.NewRGBA(image.Rect(0, 0, w, h))
		draw.ApproxBiLinear.Scale(small, small.Bounds(), img, img.Bounds(), draw.Src, nil)
		img = small
	}
	var out bytes.Buffer
	err = jpeg.Encode(&out, img, &jpeg.Options{Quality: quality})
	return out.Bytes(), w, h, err
}

// unseenLine is a zone with tiles that something stood in front of at its latest visit.
type unseenLine struct {
	View, Zone, Since string
	Tiles             int
}

// unseen counts, per zone, the tiles hidden at the latest visit by the day they were last seen, longest ago first.
func (p *page) unseen(w words) {
	type key struct{ view, zone, since string }
	latest := map[string]string{}
	for _, z := range p.Set.Zones {
		latest[z.View+"\x00"+z.Zone] = max(latest[z.View+"\x00"+z.Zone], z.Visit)
	}
	n := map[key]int{}
	seen := ""
	for i, t := range p.Set.Tiles {
		if i == 0 || p.Set.Tiles[i-1].Tile != t.Tile || p.Set.Tiles[i-1].View != t.View {
			seen = ""
		}
		if t.State == "hidden" && t.Visit == latest[t.View+"\x00"+t.Zone] {
			n[key{t.View, t.Zone, seen}]++
		}
		if t.State != "hidden" && t.State != "unreadable" && t.State != "outside" {
			seen = t.Visit
		}
	}
	for k, c := range n {
		since := k.since
		if since == "" {
			since = w.say("gap.never")
		}
		p.Unseen = append(p.Unseen, unseenLine{k.view, p.title(k.view, k.zone), since, c})
	}
	sort.Slice(p.Unseen, func(i, j int) bool {
		a, b := p.Unseen[i], p.Unseen[j]
		return less(a.Since, b.Since, a.View, b.View, a.Zone, b.Zone)
	})
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
