package report

import (
	"html"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure/associate"
	"tilelapse/measure/trend"
)

// bare is large without pictures: quick to make a report of.
func bare(t *testing.T) Input {
	in := large(t)
	for i := range in.Views {
		in.Views[i].Pictures = nil
	}
	return in
}

// text is what a page shows, without its tags.
func text(b []byte) string {
	s := tags.ReplaceAllString(notShown.ReplaceAllString(string(b), " "), " ")
	return strings.Join(strings.Fields(html.UnescapeString(s)), " ")
}

// section returns the part of a page that stands under the heading with an id.
func section(t *testing.T, page []byte, id string) string {
	t.Helper()
	_, rest, ok := strings.Cut(string(page), `<section aria-labelledby="`+id+`"`)
	require.True(t, ok, id)
	part, _, _ := strings.Cut(rest, "</section>")
	return text([]byte("<a" + part))
}

// hostileAt sets a string field of a value, or of the first element of a list in it, and hands back what undoes it.
func hostileAt(v reflect.Value, set func(undo func(), name string), name string) {
	switch v.Kind() {
	case reflect.String:
		if was := v.String(); v.CanSet() {
			v.SetString(hostile)
			set(func() { v.SetString(was) }, name)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				hostileAt(v.Field(i), set, name+"."+v.Type().Field(i).Name)
			}
		}
	case reflect.Slice:
		if v.Len() > 0 && v.Type().Elem().Kind() != reflect.Uint8 {
			hostileAt(v.Index(0), set, name+"[0]")
		}
	case reflect.Pointer:
		if !v.IsNil() {
			hostileAt(v.Elem(), set, name)
		}
	}
}

// Whatever field of the survey and of the tables the user's text comes through, it stays text.
func TestEveryFieldIsEscaped(t *testing.T) {
	in := bare(t)
	in.Survey.Site, in.Views[1].Zones[1].Title = "Site", "Zone" // hostile one at a time
	in.Set.Tiles = in.Set.Tiles[:70]
	for i := range in.Views {
		in.Views[i].Tiles = in.Views[i].Tiles[:10]
	}
	n := 0
	for _, part := range []struct {
		name string
		of   any
	}{{"Survey", in.Survey}, {"Set", in.Set}, {"Views", &in.Views}, {"Findings", &in.Findings}, {"Else", &in.Else}, {"Hashes", &in.Hashes}, {"Since", &in.Since}, {"FirstLast", &in.FirstLast}} {
		hostileAt(reflect.ValueOf(part.of), func(undo func(), name string) {
			defer undo()
			n++
			for _, make := range []func(Input) ([]byte, error){Report, Worksheet} {
				b, err := make(in)
				require.NoError(t, err, name)
				assert.NotContains(t, string(b), "<img src=x", name)
				assert.NotContains(t, string(b), "ZgotmplZ", name)
			}
		}, part.name)
	}
	assert.Greater(t, n, 60)
}

func TestFirstScreenSaysOnceThatItShowsNoCause(t *testing.T) {
	b, err := Report(bare(t))
	require.NoError(t, err)
	first := section(t, b, "summary")
	assert.Equal(t, 1, strings.Count(first, "not cause"))
	assert.Contains(t, first, "tiles beside a gap were lost more often")
	assert.NotContains(t, first, "1 of the missing were")
}

// The report claims no cause: such words stand only where it says that none is shown.
func TestNoSentenceClaimsACause(t *testing.T) {
	b, err := Report(bare(t))
	require.NoError(t, err)
	page := text(b)
	for _, own := range []string{"Association in these photographs, not cause.", "They do not show a cause.", "its cause is not tested", "whether something was neglected is not for photographs to say"} {
		assert.Contains(t, page, own)
		page = strings.ReplaceAll(page, own, "")
	}
	assert.NotRegexp(t, regexp.MustCompile(`(?i)\b(caus\w*|due to|led to|leads to|resulted in|owing to|neglect\w*|destroyed|proves?)\b`), page)
}

func TestWhatWouldChangeTheAnswerIsAsked(t *testing.T) {
	in := bare(t)
	b, err := Report(in)
	require.NoError(t, err)
	part := section(t, b, "else")
	for _, f := range in.Findings {
		assert.Contains(t, part, f.Question, "each photograph left out")
	}
	for _, want := range []string{
		"p from 0.210 to 0.770", "(without photos/2017-05-20/view-1.jpg)", "It would be another, or none, without: photos/2022-09-17/view-1.jpg.", // a photo left out
		"1.90 (1.10 to 3.20)", // growth and its interval, before the least and the most
		"from 0.1", "from 0.20", "from 0.4", "Intervals are worked out for the limit of this survey alone",
		"the reference photo", "2.2 (0.6 to 4.0)", "2.0 (0.5 to 3.8)", // another baseline
		"Prints, slides and copies among the photographs used: 2.", "Without:",
		"2014 2 used, 0 refused", "2015 0 used, 0 refused", "undated 0 used, 1 refused", // years without a photo are years too
	} {
		assert.Contains(t, part, want)
	}
	in.Else.Prints, in.Else.WithoutPrints = 0, nil
	b, err = Report(in)
	require.NoError(t, err)
	assert.Contains(t, section(t, b, "else"), "No print, slide or copy was used.")
}

func TestRemarksCommonToAZoneAreToldOnce(t *testing.T) {
	w := english(t)
	in := bare(t)
	z := in.Set.Zones[0]
	across, few := trend.Note{Code: trend.WorkWithinSeries, Args: []any{3}}, trend.Note{Code: trend.FewVisits, Args: []any{6, 8}}
	row := in.Set.Trends[0]
	in.Set.Trends, in.Notes = nil, map[[3]string][]trend.Note{}
	for _, m := range []string{"scale_pct", "drift_de00", "tiles_missing"} {
		row.View, row.Zone, row.Measure = z.View, z.Zone, m
		in.Set.Trends = append(in.Set.Trends, row)
		in.Notes[[3]string{z.View, z.Zone, m}] = []trend.Note{few, across}
	}
	in.Notes[[3]string{z.View, z.Zone, "tiles_missing"}] = []trend.Note{few, across, {Code: trend.CommonTiles, Args: []any{3, 4}}, {Code: trend.Unchanging}}
	p := newPage(in, w)
	lines, shared := p.slopes(z.View, z.Zone, w)
	require.Len(t, lines, 3)
	assert.Equal(t, []string{w.Note(across)}, shared)
	assert.Empty(t, lines[0].Says, "few visits are told by their number")
	assert.Equal(t, []string{"counted on tiles told on every visit used: 3 of 4"}, lines[2].Says)
	assert.Equal(t, "the same on every visit, which bounds no rate of change", slopeWords(lines[2], w))
	assert.Equal(t, "1.90 a year (1.10 to 3.20), p = 0.017", slopeWords(lines[0], w))
	assert.Equal(t, 2, p.tested(), "a count that never changes is no test")
	b, err := Report(in)
	require.NoError(t, err)
	assert.Equal(t, 1, strings.Count(text(b), w.Note(across)))
	assert.Contains(t, text(b), "of 2 slopes shown with one")
}

// A year of eight tiles seen every month, two lost: the strip between the two datings is as wide as a month.
func TestStayIsDrawnWithWhatItsDatesLeaveOpen(t *testing.T) {
	w := english(t)
	step := func(at float64, risk, lost int, s, lo, hi float64) associate.Step {
		return associate.Step{Time: at, AtRisk: risk, Lost: lost, Surviving: s, Lo: lo, Hi: hi}
	}
	c := associate.Curve{N: 8, Lost: 1, Early: []associate.Step{step(0, 8, 0, 1, 0.63, 1), step(1, 8, 1, 0.875, 0.39, 0.98), step(4, 7, 0, 0.875, 0.39, 0.98)}, Late: []associate.Step{step(0, 8, 0, 1, 0.63, 1), step(2, 8, 1, 0.875, 0.39, 0.98), step(4, 7, 0, 0.875, 0.39, 0.98)}}
	d := newStay([2]associate.Curve{c, {}}, w)
	require.NotNil(t, d)
	require.Len(t, d.Groups, 1, "a group without tiles has no curve")
	assert.False(t, d.Broken, "the axis begins at 0 when the interval reaches far down")
	assert.Equal(t, "solid", d.Groups[0].Kind)
	require.Len(t, d.Rows, 4)
	assert.Equal(t, "87.5 to 100.0 % (interval 39.0 to 100.0), followed longer: 8", d.Rows[0].Cells[0])
	assert.Equal(t, "87.5 % (interval 39.0 to 98.0), followed longer: 7", d.Rows[1].Cells[0])
	assert.Contains(t, d.Desc, "by year 1 87.5 to 100.0 %")
	assert.Nil(t, newStay([2]associate.Curve{}, w))

	in := bare(t)
	in.Findings[0].Stay = [2]associate.Curve{c, c}
	b, err := Report(in)
	require.NoError(t, err)
	assert.Equal(t, 2, strings.Count(string(b), `<path class="strip"`))
	assert.Contains(t, string(b), `<g class="dashed">`, "told apart without colour")
	assert.NotContains(t, string(b), "NaN")
}

func TestEntriesOnOverlappingDatesHaveNoOrder(t *testing.T) {
	w := english(t)
	day := func(a, b int) trend.Span { return trend.Span{From: a, To: b} }
	assert.Equal(t, "5 days later", later(day(10, 10), day(15, 15), w))
	assert.Equal(t, "0 days later", later(day(10, 10), day(10, 10), w))
	assert.Equal(t, "2 to 9 days later", later(day(10, 13), day(15, 19), w))
	assert.Equal(t, "the dates overlap", later(day(10, 20), day(15, 15), w))
}

func TestZeroMissingSaysHowManyAreNotTold(t *testing.T) {
	in := bare(t)
	for i := range in.Set.Tiles {
		if in.Set.Tiles[i].View == "view-1" && in.Set.Tiles[i].Zone == "top-1" {
			in.Set.Tiles[i].State, in.Set.Tiles[i].StateFinal = "unreadable", "unreadable"
		}
	}
	b, err := Report(in)
	require.NoError(t, err)
	assert.Contains(t, section(t, b, "summary"), "0 (not told: 154)")
	assert.Contains(t, string(b), "2024-05-04 (tiles not told: 154): 0", "in the curve")
}

// A print of some day in 2014 is nowhere said to be of one day.
func TestDatesKnownAsRangesAreToldAsRanges(t *testing.T) {
	in := bare(t)
	for i := range in.Set.Photos {
		if in.Set.Photos[i].Visit == "2014-01-01" {
			in.Set.Photos[i].TakenTo = "2016-12-31"
		}
	}
	in.Set.Zones[0].ScalePct = 1 // the print is the first reading of a zone
	for _, make := range []func(Input) ([]byte, error){Report, Worksheet} {
		b, err := make(in)
		require.NoError(t, err)
		page := regexp.MustCompile(`photos/2014-01-01|from photographs of 2014-01-01|gone between 2014-01-01`).ReplaceAllString(text(b), "")
		assert.NotRegexp(t, `2014-01-01 [^–]`, page)
	}
	b, err := Report(in)
	require.NoError(t, err)
	assert.Equal(t, []string{"2014–2016", "2014", "2014"}, []string{yearsOf("2014-01-01 – 2016-12-31"), yearsOf("2014-01-01 – 2014-12-31"), yearsOf("2014-05-01")}, "on the map")
	assert.Contains(t, section(t, b, "gaps"), "2014-01-01 – 2016-12-31")
	assert.Contains(t, section(t, b, "summary"), "since 2014-01-01 – 2016-12-31")
	assert.Contains(t, section(t, b, "else"), "2014–2016 2 used, 0 refused")
}
