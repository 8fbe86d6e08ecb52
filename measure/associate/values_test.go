package associate

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// value is one published check value; every row of the file names its source.
type value struct {
	want, tol float64
	source    string
}

func published(t *testing.T) map[string]value {
	t.Helper()
	f, err := os.Open("../../testdata/values/statistics.csv")
	require.NoError(t, err)
	defer func() { require.NoError(t, f.Close()) }()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	m := map[string]value{}
	for _, r := range rows[1:] {
		w, err := strconv.ParseFloat(r[2], 64)
		require.NoError(t, err)
		tol, err := strconv.ParseFloat(r[3], 64)
		require.NoError(t, err)
		m[r[0]+"/"+r[1]] = value{w, tol, r[4]}
	}
	return m
}

func check(t *testing.T, m map[string]value, key string, got float64) {
	t.Helper()
	v, ok := m[key]
	require.True(t, ok, "no check value %s", key)
	if math.IsNaN(got) || math.Abs(got-v.want) > v.tol+1e-12*math.Abs(v.want) {
		t.Errorf("%s: got %.10g, want %.10g ± %g (%s)", key, got, v.want, v.tol, v.source)
	}
}

func TestPublishedWilson(t *testing.T) {
	m := published(t)
	for _, c := range []struct{ k, n int }{{81, 263}, {15, 148}, {0, 20}, {1, 29}} {
		lo, hi := Wilson(c.k, c.n, 0.95)
		key := fmt.Sprintf("wilson_%d_of_%d", c.k, c.n)
		check(t, m, key+"/low95", lo)
		check(t, m, key+"/high95", hi)
		check(t, m, key+"/low95_6dp", lo)
		check(t, m, key+"/high95_6dp", hi)
	}
	lo, hi := Wilson(4, 20, 0.90)
	check(t, m, "wilson_4_of_20_90pct/low", lo)
	check(t, m, "wilson_4_of_20_90pct/high", hi)
}

// The case is that of NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.4.2: 4 defective of 20, two-sided, 90 %.
func TestPublishedExactProportion(t *testing.T) {
	m := published(t)
	lo, hi := ClopperPearson(4, 20, 0.90)
	check(t, m, "exact_binomial_4_of_20_90pct/low", lo)
	check(t, m, "exact_binomial_4_of_20_90pct/high", hi)
	lo, hi = ClopperPearson(0, 20, 0.95)
	assert.Zero(t, lo)
	assert.InDelta(t, 1-math.Pow(0.025, 1.0/20), hi, 1e-9, "none of 20: solved by hand")
	lo, hi = ClopperPearson(20, 20, 0.95)
	assert.InDelta(t, math.Pow(0.025, 1.0/20), lo, 1e-9, "all of 20")
	assert.Equal(t, 1.0, hi)
	lo, hi = ClopperPearson(0, 0, 0.95)
	assert.True(t, math.IsNaN(lo) && math.IsNaN(hi))
}

func TestPublishedExact(t *testing.T) {
	m := published(t)
	tea := Table{3, 1, 1, 3}
	check(t, m, "tea_3113/p_greater", NewExact(tea).Greater())
	check(t, m, "tea_3113/p_two_sided", NewExact(tea).TwoSided())
	// R prints 6.408309, found by a root finder with tolerance 1.2e-4 (uniroot's default). The estimate solves
	// x^4 - 36x^2 - 32x - 3 = 0 here (mean of the law with terms 1, 16, 36, 16, 1 set to 3): 6.4083197.
	x := NewExact(tea).OddsRatio()
	assert.InDelta(t, m["tea_3113/conditional_mle_odds_ratio"].want, x, 1.2e-4)
	assert.InDelta(t, 0, x*x*x*x-36*x*x-32*x-3, 1e-9)
	check(t, m, "tea_3113/sample_odds_ratio", tea.OddsRatio())
	o := Table{8, 2, 1, 5}
	check(t, m, "fisher_8215/p_two_sided", NewExact(o).TwoSided())
	check(t, m, "fisher_8215/sample_odds_ratio", o.OddsRatio())
	c := Table{2, 15, 10, 3}
	check(t, m, "convictions/p_less", NewExact(c).Less())
	check(t, m, "convictions/p_two_sided", NewExact(c).TwoSided())
	// One-sided 95 % is the upper end at level 0.90.
	_, hi := NewExact(c).Interval(0.90)
	check(t, m, "convictions/or_ci95_high_one_sided", hi)
}

// Data: Freireich et al. (1963), Blood 21, 699-716; weeks.
func leukemia() (treated, placebo []Follow) {
	for _, v := range []float64{6, 6, 6, -6, 7, -9, 10, -10, -11, 13, 16, -17, -19, -20, 22, 23, -25, -32, -32, -34, -35} {
		treated = append(treated, Follow{math.Abs(v), v > 0}) // negative = still in remission
	}
	for _, v := range []float64{1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23} {
		placebo = append(placebo, Follow{v, true})
	}
	return treated, placebo
}

func TestPublishedSurvival(t *testing.T) {
	m := published(t)
	treated, placebo := leukemia()
	curve := KaplanMeier(treated)
	for _, w := range []float64{6, 7, 10, 13, 16, 22, 23} {
		s := At(curve, w)
		check(t, m, fmt.Sprintf("leukemia_km_6mp/S(%g)", w), s.Surviving)
		check(t, m, fmt.Sprintf("leukemia_km_6mp/greenwood_se(%g)", w), s.SE)
		assert.True(t, s.Lo < s.Surviving && s.Surviving < s.Hi)
	}
	check(t, m, "leukemia_km_6mp/median", MedianTime(curve))
	check(t, m, "leukemia_km_placebo/median", MedianTime(KaplanMeier(placebo)))

	var all []Member
	for _, f := range treated {
		all = append(all, Member{Follow: f, Exposed: true})
	}
	for _, f := range placebo {
		all = append(all, Member{Follow: f, Exposed: false})
	}
	r := NewLogRank(all)
	check(t, m, "leukemia_logrank/chisq_1df", r.ChiSquared)
	check(t, m, "leukemia_logrank/p", r.P)
	check(t, m, "leukemia_logrank/observed_6mp", r.Observed[1])
	check(t, m, "leukemia_logrank/expected_6mp", r.Expected[1])
	check(t, m, "leukemia_logrank/observed_placebo", r.Observed[0])
	check(t, m, "leukemia_logrank/expected_placebo", r.Expected[0])
	check(t, m, "leukemia_logrank/variance", r.Variance)
}

// Data: acute myelogenous leukaemia, Miller (1997), as shipped with R's survival package (typed from memory); weeks.
func TestPublishedSurvivalAML(t *testing.T) {
	var all []Member
	for _, v := range []float64{9, 13, -13, 18, 23, -28, 31, 34, -45, 48, -161} {
		all = append(all, Member{Follow: Follow{math.Abs(v), v > 0}, Exposed: true})
	}
	for _, v := range []float64{5, 5, 8, 8, 12, -16, 23, 27, 30, 33, 43, 45} {
		all = append(all, Member{Follow: Follow{math.Abs(v), v > 0}, Exposed: false})
	}
	check(t, published(t), "aml_logrank/chisq_1df", NewLogRank(all).ChiSquared)
}

func TestPublishedCorrections(t *testing.T) {
	m := published(t)
	// p-values of Benjamini and Hochberg (1995).
	p := []float64{0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0000}
	holm, bh := Holm(p), BenjaminiHochberg(p)
	rejected, found := 0, 0
	for i := range p {
		check(t, m, fmt.Sprintf("bh1995_holm/adjusted_p_%d", i+1), holm[i])
		if holm[i] <= 0.05 {
			rejected++
		}
		if bh[i] <= 0.05 {
			found++
		}
	}
	check(t, m, "bh1995_holm/rejected_at_0.05", float64(rejected))
	assert.Equal(t, 4, found, "Benjamini and Hochberg (1995): four findings at 0.05")
	small := []float64{0.01, 0.04, 0.03, 0.005}
	for i, v := range Holm(small) {
		check(t, m, fmt.Sprintf("holm_small/adjusted_of_%g", small[i]), v)
	}
}

func TestHolmIgnoresTestsNotMade(t *testing.T) {
	got := Holm([]float64{0.01, math.NaN(), 0.04})
	assert.InDelta(t, 0.02, got[0], 1e-15)
	assert.True(t, math.IsNaN(got[1]))
	assert.InDelta(t, 0.04, got[2], 1e-15)
}
