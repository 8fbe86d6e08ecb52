package associate

import (
	"fmt"
	"math"
	"math/rand"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure/trend"
)

// With losses of known day both datings are Kaplan and Meier's curve: Freireich et al. (1963), Blood 21, 699-716, values
// as printed in a public R course page (testdata/values/statistics.csv).
func TestPublishedCurveOfKnownDays(t *testing.T) {
	m := published(t)
	treated, placebo := leukemia()
	curve := func(fs []Follow) Curve {
		var s []span
		for _, f := range fs {
			s = append(s, span{f.Time, f.Time, f.Lost})
		}
		return newCurve(s)
	}
	c := curve(treated)
	assert.Equal(t, []int{21, 9}, []int{c.N, c.Lost})
	for _, w := range []float64{6, 7, 10, 13, 16, 22, 23} {
		s := c.Stand(w)
		check(t, m, fmt.Sprintf("leukemia_km_6mp/S(%g)", w), s.Least)
		check(t, m, fmt.Sprintf("leukemia_km_6mp/S(%g)", w), s.Most)
		assert.True(t, s.Lo < s.Least && s.Most < s.Hi)
	}
	assert.Equal(t, 35.0, c.Until())
	assert.True(t, math.IsNaN(c.Stand(36).Least), "nothing is said beyond the last tile followed")
	assert.Equal(t, 17, c.Stand(6).AtRisk, "21 less 3 lost and 1 no longer followed in week 6")
	assert.Equal(t, 15, c.Stand(9).AtRisk)
	check(t, m, "leukemia_km_placebo/median", MedianTime(curve(placebo).Early))
	last := curve(placebo).Stand(23)
	assert.Zero(t, last.Most)
	assert.Greater(t, last.Hi, 0.0, "none left of few is not certainly none")
}

func TestCurveWithoutLossIsNotCertain(t *testing.T) {
	var s []span
	for i := range 10 {
		s = append(s, span{float64(1 + i/8), float64(1 + i/8), false})
	}
	c := newCurve(s)
	lo := func(n float64) float64 { return math.Pow(0.025, 1/n) }
	assert.InDelta(t, lo(10), c.Stand(0.5).Lo, 1e-9)
	assert.InDelta(t, lo(2), c.Stand(2).Lo, 1e-9, "two tiles followed to the end")
	assert.Equal(t, 1.0, c.Stand(2).Most)
	assert.Zero(t, c.Lost)
}

// Dating losses later can only be seen as staying longer while no tile drops out in between, which visits common to all
// tiles give; the truth then lies between the two curves.
func TestTruthLiesBetweenTheTwoDatings(t *testing.T) {
	rng := rand.New(rand.NewSource(5))
	for range 40 {
		var s []span
		var truth []Follow
		for range 60 {
			day := rng.ExpFloat64() * 4
			seen := math.Min(math.Floor(day), 5)
			f := Follow{math.Min(day, 5), day < 5}
			p := span{seen, seen, false}
			if f.Lost {
				p = span{seen, seen + 1, true}
			}
			s, truth = append(s, p), append(truth, f)
		}
		c, km := newCurve(s), KaplanMeier(truth)
		for _, at := range []float64{0.3, 1, 1.7, 2.5, 3, 4.9} {
			got, true_ := c.Stand(at), At(km, at).Surviving
			assert.LessOrEqual(t, got.Least, true_+1e-9)
			assert.GreaterOrEqual(t, got.Most, true_-1e-9)
			assert.LessOrEqual(t, got.Lo, got.Least)
			assert.GreaterOrEqual(t, got.Hi, got.Most)
		}
		for _, steps := range [][]Step{c.Early, c.Late} {
			for i := 1; i < len(steps); i++ {
				require.Less(t, steps[i-1].Time, steps[i].Time)
				require.LessOrEqual(t, steps[i].Surviving, steps[i-1].Surviving)
			}
		}
	}
}

func TestCurvesOfTheTestAreDatedByVisits(t *testing.T) {
	const p, m = Present, Missing
	v := View{ID: "v", Visits: []trend.Span{{From: 0, To: 0}, {From: 100, To: 100}, {From: 400, To: 500}, {From: 900, To: 900}}}
	for i, states := range [][]State{{p, p, m, m}, {p, p, p, p}, {p, p, p, m}, {p, p, p, p}} {
		v.Tiles = append(v.Tiles, Tile{ID: fmt.Sprint(i), Zone: "z", States: states, Scale: []float64{float64(10 * ((i + 1) % 2)), 0, 0, 0}})
	}
	require.NoError(t, v.Validate())
	c := stayedShorter([]View{v}, Options{Permutations: 99, Seed: 1}).Survival.Curves
	assert.Equal(t, [4]int{2, 0, 2, 2}, [4]int{c[0].N, c[0].Lost, c[1].N, c[1].Lost}, "exposed: tiles 0 and 2")
	year := func(days float64) float64 { return days / trend.YearDays }
	// Tile 0 was seen last on day 100, when it began to be followed, and missed on a day between 400 and 500.
	assert.InDelta(t, 0.5, c[1].Stand(year(1)).Least, 1e-9)
	assert.InDelta(t, 1, c[1].Stand(year(399)).Most, 1e-9)
	assert.InDelta(t, 0.5, c[1].Stand(year(400)).Most, 1e-9)
	// Tile 2 was last seen on a day between 400 and 500, and missed on day 900.
	assert.Zero(t, c[1].Stand(year(300)).Least)
	assert.InDelta(t, 0.5, c[1].Stand(year(799)).Most, 1e-9)
}
