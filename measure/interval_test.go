package measure

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestErrorsWeighMoreOnGlazeLikeTheDeposit(t *testing.T) {
	v := &View{deposit: [3]float64{0.6, 0.6, 0.55}, spec: Spec{Opacity: DefaultOpacity}}
	for _, c := range [][3]float64{{0.01, 0.01, 0.012}, {0.05, 0.1, 0.3}, {0.5, 0.48, 0.42}} {
		v.tiles = append(v.tiles, tileInfo{mean: c})
	}
	var last float64
	for k := range v.tiles {
		_, own := v.shift(&Reading{}, total{like: v.likeness(k)})
		assert.GreaterOrEqual(t, own, last)
		last = own
	}
	_, dark := v.shift(&Reading{}, total{like: v.likeness(0)})
	assert.Greater(t, last, 1.3*dark)
}

func TestTailsAreThoseOfTheTilesKept(t *testing.T) {
	res := &PhotoResult{}
	for i := range 11 {
		res.Tiles = append(res.Tiles, TileResult{ScalePct: float64(10 * i)})
	}
	lo, hi := tailsOf(res, all)
	assert.Equal(t, 10.0, lo) // Hyndman & Fan (1996), type 7
	assert.Equal(t, 90.0, hi)
	lo, hi = tailsOf(res, func(k int) bool { return k == 3 })
	assert.Equal(t, [2]float64{30, 30}, [2]float64{lo, hi})
}

func TestSpreadBelowLooksDownOnly(t *testing.T) {
	assert.InDelta(t, 1.4826*2, spreadBelow([]float64{1, 2, 3, 4, 90, 500}, 4), 1e-12)
	assert.Zero(t, spreadBelow([]float64{5, 6}, 4))
}

// veilOver never takes more than was seen, next to nothing where nothing stands out, and nearly all of what clearly does.
func TestVeilOver(t *testing.T) {
	for _, s := range []float64{0.01, 0.02, 0.05} {
		last := 0.0
		for over := -0.1; over < 0.4; over += 0.01 {
			a := veilOver(over, s)
			assert.GreaterOrEqual(t, a, last-1e-9, "more seen, more taken")
			assert.LessOrEqual(t, a, max(over, 0)+s)
			last = a
		}
		assert.Less(t, veilOver(0, s), s)
		assert.Less(t, veilOver(s, s), 0.6*s, "what noise may be is mostly left")
		assert.InDelta(t, 8*s, veilOver(8*s, s), 1.2*s)
	}
	assert.Zero(t, veilOver(-1, 0.01))
}

// What may be hardly any or a third is not told; a wide interval well off its foot is.
func TestIntervalsThatAnswerNothingAreNotTold(t *testing.T) {
	for _, tc := range []struct {
		lo, hi float64
		told   bool
	}{{1, 34, false}, {7, 38, false}, {12, 45, true}, {1, 25, true}, {0, 30, true}, {0, 30.1, false}, {40, 80, true}} {
		assert.Equal(t, tc.told, told(tc.lo, tc.hi), "%v to %v", tc.lo, tc.hi)
	}
}
