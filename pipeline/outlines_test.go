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

func TestZonesWithoutTilesAreCutIntoCellsAndSaidSo(t *testing.T) {
	full := plane.Region{ID: "full", Rings: [][]plane.Point{square(0, 0, 100)}}
	bare := plane.Region{ID: "bare", Rings: [][]plane.Point{square(200, 0, 100)}}
	tiles := []outline.Tile{{Region: plane.Region{ID: "r1"}, Centroid: plane.Point{X: 50, Y: 50}}}
	empty := bareOf([]plane.Region{full, bare}, tiles)
	assert.Equal(t, []plane.Region{bare}, empty)
	tiles = append(tiles, cells(empty)...)
	assert.Len(t, tiles, 1+cellsAcross*cellsAcross)
	assert.False(t, gridded("full", tiles))
	assert.True(t, gridded("bare", tiles))
	assert.False(t, gridded("bare", []outline.Tile{{Region: plane.Region{ID: "bare-cell-1"}, Given: true}}), "drawn by a person, whatever its name")
}
