package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// goldenDir holds tables of the demo survey as they came out when they were last looked at.
const goldenDir = "../../testdata/golden/demo"

// Text is compared exactly. Figures may move by the last digits between machines: OpenCV picks its vector units at run
// time, and corners then move by thousandths of a pixel.
const (
	goldenAbs = 0.11
	goldenRel = 0.02
)

func TestDemoTablesAreTheGoldenOnes(t *testing.T) {
	out := demoResult(t).out
	for _, f := range []string{"photos.csv", "zones.csv", "compare.csv", "priorities.csv", "trends.csv"} {
		got, err := os.ReadFile(filepath.Join(out, f))
		require.NoError(t, err)
		golden := filepath.Join(goldenDir, f)
		if os.Getenv("UPDATE_GOLDEN") != "" {
			require.NoError(t, os.MkdirAll(goldenDir, 0o755))
			require.NoError(t, os.WriteFile(golden, got, 0o644))
			continue
		}
		want, err := os.ReadFile(golden)
		require.NoError(t, err, "UPDATE_GOLDEN=1 go test ./cmd/... writes it")
		for _, d := range tableDifferences(t, want, got) {
			t.Errorf("%s: %s", f, d)
		}
	}
}

// tableDifferences lists the cells in which two CSV files differ by more than machines may.
func tableDifferences(t *testing.T, want, got []byte) []string {
	t.Helper()
	a, err := csv.NewReader(bytes.NewReader(want)).ReadAll()
	require.NoError(t, err)
	b, err := csv.NewReader(bytes.NewReader(got)).ReadAll()
	require.NoError(t, err)
	if len(a) != len(b) {
		return []string{fmt.Sprintf("%d rows, %d wanted", len(b), len(a))}
	}
	var ds []string
	for i := range a {
		if len(a[i]) != len(b[i]) {
			ds = append(ds, fmt.Sprintf("row %d: %d cells, %d wanted", i+1, len(b[i]), len(a[i])))
			continue
		}
		for j := range a[i] {
			if a[i][j] == b[i][j] {
				continue
			}
			x, err1 := strconv.ParseFloat(a[i][j], 64)
			y, err2 := strconv.ParseFloat(b[i][j], 64)
			if err1 == nil && err2 == nil && math.Abs(x-y) <= goldenAbs+goldenRel*math.Abs(x) {
				continue
			}
			ds = append(ds, fmt.Sprintf("row %d, %s: %q, wanted %q", i+1, a[0][j], b[i][j], a[i][j]))
		}
	}
	return ds
}

func TestTableDifferencesSeesWhatChanged(t *testing.T) {
	a := "k,v\r\nx,1.00\r\ny,\r\n"
	assert.Empty(t, tableDifferences(t, []byte(a), []byte("k,v\r\nx,1.05\r\ny,\r\n")))
	assert.Len(t, tableDifferences(t, []byte(a), []byte("k,v\r\nx,1.50\r\ny,\r\n")), 1)
	assert.Len(t, tableDifferences(t, []byte(a), []byte("k,v\r\nz,1.00\r\ny,\r\n")), 1)
	assert.Len(t, tableDifferences(t, []byte(a), []byte("k,v\r\nx,1.00\r\ny,3\r\n")), 1, "a figure where there was none")
	assert.Len(t, tableDifferences(t, []byte(a), []byte("k,v\r\nx,1.00\r\n")), 1)
}
