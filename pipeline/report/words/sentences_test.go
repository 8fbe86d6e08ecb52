package words

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure/associate"
	"tilelapse/measure/order"
	"tilelapse/measure/trend"
)

func TestFindingsSayWhatTheyAre(t *testing.T) {
	en := english(t)
	nan, inf := math.NaN(), math.Inf(1)
	for _, id := range associate.IDs() {
		for _, f := range []associate.Finding{associate.NotMade, associate.NotTold, associate.Found, associate.Reverse} {
			for _, end := range []float64{2, nan, inf} {
				r := associate.Result{ID: id, Finding: f, P: 0.00001, Holm: 0.003, Made: 4, Effect: 1.7, Lo: 0.4, Hi: end, PAlone: 0.2, Inflation: 1.3, POnceEach: 0.3, Losses: 4, Untold: 2, Near: associate.Ratio{Value: end, Lo: 1, Hi: end, P: 0.2}}
				if f == associate.NotMade {
					r.P, r.Holm, r.PAlone, r.Inflation = nan, nan, nan, nan
				}
				w := en.Finding(r)
				require.NotEmpty(t, w.Limits)
				require.NotEmpty(t, w.Weaken)
				assert.Equal(t, f == associate.NotMade, strings.HasPrefix(w.Answer, "Not made"), w.Answer)
				for _, s := range append(append([]string{w.Question, w.Answer, w.Method}, w.Limits...), w.Weaken...) {
					for _, bad := range []string{"%!", "⟨", "NaN", "Inf", "caused", "neglect", "proves", "damage", "never done"} {
						assert.NotContains(t, s, bad, s)
					}
				}
			}
		}
	}
}

// The list of tests stands in the manual, in its order, so that nobody can say that it was chosen after looking.
func TestTheManualListsTheTests(t *testing.T) {
	b, err := os.ReadFile(filepath.Join(root, "README.md"))
	require.NoError(t, err)
	en, at := english(t), 0
	for i, id := range associate.IDs() {
		line := fmt.Sprintf("%d. %s", i+1, en["test."+id+".question"])
		k := strings.Index(string(b)[at:], line)
		require.GreaterOrEqual(t, k, 0, line)
		at += k
	}
	assert.NotContains(t, string(b)[at:], fmt.Sprintf("\n%d. ", len(associate.IDs())+1))
}

func TestNotesFitTheirPlaces(t *testing.T) {
	en := english(t)
	day := trend.Span{From: 18000, To: 18000}
	for _, n := range []trend.Note{
		{Code: trend.ByDifference, Args: []any{1.0, 3.0, math.NaN(), math.NaN(), 730}}, {Code: trend.ByDifference, Args: []any{1.0, 3.0, 1.5, 2.5, 730}},
		{Code: trend.NoInterval}, {Code: trend.Crossed, Args: []any{day, day}}, {Code: trend.CommonTiles, Args: []any{3, 4}}, {Code: trend.Resemble, Args: []any{0.01}},
	} {
		for _, bad := range []string{"%!", "%%", "⟨", "NaN", "EXTRA"} {
			assert.NotContains(t, en.Note(n), bad)
		}
	}
	assert.Equal(t, "change from 1.00 to 3.00 in 730 days, too few visits for a slope", en.Note(trend.Note{Code: trend.ByDifference, Args: []any{1.0, 3.0, math.NaN(), math.NaN(), 730}}))
}

func TestSilenceIsWhatTheFileHolds(t *testing.T) {
	en := english(t)
	r := trend.Record{Covers: trend.Span{From: 16801, To: 20088}, Source: "works department file"}
	assert.Equal(t, "no entry in the file (covers 2016-01-01 to 2024-12-31, from works department file)", en.NoEntry(r))
	assert.Equal(t, "no entry in the file (what period it covers is not stated)", en.NoEntry(trend.Unstated))
	none := trend.Since{Days: math.NaN()}
	assert.Equal(t, en.NoEntry(r), en.Since(none, r, 20000))
	some := trend.Since{Days: 30, Last: trend.Entry{When: trend.Span{From: 18017, To: 18017}, Work: "wash"}}
	assert.Equal(t, "last entry in the file: 2019-05-01, wash", en.Since(some, r, 18047))
	assert.Contains(t, en.Since(some, r, 20100), "the file covers up to 2024-12-31")
}

func TestAdviceNeverSuggestsAcid(t *testing.T) {
	en := english(t)
	keys := map[string]bool{}
	for _, c := range en.Cautions() {
		keys[c.Key] = true
		assert.NotEmpty(t, c.Source)
		if strings.Contains(strings.ToLower(c.Text), "acid") {
			assert.Contains(t, c.Text, "Never", c.Text)
		}
	}
	for _, k := range []string{"acid", "chlorine", "pump", "slips", "conservator", "rules"} {
		assert.True(t, keys[k], k)
	}
	for _, trade := range order.Trades() {
		for _, x := range en.Steps(trade) {
			for _, bad := range []string{"acid", "vinegar", "bleach", "descal"} {
				assert.NotContains(t, strings.ToLower(x), bad)
			}
		}
	}
}

func TestWhy(t *testing.T) {
	en := english(t)
	nan := math.NaN()
	zone := func(id string, cm2, half, growth float64, risk int) order.Zone {
		return order.Zone{View: "v", ID: id, Cm2: cm2, Cm2Lo: cm2 - half, Cm2Hi: cm2 + half, Pct: cm2 / 100, PctLo: (cm2 - half) / 100,
			PctHi: (cm2 + half) / 100, Told: 0.5, Growth: growth, GrowthLo: nan, GrowthHi: nan, AtRisk: risk, SinceDays: nan}
	}
	p := order.New([]order.Zone{zone("a", 480, 30, 5, 3), zone("b", 500, 30, 9, 0), zone("c", 10, 2, nan, 0), {View: "v", ID: "u", Cm2: nan, Pct: nan}}, order.Rates{})
	why := func(i int) string { return en.Why(p.Places[i], en.SquareCentimetres, "") }
	assert.Equal(t, "its area cannot be told from the largest of those left; tiles beside gaps decide: 3; 480 cm² (450 to 510); growth a year 5.0 cm²", why(0))
	assert.Equal(t, "largest whitened area of those left; 500 cm² (470 to 530); growth a year 9.0 cm²", why(1))
	for i := range p.Places {
		for _, bad := range []string{"%!", "NaN", "⟨"} {
			assert.NotContains(t, why(i), bad)
		}
	}
	assert.Contains(t, en.Rule(p), en["rule.last"])
	assert.NotContains(t, en.Rule(p), en["rule.share"])
}
