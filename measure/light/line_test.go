package light

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestOneLight(t *testing.T) {
	var s []Sample
	g := [3]float64{1.1, 1.0, 0.8}
	for _, y := range []float64{0.9, 1, 1.1, 1.05} {
		s = append(s, Sample{Gain: [3]float64{y * g[0], y * g[1], y * g[2]}, Weight: 1})
	}
	l, ok := Fit(s)
	assert.True(t, ok)
	assert.Equal(t, [3]float64{}, l.A)
	at := l.At(2)
	assert.InDelta(t, 2, Y(at), 1e-12, "the level is kept")
	assert.InDelta(t, g[0]/g[1], at[0]/at[1], 1e-9)
	assert.InDelta(t, g[2]/g[1], at[2]/at[1], 1e-9)
}

// Sun and sky: every mixture of the two lies on the line, an odd control does not bend it.
func TestTwoLights(t *testing.T) {
	sky, sun := [3]float64{0.15, 0.20, 0.32}, [3]float64{0.95, 0.80, 0.60}
	mix := func(v float64) (g [3]float64) {
		for c := range g {
			g[c] = sky[c] + v*sun[c]
		}
		return g
	}
	var s []Sample
	for i := range 20 {
		s = append(s, Sample{Gain: mix(float64(i) / 19), Weight: 1})
	}
	s = append(s, Sample{Gain: [3]float64{1.2, 0.5, 0.5}, Weight: 1})
	l, ok := Fit(s)
	assert.True(t, ok)
	for _, v := range []float64{0, 0.3, 1} {
		want := mix(v)
		got := l.At(Y(want))
		for c := range got {
			assert.InEpsilon(t, want[c], got[c], 0.02, "share of sun %v, channel %d", v, c)
		}
	}
}

func TestNoSamples(t *testing.T) {
	l, ok := Fit(nil)
	assert.False(t, ok)
	assert.Equal(t, [3]float64{0.5, 0.5, 0.5}, l.At(0.5))
	_, ok = Fit([]Sample{{Gain: [3]float64{}, Weight: 1}})
	assert.False(t, ok)
}
