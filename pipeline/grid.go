package pipeline

import (
	"fmt"
	"math"

	"tilelapse/measure/outline"
	"tilelapse/measure/plane"
)

// outlineMethod names the way tiles are found, in records and run.json.
const outlineMethod = "2"

// resampleMethod names the way photos are brought onto the measuring frame, in records and run.json.
const resampleMethod = "2"

// cellsAcross is how many cells a zone's longer side is cut into where no tiles can be found.
const cellsAcross = 24

// cellMark stands in the name of a cell, between its zone's and its number.
const cellMark = "-cell-"

// cells cuts zones into a regular grid, for surfaces in whose reference no joints can be seen: figures stay per zone,
// and a cell stands for a tile.
func cells(zones []plane.Region) []outline.Tile {
	var ts []outline.Tile
	for _, z := range zones {
		x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
		for _, r := range z.Rings {
			for _, p := range r {
				x0, y0, x1, y1 = min(x0, p.X), min(y0, p.Y), max(x1, p.X), max(y1, p.Y)
			}
		}
		side := max(x1-x0, y1-y0) / cellsAcross
		if !(side > 0) {
			continue
		}
		for y := y0; y+side <= y1+side/2; y += side {
			for x := x0; x+side <= x1+side/2; x += side {
				c := plane.Point{X: x + side/2, Y: y + side/2}
				if !z.Contains(c.X, c.Y) {
					continue
				}
				ring := []plane.Point{{X: x, Y: y}, {X: x + side, Y: y}, {X: x + side, Y: y + side}, {X: x, Y: y + side}}
				ts = append(ts, outline.Tile{Region: plane.Region{ID: fmt.Sprintf("%s%s%04d", z.ID, cellMark, len(ts)+1), Rings: [][]plane.Point{ring}}, Centroid: c, AreaPx: side * side})
			}
		}
	}
	return ts
}
