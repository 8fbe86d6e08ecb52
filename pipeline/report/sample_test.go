package report

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"math/rand"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"tilelapse/measure/order"
	"tilelapse/measure/plane"
	"tilelapse/pipeline/survey"
	"tilelapse/pipeline/table"
)

const (
	sampleW, sampleH, sampleTile = 960, 640, 40
)

// large is an invented survey big enough to show every part of the reports: two views of two zones, seven visits,
// losses, corrections, letters, prints and refused photos. One zone's title is hostile.
func large(t *testing.T) Input {
	t.Helper()
	nan := math.NaN()
	visits := []string{"2014-01-01", "2017-05-20", "2018-09-12", "2020-05-09", "2021-10-16", "2022-09-17", "2024-05-04"}
	s := &survey.Survey{
		Site: "Weir House Terrace", Opacity: 0.2, Report: survey.Report{Language: "en", Units: "metric"},
		Record: &survey.Record{From: "2016-01-01", To: "2024-12-31", Source: "the house's day book"},
		Upkeep: []survey.UpkeepRow{
			{Date: "2016-04-02", Work: "joints checked", Kind: "inspect"},
			{Date: "2017-03-01", Work: "yearly wash, as agreed", Kind: "due"},
			{Date: "2018-10-01", Work: "letter: please clean the lower rows", Kind: "asked", Zone: "low-1", Doc: "documents/letter-2018.txt"},
			{Date: "2019-02-11", Work: "will be looked at", Kind: "answered", Zone: "low-1"},
			{Date: "2020-07-11", Work: "ivy cut back"},
			{Date: "2021-04-01", Work: "letter: tiles loose", Kind: "asked", Zone: "top-2"},
			{Date: "2021-06-02", Until: "2021-06-04", Work: "scale softened with water and lifted with wooden tools", Kind: "clean", Zone: "top-1"},
		},
	}
	set := &table.Set{}
	in := Input{Survey: s, Version: "test", Set: set, Rule: order.Rule, Originals: strings.Repeat("0a", 32), Kinds: []string{"", "", "", "", "cut_back", "", ""}}
	for _, c := range order.Cautions() {
		in.Cautions = append(in.Cautions, Caution{c.Key, c.Text, c.Source})
	}
	for _, st := range order.Steps() {
		in.Steps = append(in.Steps, Steps{st.Trade, st.Texts})
	}
	for v := 1; v <= 2; v++ {
		id := fmt.Sprintf("view-%d", v)
		view := View{ID: id, W: sampleW, H: sampleH, Area: "few length lines", TilesFound: v == 2}
		for z, name := range []string{"top", "low"} {
			y := 40 + float64(z)*280
			view.Zones = append(view.Zones, Zone{ID: fmt.Sprintf("%s-%d", name, v), Title: map[string]string{"top": "Upper rows ", "low": "Lower rows "}[name] + string(rune('A'+v-1)),
				Rings: [][]plane.Point{{{X: 40, Y: y}, {X: 920, Y: y}, {X: 920, Y: y + 280}, {X: 40, Y: y + 280}}}})
		}
		if v == 2 {
			view.Zones[1].Title = hostile
		}
		for i := range 22 * 14 {
			x, y := 40+float64(i%22)*sampleTile, 40+float64(i/22)*sampleTile
			view.Tiles = append(view.Tiles, Tile{ID: fmt.Sprintf("t%03d", i), Zone: view.Zones[i/154].ID, Ring: []plane.Point{{X: x + 2, Y: y + 2}, {X: x + 38, Y: y + 2}, {X: x + 38, Y: y + 38}, {X: x + 2, Y: y + 38}}})
		}
		for n, day := range visits {
			when := day
			if n == 0 {
				when = "2014-01-01 – 2014-12-31"
			}
			view.Pictures = append(view.Pictures, Picture{Visit: day, When: when, JPEG: painted(t, view, int64(v), n), W: sampleW, H: sampleH})
			p := table.Photo{Photo: fmt.Sprintf("photos/%s/%s.jpg", day, id), Visit: day, TakenFrom: day, TakenTo: day, DateSource: "EXIF", View: id, Status: "used", Kind: "digital", OverlapPct: 97, AlignRMSPx: 0.41}
			if n == 0 {
				p.TakenTo, p.Kind, p.DateSource = "2014-12-31", "print", "archive.csv: back of the print"
			}
			set.Photos = append(set.Photos, p)
		}
		for z, zone := range view.Zones {
			for n, day := range visits {
				scale := float64(2+z*6) * float64(n) * (1 + 0.4*float64(v))
				if z == 0 && v == 1 && n >= 4 {
					scale -= 9
				}
				row := table.Zone{View: id, Zone: zone.ID, Visit: day, Photo: fmt.Sprintf("photos/%s/%s.jpg", day, id), ReadablePct: 92, AreaCm2: 24640, ScalePct: scale, ScaleLo: math.Max(0, scale-3), ScaleHi: scale + 3.5,
					OpacityPct: scale / 3, DriftDE00: 0.4 + 0.3*float64(n), DriftLo: 0.1 * float64(n), DriftHi: 1.4 + 0.3*float64(n), TilesTotal: 154, HiddenPct: 2, ColourBasis: "control", ScaleDetectable: 2.1, DriftDetectable: 0.9,
					Scale10Pct: scale * 1.3, Scale40Pct: scale * 0.6, GapCm2: 480, Notes: ""}
				if n == 0 || (n == 3 && z == 1) {
					row.ScalePct, row.ScaleLo, row.ScaleHi, row.DriftDE00, row.DriftLo, row.DriftHi, row.ColourBasis = nan, nan, nan, nan, nan, nan, "none"
					row.Scale10Pct, row.Scale40Pct, row.OpacityPct = nan, nan, nan
				}
				set.Zones = append(set.Zones, row)
			}
			set.Trends = append(set.Trends, table.Trend{View: id, Zone: zone.ID, Measure: "scale_pct", Visits: 6, From: visits[1], To: visits[6], SlopePerYear: 1.9 + float64(z), Lo: 1.1, Hi: 3.2 + float64(z), PTrend: 0.017, SameSeasonP: nan, Threshold: 25, Note: "only 6 visits: read the p-value with care (8 or more are usual)"})
			if zone.ID == "top-1" {
				set.Intervals = append(set.Intervals, table.Trend{View: id, Zone: zone.ID, Measure: "scale_pct removed", Visits: 2, SlopePerYear: nan, Lo: nan, Hi: nan, PTrend: nan, SameSeasonP: nan, Threshold: nan, Note: "2021-06-02 scale softened with water: 6.2 percentage points less on the next visit (2.0 to 10.1); growth after it: too few visits"},
					table.Trend{View: id, Zone: zone.ID, Measure: "scale_pct", Visits: 3, From: visits[1], To: visits[3], SlopePerYear: nan, Lo: nan, Hi: nan, PTrend: nan, SameSeasonP: nan, Threshold: nan, Note: "before 2021-06-02; too few visits: 3 measured, 4 needed for a slope"})
			}
			in.Else.Slopes = append(in.Else.Slopes, SlopeRange{id, zone.ID, 1.9, 1.4, 2.6, "photos/2017-05-20/" + id + ".jpg", "photos/2024-05-04/" + id + ".jpg"})
			in.Else.Baselines = append(in.Else.Baselines, BaselineChange{id, zone.ID, visits[6], "", "photos/2017-05-20/" + id + ".jpg", 2.2, 2.0, 1, 1, 4, 4})
			in.FirstLast = append(in.FirstLast, table.Compare{View: id, Zone: zone.ID, Visit: visits[6], Against: visits[1], CommonTiles: 120, CommonPct: 78, ScaleChange: 9 + float64(z), Lo: 5 - 7*float64(v-1)*float64(1-z), Hi: 13})
			set.Priorities = append(set.Priorities, table.Priority{Order: float64(len(set.Priorities) + 1), View: id, Zone: zone.ID, ScaleCm2: 4200, ScaleCm2Lo: 3500, ScaleCm2Hi: 5100, GrowthCm2: 410, TilesAtRisk: 7, HoursLo: 1.3, HoursHi: 1.9, CostLo: 60, CostHi: 85, Currency: "EUR", SinceUpkeepDays: nan,
				Why: "largest whitened area; 4200 cm² (3500 to 5100); grows by 410 cm² a year (200 to 600); 7 tiles beside gaps; no entry in the file (covers 2016-01-01 to 2024-12-31, from the house's day book)"})
			set.Repeat = append(set.Repeat, table.Repeat{View: id, Zone: zone.ID, Visit: visits[3], PhotoA: "a.jpg", PhotoB: "b.jpg", ScaleA: 10, ScaleB: 11 + float64(z), ScaleDiff: 1 + float64(z), DriftDE00: 0.4})
		}
		for i, tile := range view.Tiles {
			for n, day := range visits {
				st := stateOf(int64(v), i, n)
				set.Tiles = append(set.Tiles, table.Tile{View: id, Zone: tile.Zone, Tile: tile.ID, Visit: day, AreaPx: 1296, State: st, StateFinal: st, Confidence: 0.96, GapsBeside: float64(i % 3)})
			}
		}
		set.Controls = append(set.Controls, table.Control{View: id, Control: "coping", Visit: visits[3], DE00: 0.7})
		in.Views = append(in.Views, view)
	}
	for i, g := range []string{"barley", "chalk", "slate"} {
		set.Glazes = append(set.Glazes, table.Glaze{Glaze: g, Visit: visits[6], View: "view-1", Tiles: 60, DriftDE00: 0.6 + 1.7*float64(i), Lo: 0.3, Hi: 5, DL: 1, DA: -0.5 * float64(i), DB: 2 * float64(i), PaletteDE00: nan, RefL: 60 - 15*float64(i), RefA: 6, RefB: 34 - 22*float64(i)})
	}
	set.Photos = append(set.Photos, table.Photo{Photo: "photos/2021/" + hostile + ".jpg", Status: "rejected", Reason: "too blurred for this view: sharpness 0.04, needed 0.15"}, table.Photo{Photo: "photos/yard.jpg", Visit: "2021-10-16", Status: "rejected", Reason: "shows none of the views"})
	in.Findings = []Finding{
		{Question: "Were the tiles that were lost later more whitened before?", Answer: "These photographs do not tell whether more whitened tiles were lost more often: 9 of 80 sightings of more whitened tiles ended in a loss, 6 of 90 of the others; odds 1.8 times as high (95 % interval 0.5 to 6.3); p = 0.412, corrected for 5 tests p = 0.824.", Method: "Exact conditional test.", Limits: []string{"Association in these photographs; not a cause."}, Weaken: []string{"Losses taken out on purpose during recorded work."}, Made: true, LeftOut: LeftOut{PLo: 0.21, PHi: 0.77, EffectLo: 1.2, EffectHi: math.Inf(1), LoWithout: "photos/2017-05-20/view-1.jpg", HiWithout: "photos/2018-09-12/view-1.jpg"}},
		{Question: "Did losses lie next to earlier gaps?", Answer: "In these photographs tiles beside a gap were lost more often: 8 of 40 sightings of tiles beside a gap ended in a loss, 7 of 700 of the others; odds 24 times as high (95 % interval 7 to 80); p < 0.0001, corrected for 5 tests p = 0.0002.", Method: "Exact law of all permutations.", Limits: []string{"Association in these photographs; not a cause."}, Weaken: []string{"A stretch of wall that sheds tiles for another reason gives the same picture."}, Made: true, Told: true, LeftOut: LeftOut{PLo: 0.00002, PHi: 0.04, EffectLo: 9, EffectHi: 31, LoWithout: "photos/2022-09-17/view-1.jpg", HiWithout: "photos/2020-05-09/view-2.jpg", Changes: []string{"photos/2022-09-17/view-1.jpg"}}},
		{Question: "How long did tiles stay?", Answer: "Not made: no tile was followed.", LeftOut: LeftOut{PLo: nan, PHi: nan, EffectLo: nan, EffectHi: nan}},
	}
	in.Else.Prints = 2
	in.Else.WithoutPrints = []Answer{{in.Findings[0].Question, in.Findings[0].Answer, in.Findings[0].Answer}}
	for _, p := range set.Photos {
		in.Hashes = append(in.Hashes, Hash{p.Photo, strings.Repeat("c4", 32)})
	}
	return in
}

// stateOf is the made-up state of tile i on visit n.
func stateOf(seed int64, i, n int) string {
	r := rand.New(rand.NewSource(seed*1000 + int64(i)))
	gone := 99
	if k := r.Intn(30); k < 2 || i == 200 || i == 201 || i == 222 {
		gone = 1 + r.Intn(6)
	}
	switch {
	case i%22 > 18 && i/22 > 10 && n == 6:
		return "hidden"
	case i%22 == 0 && n == 5:
		return "outside"
	case gone <= n && r.Intn(5) == 0:
		return "offpalette"
	case gone <= n:
		return "missing"
	}
	return "present"
}

// lean is large with small pictures: quick to make a report of.
func lean(t *testing.T) Input {
	in := large(t)
	for i, v := range in.Views {
		for j, p := range v.Pictures {
			b, w, h, err := shrink(p.JPEG, 120, 80)
			require.NoError(t, err)
			in.Views[i].Pictures[j].JPEG, in.Views[i].Pictures[j].W, in.Views[i].Pictures[j].H = b, w, h
		}
	}
	return in
}

var walls sync.Map

// painted keeps painted walls: every test asks for the same.
func painted(t *testing.T, v View, seed int64, n int) []byte {
	key := [2]int64{seed, int64(n)}
	if b, ok := walls.Load(key); ok {
		return b.([]byte)
	}
	b := wall(t, v, seed, n)
	walls.Store(key, b)
	return b
}

// wall paints a view's tiles on a visit.
func wall(t *testing.T, v View, seed int64, n int) []byte {
	img := image.NewRGBA(image.Rect(0, 0, sampleW, sampleH))
	r := rand.New(rand.NewSource(seed))
	for i := range img.Pix {
		img.Pix[i] = 150
	}
	for i, tile := range v.Tiles {
		a := uint8(r.Intn(60))
		c := [][3]uint8{{196, 154, 62}, {70, 96, 128}, {222, 216, 200}, {44, 38, 36}}[(i/7+i%22/5)%4]
		white := min(1, float64(n)*float64(i/22)/140)
		if stateOf(seed, i, n) == "missing" {
			c, white = [3]uint8{96, 86, 78}, 0
		}
		for y := int(tile.Ring[0].Y); y < int(tile.Ring[2].Y); y++ {
			for x := int(tile.Ring[0].X); x < int(tile.Ring[2].X); x++ {
				k := white * math.Abs(math.Sin(float64(x)*0.11+float64(y)*0.02))
				mix := func(b uint8) uint8 { return uint8((1-k)*float64(max(b, a)-a/2) + k*236) }
				img.SetRGBA(x, y, color.RGBA{mix(c[0]), mix(c[1]), mix(c[2]), 255})
			}
		}
	}
	front := make([]bool, sampleW*sampleH)
	for y := 300; y < 600; y++ {
		for x := 820; x < 900; x++ {
			front[y*sampleW+x] = n == 6 && (x-860)*(x-860)*12 < (y-300)*300
		}
	}
	var keep [][][]plane.Point
	for _, z := range v.Zones {
		keep = append(keep, z.Rings)
	}
	var b bytes.Buffer
	require.NoError(t, jpeg.Encode(&b, Veil(Scene{Image: img, Front: front, Keep: keep}), &jpeg.Options{Quality: 88}))
	return b.Bytes()
}
