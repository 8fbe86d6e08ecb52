package colour

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// values reads a file of check values; every row is a map by column name. The source stands in the column "source".
func values(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("../../testdata/values/" + name)
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(rows), 1)
	var out []map[string]string
	for _, r := range rows[1:] {
		m := map[string]string{}
		for i, c := range r {
			m[rows[0][i]] = c
		}
		require.NotEmpty(t, m["source"])
		out = append(out, m)
	}
	return out
}

func num(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	return v
}

func TestCIEDE2000AgainstPublishedPairs(t *testing.T) {
	rows := values(t, "ciede2000.csv")
	require.Len(t, rows, 34)
	for _, r := range rows {
		p := Lab{num(t, r["L1"]), num(t, r["a1"]), num(t, r["b1"])}
		q := Lab{num(t, r["L2"]), num(t, r["a2"]), num(t, r["b2"])}
		for _, got := range []float64{CIEDE2000(p, q), CIEDE2000(q, p)} {
			want := num(t, r["dE00"])
			if o := r["dE00_other_branch"]; o != "" && math.Abs(got-num(t, o)) < math.Abs(got-want) {
				want = num(t, o)
			}
			assert.InDelta(t, want, got, 5e-5, "pair %s", r["pair"])
		}
	}
}

func TestCIEDE2000Properties(t *testing.T) {
	assert.Zero(t, CIEDE2000(Lab{50, 10, -20}, Lab{50, 10, -20}))
	assert.Zero(t, CIEDE2000(Lab{}, Lab{}))
	assert.True(t, math.IsNaN(CIEDE2000(Lab{L: math.NaN()}, Lab{})))
	assert.True(t, math.IsNaN(CIEDE2000(Lab{50, 1, 1}, Lab{50, math.NaN(), 1})))
}

func TestCurve(t *testing.T) {
	for _, r := range values(t, "srgb_curve.csv") {
		e, l := num(t, r["encoded"]), num(t, r["linear"])
		assert.InDelta(t, l, Decode(e), 1e-12, r["note"])
		assert.InDelta(t, e, Encode(l), 5e-8, "the standard's two branches miss each other by 3e-8 at 0.04045")
		assert.InDelta(t, -l, Decode(-e), 1e-12)
	}
}

func TestLabAgainstOtherTools(t *testing.T) {
	for _, r := range values(t, "srgb_lab.csv") {
		c := RGB{Decode(num(t, r["r"]) / 255), Decode(num(t, r["g"]) / 255), Decode(num(t, r["b"]) / 255)}
		// 0.02: the spread of five independent tools is 0.012
		d65 := c.Lab()
		assert.InDelta(t, num(t, r["L_d65"]), d65.L, 0.02, r["name"])
		assert.InDelta(t, num(t, r["a_d65"]), d65.A, 0.02, r["name"])
		assert.InDelta(t, num(t, r["b_d65"]), d65.B, 0.02, r["name"])
		d50 := Adapt(c.XYZ(), D65, D50).Lab(D50)
		assert.InDelta(t, num(t, r["L_d50"]), d50.L, 0.02, r["name"])
		assert.InDelta(t, num(t, r["a_d50"]), d50.A, 0.02, r["name"])
		assert.InDelta(t, num(t, r["b_d50"]), d50.B, 0.02, r["name"])
		back := d65.RGB()
		for k := range c {
			assert.InDelta(t, c[k], back[k], 1e-12)
		}
		again := AdaptLab(d50, D50, D65)
		assert.InDelta(t, d65.A, again.A, 1e-9)
	}
}

func TestWhiteIsNeutral(t *testing.T) {
	w := RGB{1, 1, 1}.Lab()
	assert.InDelta(t, 100, w.L, 1e-12)
	assert.InDelta(t, 0, w.A, 1e-10)
	assert.InDelta(t, 0, w.B, 1e-10)
	assert.InDelta(t, 13, Lab{50, 5, 12}.Chroma(), 1e-12)
}
