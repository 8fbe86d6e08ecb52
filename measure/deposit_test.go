package measure

import (
	"math/rand"
	"testing"

	"github.com/stretchr/testify/assert"

	"tilelapse/measure/light"
)

func TestMeetFindsTheDeposit(t *testing.T) {
	d := [3]float64{0.62, 0.6, 0.54}
	rng := rand.New(rand.NewSource(2))
	var lines []line
	for range 200 {
		g := [3]float64{0.05 + 0.5*rng.Float64(), 0.05 + 0.4*rng.Float64(), 0.05 + 0.5*rng.Float64()}
		var to [3]float64
		a := 0.2 + 0.4*rng.Float64()
		for c := range to {
			to[c] = (1-a)*g[c] + a*d[c] + 0.004*rng.NormFloat64()
		}
		lines = append(lines, line{g, to})
	}
	for range 30 { // tiles that something else whitened
		lines = append(lines, line{[3]float64{0.1, 0.2, 0.3}, [3]float64{0.1 + 0.2*rng.Float64(), 0.3 * rng.Float64(), 0.4}})
	}
	got, sigma := meet(lines, scaled(white, depositLevel))
	assert.InEpsilon(t, light.Y(d), light.Y(got), 0.06)
	assert.Less(t, sigma, 0.05)
	alone, sigma := meet(nil, d)
	assert.InDelta(t, light.Y(d), light.Y(alone), 1e-9)
	assert.InDelta(t, 0.25, sigma, 1e-6, "nothing but the guess")
}
