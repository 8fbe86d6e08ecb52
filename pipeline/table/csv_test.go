package table

import (
	"bytes"
	"math"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestNumberRoundsOnceAndLeavesNoTrace(t *testing.T) {
	for _, c := range []struct {
		v      float64
		digits int
		want   string
	}{{1.25, 1, "1.2"}, {-0.001, 2, "0.00"}, {math.NaN(), 2, ""}, {math.Inf(1), 2, ""}, {12, 0, "12"}, {-3.456, 2, "-3.46"}} {
		assert.Equal(t, c.want, Number(c.v, c.digits), "%v", c.v)
	}
}

func TestGuardNeutralisesFormulasAndComesBack(t *testing.T) {
	for _, s := range []string{"=1+1", "+x", "-x", "@x", "\tx", "\rx", "plain", "", "'quoted", "a=b"} {
		g := Guard(s)
		assert.False(t, g != "" && strings.ContainsRune("=+-@\t\r", rune(g[0])), "%q would run", g)
		assert.Equal(t, s, Unguard(g))
	}
}

func TestWriteThenReadGivesTheSameRows(t *testing.T) {
	in := []Tile{
		{View: "a", Zone: "z", Tile: "t1", Visit: "2020-01-02", X: 1.5, Y: 2.5, AreaPx: 100, State: "present", ScalePct: math.NaN(), Why: "=SUM(A1), \"quoted\"\nline"},
		{View: "a", Zone: "z", Tile: "-t2", State: "missing", Confidence: 0.5},
	}
	var b bytes.Buffer
	require.NoError(t, Write(&b, in))
	assert.Contains(t, b.String(), "\r\n", "RFC 4180 ends lines with CRLF")
	out, err := Read[Tile](&b)
	require.NoError(t, err)
	require.Len(t, out, 2)
	assert.True(t, math.IsNaN(out[0].ScalePct))
	out[0].ScalePct, in[0].ScalePct = 0, 0
	assert.Equal(t, in, out)
}

// A carriage return in a name is rare and allowed: it must neither vanish nor become a line feed, nor gain one.
func TestLineEndsWithinCellsStay(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, Write(&b, []Tile{{View: "line\nfeed"}, {View: "carriage\rreturn"}}))
	assert.Contains(t, b.String(), "\r\n\"line\nfeed\",")
	assert.Contains(t, b.String(), "\r\n\"carriage\rreturn\",")
}

func TestReadRefusesTextWhereAFigureBelongs(t *testing.T) {
	_, err := Read[Tile](strings.NewReader("view,x_px\r\na,wide\r\n"))
	assert.ErrorContains(t, err, `line 2, x_px: "wide" is no number`)
}

// The contract names these columns; later ones may be added at the end only.
func TestHeadersKeepTheContract(t *testing.T) {
	b, err := os.ReadFile("testdata/contract-columns.txt")
	require.NoError(t, err)
	have := map[string][]string{
		"photos.csv": Header[Photo](), "mappings.csv": Header[Mapping](), "zones.csv": Header[Zone](), "compare.csv": Header[Compare](),
		"tiles.csv": Header[Tile](), "glazes.csv": Header[Glaze](), "trends.csv": Header[Trend](), "priorities.csv": Header[Priority](),
	}
	seen := 0
	for _, line := range strings.Split(strings.TrimSpace(string(b)), "\n") {
		file, cols, _ := strings.Cut(line, " ")
		want := strings.Split(cols, ",")
		require.GreaterOrEqual(t, len(have[file]), len(want), file)
		assert.Equal(t, want, have[file][:len(want)], file)
		seen++
	}
	assert.Equal(t, len(have), seen)
}

func FuzzRead(f *testing.F) {
	var b bytes.Buffer
	if err := Write(&b, []Tile{{View: "a", Tile: "=x", ScalePct: math.NaN(), Why: "\"quoted\"\nline"}}); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add([]byte("\ufeffview,view,x_px\n1,2,3\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		rows, err := Read[Tile](bytes.NewReader(b))
		if err != nil {
			return
		}
		var first, second bytes.Buffer
		require.NoError(t, Write(&first, rows))
		again, err := Read[Tile](bytes.NewReader(first.Bytes()))
		require.NoError(t, err)
		require.Len(t, again, len(rows))
		require.NoError(t, Write(&second, again))
		same := strings.NewReplacer("\r", "") // reading makes one line end of the two within a cell
		require.Equal(t, same.Replace(first.String()), same.Replace(second.String()), "what was written once is written the same again")
	})
}
