package pipeline

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"tilelapse/measure/outline"
	"tilelapse/measure/plane"
)

func square(x, y, side float64) []plane.Point {
	return []plane.Point{{X: x, Y: y}, {X: x + side, Y: y}, {X: x + side, Y: y + side}, {X: x, Y: y + side}}
}

func TestDrawnTilesWinOverFoundOnes(t *testing.T) {
	given := []plane.Region{{ID: "mine", Rings: [][]plane.Point{square(0, 0, 10)}}}
	found := []outline.Tile{{Region: plane.Region{ID: "mine"}, Given: true}, {Region: plane.Region{ID: "r1"}}}
	ts := drawn(given, found)
	assert.Equal(t, []string{"mine", "r1"}, []string{ts[0].ID, ts[1].ID})
	assert.True(t, ts[0].Given)
	assert.Equal(t, 100.0, ts[0].AreaPx)
	zone := plane.Region{Rings: [][]plane.Point{square(-5, -5, 20)}}
	assert.InDelta(t, 100, tileArea(zone, given), 1e-9)
	assert.Zero(t, tileArea(plane.Region{Rings: [][]plane.Point{square(50, 50, 20)}}, given))
}
