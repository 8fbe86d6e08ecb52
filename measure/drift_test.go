package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"tilelapse/measure/colour"
)

// drifting makes a view of n tiles of one glaze, and a photo in which all have drifted alike under scale of an opacity.
func drifting(n int, glaze colour.Lab, d [3]float64, opacity, light float64) (*View, *PhotoResult) {
	v, res := &View{deposit: [3]float64{0.6, 0.6, 0.55}}, &PhotoResult{light: light}
	for range n {
		v.tiles, v.names = append(v.tiles, tileInfo{lab: glaze, colour: glaze}), append(v.names, "g")
		x := TileResult{State: Present, OpacityPct: 100 * opacity}
		x.drifted(glaze, colour.Lab{L: glaze.L + d[0], A: glaze.A + d[1], B: glaze.B + d[2]})
		res.Tiles = append(res.Tiles, x)
	}
	return v, res
}

func all(int) bool { return true }

func TestDriftIsTheDistanceLessItsErrors(t *testing.T) {
	blue := colour.Lab{L: 45, A: -5, B: -35}
	for _, d := range [][3]float64{{}, {4, 0, 0}, {-3, 5, 8}} {
		v, res := drifting(20, blue, d, 0, driftEven)
		got := v.driftOf(res, all)
		raw := shifted(blue, d)
		assert.LessOrEqual(t, got.de, raw)
		assert.InDelta(t, raw, got.de, driftEven)
		assert.LessOrEqual(t, got.lo, got.de)
		assert.GreaterOrEqual(t, got.hi, raw, "the distance itself is never outside")
		assert.Equal(t, d[0], got.dl)
	}
	v, res := drifting(2, blue, [3]float64{4}, 0, driftEven)
	assert.True(t, math.IsNaN(v.driftOf(res, all).de), "two tiles tell nothing of a zone")
}

// What haze does to near-black glaze is more than any drift to be told; on bright glaze it is little.
func TestDriftUnderHazeIsNotTold(t *testing.T) {
	for _, tt := range []struct {
		name  string
		glaze colour.Lab
		told  bool
	}{{"near black", colour.Lab{L: 10}, false}, {"mid", colour.Lab{L: 45, A: -5, B: -35}, true}, {"bright", colour.Lab{L: 75, A: 5, B: 30}, true}} {
		v, res := drifting(20, tt.glaze, [3]float64{5, 0, 0}, 0.05, driftShadow)
		got := v.driftOf(res, all)
		assert.Equal(t, tt.told, !math.IsNaN(got.de), tt.name)
		assert.Equal(t, !tt.told, got.tooHazy, tt.name)
	}
	v := &View{deposit: [3]float64{0.6, 0.6, 0.55}}
	dark, bright := colour.Lab{L: 12}, colour.Lab{L: 70}
	assert.Greater(t, v.haze(dark, 0), v.haze(bright, 0))
	assert.Greater(t, v.haze(dark, 0.3), v.haze(dark, 0))
}

// No glaze's drift goes without an interval, and one or two tiles tell none.
func TestFewTilesOfAGlazeTellLittle(t *testing.T) {
	blue := colour.Lab{L: 45, A: -5, B: -35}
	for n := 1; n <= 7; n++ {
		v, res := drifting(n, blue, [3]float64{-3, 5, 8}, 0, driftEven)
		v.centre = map[string]colour.Lab{"g": blue}
		for k := range res.Tiles {
			res.Tiles[k].Tile = k
		}
		res.Tiles[0].DL += 10 // one odd tile
		g := v.Glazes(res)[0]
		assert.Equal(t, n, g.Tiles)
		if n < fewest {
			assert.True(t, math.IsNaN(g.DriftDE00), "%d tiles", n)
			continue
		}
		assert.LessOrEqual(t, g.Lo, g.DriftDE00, "%d tiles", n)
		assert.Greater(t, g.Hi, g.DriftDE00, "%d tiles", n)
		if n < 5 {
			assert.GreaterOrEqual(t, g.Hi, shifted(blue, [3]float64{7, 5, 8}), "%d tiles: the odd one is within", n)
		}
	}
}
