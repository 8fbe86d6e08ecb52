package tile

import (
	"math"
	"math/rand"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestNth compares the selection with sorting, over lengths, ties and places.
func TestNth(t *testing.T) {
	rng := rand.New(rand.NewSource(1))
	for range 2000 {
		v := make([]float64, 1+rng.Intn(60))
		for i := range v {
			v[i] = float64(rng.Intn(20)) / 4
		}
		want := slices.Sorted(slices.Values(v))
		k := rng.Intn(len(v))
		require.Equal(t, want[k], nth(slices.Clone(v), k))
	}
}

// TestQuantile: type 7 of Hyndman & Fan (1996), Am. Stat. 50, 361–365: linear between order statistics at (n-1)q.
func TestQuantile(t *testing.T) {
	for _, tt := range []struct {
		v    []float64
		q    float64
		want float64
	}{
		{[]float64{3}, 0.5, 3},
		{[]float64{4, 1}, 0.5, 2.5},
		{[]float64{5, 1, 3}, 0.5, 3},
		{[]float64{4, 3, 2, 1}, 0.25, 1.75},
		{[]float64{1, 2, 3, 4, 5}, 0.9, 4.6},
		{[]float64{2, 1}, 0, 1},
		{[]float64{2, 1}, 1, 2},
	} {
		assert.InDelta(t, tt.want, quantile(slices.Clone(tt.v), tt.q), 1e-12, "%v at %v", tt.v, tt.q)
	}
	assert.True(t, math.IsNaN(quantile(nil, 0.5)))
	assert.True(t, math.IsNaN(kth(nil, 2)))
	assert.Equal(t, 3.0, kth([]float64{3, 1}, 9), "the largest when there are fewer")
}
