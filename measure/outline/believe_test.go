package outline

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"tilelapse/measure/plane"
)

func box(x, y, w, h float64) plane.Region {
	return plane.Region{Rings: [][]plane.Point{{{X: x, Y: y}, {X: x + w, Y: y}, {X: x + w, Y: y + h}, {X: x, Y: y + h}}}}
}

func boxTile(x, y, w, h float64) Tile {
	return Tile{Region: box(x, y, w, h), Centroid: plane.Point{X: x + w/2, Y: y + h/2}, AreaPx: w * h}
}

func TestOutlinesThatCantBeTilesAreDropped(t *testing.T) {
	var net []Tile
	for i := range 40 {
		net = append(net, boxTile(float64(i%8)*50, float64(i/8)*50, 46, 46))
	}
	wall := box(0, 0, 400, 400)
	for _, c := range []struct {
		name  string
		found []Tile
		zone  plane.Region
		k     int
		kept  int
	}{
		{"one covers the zone", []Tile{boxTile(2, 2, 390, 390)}, wall, 1, 0},
		{"one of a large zone", []Tile{boxTile(2, 2, 40, 40)}, wall, 1, 0},
		{"a giant and specks", []Tile{boxTile(2, 2, 380, 300), boxTile(2, 310, 9, 9), boxTile(20, 310, 9, 9)}, wall, 1, 0},
		{"a few scattered", net[:4], wall, 1, 0},
		{"a net", net, wall, 1, 40},
		{"a giant beside a net", append([]Tile{boxTile(0, 250, 400, 150)}, net...), wall, 1, 40},
		{"four large tiles that fill their zone", []Tile{boxTile(0, 0, 196, 196), boxTile(200, 0, 196, 196), boxTile(0, 200, 196, 196), boxTile(200, 200, 196, 196)}, wall, 1, 4},
		{"one tile that is the zone", []Tile{boxTile(2, 2, 96, 96)}, box(0, 0, 100, 100), 1, 1},
		{"small on a reduced frame", []Tile{boxTile(2, 2, 390, 390)}, wall, 3, 1},
		{"none", nil, wall, 1, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := plane.Frame{RefW: 600, RefH: 600, K: c.k}
			assert.Len(t, believable(c.found, []plane.Region{c.zone}, f), c.kept)
		})
	}
	assert.Empty(t, believable([]Tile{boxTile(20, 20, 500, 500)}, nil, plane.Frame{RefW: 600, RefH: 600, K: 1}), "the whole view")
	outside := []Tile{boxTile(500, 500, 300, 300)}
	assert.Equal(t, outside, believable(outside, []plane.Region{box(0, 0, 400, 400)}, plane.Frame{RefW: 900, RefH: 900, K: 1}), "of no zone")
}

// Pale tiles with thin grey joints: either the net is found, or nothing is said; never one outline for all of them.
func TestPaleTilesWithThinGreyJoints(t *testing.T) {
	zone := box(20, 20, sceneW-40, sceneH-40)
	zone.ID = "pale"
	for _, c := range []struct {
		name        string
		joint       float64
		glaze, grey [3]float64
		rough       float64
		found       bool // the net must be found
	}{
		{"2 px, plain", 2, [3]float64{.70, .69, .66}, [3]float64{.50, .50, .48}, .03, true},
		{"2 px, faint", 2, [3]float64{.70, .69, .66}, [3]float64{.60, .60, .58}, .03, false},
		{"1 px", 1, [3]float64{.70, .69, .66}, [3]float64{.50, .50, .48}, .03, false},
		{"1 px, faint, rough", 1, [3]float64{.70, .69, .66}, [3]float64{.62, .62, .60}, .06, false},
		{"3 px, near white", 3, [3]float64{.80, .80, .78}, [3]float64{.66, .66, .66}, .03, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := render(sceneW, sceneH, rectangles(44, 34), c.joint, look{glazes: [][3]float64{c.glaze}, joint: c.grey, rough: c.rough})
			tiles, err := Find(s.img, plane.Frame{RefW: s.w, RefH: s.h, K: 1}, []plane.Region{zone}, nil, nil, nil, DefaultOptions())
			if err != nil {
				require.ErrorIs(t, err, ErrNoJoints)
			}
			truth, found, hits, iou := s.score(tiles)
			t.Logf("true %d (whole view), found %d, hits %d, IoU %.2f", truth, found, hits, iou)
			for _, tl := range tiles {
				assert.Less(t, tl.AreaPx, 0.15*zone.Area())
			}
			if found > 0 {
				assert.GreaterOrEqual(t, found, handful)
			}
			if c.found {
				assert.GreaterOrEqual(t, float64(hits), 0.85*float64(found))
				assert.GreaterOrEqual(t, found, 55)
			}
		})
	}
}
