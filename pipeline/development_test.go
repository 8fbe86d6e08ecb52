package pipeline

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure"
	"tilelapse/measure/associate"
	"tilelapse/measure/order"
	"tilelapse/measure/outline"
	"tilelapse/measure/plane"
	"tilelapse/measure/trend"
	"tilelapse/pipeline/report/words"
	"tilelapse/pipeline/survey"
)

// english are the words of the tables.
func english(t *testing.T) words.Table {
	t.Helper()
	w, err := words.Load(words.English)
	require.NoError(t, err)
	return w
}

// madeSeries is a zone of four tiles on the given days; states[visit] has a letter a tile: p present, m missing, h hidden.
func madeSeries(days []string, states ...string) *zoneSeries {
	word := map[rune]string{'p': "present", 'm': "missing", 'h': "hidden", 'o': "outside"}
	v := &viewResult{view: &survey.View{ID: "v"}, spec: measure.Spec{Zones: []plane.Region{{ID: "z"}}}}
	z := &zoneSeries{view: v, tiles: []int{0, 1, 2, 3}, area: []float64{1, 1, 1, 1}}
	for n, day := range days {
		v.photos = append(v.photos, &photo{rel: day + ".jpg", status: statusUsed, kind: "digital", taken: survey.DateRange{From: day, To: day}})
		when, _ := trend.ParseSpan(day, day)
		z.used, z.when = append(z.used, n), append(z.when, when)
		var row []string
		var read []bool
		var values []float64
		for _, c := range states[n] {
			row = append(row, word[c])
			read = append(read, c == 'p')
			values = append(values, 10*float64(n))
		}
		z.states, z.read, z.values = append(z.states, row), append(z.read, read), append(z.values, values)
		p := trend.Point{When: when, Value: 10 * float64(n), Lo: 10*float64(n) - 1, Hi: 10*float64(n) + 1}
		z.scale, z.drift = append(z.scale, p), append(z.drift, p)
	}
	z.common = trend.Common(z.read, z.area)
	return z
}

func TestMissingTilesAreCountedOnTilesToldThroughout(t *testing.T) {
	days := []string{"2020-05-01", "2021-05-01", "2022-05-01"}
	for _, c := range []struct {
		name   string
		states []string
		want   []float64
	}{
		{"all told", []string{"pppp", "mppp", "mmpp"}, []float64{0, 1, 2}},
		{"a missing tile out of frame later is no recovery", []string{"pppp", "mmpp", "ompp"}, []float64{0, 1, 1}},
		{"hidden at first", []string{"hppp", "mppp", "mmpp"}, []float64{0, 0, 1}},
	} {
		pts, say := madeSeries(days, c.states...).losses()
		require.Len(t, pts, len(c.want), c.name)
		for i, p := range pts {
			assert.Equal(t, c.want[i], p.Value, "%s, visit %d", c.name, i)
		}
		if c.name != "all told" {
			require.Len(t, say.beside, 1, c.name)
			assert.Equal(t, trend.Note{Code: trend.CommonTiles, Args: []any{3, 4}}, say.beside[0], c.name)
		}
	}
	pts, say := madeSeries(days, "hhhp", "phhh", "hphh").losses()
	assert.Empty(t, pts)
	assert.Equal(t, []trend.Note{{Code: trend.NotComparable}}, say.instead)
}

// A gap that ivy hides on the latest visit still puts its neighbours at risk, and a zone never read is not free of risk.
func TestTilesAtRiskAreCountedAsFarAsLastSeen(t *testing.T) {
	z := madeSeries([]string{"2020-05-01", "2021-05-01"}, "pppp", "pppp")
	v := z.view
	states := [][]measure.State{{"present", "missing", "present", "unreadable", "missing"}, {"present", "hidden", "present", "unreadable", "missing"}}
	for n := range v.photos {
		res := &measure.PhotoResult{}
		for k, s := range states[n] {
			res.Tiles = append(res.Tiles, measure.TileResult{Tile: k, State: s})
		}
		v.results = append(v.results, res)
	}
	for _, id := range []string{"a", "b", "c", "d", "e"} {
		v.tiles = append(v.tiles, outline.Tile{Region: plane.Region{ID: id}})
	}
	v.graph = [][]int{{1}, {0, 2}, {1, 4}, {}, {2}} // e lies in another zone
	r := &run{survey: &survey.Survey{}, words: english(t)}
	state := r.lastSeen(v, z.used)
	assert.Equal(t, map[int]string{0: "present", 1: "missing", 2: "present", 4: "missing"}, state)
	risk, missing, blind := z.atRisk(state)
	assert.Equal(t, []int{2, 1}, []int{risk, missing})
	assert.False(t, blind)
	z.tiles = []int{3}
	_, _, blind = z.atRisk(state)
	assert.True(t, blind, "unreadable on every visit")
	r.survey.Corrections = []survey.CorrectionRow{{View: "v", Tile: "b", Visit: "2021-05-01", State: "present"}}
	assert.Equal(t, "present", r.lastSeen(v, z.used)[1], "a person's reading counts")

	r.prioritise([]order.Zone{{View: "v", ID: "z", Blind: true, Pct: nan, Cm2: nan}}, nil)
	assert.True(t, r.set.Priorities[0].TilesAtRisk != r.set.Priorities[0].TilesAtRisk, "not known is not zero")
}

func TestTooFewVisitsLeaveTheSlopeEmpty(t *testing.T) {
	z := madeSeries([]string{"2020-05-01", "2021-05-01", "2022-05-01"}, "pppp", "pppp", "pppp")
	when, err := trend.ParseSpan("2021-08-01", "")
	require.NoError(t, err)
	z.entry = []trend.Entry{{When: when, Kind: "clean", Work: "rinsed"}}
	r := &run{survey: &survey.Survey{}, words: english(t)}
	pts, say := z.whitening()
	r.trendRows(z, "scale_pct", pts, scaleThreshold, say)
	r.cleaningRows(z, pts)
	require.Len(t, r.set.Trends, 1)
	require.Len(t, r.set.Intervals, 3, "two stretches and the cleaning between them")
	for _, row := range append(r.set.Trends, r.set.Intervals...) {
		assert.True(t, row.SlopePerYear != row.SlopePerYear, "%s %s: slope %v", row.Measure, row.Note, row.SlopePerYear)
		assert.Regexp(t, "too few visits|one visit", row.Note)
	}
	assert.Contains(t, r.set.Intervals[2].Note, "2021-08-01 rinsed: 10.0 percentage points more on the next visit (8.6 to 11.4)")
}

func TestNotesOfCountsStateNoRange(t *testing.T) {
	z := madeSeries([]string{"2020-05-01", "2021-05-01", "2022-05-01", "2023-05-01"}, "pppp", "mppp", "mmpp", "mmpp")
	when, err := trend.ParseSpan("2022-08-01", "")
	require.NoError(t, err)
	z.entry = []trend.Entry{{When: when, Kind: "clean", Work: "rinsed"}}
	r := &run{survey: &survey.Survey{}, words: english(t)}
	lost, say := z.losses()
	r.trendRows(z, "tiles_missing", lost, nan, say)
	require.Len(t, r.set.Intervals, 2)
	assert.Contains(t, r.set.Intervals[0].Note, "change from 0.00 to 2.00 in 730 days")
	for _, row := range append(r.set.Trends, r.set.Intervals...) {
		assert.NotContains(t, row.Note, "NaN")
	}
}

func TestLeavingAPhotoOutLeavesItsVisitOut(t *testing.T) {
	z := madeSeries([]string{"2020-05-01", "2021-05-01", "2022-05-01"}, "pppp", "mppp", "mmpp")
	w := z.without("2021-05-01.jpg")
	assert.Equal(t, []int{0, 2}, w.used)
	assert.Len(t, w.states, 2)
	assert.Equal(t, []int{0, 1, 2}, z.used, "the series itself is untouched")
	assert.Len(t, z.values, 3)
	assert.Same(t, z, z.without("elsewhere.jpg"))

	h := associate.View{ID: "v", Visits: z.when, Tiles: []associate.Tile{{States: []associate.State{"present", "hidden", "missing"}, Scale: []float64{1, 2, 3}}}}
	of := []string{"a", "b", "c"}
	out := leaveOut(h, of, map[string]bool{"b": true})
	require.NoError(t, out.Validate())
	assert.Equal(t, []associate.State{"present", "missing"}, out.Tiles[0].States)
	assert.Equal(t, []float64{1, 3}, out.Tiles[0].Scale)
	assert.Equal(t, []float64{1, 2, 3}, h.Tiles[0].Scale, "the history itself is untouched")
	assert.Len(t, leaveOut(h, of, nil).Visits, 3)
}
