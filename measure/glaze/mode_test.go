package glaze

import (
	"math"
	"math/rand"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestMedianAndQuantile(t *testing.T) {
	for _, c := range []struct {
		v    []float64
		want float64
	}{{[]float64{3, 1, 2}, 2}, {[]float64{4, 1, 2, 3}, 2.5}, {[]float64{7}, 7}} {
		assert.Equal(t, c.want, Median(c.v))
	}
	assert.True(t, math.IsNaN(Median(nil)))
	assert.True(t, math.IsNaN(Quantile(nil, 0.5)))
	// Hyndman & Fan (1996), type 7: position (n-1)p
	assert.InDelta(t, 1.75, Quantile([]float64{1, 2, 3, 4}, 0.25), 1e-12)
	assert.Equal(t, 4.0, Quantile([]float64{1, 2, 3, 4}, 1))
	v := []float64{3, 1, 2}
	Median(v)
	assert.Equal(t, []float64{3, 1, 2}, v, "not changed")
}

func TestLowModeFindsTheCleanCrowd(t *testing.T) {
	rng := rand.New(rand.NewSource(5))
	for _, share := range []float64{0.35, 0.6, 1} {
		var v []float64
		for range 800 {
			x := 0.03 + 0.01*rng.NormFloat64()
			if rng.Float64() > share {
				x += 0.05 + 0.5*rng.Float64()
			}
			v = append(v, x)
		}
		assert.InDelta(t, 0.03, LowMode(v, 0.01), 0.012, "clean share %v", share)
	}
	assert.True(t, math.IsNaN(LowMode(nil, 0.1)))
	assert.True(t, math.IsNaN(LowMode([]float64{math.NaN()}, 0.1)))
}
