package outline

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure/plane"
)

// wall is rows x cols squares of the given side with joints of the given width.
func wall(rows, cols int, side, joint float64) []Tile {
	var out []Tile
	for r := range rows {
		for c := range cols {
			x, y := float64(c)*(side+joint), float64(r)*(side+joint)
			ring := []plane.Point{{X: x, Y: y}, {X: x + side, Y: y}, {X: x + side, Y: y + side}, {X: x, Y: y + side}}
			t := Tile{Region: plane.Region{ID: fmt.Sprintf("t%d-%d", r, c), Rings: [][]plane.Point{ring}}}
			t.AreaPx, t.Centroid = areaCentroid(ring)
			out = append(out, t)
		}
	}
	return out
}

func TestJointsOfAWall(t *testing.T) {
	f := plane.Frame{RefW: 1000, RefH: 1000, K: 1}
	tiles := wall(4, 5, 40, 6)
	js := Joints(tiles, f)
	assert.Len(t, js, 4*4+3*5, "side by side and one over the other, not across corners")
	for _, j := range js {
		assert.InDelta(t, 6, j.WidthPx, 0.01)
		assert.InDelta(t, 40, j.LengthPx, 5)
	}
	g := Graph(tiles, f)
	assert.Equal(t, []int{1, 5}, g[0])
	assert.Equal(t, []int{2, 6, 8, 12}, g[7])
}

func TestMissingTileSeparates(t *testing.T) {
	f := plane.Frame{RefW: 1000, RefH: 1000, K: 1}
	tiles := wall(3, 3, 40, 6)
	tiles = append(tiles[:4], tiles[5:]...) // the middle one
	g := Graph(tiles, f)
	for i, n := range g {
		require.Len(t, n, 2, "tile %s", tiles[i].ID)
	}
	assert.Equal(t, []int{0, 2}, g[1])
}

func TestGraphOfNothing(t *testing.T) {
	f := plane.Frame{RefW: 10, RefH: 10, K: 1}
	assert.Empty(t, Graph(nil, f))
	assert.Equal(t, [][]int{nil}, Graph(wall(1, 1, 5, 1), f))
}
