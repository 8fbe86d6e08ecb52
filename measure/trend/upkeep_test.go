package trend

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func entry(t testing.TB, date, kind string) Entry {
	return Entry{When: day(t, date), Kind: kind, Work: kind}
}

func TestDates(t *testing.T) {
	d, err := Day("1970-01-02")
	require.NoError(t, err)
	assert.Equal(t, 1, d)
	assert.Equal(t, "1969-12-31", ISO(-1))
	for _, bad := range []string{"", "2021", "30.5.2021", "2021-02-30"} {
		_, err := Day(bad)
		assert.Error(t, err, bad)
	}
	_, err = ParseSpan("2021-05-02", "2021-05-01")
	assert.Error(t, err)
	s, err := ParseSpan("1998-01-01", "1998-12-31")
	require.NoError(t, err)
	assert.Equal(t, "1998-01-01/1998-12-31", s.String())
}

func TestStretchesAndCleaning(t *testing.T) {
	p := yearlyPoints(t, 0.5, 2, 4, 6, 8, 10, 1, 3, 5, 7, 9, 11)
	e := []Entry{entry(t, "2014-09-01", "clean"), entry(t, "2012-01-01", "inspect")}
	s := Stretches(p, e, math.NaN())
	require.Len(t, s, 2)
	assert.Len(t, s[0].Points, 5)
	assert.Len(t, s[1].Points, 6)
	assert.InDelta(t, 2, s[0].Trend.Slope, 0.01)
	assert.InDelta(t, 2, s[1].Trend.Slope, 0.01)
	assert.InDelta(t, 8, s[0].Change, 1e-12)
	assert.InDelta(t, 8-math.Sqrt(0.5), s[0].ChangeLo, 1e-12)
	assert.Equal(t, 1, WorkWithin(e, Span{p[0].When.From, p[10].When.To}))

	s = Stretches(p, e, 12)
	assert.True(t, math.IsNaN(s[0].Trend.Threshold), "a stretch that has ended has no date ahead")
	assert.NotEmpty(t, s[1].Trend.ReachedLo)

	c := Cleanings(p, e, nil)
	require.Len(t, c, 1)
	assert.InDelta(t, 9, c[0].Removed, 1e-12)
	assert.InDelta(t, 9-math.Sqrt(0.5), c[0].Lo, 1e-12)
	assert.InDelta(t, 9+math.Sqrt(0.5), c[0].Hi, 1e-12)
	assert.True(t, c[0].Told())
	assert.Equal(t, 92, c[0].DaysBefore)
	assert.Equal(t, 273, c[0].DaysAfter)
	assert.InDelta(t, 2, c[0].Regrowth.PerUnit, 0.01)
	// 9 in June 2019, 11 in June 2020: back at 10 in between.
	assert.InDelta(t, float64(day(t, "2019-06-01").From-day(t, "2014-09-01").From), c[0].BackFrom, 0)
	assert.InDelta(t, float64(day(t, "2020-06-01").From-day(t, "2014-09-01").From), c[0].BackTo, 0)
	assert.Equal(t, []Code{BackBetween}, codes(c[0].Notes))

	c = Cleanings(p[:8], e, func(_, _ Point) (float64, float64, float64, bool) { return -3, -7, 1, true })
	require.Len(t, c, 1)
	assert.InDelta(t, 3, c[0].Removed, 0)
	assert.InDelta(t, -1, c[0].Lo, 0)
	assert.InDelta(t, 7, c[0].Hi, 0)
	assert.Equal(t, []Code{NotTold}, codes(c[0].Notes))
	assert.True(t, math.IsNaN(c[0].BackTo), "nothing told to be removed, nothing to come back")
}

func TestEntriesThatCannotBeToldApart(t *testing.T) {
	p := yearlyPoints(t, 0.5, 2, 4, 6, 1, 2, 3)
	// Two cleanings between the same visits: one stretch ends, one begins, their effect is one.
	two := []Entry{entry(t, "2012-08-01", "clean"), entry(t, "2012-11-01", "clean")}
	s := Stretches(p, two, math.NaN())
	require.Len(t, s, 2)
	assert.Len(t, s[0].Before, 2)
	assert.Len(t, s[1].After, 2)
	c := Cleanings(p, two, nil)
	require.Len(t, c, 1)
	assert.Contains(t, codes(c[0].Notes), SeveralEntries)
	assert.Contains(t, codes(s[0].Trend.Notes), ByDifference)

	// A repair between the same visits: what the cleaning did is not told.
	mixed := []Entry{entry(t, "2012-08-01", "clean"), entry(t, "2012-11-01", "repair")}
	assert.Empty(t, Cleanings(p, mixed, nil))

	// A visit on the day of the entry: before or after is not known.
	same := []Entry{entry(t, "2013-06-01", "clean")}
	s = Stretches(p, same, math.NaN())
	require.Len(t, s, 2)
	assert.Len(t, s[0].Points, 3)
	assert.Len(t, s[1].Points, 2)
	assert.Contains(t, codes(s[1].Trend.Notes), SameTime)

	// Entries before the first photo make no empty stretch; one after the last does, for it says that nothing was seen.
	s = Stretches(p, []Entry{entry(t, "2001-01-01", "clean"), entry(t, "2020-01-01", "clean")}, math.NaN())
	require.Len(t, s, 2)
	assert.Len(t, s[0].After, 1)
	assert.Equal(t, []Code{NoVisit}, codes(s[1].Trend.Notes))
}

func TestSinceWork(t *testing.T) {
	r := Record{Covers: Span{day(t, "2016-01-01").From, day(t, "2024-12-31").From}, Source: "works department file"}
	e := []Entry{entry(t, "2019-05-01", "clean"), entry(t, "2020-02-01", "asked"), {When: Span{17900, 17930}, Zone: "Basin", Kind: "repair"}}
	s := SinceWork(e, day(t, "2019-05-31").From)
	assert.InDelta(t, 30, s.Days, 0)
	assert.Equal(t, "clean", s.Last.Work)
	s = SinceWork(e, day(t, "2018-01-01").From)
	assert.True(t, math.IsNaN(s.Days))

	assert.Len(t, ForZone(e, "basin"), 3)
	assert.Len(t, ForZone(e, "step"), 2)
	assert.True(t, r.Silent(e, Span{day(t, "2020-01-01").From, day(t, "2021-01-01").From}), "a letter is no work")
	assert.False(t, r.Silent(e, Span{day(t, "2019-01-01").From, day(t, "2021-01-01").From}))
	assert.False(t, r.Silent(nil, Span{0, 10}), "outside what the file covers nothing is known")
	assert.False(t, Unstated.Silent(nil, Span{0, 10}))
}

func TestCommon(t *testing.T) {
	area := []float64{1, 1, 1, 1}
	tests := []struct {
		name    string
		read    [][]bool
		tiles   []int
		dropped []int
		share   float64
		ok      bool
	}{
		{"all", [][]bool{{true, true, true, true}, {true, true, true, true}}, []int{0, 1, 2, 3}, nil, 1, true},
		{"a fallen tile leaves", [][]bool{{true, true, true, true}, {true, true, true, false}}, []int{0, 1, 2}, nil, 0.75, true},
		{"a poor visit leaves", [][]bool{{true, true, true, true}, {true, false, false, false}, {true, true, true, false}}, []int{0, 1, 2}, []int{1}, 0.75, true},
		{"two empty visits leave", [][]bool{{true, true, true, true}, {false, false, false, false}, {false, false, false, false}, {true, true, true, true}}, []int{0, 1, 2, 3}, []int{1, 2}, 1, true},
		{"two visits with little in common", [][]bool{{true, true, false, false}, {false, true, true, true}}, []int{1}, nil, 0.25, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := Common(tt.read, area)
			assert.Equal(t, tt.tiles, c.Tiles)
			assert.Equal(t, tt.dropped, c.Dropped)
			assert.InDelta(t, tt.share, c.Share, 1e-12)
			assert.Equal(t, tt.ok, c.Comparable())
		})
	}
}

// The whitest tile falls off: the zone's mean falls, the common tiles' does not.
func TestLossOfTheWorstTileIsNoRecovery(t *testing.T) {
	nan := math.NaN()
	value := [][]float64{{10, 10, 70}, {12, 12, nan}}
	zone := []Point{{day(t, "2010-06-01"), 30, 28, 33}, {day(t, "2011-06-01"), 12, 10, 15}}
	c := Common([][]bool{{true, true, true}, {true, true, false}}, []float64{1, 1, 1})
	p := Restrict(c, value, []float64{1, 1, 1}, zone)
	require.Len(t, p, 2)
	assert.InDelta(t, 10, p[0].Value, 1e-12)
	assert.InDelta(t, 12, p[1].Value, 1e-12)
	wide := math.Sqrt(1.5)
	assert.InDelta(t, 10-2*wide, p[0].Lo, 1e-12)
	assert.InDelta(t, 10+3*wide, p[0].Hi, 1e-12)
}
