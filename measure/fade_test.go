package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// A glaze that fades alone is told from light, which all glazes share.
func TestFadesAreToldFromLight(t *testing.T) {
	for _, light := range []float64{0.7, 1, 1.4} {
		v := &View{}
		var joint, own []float64
		for k := range 60 {
			name, faded := "blue", 1.0
			if k%3 == 0 {
				name, faded = "red", 1.25
			}
			v.tiles, v.names = append(v.tiles, tileInfo{}), append(v.names, name)
			noise := 1 + 0.01*float64(k%5-2)
			joint, own = append(joint, light*noise), append(own, 1.1*light*faded) // tiles stand a little lighter than joints
		}
		f := v.fades(joint, own)
		// held towards its zone by leastFade of its 20 tiles
		assert.InDelta(t, math.Log(1.25)*20/(20+leastFade), f[0], 0.03, "light %v", light)
		assert.InDelta(t, 0, f[1], 0.03, "light %v", light)
	}
	v := &View{tiles: make([]tileInfo, 2), names: []string{"a", ""}}
	assert.Equal(t, []float64{0, 0}, v.fades([]float64{1, 0}, []float64{0, 1}), "nothing known")
}

func TestCommonIsWhereMostWeightLies(t *testing.T) {
	assert.Zero(t, common(nil, 0.1))
	most := []weighted{{0.5, 10}, {0.52, 10}, {-0.4, 5}}
	assert.InDelta(t, 0.51, common(most, 0.05), 0.02)
	for i := range most {
		most[i].x += 1
	}
	assert.InDelta(t, 1.51, common(most, 0.05), 0.02, "it goes with the values")
	assert.InDelta(t, 0, common([]weighted{{0, 3}, {0.6, 2}}, 0.05), 0.02)
}
