package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A straight shadow's edge runs over the wall, and scale brightens a third of the joints: the level of each side is told
// all the same, and what lies at the edge is left out.
func TestSidesOfACastShadow(t *testing.T) {
	s := makeWall()
	v, err := NewView(s.spec, s.photo(shot{seed: 1}))
	require.NoError(t, err)
	n := len(v.tiles)
	shade := func(k int) float64 { return 0.4 * math.Exp(0.1*v.tiles[k].x/float64(s.w)) }
	levels := func(lit float64, edge float64) (joint, truth []float64) {
		joint, truth = make([]float64, n), make([]float64, n)
		for k := range v.tiles {
			truth[k] = shade(k)
			if v.tiles[k].x+v.tiles[k].y > edge {
				truth[k] *= lit
			}
			joint[k] = truth[k]
			if k%3 == 0 {
				joint[k] *= 1.5 // scale
			}
		}
		return joint, truth
	}
	for _, tc := range []struct{ lit, edge float64 }{{3.5, 350}, {2.2, 450}, {4, 300}} {
		joint, truth := levels(tc.lit, tc.edge)
		told := 0
		for k, y := range v.sides(joint) {
			if math.IsNaN(y) {
				continue
			}
			told++
			assert.InDelta(t, math.Log(truth[k]), y, 0.12, "lit %v times, tile %d", tc.lit, k)
		}
		assert.Greater(t, told, n/2, "lit %v times", tc.lit)
	}
	none := func(joint []float64, why string) {
		for _, y := range v.sides(joint) {
			require.True(t, math.IsNaN(y), why)
		}
	}
	joint, _ := levels(1, 350)
	none(joint, "light that does not fall into two has no sides")
	for k := range joint {
		joint[k] = 0.4 * math.Exp(1.5*math.Mod(float64(k)*0.618, 1))
	}
	none(joint, "nor has dappled light")
	none(make([]float64, n), "nor light nothing is known of")
}

func TestDivideFindsTheGap(t *testing.T) {
	assert.InDelta(t, 2, divide([]float64{0.9, 1, 1.1, 2.9, 3, 3.1}), 1e-9)
	assert.InDelta(t, 5.5, divide([]float64{1, 1, 1, 1, 10}), 1e-9)
}
