package middle

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestOf(t *testing.T) {
	for _, c := range []struct {
		v    []float64
		want float64
	}{{[]float64{3}, 3}, {[]float64{3, 1}, 2}, {[]float64{9, 1, 2}, 2}, {[]float64{4, 1, 3, 2}, 2.5}} {
		in := append([]float64(nil), c.v...)
		assert.Equal(t, c.want, Of(in))
		assert.Equal(t, c.v, in, "the values stay as they were")
	}
	assert.True(t, math.IsNaN(Of(nil)))
	assert.True(t, math.IsNaN(Of([]float64{1, math.NaN(), 2})))
}
