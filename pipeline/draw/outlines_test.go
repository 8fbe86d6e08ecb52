package draw

import (
	"image"
	"testing"

	"github.com/stretchr/testify/assert"

	"tilelapse/measure/plane"
)

func TestOutlinesShowEveryTile(t *testing.T) {
	pic := image.NewRGBA(image.Rect(0, 0, 300, 200))
	for i := range pic.Pix {
		pic.Pix[i] = 200
		if i%4 == 3 {
			pic.Pix[i] = 255
		}
	}
	ring := func(x, y, s float64) [][]plane.Point {
		return [][]plane.Point{{{X: x, Y: y}, {X: x + s, Y: y}, {X: x + s, Y: y + s}, {X: x, Y: y + s}}}
	}
	scene := Scene{Words: english, View: "v", W: 300, H: 200, Picture: pic, Zones: []Zone{{ID: "z", Rings: ring(10, 10, 180)}}}
	none := Outlines(scene)
	scene.Tiles = []Tile{{ID: "a", Rings: ring(30, 30, 40)}}
	one := Outlines(scene)
	scene.Tiles = append(scene.Tiles, Tile{ID: "b", Rings: ring(100, 100, 40)})
	two := Outlines(scene)
	assert.Equal(t, two.Pix, Outlines(scene).Pix, "the same pixels twice")
	assert.Greater(t, differing(none, one), 300)
	assert.Greater(t, differing(one, two), 300)
}

func differing(a, b *image.RGBA) int {
	n := 0
	for i := 0; i < len(a.Pix); i += 4 {
		if a.Pix[i] != b.Pix[i] || a.Pix[i+1] != b.Pix[i+1] || a.Pix[i+2] != b.Pix[i+2] {
			n++
		}
	}
	return n
}
