package trend

import (
	"fmt"
	"math"
	"math/rand"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func day(t testing.TB, iso string) Span {
	t.Helper()
	s, err := ParseSpan(iso, "")
	require.NoError(t, err)
	return s
}

// yearlyPoints makes one visit a year on 1 June from 2010.
func yearlyPoints(t testing.TB, half float64, values ...float64) []Point {
	var p []Point
	for i, v := range values {
		p = append(p, Point{day(t, fmt.Sprintf("%d-06-01", 2010+i)), v, v - half, v + half})
	}
	return p
}

func codes(n []Note) []Code {
	var c []Code
	for _, v := range n {
		c = append(c, v.Code)
	}
	return c
}

func TestSummarise(t *testing.T) {
	nan := math.NaN()
	tests := []struct {
		name      string
		values    []float64
		half      float64
		threshold float64
		slope     float64
		rising    bool
		codes     []Code
	}{
		{"none read", []float64{nan, nan}, 1, nan, nan, false, []Code{NoReading}},
		{"three", []float64{1, 2, 3}, 0.1, nan, nan, false, []Code{TooFewVisits}},
		{"three, threshold", []float64{1, 2, 3}, 0.1, 10, nan, false, []Code{TooFewVisits, NoForecastFew}},
		{"four", []float64{1, 2, 3, 4}, 0.1, nan, 1, false, []Code{NoTestAtFour, FewVisits, NoInterval}},
		{"five", []float64{1, 2, 3, 4, 5}, 0, nan, 1, true, []Code{FewVisits}},
		{"one unread", []float64{1, 2, nan, 4, 5, 6}, 0, nan, 1, true, []Code{FewVisits}},
		{"error swallows it", []float64{1, 2, 3, 4, 5}, 20, 10, 1, false, []Code{FewVisits, Widened, NoForecastFew}},
		{"flat", []float64{3, 3, 3, 3, 3, 3, 3, 3}, 1, 10, 0, false, []Code{Widened, NoForecastFlat}},
		{"a count that stays the same", []float64{2, 2, 2, 2, 2, 2, 2, 2}, 0, nan, 0, false, []Code{Unchanging}},
		{"falling", []float64{8, 7, 6, 5, 4, 3, 2, 1}, 0, 10, -1, false, []Code{Resemble, NoForecastFlat}}, // leap days make the deviations alike
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := Summarise(yearlyPoints(t, tt.half, tt.values...), tt.threshold)
			if math.IsNaN(tt.slope) {
				assert.True(t, math.IsNaN(got.Slope))
				assert.True(t, math.IsNaN(got.P))
			} else {
				assert.InDelta(t, tt.slope, got.Slope, 0.003) // years of 365 and 366 days
			}
			assert.Equal(t, tt.rising, got.Rising())
			if slices.Contains(tt.codes, Unchanging) {
				assert.True(t, math.IsNaN(got.Lo) && math.IsNaN(got.Hi), "no interval of no width")
			}
			assert.Equal(t, tt.codes, codes(got.Notes))
			assert.Empty(t, got.ReachedOn)
		})
	}
}

func TestFlatSeriesKeepsMeasuringError(t *testing.T) {
	got := Summarise(yearlyPoints(t, 1, 0, 0, 0, 0, 0, 0, 0, 0), math.NaN())
	assert.InDelta(t, 1, got.P, 1e-12)
	// Half width of a least-squares slope: 1/sqrt(sum of (i - 3.5)^2) = 1/sqrt(42), from the formula.
	assert.InDelta(t, 1/math.Sqrt(42), got.Hi, 0.001)
	assert.InDelta(t, -got.Hi, got.Lo, 1e-12)
}

func TestThresholdReached(t *testing.T) {
	got := Summarise(yearlyPoints(t, 0, 1, 5, 11, 9, 12, 13), 10)
	assert.Equal(t, "2013-06-01", got.ReachedLo)
	assert.Equal(t, "2014-06-01", got.ReachedHi)
	assert.Empty(t, got.ReachedOn, "between two visits no day is known")

	assert.NotContains(t, codes(got.Notes), CrossedUnsure)
	got = Summarise(yearlyPoints(t, 4, 1, 5, 11, 9, 12, 13), 10)
	assert.Contains(t, codes(got.Notes), CrossedUnsure)

	got = Summarise(yearlyPoints(t, 0, 11, 12), 10)
	assert.Empty(t, got.ReachedLo)
	assert.Equal(t, "2010-06-01", got.ReachedHi)
	assert.Equal(t, []Code{TooFewVisits, AlwaysAbove}, codes(got.Notes))

	got = Summarise(yearlyPoints(t, 0.2, 1, 2.2, 2.9, 4, 5.1, 5.9, 7, 8), 10)
	assert.Equal(t, "2019", got.ReachedOn[:4])
	assert.Less(t, got.ReachedLo, got.ReachedOn)
	assert.Less(t, got.ReachedOn, got.ReachedHi)

	got = Summarise(yearlyPoints(t, 0.2, 1, 2.2, 2.9, 4, 5.1, 5.9, 7, 8), 90)
	assert.Empty(t, got.ReachedOn+got.ReachedLo+got.ReachedHi)
	assert.Contains(t, codes(got.Notes), BeyondHorizon)
}

// Measured: how often the stated dates hold the true one, where a date is stated at all.
func TestForecastCovers(t *testing.T) {
	rng := rand.New(rand.NewSource(5))
	for _, n := range []int{6, 9, 14} {
		stated, in := 0, 0
		for run := 0; run < 1500; run++ {
			var v []float64
			for i := 0; i < n; i++ {
				v = append(v, 5+2*float64(i)+1.5*rng.NormFloat64())
			}
			truth := 5 + 2*(float64(n)+2)
			got := Summarise(yearlyPoints(t, 0, v...), truth)
			if got.ReachedLo == "" || v[n-1] >= truth {
				continue
			}
			stated++
			on := ISO(int(math.Round(day(t, "2010-06-01").Mid() + (float64(n)+2)*YearDays)))
			if got.ReachedLo <= on && (got.ReachedHi == "" || on <= got.ReachedHi) {
				in++
			}
		}
		share := float64(in) / float64(stated)
		t.Logf("n=%d: stated %d of 1500, held the truth %.3f", n, stated, share)
		require.Greater(t, stated, 300)
		assert.Greater(t, share, 0.93)
	}
}

// Visits that resemble the ones before, and no trend: as if independent the test speaks in a quarter of the series.
func TestVisitsThatResembleTheOnesBefore(t *testing.T) {
	rng := rand.New(rand.NewSource(6))
	const runs, n, rho = 600, 16, 0.6
	speaks, naive, holds := 0.0, 0.0, 0.0
	for range runs {
		v := make([]float64, n)
		e := rng.NormFloat64()
		for i := range v {
			v[i] = e
			e = rho*e + math.Sqrt(1-rho*rho)*rng.NormFloat64()
		}
		s := Summarise(yearlyPoints(t, 0, v...), math.NaN())
		assert.GreaterOrEqual(t, s.P, s.Kendall.P-1e-12)
		if s.Rising() || s.Falling() {
			speaks += 1.0 / runs
		}
		if s.Kendall.P <= 0.05 {
			naive += 1.0 / runs
		}
		if s.Lo <= 0 && 0 <= s.Hi {
			holds += 1.0 / runs
		}
	}
	t.Logf("speaks %.3f, as if independent %.3f, interval holds the truth %.3f", speaks, naive, holds)
	assert.Greater(t, naive, 0.15)
	assert.Less(t, speaks, 0.11)
	assert.Greater(t, holds, 0.87)
	assert.InDelta(t, 1, serialInflation([]float64{1, -1, 1, -1, 1, -1, 1, -1, 1, -1}), 0, "alternating is no likeness")
}

func TestOrderIsClaimedOnlyWithoutOverlap(t *testing.T) {
	p := yearlyPoints(t, 0, 1, 2, 3, 4, 5)
	p[1].When = Span{p[0].When.From - 10, p[1].When.To}
	got := Summarise(p, math.NaN())
	assert.Equal(t, 9, got.Kendall.Pairs)
	assert.Contains(t, codes(got.Notes), Overlapping)

	for i := range p {
		p[i].When = Span{p[0].When.From, p[4].When.To}
	}
	got = Summarise(p, math.NaN())
	assert.True(t, math.IsNaN(got.Slope))
	assert.Contains(t, codes(got.Notes), NoOrder)
}

func TestSameSeason(t *testing.T) {
	// Two seasons: spring low, autumn high, both rising by 1 a year; all visits together look like a saw.
	var p []Point
	for i := 0; i < 4; i++ {
		for s, d := range []string{"04-10", "10-10"} {
			v := float64(i) + 20*float64(s)
			p = append(p, Point{day(t, fmt.Sprintf("%d-%s", 2010+i, d)), v, v, v})
		}
	}
	got := SameSeason(p)
	assert.Equal(t, 2, got.Seasons)
	assert.Equal(t, 8, got.Visits)
	assert.Equal(t, 12, got.S)
	assert.InDelta(t, 1, got.Slope, 0.003)
	assert.InDelta(t, 2.0/(24*24), got.P, 1e-12, "both seasons in the one order of 24")
	assert.Greater(t, Summarise(p, math.NaN()).P, 0.05, "without seasons the saw hides the rise")

	// Turning of the year does not split a winter.
	var w []Point
	for i, d := range []string{"2010-12-28", "2012-01-03", "2012-12-30", "2014-01-05"} {
		w = append(w, Point{day(t, d), float64(i), 0, 0})
	}
	got = SameSeason(w)
	assert.Equal(t, 1, got.Seasons)
	assert.Equal(t, 4, got.Visits)

	// Visits all over the year: calendar quarters.
	var q []Point
	for i := 0; i < 24; i++ {
		s := Span{14600 + 30*i, 14600 + 30*i}
		q = append(q, Point{s, float64(i), 0, 0})
	}
	assert.Equal(t, 4, SameSeason(q).Seasons)

	// A date known to the year only has no season.
	assert.True(t, math.IsNaN(SameSeason([]Point{{When: Span{0, 364}}, {When: Span{400, 700}}, {When: Span{800, 1000}}, {When: Span{1200, 1400}}}).P))
}
