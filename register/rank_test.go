package register

import (
	"fmt"
	"math"
	"sort"
	"testing"

	"github.com/stretchr/testify/assert"
)

// told holds, by set of photos, what RMSPx said and what the truth says, reference px.
var told = map[string][][2]float64{}

// printTold prints how well RMSPx ranks photos by their true error, and how far it may fall below it.
func printTold(sets ...string) {
	var all [][2]float64
	for _, s := range sets {
		all = append(all, told[s]...)
	}
	if len(all) < 3 {
		return
	}
	a, b := make([]float64, len(all)), make([]float64, len(all))
	low := math.Inf(1)
	ratio := make([]float64, len(all))
	for i, p := range all {
		a[i], b[i], ratio[i] = p[0], p[1], p[0]/p[1]
		low = math.Min(low, ratio[i])
	}
	fmt.Printf("told against true, %v: rank correlation %.2f of %d, told/true median %.2f, least %.2f\n", sets, rankCorrelation(a, b), len(all), median(ratio), low)
}

// rankCorrelation is Spearman's: Pearson's coefficient of the ranks, ties sharing theirs.
func rankCorrelation(a, b []float64) float64 {
	x, y := ranks(a), ranks(b)
	m := float64(len(x)-1) / 2
	var xy, xx, yy float64
	for i := range x {
		xy += (x[i] - m) * (y[i] - m)
		xx += (x[i] - m) * (x[i] - m)
		yy += (y[i] - m) * (y[i] - m)
	}
	return xy / math.Sqrt(xx*yy)
}

func ranks(v []float64) []float64 {
	at := make([]int, len(v))
	for i := range at {
		at[i] = i
	}
	sort.Slice(at, func(a, b int) bool { return v[at[a]] < v[at[b]] })
	r := make([]float64, len(v))
	for i := 0; i < len(at); {
		j := i
		for j < len(at) && v[at[j]] == v[at[i]] {
			j++
		}
		for k := i; k < j; k++ {
			r[at[k]] = float64(i+j-1) / 2
		}
		i = j
	}
	return r
}

func TestRankCorrelation(t *testing.T) {
	// 1 - 6·Σd²/(n(n²-1)) with d = 1, 1, 0, 0 and n = 4, by hand.
	assert.InDelta(t, 1-6*2./(4*15), rankCorrelation([]float64{1, 2, 3, 4}, []float64{2, 1, 30, 40}), 1e-12)
	assert.Equal(t, []float64{.5, .5, 2}, ranks([]float64{7, 7, 9}))
}
