package trend

import (
	"math"
	"math/rand"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func series(rng *rand.Rand, n int, ties bool) (x, y []float64) {
	for i := 0; i < n; i++ {
		x = append(x, float64(i)+0.8*rng.Float64())
		v := rng.NormFloat64()
		if ties {
			v = math.Round(2 * v)
		}
		y = append(y, v)
	}
	return x, y
}

func moved(v []float64, scale, shift float64) []float64 {
	r := make([]float64, len(v))
	for i := range v {
		r[i] = scale*v[i] + shift
	}
	return r
}

func TestSlopeMovesAndScalesWithTheData(t *testing.T) {
	rng := rand.New(rand.NewSource(1))
	for n := 5; n < 24; n++ {
		x, y := series(rng, n, n%3 == 0)
		s := TheilSen(x, y, RanksFor(n))
		shifted := TheilSen(moved(x, 1, 40), moved(y, 1, -7), RanksFor(n))
		assert.InDelta(t, s.PerUnit, shifted.PerUnit, 1e-9)
		assert.InDelta(t, s.Lo, shifted.Lo, 1e-9)
		scaled := TheilSen(moved(x, 4, 0), moved(y, 3, 0), RanksFor(n))
		assert.InDelta(t, 0.75*s.PerUnit, scaled.PerUnit, 1e-9)
		assert.InDelta(t, 0.75*s.Hi, scaled.Hi, 1e-9)
		turned := TheilSen(x, moved(y, -1, 0), RanksFor(n))
		assert.InDelta(t, -s.PerUnit, turned.PerUnit, 1e-12)
		assert.InDelta(t, -s.Lo, turned.Hi, 1e-12, "the interval turns with the slope")
		assert.LessOrEqual(t, s.Lo, s.PerUnit)
		assert.LessOrEqual(t, s.PerUnit, s.Hi)
	}
}

func TestPValueIsSymmetricAndIgnoresOrderOfInput(t *testing.T) {
	rng := rand.New(rand.NewSource(2))
	for n := 3; n < 24; n++ {
		x, y := series(rng, n, n%2 == 0)
		k := MannKendall(x, y)
		back := MannKendall(moved(x, -1, 0), y)
		assert.InDelta(t, k.P, back.P, 1e-12)
		assert.Equal(t, -k.S, back.S)
		perm := rng.Perm(n)
		px, py := make([]float64, n), make([]float64, n)
		for i, j := range perm {
			px[i], py[i] = x[j], y[j]
		}
		mixed := MannKendall(px, py)
		assert.Equal(t, k.S, mixed.S)
		assert.InDelta(t, k.P, mixed.P, 1e-12)
		assert.InDelta(t, k.VarS, mixed.VarS, 1e-9)
	}
}

// The law by generating functions and the one by trying every order must be the same.
func TestExactLawAgreesWithTryingEveryOrder(t *testing.T) {
	rng := rand.New(rand.NewSource(3))
	for n := 2; n <= 7; n++ {
		for _, ties := range []bool{false, true} {
			x, y := series(rng, n, ties)
			fast, slow := exactS(signsOf(x), signsOf(y)), enumerate(signsOf(x), signsOf(y))
			for s := -n * n; s <= n*n; s++ {
				assert.InDelta(t, slow.twoSided(s), fast.twoSided(s), 1e-12, "n=%d s=%d", n, s)
			}
			variance := 0.0
			for i, p := range slow.p {
				variance += p * float64(i-slow.max) * float64(i-slow.max)
			}
			assert.InDelta(t, variance, MannKendall(x, y).VarS, 1e-9)
		}
	}
}

// Overlapping dates are no weak order: a beside b, b beside c, a before c. The variance formula must still hold.
func TestOverlappingDatesKeepAnExactLaw(t *testing.T) {
	spans := []Span{{0, 10}, {5, 20}, {15, 30}, {40, 40}, {50, 50}}
	s := newSigns(len(spans), func(i, j int) bool { return spans[i].Before(spans[j]) })
	y := []float64{1, 2, 3, 4, 5}
	k := kendall(s, y)
	assert.Equal(t, 8, k.Pairs)
	assert.Equal(t, 8, k.S)
	law := enumerate(s, signsOf(y))
	variance := 0.0
	for i, p := range law.p {
		variance += p * float64(i-law.max) * float64(i-law.max)
	}
	assert.InDelta(t, variance, k.VarS, 1e-9)
	assert.InDelta(t, 2.0*3/120, k.PExact, 1e-12, "three orders of 120 keep the first before the third: acb, abc, bac")
}

func TestSmallestExactP(t *testing.T) {
	// 2/n!, by counting orders.
	for n, want := range map[int]float64{4: 2.0 / 24, 5: 2.0 / 120, 6: 2.0 / 720} {
		x := make([]float64, n)
		for i := range x {
			x[i] = float64(i)
		}
		assert.InDelta(t, want, MannKendall(x, x).P, 1e-15)
	}
	four := TheilSen([]float64{1, 2, 3, 4}, []float64{1, 2, 3, 4}, ExactRanks)
	assert.True(t, math.IsNaN(four.Lo) && math.IsNaN(four.Hi), "four values bound no slope at 95 %%")
	assert.InDelta(t, 1, four.PerUnit, 0)
}

// The interval must hold the true slope in at least 95 of 100 series, whatever the number of visits.
func TestSlopeIntervalCovers(t *testing.T) {
	rng := rand.New(rand.NewSource(4))
	for _, n := range []int{5, 8, 10, 14, 30} {
		const runs = 3000
		in := 0
		for r := 0; r < runs; r++ {
			x, y := series(rng, n, false)
			for i := range y {
				y[i] += 0.3 * x[i]
			}
			if s := TheilSen(x, y, RanksFor(n)); s.Lo <= 0.3 && 0.3 <= s.Hi {
				in++
			}
		}
		share := float64(in) / runs
		t.Logf("n=%d: %.3f", n, share)
		// 0.95 less 3.5 standard errors of 3000 runs.
		assert.GreaterOrEqual(t, share, 0.936, "n=%d", n)
	}
}

func TestGaussianBinomialTerms(t *testing.T) {
	// (4 choose 2)_q = 1 + q + 2q^2 + q^3 + q^4, from the definition.
	got := Inversions(4, 2)
	for i, w := range []float64{1, 1, 2, 1, 1} {
		assert.InDelta(t, w/6, got[i], 1e-15)
	}
	require.Len(t, got, 5)
	rev := slices.Clone(Inversions(9, 4))
	slices.Reverse(rev)
	assert.InDeltaSlice(t, rev, Inversions(9, 4), 1e-15)
}
