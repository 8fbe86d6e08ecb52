package scale

import (
	"encoding/csv"
	"math"
	"math/rand"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure/colour"
)

type mixRow struct {
	name                string
	glaze, deposit, mix [3]float64
	alpha               float64
}

// mixes reads ../../testdata/values/mix.csv: computed opacity mixtures in linear light, sRGB codes rounded to 0.001.
func mixes(t *testing.T) []mixRow {
	f, err := os.Open("../../testdata/values/mix.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	col := map[string]int{}
	for i, h := range rows[0] {
		col[h] = i
	}
	var out []mixRow
	for _, r := range rows[1:] {
		rgb := func(p string) (v [3]float64) {
			for c, ch := range []string{"_r", "_g", "_b"} {
				x, err := strconv.ParseFloat(r[col[p+ch]], 64)
				require.NoError(t, err)
				v[c] = colour.Decode(x / 255)
			}
			return v
		}
		a, err := strconv.ParseFloat(r[col["alpha"]], 64)
		require.NoError(t, err)
		out = append(out, mixRow{r[0], rgb("glaze"), rgb("deposit"), rgb("mix"), a})
	}
	require.Greater(t, len(out), 30)
	return out
}

var fine = [3]float64{0.01, 0.01, 0.01}

func TestSplitKnownMixtures(t *testing.T) {
	for _, r := range mixes(t) {
		m := Split(r.mix, r.glaze, r.deposit, fine, Prior{1, 0.1})
		assert.InDelta(t, r.alpha, m.Alpha, 2e-3, "%s at %v", r.name, r.alpha)
		assert.InDelta(t, 1, m.A+m.B, 2e-3)
		assert.Less(t, m.Residual, 0.01)
	}
}

func TestSplitExposureAndWhiteBalance(t *testing.T) {
	for _, r := range mixes(t) {
		want := Split(r.mix, r.glaze, r.deposit, fine, Prior{1, math.Inf(1)})
		if want.Sigma > 0.2 {
			continue // too near to parallel for the colours alone
		}
		k := [3]float64{1.7, 0.9, 1.25}
		var i, g, d, n [3]float64
		for c := range 3 {
			i[c], g[c], d[c], n[c] = k[c]*r.mix[c], k[c]*r.glaze[c], k[c]*r.deposit[c], k[c]*fine[c]
		}
		got := Split(i, g, d, n, Prior{1, math.Inf(1)})
		assert.InDelta(t, want.Alpha, got.Alpha, 1e-9, "white balance, %s", r.name)
		for c := range 3 {
			i[c], n[c] = 0.3*i[c], 0.3*n[c] // shade
		}
		got = Split(i, g, d, n, Prior{1, math.Inf(1)})
		assert.InDelta(t, want.Alpha, got.Alpha, 1e-9, "exposure, %s", r.name)
		assert.InDelta(t, 0.3*(want.A+want.B), got.A+got.B, 1e-9)
	}
}

func TestSplitEndsAndSwap(t *testing.T) {
	g, d := [3]float64{0.03, 0.1, 0.4}, [3]float64{0.75, 0.74, 0.7}
	assert.InDelta(t, 0, Split(g, g, d, fine, Prior{1, 0.1}).Alpha, 1e-12)
	assert.InDelta(t, 1, Split(d, g, d, fine, Prior{1, 0.1}).Alpha, 1e-12)
	var i [3]float64
	for c := range 3 {
		i[c] = 0.7*g[c] + 0.3*d[c]
	}
	assert.InDelta(t, 0.3, Split(i, g, d, fine, Prior{1, 0.1}).Alpha, 1e-12)
	assert.InDelta(t, 0.7, Split(i, d, g, fine, Prior{1, 0.1}).Alpha, 1e-12, "glaze and deposit swapped")
}

func TestSplitSaysWhenItCannotTell(t *testing.T) {
	grey, white := [3]float64{0.2, 0.2, 0.2}, [3]float64{0.6, 0.6, 0.6}
	m := Split([3]float64{0.3, 0.3, 0.3}, grey, white, fine, Prior{1, math.Inf(1)})
	assert.True(t, math.IsInf(m.Sigma, 1) && math.IsNaN(m.Alpha), "grey under an unknown level has no answer")
	m = Split([3]float64{0.3, 0.3, 0.3}, grey, white, fine, Prior{1, 0.02})
	assert.InDelta(t, 0.25, m.Alpha, 0.01, "with the level known it has")
	loose := Split([3]float64{0.3, 0.3, 0.3}, grey, white, fine, Prior{1, 0.2})
	assert.Greater(t, loose.Sigma, 5*m.Sigma)
	// another colour altogether shows in the residual
	red := Split([3]float64{0.5, 0.05, 0.05}, [3]float64{0.05, 0.1, 0.4}, white, fine, Prior{1, 0.1})
	assert.Greater(t, red.Residual, 5.0)
}

func TestSigmaIsTheSpread(t *testing.T) {
	rng := rand.New(rand.NewSource(7))
	g, d := [3]float64{0.05, 0.12, 0.3}, [3]float64{0.7, 0.68, 0.62}
	var sum, sq, sig float64
	const n = 20000
	for range n {
		var i [3]float64
		for c := range 3 {
			i[c] = 0.85*g[c] + 0.15*d[c] + 0.01*rng.NormFloat64()
		}
		m := Split(i, g, d, fine, Prior{1, math.Inf(1)})
		sum, sq, sig = sum+m.Alpha, sq+m.Alpha*m.Alpha, sig+m.Sigma
	}
	mean := sum / n
	assert.InDelta(t, 0.15, mean, 0.003)
	assert.InEpsilon(t, sig/n, math.Sqrt(sq/n-mean*mean), 0.05)
}

// Most pixels are clean, few whitened: a plain count of noisy opacities is too high, the unfolded one is off by under a
// point up to a noise of 0.1, and nearer than the plain count where noise matters. left is what was measured, rounded up.
func TestAboveTakesTheNoiseOut(t *testing.T) {
	for _, x := range []struct{ sigma, n, left float64 }{{0.004, 20000, 0.2}, {0.03, 20000, 0.3}, {0.05, 20000, 0.5}, {0.08, 20000, 0.9}, {0.1, 20000, 0.8}} {
		rng := rand.New(rand.NewSource(3))
		var h Histogram
		truth, plain := 0.0, 0.0
		for range int(x.n) {
			a := 0.0
			if rng.Float64() < 0.3 {
				a = math.Min(1, 0.15*rng.ExpFloat64())
			}
			if a >= 0.2 {
				truth++
			}
			a += x.sigma * rng.NormFloat64()
			if a >= 0.2 {
				plain++
			}
			h.Add(a, x.sigma)
		}
		got := h.Above([]float64{0.2})[0]
		t.Logf("sigma %v: truth %.2f %%, plain %+.2f, unfolded %+.2f points", x.sigma, 100*truth/x.n, 100*(plain-truth)/x.n, 100*(got-truth)/x.n)
		assert.InDelta(t, 0, 100*(got-truth)/x.n, x.left, "sigma %v: points left", x.sigma)
		if x.sigma >= 0.08 {
			assert.Less(t, math.Abs(got-truth), 0.75*math.Abs(plain-truth), "sigma %v", x.sigma)
		}
	}
}

func TestAboveStaysInRange(t *testing.T) {
	var h Histogram
	assert.Equal(t, []float64{0}, h.Above([]float64{0.2}), "nothing added")
	h.Add(math.NaN(), 0.1)
	assert.Zero(t, h.N())
	for range 10 {
		h.Add(5, 0.02)
		h.Add(-5, 0.02)
	}
	got := h.Above([]float64{-0.1, 0.2, 1})
	assert.InDelta(t, 20, got[0], 1e-9)
	assert.InDelta(t, 10, got[1], 0.5, "far out of range goes to the nearest end")
	assert.LessOrEqual(t, got[2], got[1])
	var clean Histogram
	for range 500 {
		clean.Add(0, 0.02)
	}
	assert.InDelta(t, 0, clean.Above([]float64{0.2})[0], 1e-6)
}
