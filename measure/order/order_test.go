package order

import (
	"math"
	"math/rand"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func zone(id string, cm2, half, growth float64, risk int) Zone {
	nan := math.NaN()
	return Zone{View: "v", ID: id, Cm2: cm2, Cm2Lo: cm2 - half, Cm2Hi: cm2 + half, Pct: cm2 / 100, PctLo: (cm2 - half) / 100,
		PctHi: (cm2 + half) / 100, Told: 0.5, Growth: growth, GrowthLo: nan, GrowthHi: nan, AtRisk: risk, SinceDays: nan}
}

func ids(p Plan) string {
	var s []string
	for _, x := range p.Places {
		s = append(s, x.Zone.ID)
	}
	return strings.Join(s, " ")
}

func TestOrder(t *testing.T) {
	nan := math.NaN()
	unread := Zone{View: "v", ID: "u", Cm2: nan, Pct: nan, Cm2Lo: nan, Cm2Hi: nan, PctLo: nan, PctHi: nan, Growth: nan, AtRisk: 9}
	tests := []struct {
		name  string
		zones []Zone
		want  string
	}{
		{"by area when told apart", []Zone{zone("a", 100, 10, 5, 9), zone("b", 500, 10, 0, 0)}, "b a"},
		{"by tiles at risk when not", []Zone{zone("a", 480, 30, 5, 3), zone("b", 500, 30, 9, 0)}, "a b"},
		{"then by growth", []Zone{zone("a", 480, 30, 5, 3), zone("b", 500, 30, 9, 3)}, "b a"},
		{"then by area", []Zone{zone("a", 480, 30, 5, 3), zone("b", 500, 30, 5, 3)}, "b a"},
		{"equals by name", []Zone{zone("b", 480, 30, 5, 3), zone("a", 480, 30, 5, 3)}, "a b"},
		{"unknown growth stands between", []Zone{zone("a", 480, 30, nan, 0), zone("b", 480, 30, -2, 0), zone("c", 480, 30, 2, 0)}, "c a b"},
		{"chains do not tie far zones", []Zone{zone("a", 300, 60, 0, 9), zone("b", 400, 60, 0, 0), zone("c", 500, 60, 0, 0)}, "c a b"},
		{"not told from none, then unread", []Zone{unread, zone("n", 30, 40, 0, 0), zone("a", 300, 10, 0, 0)}, "a n u"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			rng := rand.New(rand.NewSource(1))
			for range 10 {
				z := append([]Zone(nil), tt.zones...)
				rng.Shuffle(len(z), func(i, j int) { z[i], z[j] = z[j], z[i] })
				assert.Equal(t, tt.want, ids(New(z, Rates{})))
			}
		})
	}
}

func TestHoursAndCost(t *testing.T) {
	z := zone("a", 24000, 12000, 5, 0)
	z.Missing = 2
	p := New([]Zone{z}, Rates{M2PerHour: 1.2, CostPerHour: 45, SetupHours: 1, TileEach: 60, Currency: "EUR"}).Places[0]
	assert.InDelta(t, 2, p.HoursLo, 1e-12) // 1 + 1.2 m² at 1.2 m² an hour
	assert.InDelta(t, 4, p.HoursHi, 1e-12)
	assert.InDelta(t, 2*45+120, p.CostLo, 1e-12)
	assert.InDelta(t, 4*45+120, p.CostHi, 1e-12)
	assert.True(t, p.TilesCosted)

	p = New([]Zone{z}, Rates{}).Places[0]
	assert.True(t, math.IsNaN(p.HoursLo) && math.IsNaN(p.CostHi), "no rates, no hours")
}

func TestShareStandsInWhenAnAreaIsUnknown(t *testing.T) {
	a, b := zone("a", 9000, 10, 5, 0), zone("b", 100, 10, 5, 0)
	a.Pct, a.PctLo, a.PctHi = 10, 9, 11
	b.Pct, b.PctLo, b.PctHi = 40, 35, 45
	b.Cm2, b.Cm2Lo, b.Cm2Hi = math.NaN(), math.NaN(), math.NaN()
	p := New([]Zone{a, b}, Rates{M2PerHour: 1})
	assert.Equal(t, "b a", ids(p))
	assert.True(t, p.Share)
	assert.True(t, p.Places[0].Reason.Share)
	assert.False(t, p.Last)
	assert.True(t, math.IsNaN(p.Places[0].HoursLo), "no area, no hours")
	assert.False(t, math.IsNaN(p.Places[1].HoursLo))
}

func TestReasons(t *testing.T) {
	p := New([]Zone{zone("a", 480, 30, 5, 3), zone("b", 500, 30, 9, 0), zone("c", 10, 2, math.NaN(), 0), zone("n", 3, 9, 0, 0)}, Rates{})
	require.Len(t, p.Places, 4)
	assert.Equal(t, Reason{Tied: 1, ByRisk: true}, p.Places[0].Reason)
	assert.Equal(t, Reason{Largest: true}, p.Places[1].Reason)
	assert.Equal(t, Reason{Class: NotTold}, p.Places[3].Reason)
	assert.True(t, p.Last)
}
