package icc

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure/colour"
)

const dir = "../../../testdata/intake/"

func parsed(t testing.TB, name string) *Space {
	t.Helper()
	b, err := os.ReadFile(dir + name + ".icc")
	require.NoError(t, err)
	s, err := Parse(b, false)
	require.NoError(t, err)
	return s
}

// linear is what the pipeline does with an 8 bit sample.
func linear(s *Space, rgb [3]int) colour.RGB {
	t := s.Tables(256)
	var m [9]float64
	for i, v := range s.Matrix {
		m[i] = float64(float32(v))
	}
	return colour.RGB(apply(m, [3]float64{float64(t[0][rgb[0]]), float64(t[1][rgb[1]]), float64(t[2][rgb[2]])}))
}

// TestAgainstLittleCMS compares 125 colours a profile with what LittleCMS makes of the same profile. The values' source
// stands in each row; the tolerance is ours: a tenth of what the eye tells, a fifth of what is asked.
func TestAgainstLittleCMS(t *testing.T) {
	f, err := os.Open("../../../testdata/values-intake.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	type sum struct {
		n          int
		mean, most float64
	}
	sums := map[string]*sum{}
	for _, row := range rows[1:] {
		var rgb [3]int
		var lab [3]float64
		for i := range 3 {
			rgb[i], err = strconv.Atoi(row[1+i])
			require.NoError(t, err)
			lab[i], err = strconv.ParseFloat(row[4+i], 64)
			require.NoError(t, err)
		}
		s := parsed(t, row[0])
		got := colour.Adapt(linear(s, rgb).XYZ(), colour.D65, colour.D50).Lab(colour.D50)
		de := colour.CIEDE2000(got, colour.Lab{L: lab[0], A: lab[1], B: lab[2]})
		if sums[row[0]] == nil {
			sums[row[0]] = &sum{}
		}
		x := sums[row[0]]
		x.n, x.mean, x.most = x.n+1, x.mean+de, max(x.most, de)
		assert.Less(t, de, 0.1, "%s %v: got %v", row[0], rgb, got)
	}
	require.Len(t, sums, 4)
	for name, x := range sums {
		require.Equal(t, 125, x.n)
		assert.Less(t, x.mean/float64(x.n), 0.05, name)
		t.Logf("%s: mean ΔE00 %.4f, most %.4f", name, x.mean/float64(x.n), x.most)
	}
}

// TestNamedSpacesAreTheirProfiles compares the spaces built from published primaries with profiles in use.
func TestNamedSpacesAreTheirProfiles(t *testing.T) {
	for name, s := range map[string]*Space{"p3": DisplayP3(), "adobe": AdobeRGB(), "srgb-v2": SRGB()} {
		p := parsed(t, name)
		assert.Equal(t, s.Name, p.Name)
		for i := range s.Matrix {
			assert.InDelta(t, s.Matrix[i], p.Matrix[i], 0.0006, "%s %d", name, i)
		}
	}
}

// TestWhiteAndGreyStayNeutral: equal samples give equal linear light in every space.
func TestWhiteAndGreyStayNeutral(t *testing.T) {
	bt2020, ok := Coded(9, 13)
	require.True(t, ok)
	warm, ok := Measured(1/2.2, [8]float64{0.3457, 0.3585, 0.64, 0.33, 0.30, 0.60, 0.15, 0.06}) // D50
	require.True(t, ok)
	for _, s := range []*Space{SRGB(), DisplayP3(), AdobeRGB(), bt2020, warm, parsed(t, "p3"), parsed(t, "adobe"), parsed(t, "srgb-v2")} {
		for _, v := range []int{0, 20, 128, 255} {
			c := linear(s, [3]int{v, v, v})
			assert.InDelta(t, c[1], c[0], 5e-4, s.Name)
			assert.InDelta(t, c[1], c[2], 5e-4, s.Name)
		}
		assert.InDelta(t, 1, linear(s, [3]int{255, 255, 255})[1], 5e-4, s.Name)
	}
}

func TestCurves(t *testing.T) {
	header := func(kind string, rest ...byte) []byte { return append([]byte(kind+"\x00\x00\x00\x00"), rest...) }
	fix := func(v ...float64) []byte {
		var b []byte
		for _, x := range v {
			u := uint32(int32(math.Round(x * 65536)))
			b = append(b, byte(u>>24), byte(u>>16), byte(u>>8), byte(u))
		}
		return b
	}
	par := func(kind byte, v ...float64) []byte {
		return header("para", append([]byte{0, kind, 0, 0}, fix(v...)...)...)
	}
	// The functions of ICC.1:2022, table 68, worked out by hand at 0, 0.25, 0.5 and 1.
	for _, c := range []struct {
		name string
		b    []byte
		want [4]float64
	}{
		{"identity", header("curv", 0, 0, 0, 0), [4]float64{0, 0.25, 0.5, 1}},
		{"gamma 2", header("curv", 0, 0, 0, 1, 2, 0), [4]float64{0, 0.0625, 0.25, 1}},
		{"three points", header("curv", 0, 0, 0, 3, 0, 0, 0x40, 0, 0xff, 0xff), [4]float64{0, 0.125, 0.25, 1}},
		{"type 0", par(0, 2), [4]float64{0, 0.0625, 0.25, 1}},
		{"type 1", par(1, 2, 2, -1), [4]float64{0, 0, 0, 1}},
		{"type 2", par(2, 2, 0.5, 0.25, 0.25), [4]float64{0.3125, 0.390625, 0.5, 0.8125}},
		{"type 3", par(3, 2, 1, 0, 0.5, 0.5), [4]float64{0, 0.125, 0.25, 1}},
		{"type 4", par(4, 2, 1, 0, 0.25, 0.5, 0, 0.0625), [4]float64{0.0625, 0.125, 0.25, 1}},
		{"above white is clamped", par(2, 1, 1, 0, 0.5), [4]float64{0.5, 0.75, 1, 1}},
	} {
		f, err := curve(c.b)
		require.NoError(t, err, c.name)
		for i, v := range []float64{0, 0.25, 0.5, 1} {
			assert.InDelta(t, c.want[i], f(v), 2e-5, "%s at %g", c.name, v)
		}
	}
	for name, b := range map[string][]byte{
		"missing":       nil,
		"unknown":       header("what", 0, 0, 0, 0),
		"cut":           header("curv", 0, 0, 0, 9, 0, 0),
		"huge count":    header("curv", 0xff, 0xff, 0xff, 0xff, 0, 0),
		"falling":       header("curv", 0, 0, 0, 2, 0xff, 0xff, 0, 0),
		"dark":          header("curv", 0, 0, 0, 2, 0, 0, 0x10, 0),
		"type 5":        par(5, 1),
		"type 3 cut":    par(3, 2, 1),
		"negative":      par(0, -1),
		"zero factor":   par(1, 2, 0, 0),
		"zero exponent": par(0, 0),
	} {
		_, err := curve(b)
		assert.Error(t, err, name)
	}
}

func TestRefused(t *testing.T) {
	whole, err := os.ReadFile(dir + "p3.icc")
	require.NoError(t, err)
	change := func(f func(b []byte) []byte) []byte { return f(append([]byte(nil), whole...)) }
	for name, c := range map[string]struct {
		b    []byte
		says string
	}{
		"short":        {whole[:100], "no ICC profile"},
		"cut":          {whole[:len(whole)-40], "cut short"},
		"no signature": {change(func(b []byte) []byte { b[36] = 0; return b }), "no ICC profile"},
		"Lab":          {change(func(b []byte) []byte { copy(b[16:], "Lab "); return b }), "for Lab"},
		"many tags":    {change(func(b []byte) []byte { b[128] = 0xff; return b }), "tag table"},
		"LUT":          {change(func(b []byte) []byte { copy(b[132:], "A2B0"); return b }), "table of colours"},
		"no red":       {change(func(b []byte) []byte { copy(b[132+24:], "xXYZ"); return b }), "lacks rXYZ"},
		"grey":         {change(func(b []byte) []byte { copy(b[16:], "GRAY"); return b }), "for grey"},
	} {
		_, err := Parse(c.b, false)
		var u *Unsupported
		require.ErrorAs(t, err, &u, name)
		assert.Contains(t, err.Error(), c.says, name)
	}
	_, ok := Coded(9, 16)
	assert.False(t, ok, "PQ")
	_, ok = Coded(9, 18)
	assert.False(t, ok, "HLG")
	_, ok = Measured(0.45455, [8]float64{0.3, 0.3, 0.3, 0.3, 0.3, 0.3, 0.3, 0.3})
	assert.False(t, ok, "primaries in one point")
	_, ok = Measured(math.NaN(), ChromaticitiesSRGB)
	assert.False(t, ok)
}

func TestTablesAreShared(t *testing.T) {
	s := SRGB().Tables(65536)
	assert.Same(t, &s[0][0], &s[2][0], "one table for three equal curves")
	// IEC 61966-2-1, 5.2: 0.04045 is where the two parts of the curve meet.
	assert.InDelta(t, 0.04045/12.92, s[0][2651], 1e-6)
	assert.InDelta(t, 1, s[0][65535], 1e-7)
}

func FuzzParse(f *testing.F) {
	for _, name := range []string{"p3", "adobe", "srgb-v2", "grey"} {
		b, err := os.ReadFile(dir + name + ".icc")
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b, name == "grey")
	}
	f.Fuzz(func(t *testing.T, b []byte, grey bool) {
		s, err := Parse(b, grey)
		if err != nil {
			var u *Unsupported
			require.ErrorAs(t, err, &u, "no other error comes out")
			return
		}
		tables := s.Tables(256)
		for c := range tables {
			last := float32(0)
			for i, v := range tables[c] {
				require.True(t, v >= last-2*dip && v <= 1, "curve %d at %d: %g after %g", c, i, v, last)
				last = v
			}
		}
		require.True(t, finite(s.Matrix[:]...))
		require.LessOrEqual(t, len(s.Name), 300)
	})
}
