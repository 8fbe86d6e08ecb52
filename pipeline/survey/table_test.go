package survey

import (
	"bytes"
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure/colour"
)

func TestParseDate(t *testing.T) {
	for s, want := range map[string]DateRange{
		"2021-03-04":          {"2021-03-04", "2021-03-04"},
		" 2021-3-4 ":          {"2021-03-04", "2021-03-04"},
		"2021-03-04 12:30:00": {"2021-03-04", "2021-03-04"},
		"2021-03-04T12:30":    {"2021-03-04", "2021-03-04"},
		"2020-02":             {"2020-02-01", "2020-02-29"},
		"1994-06":             {"1994-06-01", "1994-06-30"},
		"1998":                {"1998-01-01", "1998-12-31"},
		"1998/2001":           {"1998-01-01", "2001-12-31"},
		"1998-06/1998-08-15":  {"1998-06-01", "1998-08-15"},
		"1998/1998-06":        {"1998-01-01", "1998-12-31"},
		"2021-12":             {"2021-12-01", "2021-12-31"},
	} {
		d, err := ParseDate(s)
		assert.NoError(t, err, s)
		assert.Equal(t, want, d, s)
	}
	for s, want := range map[string]string{
		"":            "no date",
		"03/04/2021":  "ambiguous: write 2021-04-03 or 2021-03-04",
		"3.4.2021":    "ambiguous: write 2021-04-03 or 2021-03-04",
		"13/04/2021":  "write 2021-04-13",
		"04/13/2021":  "write 2021-04-13",
		"05-05-2021":  "write 2021-05-05",
		"03/04/21":    "its year has two digits",
		"2021/03/04":  "is not clear",
		"20210304":    "like 2021-03-04",
		"44259":       "spreadsheet's day number",
		"2021-13-01":  "no month 13",
		"2021-02-29":  "no day of the calendar",
		"2001/1998":   "ends before it begins",
		"1500":        "not between 1826",
		"9999":        "not between 1826",
		"c. 1990":     "is a guess: write the span it surely lies in, like 1988/1992",
		"circa 1990":  "like 1988/1992",
		"~1990":       "like 1988/1992",
		"1990?":       "like 1988/1992",
		"1990s":       "write the span, like 1990/1999",
		"06/1994":     "is no date: write it like 2021-03-04, 1998-06, 1998 or 1998/2001",
		"spring 2021": "is no date",
		"1998/":       "is no date",
		"31/31/2021":  "is no date",
	} {
		_, err := ParseDate(s)
		assert.ErrorContains(t, err, want, s)
	}
	assert.True(t, DateRange{"2021-03-04", "2021-03-04"}.Exact())
	assert.False(t, DateRange{"2021-03-01", "2021-03-31"}.Exact())
}

func TestParseShift(t *testing.T) {
	for s, want := range map[string]time.Duration{"365d": 365 * 24 * time.Hour, "-1h": -time.Hour, "1d2h30m": 26*time.Hour + 30*time.Minute,
		"+90s": 90 * time.Second, "0.5d": 12 * time.Hour} {
		d, err := parseShift(s)
		assert.NoError(t, err, s)
		assert.Equal(t, want, d, s)
	}
	for _, s := range []string{"", "1", "d", "1y", "--1h", "1d-1h", "99999999d", "NaNd", "1h1d"} {
		_, err := parseShift(s)
		assert.Error(t, err, s)
	}
}

func TestParseNumber(t *testing.T) {
	for s, want := range map[string]float64{"1": 1, "1,5": 1.5, "1.5": 1.5, "-.5": -0.5, "−3": -3, "1e3": 1000, "1,": 1} {
		v, err := parseNumber(s)
		assert.NoError(t, err, s)
		assert.Equal(t, want, v, s)
	}
	for _, s := range []string{"", ".", "1.234,5", "1,234.5", "NaN", "Inf", "0x1p3", "1 000", "1e999", "12mm"} {
		_, err := parseNumber(s)
		assert.Error(t, err, s)
	}
}

func TestSheetsAsSpreadsheetsSaveThem(t *testing.T) {
	utf16 := func(s string) string {
		b := "\xff\xfe"
		for _, r := range s {
			b += string([]byte{byte(r), byte(r >> 8)})
		}
		return b
	}
	for _, c := range []struct{ name, text string }{
		{"plain", "glaze,L,a,b\nblüte,50.5,1,-2\n"},
		{"windows lines", "glaze,L,a,b\r\nblüte,50.5,1,-2\r\n"},
		{"byte order mark", "\xef\xbb\xbfglaze,L,a,b\nblüte,50.5,1,-2\n"},
		{"semicolons and decimal comma", "glaze;L;a;b\nblüte;50,5;1;-2\n"},
		{"tabs", "glaze\tL\ta\tb\nblüte\t50,5\t1\t-2\n"},
		{"quoted", "\"glaze\",\"L\",\"a\",\"b\"\n\"blüte\",\"50,5\",\"1\",\"-2\"\n"},
		{"separator named", "sep=;\nglaze;L;a;b\nblüte;50,5;1;-2\n"},
		{"other order and case, empty columns and rows", "B,A,l,Glaze,,\n,,,,,\n-2,1,50.5,blüte,,\n"},
		{"UTF-16", utf16("glaze\tL\ta\tb\r\nblüte\t50,5\t1\t-2\r\n")},
		{"Windows-1252", "glaze;L;a;b\nbl\xfcte;50,5;1;-2\n"},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := &findings{}
			got := readSheet([]byte(c.text), "p.csv", paletteColumns, f).palette(d65)
			assert.Empty(t, f.mistakes)
			assert.Equal(t, []Glaze{{"blüte", colour.Lab{L: 50.5, A: 1, B: -2}}}, got)
		})
	}
}

// CIELAB of the same sRGB colours under D65 and D50 by independent tools, printed to four decimals
// (testdata/values/SOURCES.md).
func TestPaletteFromD50(t *testing.T) {
	file, err := os.Open("../../testdata/values/srgb_lab.csv")
	require.NoError(t, err)
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(rows), 50)
	worst := 0.0
	for _, r := range rows[1:] {
		n := func(i int) float64 { v, err := strconv.ParseFloat(r[i], 64); require.NoError(t, err); return v }
		got := d65FromD50(colour.Lab{L: n(8), A: n(9), B: n(10)})
		d := math.Max(math.Abs(got.L-n(5)), math.Max(math.Abs(got.A-n(6)), math.Abs(got.B-n(7))))
		worst = math.Max(worst, d)
		assert.LessOrEqual(t, d, 5e-4, r[1])
	}
	t.Logf("largest difference in L, a or b: %.4f", worst)
}

func TestPlainID(t *testing.T) {
	for in, want := range map[string]string{"step-1": "step-1", "_x31_200mm": "1200mm", "a_x2E_b": "a.b", "a_x_b": "a_x_b", "_xZZ_": "_xZZ_",
		"_x31": "_x31", "": "", "__x31__": "_1_", "_x0A_": "_x0A_"} {
		assert.Equal(t, want, plainID(in), in)
	}
}

func TestNearest(t *testing.T) {
	assert.Equal(t, "report", nearest("raport", []string{"site", "report"}))
	assert.Equal(t, "", nearest("elephant", []string{"site", "report"}))
	assert.Equal(t, 3, letters("kitten", "sitting"))
}

func FuzzReadSettings(f *testing.F) {
	f.Add([]byte(plainSettings))
	f.Add([]byte("site: &a [1]\nviews: *a\n? x\n: !t {a: .nan, <<: {b: 1}}\n"))
	f.Add([]byte("clock: [{camera: A, from: 2021, add: 1d}]\nupkeep_record: {from: 1/2/3}\npalette: {file: '', white: D50}"))
	f.Fuzz(func(t *testing.T, data []byte) {
		found := &findings{}
		s := readSettings(data, found)
		require.NotNil(t, s)
		require.True(t, s.Opacity > 0 && s.Opacity <= 1)
		require.Len(t, s.at, len(s.Views))
		for _, m := range found.sorted() {
			require.NotEmpty(t, m.Text)
			require.False(t, strings.ContainsRune(m.Text, '\n'), m.Text)
		}
		if len(found.mistakes) == 0 {
			require.NotEmpty(t, s.Views)
			for _, v := range s.Views {
				require.Empty(t, checkID(v.ID))
				require.NotEmpty(t, v.Reference)
			}
		}
	})
}

// anyFolder has every file.
type anyFolder struct{}

func (anyFolder) photo(name string) (string, string) { return name, "" }
func (anyFolder) file(string) string                 { return "" }

func FuzzReadSheets(f *testing.F) {
	f.Add([]byte("photo;x;y;view;ref_x;ref_y\na;1,5;2;v;3;4\n"))
	f.Add([]byte("\xef\xbb\xbfdate,zone,work,until,kind,doc\n2021-03-04,,\"a\nb\",2022,clean,x.pdf\n"))
	f.Add([]byte("sep=;\nphoto;taken\nx;1998/2001\n"))
	f.Add([]byte("\xff\xfea\x00"))
	f.Fuzz(func(t *testing.T, data []byte) {
		found := &findings{}
		views := []View{{ID: "v"}}
		read := func(c []column) *sheet { return readSheet(data, "f.csv", c, found) }
		for _, a := range read(archiveColumns).archive(anyFolder{}, views) {
			require.True(t, a.Taken.From <= a.Taken.To)
		}
		for _, u := range read(upkeepColumns).upkeep(anyFolder{}, views) {
			require.True(t, u.Until == "" || u.Date <= u.Until)
		}
		read(correctionsColumns).corrections(views)
		for _, p := range read(pointsColumns).points(anyFolder{}, views) {
			require.False(t, math.IsNaN(p.X+p.Y+p.RefX+p.RefY))
		}
		for _, g := range read(paletteColumns).palette(d50) {
			require.False(t, math.IsNaN(g.Lab.L+g.Lab.A+g.Lab.B))
		}
	})
}

func FuzzParseDate(f *testing.F) {
	for _, s := range []string{"2021-03-04", "1998/2001", "03/04/2021", "44259", "2021-03-04T10:00Z"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		d, err := ParseDate(s)
		if err != nil {
			require.NotEmpty(t, err.Error())
			return
		}
		from, e1 := time.Parse(dayLayout, d.From)
		to, e2 := time.Parse(dayLayout, d.To)
		require.NoError(t, e1)
		require.NoError(t, e2)
		require.False(t, to.Before(from))
	})
}

func FuzzParseShift(f *testing.F) {
	for _, s := range []string{"365d", "-1h", "1d2h30m", "+0.5d", "1e3d", "--1h", "d", "9999999h"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		d, err := parseShift(s)
		if err != nil {
			require.NotEmpty(t, err.Error())
			return
		}
		require.LessOrEqual(t, d.Abs(), maxShift)
		require.True(t, d == 0 || d < 0 == strings.HasPrefix(strings.TrimSpace(s), "-"))
	})
}

func FuzzUprightSize(f *testing.F) {
	for _, folder := range []string{"../../testdata/intake", "../../testdata/damaged"} {
		names, err := filepath.Glob(filepath.Join(folder, "*.*"))
		if err != nil || len(names) == 0 {
			f.Fatal("no files of ", folder, err)
		}
		for _, n := range names {
			b, err := os.ReadFile(n)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(b)
		}
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		w, h, err := uprightSize(bytes.NewReader(b))
		if err != nil {
			require.Zero(t, w+h)
		}
	})
}
