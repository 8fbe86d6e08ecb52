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

	"tilelapse/measure/associate"
	"tilelapse/measure/order"
	"tilelapse/measure/plane"
	"tilelapse/measure/trend"
	"tilelapse/pipeline/report/words"
	"tilelapse/pipeline/survey"
	"tilelapse/pipeline/table"
	"tilelapse/register"
)

const (
	sampleW, sampleH, sampleTile = 960, 640, 40
)

// large is an invented survey big enough to show every part of the reports: two views of two zones, seven visits,
// losses, corrections, letters, prints and refused photos. One zone's title is hostile.
func large(t *testing.T) Input { return largeIn(t, english(t)) }

// largeIn is large in a language.
func largeIn(t *testing.T, w words.Table) Input {
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
	in := Input{Survey: s, Version: "test", Set: set, Words: w, Originals: strings.Repeat("0a", 32), Kinds: []string{"", "", "", "", "cut_back", "", ""}}
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
			set.Trends = append(set.Trends, table.Trend{View: id, Zone: zone.ID, Measure: "scale_pct", Visits: 6, From: visits[1], To: visits[6], SlopePerYear: 1.9 + float64(z), Lo: 1.1, Hi: 3.2 + float64(z), PTrend: 0.017, SameSeasonP: nan, Threshold: 25, Note: w.Note(trend.Note{Code: trend.FewVisits, Args: []any{6, 8}})})
			if zone.ID == "top-1" {
				set.Intervals = append(set.Intervals, table.Trend{View: id, Zone: zone.ID, Measure: "scale_pct removed", Visits: 2, SlopePerYear: nan, Lo: nan, Hi: nan, PTrend: nan, SameSeasonP: nan, Threshold: nan, Note: w.Cleaning(trend.Cleaning{Entries: []trend.Entry{{When: trend.Span{From: 18780, To: 18782}, Work: "soft wash"}}, Removed: 6.2, Lo: 2, Hi: 10.1, Regrowth: trend.Slope{PerUnit: nan}, PerYear: nan})},
					table.Trend{View: id, Zone: zone.ID, Measure: "scale_pct", Visits: 3, From: visits[1], To: visits[3], SlopePerYear: nan, Lo: nan, Hi: nan, PTrend: nan, SameSeasonP: nan, Threshold: nan, Note: w.Note(trend.Note{Code: trend.TooFewVisits, Args: []any{3, 4}})})
			}
			in.Else.Slopes = append(in.Else.Slopes, SlopeRange{id, zone.ID, 1.9, 1.1, 3.2, 1.4, 2.6, "photos/2017-05-20/" + id + ".jpg", "photos/2024-05-04/" + id + ".jpg"})
			in.Else.Baselines = append(in.Else.Baselines, BaselineChange{id, zone.ID, visits[6], "", "photos/2017-05-20/" + id + ".jpg", 2.2, 0.6, 4, 2.0, 0.5, 3.8, 1, 1, 4, 4})
			in.FirstLast = append(in.FirstLast, table.Compare{View: id, Zone: zone.ID, Visit: visits[6], Against: visits[1], CommonTiles: 120, CommonPct: 78, ScaleChange: 9 + float64(z), Lo: 5 - 7*float64(v-1)*float64(1-z), Hi: 13})
			set.Priorities = append(set.Priorities, table.Priority{Order: float64(len(set.Priorities) + 1), View: id, Zone: zone.ID, ScaleCm2: 4200, ScaleCm2Lo: 3500, ScaleCm2Hi: 5100, GrowthCm2: 410, TilesAtRisk: 7, HoursLo: 1.3, HoursHi: 1.9, CostLo: 60, CostHi: 85, Currency: "EUR", SinceUpkeepDays: nan,
				Why: "?"})
			in.Plan.Places = append(in.Plan.Places, order.Place{Order: len(in.Plan.Places) + 1, Reason: order.Reason{Largest: true}, Zone: order.Zone{View: id, ID: zone.ID, Pct: 20, Cm2: 4200, Cm2Lo: 3500, Cm2Hi: 5100, Growth: 410, GrowthLo: 200, GrowthHi: 600, AtRisk: 7}})
			in.Since = append(in.Since, in.Words.NoEntry(trend.Record{Covers: trend.Span{From: 16801, To: 20088}, Source: "the house's day book"}))
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
	set.Photos = append(set.Photos, table.Photo{Photo: "photos/2021/" + hostile + ".jpg", Status: "rejected", Reason: w.Remark(register.Blurred.Words())}, table.Photo{Photo: "photos/yard.jpg", Visit: "2021-10-16", Status: "rejected", Reason: w.Remark(register.TooFewMatches.Words())})
	scale := associate.Result{ID: associate.WhitenedBefore, Finding: associate.NotTold, P: 0.412, Holm: 0.824, Made: 3, Effect: 1.8, Lo: 0.5, Hi: 6.3, PAlone: 0.2, Inflation: 1.4, POnceEach: 0.6, Losses: 15,
		Counts: associate.Table{ExposedLost: 9, ExposedKept: 71, OtherLost: 6, OtherKept: 84}}
	beside := associate.Result{ID: associate.BesideGap, Finding: associate.Found, P: 0.00003, Holm: 0.0002, Made: 3, Effect: 24, Lo: 7, Hi: 80, POnceEach: nan, Losses: 15, Untold: 2,
		Counts: associate.Table{ExposedLost: 8, ExposedKept: 32, OtherLost: 7, OtherKept: 693}, Near: associate.Ratio{Value: 6, Lo: 2, Hi: math.Inf(1), P: 0.03}}
	growth := associate.Result{ID: associate.GrowthUpkeep, Finding: associate.Reverse, P: 0.01, Holm: 0.03, Made: 3, Effect: -4.2, Lo: -8, Hi: -1, POnceEach: nan, Shift: associate.Shift{N: [2]int{9, 4}}}
	none := associate.Result{ID: associate.StayedShorter, P: nan, POnceEach: nan}
	in.Findings = []Finding{
		{Finding: in.Words.Finding(scale), Made: true, LeftOut: LeftOut{PLo: 0.21, PHi: 0.77, EffectLo: 1.2, EffectHi: math.Inf(1), LoWithout: "photos/2017-05-20/view-1.jpg", HiWithout: "photos/2018-09-12/view-1.jpg"}},
		{Finding: in.Words.Finding(beside), Made: true, Told: true, LeftOut: LeftOut{PLo: 0.00002, PHi: 0.04, EffectLo: 9, EffectHi: 31, LoWithout: "photos/2022-09-17/view-1.jpg", HiWithout: "photos/2020-05-09/view-2.jpg", Changes: []string{"photos/2022-09-17/view-1.jpg"}}},
		{Finding: in.Words.Finding(growth), Made: true, Told: true, LeftOut: LeftOut{PLo: 0.01, PHi: 0.04, EffectLo: -5, EffectHi: -3, LoWithout: "photos/2022-09-17/view-1.jpg", HiWithout: "photos/2020-05-09/view-2.jpg"}},
		{Finding: in.Words.Finding(none), LeftOut: LeftOut{PLo: nan, PHi: nan, EffectLo: nan, EffectHi: nan}},
	}
	curve := func(n int, at ...associate.Step) associate.Curve {
		late := append([]associate.Step(nil), at...)
		for i := range late[1:] {
			late[i+1].Time += 0.6
		}
		return associate.Curve{N: n, Lost: at[1].Lost, Early: at, Late: late}
	}
	in.Findings[0].Stay = [2]associate.Curve{
		curve(120, associate.Step{AtRisk: 120, Surviving: 1, Lo: 0.97, Hi: 1}, associate.Step{Time: 2.3, AtRisk: 120, Lost: 6, Surviving: 0.95, Lo: 0.89, Hi: 0.98}, associate.Step{Time: 5, AtRisk: 114, Surviving: 0.95, Lo: 0.89, Hi: 0.98}),
		curve(90, associate.Step{AtRisk: 90, Surviving: 1, Lo: 0.96, Hi: 1}, associate.Step{Time: 1.4, AtRisk: 90, Lost: 9, Surviving: 0.9, Lo: 0.82, Hi: 0.95}, associate.Step{Time: 5, AtRisk: 81, Surviving: 0.9, Lo: 0.82, Hi: 0.95}),
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
