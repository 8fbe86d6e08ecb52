package report

import (
	"image"
	"image/color"
	"math"
	"math/rand"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure/colour"
	"tilelapse/measure/order"
	"tilelapse/measure/plane"
	"tilelapse/pipeline/survey"
	"tilelapse/pipeline/table"
)

// The two pairs of swatches that explain the colour difference show what they say.
// The formula itself is checked against the pairs of Sharma, Wu and Dalal (2005) in measure/colour.
func TestSwatchesThatExplainShowTheirDifference(t *testing.T) {
	base := colour.Lab{L: 55, A: 20, B: 30}
	src, err := pageFiles.ReadFile("page/report.gohtml")
	require.NoError(t, err)
	for want, other := range map[float64]colour.Lab{1: {L: 56.04, A: 20, B: 30}, 5: {L: 60.50, A: 20, B: 30}} {
		assert.InDelta(t, want, colour.CIEDE2000(base, other), 0.05)
		assert.Contains(t, string(src), "swatch "+table.Number(other.L, 2)+" 20 30")
	}
}

func TestAreasInTheUnitsAskedFor(t *testing.T) {
	us := &page{Input: Input{Words: english(t)}}
	metric := &page{Input: us.Input, Metric: true}
	assert.Equal(t, "2.00 m²", metric.area(20000))
	assert.Equal(t, "500 cm²", metric.area(500))
	assert.Equal(t, "12.0 m²", metric.area(120000))
	assert.Equal(t, "696 cm² (549 to 1010)", metric.areaSpan(696, 549, 1010))
	assert.Equal(t, "16 sq in", us.area(100), "100 / 6.4516 = 15.5")
	assert.Equal(t, "22 sq ft", us.area(20000), "20000 / 929.0304 = 21.53")
	assert.Equal(t, "1.0 sq ft", us.area(929.0304))
	place := order.Place{Order: 1, Reason: order.Reason{Largest: true}, Zone: order.Zone{Cm2: 929.0304, Cm2Lo: 464.5152, Cm2Hi: 1858.0608, Growth: 929.0304, GrowthLo: 929.0304, GrowthHi: 1858.0608, AtRisk: 3}}
	assert.Equal(t, "largest whitened area; 929 cm² (465 to 1858); growth a year 929 cm² (929 to 1858); tiles beside gaps: 3", us.Words.Why(place, metric.areaSpan, ""))
	assert.Equal(t, "largest whitened area; 1.0 sq ft (0.5 to 2.0); growth a year 1.0 sq ft (1.0 to 2.0); tiles beside gaps: 3", us.Words.Why(place, us.areaSpan, ""))
}

func TestSheetsAndReportKeepToUSUnits(t *testing.T) {
	in := lean(t)
	in.Survey.Report.Units = "us"
	for name, make := range map[string]func(Input) ([]byte, error){"report": Report, "worksheet": Worksheet} {
		b, err := make(in)
		require.NoError(t, err)
		text := string(b)
		assert.Contains(t, text, "sq ft", name)
		assert.NotContains(t, text, "cm²", name)
		assert.NotContains(t, text, " m²", name)
	}
}

func TestSilenceIsWordedAsWhatTheFileHolds(t *testing.T) {
	in := lean(t)
	b, err := Report(in)
	require.NoError(t, err)
	text := strings.ToLower(string(b))
	assert.Contains(t, text, "no entry in the file (covers 2016-01-01 to 2024-12-31, from the house&#39;s day book)")
	for _, word := range []string{"not done", "neglected by", "nobody", "never cleaned", "failed to"} {
		assert.NotContains(t, text, word)
	}
	p := newPage(in, english(t))
	require.Len(t, p.Follow, 3)
	assert.Equal(t, "2020-07-11: ivy cut back (1228 days later)", p.Follow[0].Done)
	assert.Equal(t, "2019-02-11: will be looked at (133 days later)", p.Follow[1].Answer)
	assert.Equal(t, p.NoEntry, p.Follow[2].Answer, "no answer on record")
	assert.Equal(t, p.NoEntry, p.Follow[2].Done, "the work after it was for another zone")
	in.Survey.Record = nil
	p = newPage(in, english(t))
	assert.Equal(t, "no entry in the file (what period it covers is not stated)", p.NoEntry)
	assert.Empty(t, p.Silent, "silence is not counted when it is not known what the file covers")
}

func TestTilesOutOfSightAreNoRecovery(t *testing.T) {
	row := func(tile, visit, state string) table.Tile {
		return table.Tile{View: "v", Zone: "z", Tile: tile, Visit: visit, State: state, StateFinal: state}
	}
	p := &page{Input: Input{Set: &table.Set{Tiles: []table.Tile{
		row("a", "1", "missing"), row("a", "2", "outside"), row("a", "3", "present"), row("a", "4", "hidden"),
		row("b", "1", "hidden"), row("b", "2", "missing"), row("b", "3", "unreadable"), row("b", "4", "hidden"),
	}}}}
	got := p.losses()
	at := func(visit string) gone { return got[[3]string{"v", "z", visit}] }
	assert.Equal(t, gone{Missing: 1, Untold: 1}, at("1"))
	assert.Equal(t, gone{Missing: 1, Unseen: 1}, at("2"))
	assert.Equal(t, gone{Unseen: 1}, at("3"), "a came back, b is out of sight")
	assert.Equal(t, gone{Unseen: 1, Untold: 1}, at("4"))
}

func TestNothingIsSaidThatCannotBeTold(t *testing.T) {
	nan := math.NaN()
	for want, g := range map[string]table.Glaze{
		"untold": {DriftDE00: 4, Lo: 0, Hi: 9}, "unsure": {DriftDE00: 10, Lo: nan, Hi: nan}, "hardly": {DriftDE00: 0.8, Lo: 0.3, Hi: 1.2}, "slight": {DriftDE00: 2, Lo: 1, Hi: 3}, "plain": {DriftDE00: 6, Lo: 3, Hi: 9},
	} {
		assert.Equal(t, want, driftSize(g))
	}
	for _, c := range []struct {
		change, lo, hi, least float64
		want                  int
	}{{5, 2, 8, 3, 1}, {-5, -8, -2, 3, -1}, {2, 1, 3, 3, 0}, {5, -1, 11, 3, 0}, {5, nan, nan, 3, 2}, {5, 2, 8, nan, 1}} {
		z := zonePage{Change: &table.Compare{ScaleChange: c.change, Lo: c.lo, Hi: c.hi}, Latest: table.Zone{ScaleDetectable: c.least}, First: table.Zone{ScaleDetectable: nan}}
		assert.Equal(t, c.want, z.direction(), "%+v", c)
	}
	assert.Equal(t, 2, zonePage{}.direction())
	z := zonePage{Change: &table.Compare{ScaleChange: 2, Lo: 1, Hi: 3}, First: table.Zone{Visit: "2020-01-01", ScaleDetectable: 2.5}, Latest: table.Zone{Visit: "2021-01-01", ScalePct: 4, ScaleDetectable: nan}}
	assert.Equal(t, "2.0 points since 2020-01-01, less than can be told from none here (2.5)", changeWords(z, english(t)))
}

func TestSheetsCountWhatIsStillMissing(t *testing.T) {
	in := lean(t)
	w := english(t)
	p := newPage(in, w)
	p.sheets(w)
	require.Len(t, p.Sheets, 3)
	missing, hidden := 0, 0
	for i, tile := range in.Set.Tiles {
		if i+1 < len(in.Set.Tiles) && in.Set.Tiles[i+1].Tile == tile.Tile {
			continue // the last visit of a tile
		}
		switch tile.StateFinal {
		case "hidden":
			hidden++
		case "missing":
			missing++
		}
	}
	sum := func(s sheetPage) (n int) {
		for _, r := range s.Rows {
			n += r.Tiles
		}
		return n
	}
	unseen := 0
	for _, z := range p.Zones {
		unseen += z.Gone.Unseen
	}
	require.Greater(t, missing, 10)
	assert.Equal(t, hidden, sum(p.Sheets[0]), "gardener")
	assert.Equal(t, missing+unseen, sum(p.Sheets[1]), "tiler")
	for _, r := range p.Sheets[1].Rows {
		assert.Equal(t, p.area(float64(r.Tiles)*24640/154), r.Area, "tiles of one size: their share of the zone's 24 640 cm²")
	}
	for _, s := range p.Sheets {
		var acid bool
		for _, c := range s.Cautions {
			acid = acid || c.Key == "acid"
		}
		assert.True(t, acid, "%s: the caution about acid", s.Trade)
		assert.NotEmpty(t, s.Steps, s.Trade)
		assert.NotEmpty(t, s.Plans, s.Trade)
	}
}

func TestCorrectionsOfAPersonStandInTheMap(t *testing.T) {
	r, ok := gapOf([]table.Tile{
		{Tile: "a", Visit: "1", State: "present", StateFinal: "present"},
		{Tile: "a", Visit: "2", State: "missing", StateFinal: "present"},
		{Tile: "a", Visit: "3", State: "present", StateFinal: "missing"},
		{Tile: "a", Visit: "4", State: "hidden", StateFinal: "hidden"},
	})
	require.True(t, ok)
	assert.True(t, r.Corrected)
	assert.Equal(t, []string{"2", "3", "missing", "3"}, []string{r.LastPresent, r.First, r.Final, r.FinalVisit})
	_, ok = gapOf([]table.Tile{{State: "missing", StateFinal: "present"}})
	assert.False(t, ok, "taken back by a person")
}

func TestPicturesKeepTheFileSmall(t *testing.T) {
	in := large(t)
	w := english(t)
	full := newPage(in, w)
	require.NoError(t, full.pictures(MaxBytes))
	sum := func(p *page) (n, bytes int) {
		for i, c := range p.Compare {
			for _, pic := range c.Pictures {
				n++
				bytes += len(pic.URI)
			}
			bytes += len(p.Gaps[i].Back)
		}
		return n, bytes
	}
	n, all := sum(full)
	assert.Equal(t, 14, n)
	for _, budget := range []int{all / 2, all / 9} {
		p := newPage(in, w)
		require.NoError(t, p.pictures(budget))
		n, got := sum(p)
		assert.LessOrEqual(t, got, budget+budget/50, "budget %d of %d", budget, all)
		assert.GreaterOrEqual(t, n, 4, "first and last of each view stay")
		for _, c := range p.Compare {
			assert.Equal(t, "2014-01-01 – 2014-12-31", c.Pictures[0].When)
			assert.Equal(t, "2024-05-04", c.Pictures[c.Last].When)
			assert.Equal(t, 7, len(c.Pictures)+c.LeftOut)
		}
	}
	assert.Equal(t, []int{0, 3, 6}, spread(7, 3))
}

// What is covered leaves no trace: pictures that differ only behind the cover come out the same, and pixels beyond the
// margin survive only as block means.
func TestVeilLeavesNoTraceOfWhatItCovers(t *testing.T) {
	const w, h = 300, 200
	paint := func(seed int64) *image.RGBA {
		img := image.NewRGBA(image.Rect(0, 0, w, h))
		r := rand.New(rand.NewSource(seed))
		for y := range h {
			for x := range w {
				c := color.RGBA{200, 120, 40, 255}
				if x >= 100 && x < 140 && y >= 60 && y < 120 {
					c = color.RGBA{uint8(r.Intn(256)), uint8(r.Intn(256)), uint8(r.Intn(256)), 255}
				}
				img.SetRGBA(x, y, c)
			}
		}
		return img
	}
	front := make([]bool, w*h)
	for y := 60; y < 120; y++ {
		for x := 100; x < 140; x++ {
			front[y*w+x] = true
		}
	}
	keep := [][][]plane.Point{{{{X: 80, Y: 40}, {X: 220, Y: 40}, {X: 220, Y: 160}, {X: 80, Y: 160}}}}
	a, b := Veil(Scene{Image: paint(1), Front: front, Keep: keep}), Veil(Scene{Image: paint(2), Front: front, Keep: keep})
	assert.Equal(t, a.Pix, b.Pix)
	again := Veil(Scene{Image: paint(1), Hidden: [][]plane.Point{{{X: 99.5, Y: 59.5}, {X: 139.5, Y: 59.5}, {X: 139.5, Y: 119.5}, {X: 99.5, Y: 119.5}}}, Keep: keep})
	assert.Equal(t, a.Pix, again.Pix, "hidden tiles are covered as hidden pixels are")

	r := rand.New(rand.NewSource(3))
	noise := image.NewRGBA(image.Rect(0, 0, w, h))
	for i := range noise.Pix {
		noise.Pix[i] = uint8(r.Intn(256)) | uint8(i%4/3*255)
	}
	c := Veil(Scene{Image: noise, Keep: keep})
	side := int(math.Ceil(float64(w) / blockCount))
	assert.Equal(t, c.RGBAAt(0, 0), c.RGBAAt(side-1, side-1), "a block has one colour")
	assert.Equal(t, noise.RGBAAt(150, 100), c.RGBAAt(150, 100), "the zone is as photographed")
	assert.NotEqual(t, noise.RGBAAt(2, 2), c.RGBAAt(2, 2))

	big := Veil(Scene{Image: image.NewRGBA(image.Rect(0, 0, 4000, 100))})
	assert.Equal(t, image.Rect(0, 0, PictureSide, 35), big.Rect)
	assert.Equal(t, color.RGBA{200, 200, 200, 255}, big.RGBAAt(3, 3), "outside the photo's frame")
}

func TestReportIsTheSameTwiceAndOfAnEmptySurvey(t *testing.T) {
	for name, make := range map[string]func(Input) ([]byte, error){"report": Report, "worksheet": Worksheet} {
		a, err := make(lean(t))
		require.NoError(t, err)
		b, err := make(lean(t))
		require.NoError(t, err)
		assert.Equal(t, a, b, name)
		none, err := make(Input{Survey: &survey.Survey{Site: "Empty"}, Words: english(t), Set: &table.Set{}})
		require.NoError(t, err, "nothing measured")
		assert.NotContains(t, string(none), "NaN")
		assert.Contains(t, string(none), "Empty")
	}
}
