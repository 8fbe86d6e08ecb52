package trend

import (
	"encoding/csv"
	"math"
	"os"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
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

// check compares with a published value, to the source's printed digits.
func check(t *testing.T, m map[string]value, key string, got float64) {
	t.Helper()
	v, ok := m[key]
	require.True(t, ok, "no check value %s", key)
	if math.IsNaN(got) || math.Abs(got-v.want) > v.tol+1e-12*math.Abs(v.want) {
		t.Errorf("%s: got %.10g, want %.10g ± %g (%s)", key, got, v.want, v.tol, v.source)
	}
}

// Data: USEPA (2009), Unified Guidance, EPA 530/R-09-007, Examples 17-6 and 17-7.
var (
	sulfateX = []float64{89.6, 89.8, 90.1, 90.3, 90.6, 90.8, 91.1, 91.3, 91.6, 91.8, 92.1, 92.6, 93.1, 93.6, 94.1, 94.6, 95.1, 95.6, 95.8, 96.1, 96.3, 96.6, 96.8}
	sulfateY = []float64{480, 450, 490, 520, 485, 510, 510, 530, 510, 560, 560, 540, 590, 550, 600, 700, 570, 610, 650, 620, 830, 720, 590}
	sodiumX  = []float64{89.6, 90.1, 90.8, 91.1, 92.1, 93.1, 94.1, 95.6, 96.1, 96.3}
	sodiumY  = []float64{56, 53, 51, 55, 52, 60, 62, 59, 61, 63}
)

func TestPublishedTrends(t *testing.T) {
	m := published(t)

	k := MannKendall(sulfateX, sulfateY)
	check(t, m, "sulfate/n", float64(k.N))
	check(t, m, "sulfate/S", float64(k.S))
	check(t, m, "sulfate/var_S_tie_corrected", k.VarS)
	check(t, m, "sulfate/z_continuity_corrected", k.Z)
	check(t, m, "sulfate/p_two_sided_normal", k.PNormal)
	check(t, m, "sulfate/p_two_sided_normal", k.P)
	check(t, m, "sulfate/tau_a", k.TauA)
	check(t, m, "sulfate/tau_b", k.TauB)
	require.Equal(t, Normal, k.How)
	s := TheilSen(sulfateX, sulfateY, GilbertRanks)
	check(t, m, "sulfate/theil_sen_slope", s.PerUnit)
	check(t, m, "sulfate/intercept_median_y_minus_slope_median_x", s.At(0))
	check(t, m, "sulfate/slope_ci95_low", s.Lo)
	check(t, m, "sulfate/slope_ci95_high_interpolated_ranks", s.Hi)

	k = MannKendall(sodiumX, sodiumY)
	check(t, m, "sodium/n", float64(k.N))
	check(t, m, "sodium/S", float64(k.S))
	check(t, m, "sodium/var_S", k.VarS)
	check(t, m, "sodium/z_continuity_corrected", k.Z)
	check(t, m, "sodium/p_two_sided_normal", k.PNormal)
	check(t, m, "sodium/p_two_sided_exact", k.PExact)
	check(t, m, "sodium/p_two_sided_exact", k.P)
	require.Equal(t, Exact, k.How)
	s = TheilSen(sodiumX, sodiumY, GilbertRanks)
	check(t, m, "sodium/theil_sen_slope", s.PerUnit)
	check(t, m, "sodium/slope_ci95_low_interpolated_ranks", s.Lo)
	check(t, m, "sodium/slope_ci95_high", s.Hi)
	s = TheilSen(sodiumX, sodiumY, ExactRanks)
	require.Equal(t, ExactRanks, s.Ranks)
	check(t, m, "sodium/slope_ci95_low_rounded_ranks", s.Lo) // the same rank as rounding gives
	check(t, m, "sodium/slope_ci95_high", s.Hi)

	x, y := []float64{1, 2, 3, 4, 5, 6, 7}, []float64{1, 2, 3, 4, 5, 16, 7}
	check(t, m, "outlier7/theil_sen_slope", TheilSen(x, y, ExactRanks).PerUnit)
	k = MannKendall(x, y)
	check(t, m, "outlier7/S", float64(k.S))
	check(t, m, "outlier7/p_two_sided_exact", k.PExact)
}

// The ends of a slope's interval under the two rank conventions that this program does not use, from the slopes and the
// variance that it works out: SciPy's theilslopes rounds the ranks (N-C)/2 and (N+C)/2+1 to whole ones, others round them
// outwards. What the program itself takes is said by RanksFor and checked in TestPublishedTrends.
func TestPublishedIntervalsByOtherRankConventions(t *testing.T) {
	m := published(t)
	ends := func(x, y []float64, round func(float64) float64, up func(float64) float64) (lo, hi float64) {
		time := signsOf(x)
		slopes := pairSlopes(time, x, y)
		slices.Sort(slopes)
		n, c := float64(len(slopes)), distuv.UnitNormal.Quantile(0.975)*math.Sqrt(permutationVariance(time, signsOf(y)))
		return at(slopes, round((n-c)/2)), at(slopes, up((n+c)/2)+1)
	}
	_, hi := ends(sulfateX, sulfateY, math.RoundToEven, math.RoundToEven)
	check(t, m, "sulfate/slope_ci95_high_rounded_ranks", hi)
	lo, hi := ends(sodiumX, sodiumY, math.RoundToEven, math.RoundToEven)
	check(t, m, "sodium/slope_ci95_low_rounded_ranks", lo)
	check(t, m, "sodium/slope_ci95_high", hi)
	lo, _ = ends(sodiumX, sodiumY, math.Floor, math.Ceil)
	check(t, m, "sodium/slope_ci95_low_outward_ranks", lo)
}
