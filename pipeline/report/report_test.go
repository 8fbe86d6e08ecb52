package report

import (
	"bytes"
	"image"
	"image/jpeg"
	"math"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"tilelapse/measure/plane"
	"tilelapse/pipeline/report/words"
	"tilelapse/pipeline/survey"
	"tilelapse/pipeline/table"
)

const hostile = `<img src=x onerror=alert(1)>`

// english are the words of the reports.
func english(t *testing.T) words.Table {
	t.Helper()
	w, err := words.Load(words.English)
	require.NoError(t, err)
	return w
}

// made is a small invented run: one zone on three visits, a missing tile, one refused photo, and hostile names.
func made(t *testing.T) Input {
	t.Helper()
	nan := math.NaN()
	var jpg bytes.Buffer
	require.NoError(t, jpeg.Encode(&jpg, image.NewRGBA(image.Rect(0, 0, 80, 60)), nil))
	s := &survey.Survey{Site: "Wall " + hostile, Upkeep: []survey.UpkeepRow{{Date: "2021-05-01", Work: hostile, Kind: "clean"}}, Report: survey.Report{Language: "en", Units: "metric"}}
	set := &table.Set{
		Photos: []table.Photo{{Photo: "photos/a.jpg", Visit: "2020-05-01", Status: "used"}, {Photo: "photos/" + hostile, Status: "rejected", Reason: "blurred"}},
	}
	for i, v := range []string{"2020-05-01", "2021-06-01", "2022-06-01"} {
		set.Zones = append(set.Zones, table.Zone{View: "v", Zone: "z", Visit: v, ScalePct: float64(4 * i), ScaleLo: float64(3 * i), ScaleHi: float64(5*i) + 1, DriftDE00: 0.5, DriftLo: nan, DriftHi: nan, TilesMissing: float64(i / 2), ColourBasis: "control"})
		state := "present"
		if i == 2 {
			state = "missing"
		}
		set.Tiles = append(set.Tiles, table.Tile{View: "v", Zone: "z", Tile: "t1", Visit: v, State: state, StateFinal: state, Confidence: 0.97})
	}
	set.Priorities = []table.Priority{{Order: 1, View: "v", Zone: "z", ScaleCm2: 20000, ScaleCm2Lo: 10000, ScaleCm2Hi: 30000, GrowthCm2: nan, HoursLo: nan, CostLo: nan, Why: "most area"}}
	ring := []plane.Point{{X: 10, Y: 10}, {X: 30, Y: 10}, {X: 30, Y: 30}, {X: 10, Y: 30}}
	return Input{
		Survey: s, Version: "test", Set: set, Words: english(t), Originals: strings.Repeat("a", 64),
		Views: []View{{ID: "v", W: 80, H: 60, Zones: []Zone{{ID: "z", Title: hostile}}, Tiles: []Tile{{ID: "t1", Zone: "z", Ring: ring}},
			Pictures: []Picture{{Visit: "2020-05-01", JPEG: jpg.Bytes(), W: 80, H: 60}, {Visit: "2022-06-01", JPEG: jpg.Bytes(), W: 80, H: 60}}}},
	}
}

func TestReportEscapesWhatTheUserWrote(t *testing.T) {
	for name, make := range map[string]func(Input) ([]byte, error){"report": Report, "worksheet": Worksheet} {
		b, err := make(made(t))
		require.NoError(t, err, name)
		assert.NotContains(t, string(b), "<img src=x", name)
		assert.Contains(t, string(b), "&lt;img src=x", name)
	}
}

func TestReportAsksTheNetworkForNothing(t *testing.T) {
	b, err := Report(made(t))
	require.NoError(t, err)
	for _, m := range regexp.MustCompile(`(?:src|href)="([^"]*)"`).FindAllStringSubmatch(string(b), -1) {
		assert.True(t, strings.HasPrefix(m[1], "data:") || strings.HasPrefix(m[1], "#"), "%.60s", m[1])
	}
	assert.NotRegexp(t, `url\(|@import|https?://`, regexp.MustCompile(`xmlns="[^"]*"`).ReplaceAllString(string(b), ""))
}

func TestReportTellsTheFiguresWithTheirIntervals(t *testing.T) {
	b, err := Report(made(t))
	require.NoError(t, err)
	page := string(b)
	for _, want := range []string{"8.0 % (6.0 to 11.0)", "2022-06-01", "Never use acid", "Next comes, among the zones", "2.00 m² (1.00 to 3.00)", strings.Repeat("a", 64), "blurred", "2021-06-01"} {
		assert.Contains(t, page, want)
	}
	assert.NotContains(t, page, "⟨", "a text is missing from the table of words")
	assert.NotContains(t, page, "%!", "a text and its places do not fit")
	assert.NotContains(t, page, "ZgotmplZ", "the template engine refused a value")
	assert.NotContains(t, page, "NaN")
}

func TestChartKeepsToItsFrame(t *testing.T) {
	nan := math.NaN()
	ss := []sample{{0, nan, 0, 0, 4, "a"}, {400, 430, 90, 70, 130, "b"}, {800, nan, nan, 0, 0, "c"}}
	f := frame{words: english(t), from: 0, to: 800, lanes: [4]string{"due", "asked", "answered", "done"}, covers: [2]float64{-500, 300}, coverage: "covers"}
	c := newChart("x", "%", ss, f, 5, []entry{{day: 100, lane: 3, work: true, sign: "C"}, {day: 9000, lane: 3, work: true, sign: "C"}, {day: 200, lane: 0, sign: "N"}})
	require.Len(t, c.Points, 2, "what was not measured is not drawn")
	for _, p := range c.Points {
		for _, y := range []float64{p.Y, p.YLo, p.YHi} {
			assert.GreaterOrEqual(t, y, c.Top)
			assert.LessOrEqual(t, y, c.Bottom)
		}
		assert.LessOrEqual(t, p.YHi, p.YLo)
	}
	assert.Len(t, c.Cuts, 1, "entries outside the time shown are left out")
	require.Len(t, c.Lanes, 3, "due, done and what the file covers; lanes without an entry are left out")
	assert.Equal(t, c.Left, c.Lanes[2].From, "coverage that began earlier starts at the frame")
	assert.True(t, c.Points[1].Ranged())
	assert.False(t, c.Points[0].Ranged())
	assert.Greater(t, c.Points[1].X, c.Points[0].X)
}

func TestWorkbookHoldsTypedCellsAndTheSameBytesTwice(t *testing.T) {
	in := made(t)
	a, err := Workbook(in.Set, english(t))
	require.NoError(t, err)
	b, err := Workbook(in.Set, english(t))
	require.NoError(t, err)
	assert.True(t, bytes.Equal(a, b))
	f, err := excelize.OpenReader(bytes.NewReader(a))
	require.NoError(t, err)
	defer f.Close()
	assert.Equal(t, []string{"zones", "tiles", "compare", "glazes", "photos", "trends", "intervals", "priorities", "repeat", "controls", "definitions"}, f.GetSheetList())
	head, err := f.GetRows("zones")
	require.NoError(t, err)
	assert.Equal(t, table.Header[table.Zone](), head[0])
	typ, err := f.GetCellType("zones", "G3")
	require.NoError(t, err)
	assert.Equal(t, excelize.CellTypeUnset, typ, "a figure is stored as a number")
	v, err := f.GetCellValue("zones", "G3")
	require.NoError(t, err)
	assert.Equal(t, "4", v)
	said := map[string]bool{}
	for _, d := range definitions(english(t)) {
		said[d[0]+"."+d[1]] = true
	}
	for _, name := range f.GetSheetList() {
		rows, err := f.GetRows(name)
		require.NoError(t, err)
		for _, column := range rows[0] {
			assert.True(t, name == "definitions" || said[name+"."+column] || said["*."+column], "%s.%s is not defined", name, column)
		}
	}
	formula, err := f.GetCellFormula("photos", "A3")
	require.NoError(t, err)
	assert.Empty(t, formula)
}

func TestLongTablesGoOverSeveralSheets(t *testing.T) {
	f := excelize.NewFile()
	defer f.Close()
	w := book{f: f}
	sheets(&w, "repeat", make([]table.Repeat, 7), 3)
	require.NoError(t, w.err)
	assert.Equal(t, []string{"Sheet1", "repeat", "repeat 2", "repeat 3"}, f.GetSheetList())
	for name, n := range map[string]int{"repeat": 4, "repeat 2": 4, "repeat 3": 2} {
		rows, err := f.GetRows(name)
		require.NoError(t, err)
		assert.Len(t, rows, n, name)
		assert.Equal(t, "view", rows[0][0])
	}
}
