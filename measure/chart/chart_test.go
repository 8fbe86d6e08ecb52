package chart

import (
	"encoding/csv"
	"fmt"
	"math/rand"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure/colour"
)

// TestPublishedValues compares with testdata/values/chart24.csv: the maker's two editions by way of
// colour-science/colour 9d74314, and sRGB computed from the earlier one with another tool, printed to two decimals.
func TestPublishedValues(t *testing.T) {
	f, err := os.Open(filepath.Join("..", "..", "testdata", "values", "chart24.csv"))
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, Count+1)
	col := map[string]int{}
	for i, n := range rows[0] {
		col[n] = i
	}
	for i, row := range rows[1:] {
		v := func(name string) float64 {
			x, err := strconv.ParseFloat(row[col[name]], 64)
			require.NoError(t, err)
			return x
		}
		assert.Equal(t, row[col["name"]], Name(i))
		assert.Equal(t, colour.Lab{L: v("L_2005"), A: v("a_2005"), B: v("b_2005")}, Published(Before2014)[i])
		assert.Equal(t, colour.Lab{L: v("L_nov2014"), A: v("a_nov2014"), B: v("b_nov2014")}, Published(FromNov2014)[i])
		for k, n := range []string{"computed_r_2005", "computed_g_2005", "computed_b_2005"} {
			// the tool's D50 and matrix are rounded to four digits: half a code; below 0 it goes on along the
			// curve's straight foot, where ours mirrors the whole curve
			r := Reference(Before2014)[i][k]
			code := colour.Encode(r)
			if r < 0 {
				code = 12.92 * r
			}
			assert.InDelta(t, v(n), 255*code, 0.5, "%s %s", row[1], n)
		}
	}
}

// TestEditionsDiffer checks the published distance between the editions: 0.85 ΔE00 on average, 1.95 at most, on white.
func TestEditionsDiffer(t *testing.T) {
	a, b := Published(Before2014), Published(FromNov2014)
	mean, most, at := 0.0, 0.0, 0
	for i := range a {
		d := colour.CIEDE2000(a[i], b[i])
		mean += d / Count
		if d > most {
			most, at = d, i
		}
	}
	assert.InDelta(t, 0.85, mean, 0.005)
	assert.InDelta(t, 1.95, most, 0.005)
	assert.Equal(t, "white 9.5", Name(at))
}

func TestMadeChartsAreFitted(t *testing.T) {
	for name, m := range lamps {
		for _, e := range []Edition{Before2014, FromNov2014} {
			t.Run(fmt.Sprintf("%s %v", name, e), func(t *testing.T) {
				c := usual()
				c.matrix, c.edition = m, e
				img, q := c.render(0, rand.New(rand.NewSource(1)))
				p, err := Patches(img, q)
				require.NoError(t, err)
				f, err := FitPatches(p, Untold)
				require.NoError(t, err)
				t.Logf("mean %.2f max %.2f left out %.2f half %.2f %v odds %.3g %v", f.Mean, f.Max, f.LeftOut, f.Half, f.Edition, f.Odds, f.Notes)
				limit := 0.5
				if name == "very dim" {
					limit = 1.5
				}
				assert.Less(t, f.Mean, limit)
				assert.Less(t, f.Half, 2*limit)
				if name != "very dim" {
					assert.Equal(t, e, f.Edition)
				}
			})
		}
	}
}

func TestChartMayStandAnyWayUp(t *testing.T) {
	c := usual()
	for turn := 0.0; turn < 360; turn += 74 {
		c.turn = turn
		img, q := c.render(0, rand.New(rand.NewSource(2)))
		for first := range 4 {
			r := q
			for k := range r {
				r[k] = q[(first+k)%4]
			}
			if first%2 == 1 {
				r[1], r[3] = r[3], r[1] // marked the other way round
			}
			p, err := Patches(img, r)
			require.NoError(t, err, "turned by %v", turn)
			f, err := FitPatches(p, Untold)
			require.NoError(t, err)
			require.Less(t, f.Mean, 0.6, "turned by %v, first corner %d", turn, first)
		}
	}
}

// TestHarderPhotos has what photos of charts have besides noise; colour read through the fit must agree with the
// reference, whatever the light.
func TestHarderPhotos(t *testing.T) {
	for name, change := range map[string]func(c *made){
		"linear file":       func(c *made) { c.exponent = 1; c.matrix = lamps["green"]; c.noise = 0.002 },
		"contrasty file":    func(c *made) { c.exponent = 2.8; c.matrix = lamps["warm"] },
		"uneven light":      func(c *made) { c.across = 0.25 },
		"flare":             func(c *made) { c.flare = [3]float64{0.03, 0.03, 0.05}; c.matrix = lamps["blue sky"] },
		"wide gaps, turned": func(c *made) { c.gap = 0.24; c.turn = 8 },
	} {
		t.Run(name, func(t *testing.T) {
			c := usual()
			change(&c)
			for _, outside := range []float64{0, 0.2} { // corners of the patches, and of the card nearly
				img, q := c.render(outside, rand.New(rand.NewSource(6)))
				p, err := Patches(img, q)
				require.NoError(t, err)
				f, err := FitPatches(p, Untold)
				require.NoError(t, err)
				t.Logf("mean %.2f left out %.2f half %.2f %v %.2f %v", f.Mean, f.LeftOut, f.Half, f.Edition, f.Exponent, f.Notes)
				assert.Less(t, f.Mean, 1.0)
				assert.Less(t, f.Half, 2.0)
				assert.NotEqual(t, Before2014, f.Edition)
				assert.Equal(t, f.Exponent != [3]float64{}, c.exponent != 0, "a curve is taken where the file's fails, and only there")
				if c.exponent != 0 {
					assert.InDelta(t, c.exponent, f.Exponent[1], 0.1)
				}
			}
		})
	}
}

// TestOneBadPatchDoesNotBendTheFit puts gloss on a patch and takes away another as clipped.
func TestOneBadPatchDoesNotBendTheFit(t *testing.T) {
	img, q := usual().render(0, rand.New(rand.NewSource(7)))
	p, err := Patches(img, q)
	require.NoError(t, err)
	clean, err := FitPatches(p, Untold)
	require.NoError(t, err)
	for k := range 3 {
		p[9].Light[k] += 0.2
	}
	p[15].Clipped, p[15].Light = 0.9, [3]float64{1, 1, 1}
	f, err := FitPatches(p, Untold)
	require.NoError(t, err)
	assert.Equal(t, 9, f.Worst)
	assert.Equal(t, clean.Used-1, f.Used) // cyan is cut by the gamut before
	for i, d := range f.Each {
		if i != 9 && p[i].Clipped == 0 {
			assert.Less(t, d, 3.0, Name(i))
		}
	}
	for i := range 9 {
		p[i].Clipped = 1
	}
	_, err = FitPatches(p, Untold)
	require.ErrorIs(t, err, ErrClipped)
}

func TestWhatIsNoChartIsRefused(t *testing.T) {
	rng := rand.New(rand.NewSource(3))
	mirrored := usual()
	mirrored.mirror = true
	img, q := mirrored.render(0, rng)
	_, err := Patches(img, q)
	require.ErrorIs(t, err, ErrMirrored)
	for range 10 {
		c := usual()
		c.swap = true
		img, q := c.render(0, rng)
		_, err := Patches(img, q)
		require.ErrorIs(t, err, ErrNotChart)
	}
	small := usual()
	small.pitch = 5
	img, q = small.render(0, rng)
	_, err = Patches(img, q)
	require.ErrorIs(t, err, ErrSmall)
	q[0].X = -50
	_, err = Patches(img, q)
	require.ErrorIs(t, err, ErrOutside)
	q[1], q[2], q[3] = q[0], q[0], q[0]
	_, err = Patches(img, q)
	require.ErrorIs(t, err, ErrCorners)
}
