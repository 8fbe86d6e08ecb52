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
		{"chains do not tie far zones", []Zone{zone("a", 300, 80, 0, 9), zone("b", 400, 80, 0, 0), zone("c", 500, 80, 0, 0)}, "c a b"},
		{"told apart although their intervals overlap", []Zone{zone("a", 300, 60, 0, 9), zone("b", 400, 60, 0, 0)}, "b a"},
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

// The order is that of the sentence: next comes, among the zones that cannot be told from the largest left, the one with
// most tiles beside gaps, of equals the one that grows fastest, then the larger; zones not told from none follow.
func TestOrderFollowsItsSentence(t *testing.T) {
	rng := rand.New(rand.NewSource(9))
	for range 300 {
		var zs []Zone
		for i := range 2 + rng.Intn(7) {
			z := zone(string(rune('a'+i)), float64(20+rng.Intn(500)), float64(1+rng.Intn(120)), float64(rng.Intn(4)), rng.Intn(3))
			zs = append(zs, z)
		}
		p := New(zs, Rates{})
		require.Len(t, p.Places, len(zs))
		told := 0
		for i, x := range p.Places {
			assert.Equal(t, i+1, x.Order)
			if x.Reason.Class != ToClean {
				assert.True(t, x.Zone.Cm2Lo <= 0 || x.Zone.Pct < x.Zone.Told)
				continue
			}
			assert.Equal(t, i, told, "zones told from none stand first")
			told++
			left := p.Places[i:]
			largest := x.Zone
			for _, l := range left {
				if l.Reason.Class == ToClean && l.Zone.Cm2 > largest.Cm2 {
					largest = l.Zone
				}
			}
			apart := func(o Zone) bool {
				a, b := largest.Cm2-largest.Cm2Lo, o.Cm2Hi-o.Cm2
				return o.ID != largest.ID && (largest.Cm2-o.Cm2)*(largest.Cm2-o.Cm2) > a*a+b*b
			}
			assert.False(t, apart(x.Zone), "cannot be told from the largest left")
			for _, l := range left[1:] {
				o := l.Zone
				if l.Reason.Class != ToClean || apart(o) {
					continue
				}
				better := o.AtRisk > x.Zone.AtRisk || o.AtRisk == x.Zone.AtRisk && (o.Growth > x.Zone.Growth || o.Growth == x.Zone.Growth && o.Cm2 > x.Zone.Cm2)
				assert.False(t, better, "%s stands before %s", x.Zone.ID, o.ID)
			}
		}
	}
}
