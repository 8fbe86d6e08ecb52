package pipeline

import (
	"errors"
	"slices"
	"strings"

	"tilelapse/measure/outline"
	"tilelapse/measure/plane"
	"tilelapse/pipeline/ledger"
)

// drawnShare is the share of a zone's area that drawn tiles cover when the user drew that zone's tiles: there nothing is
// looked for. Joints and gaps take the rest. In zones with less, tiles are found and the drawn ones win over them.
const drawnShare = 0.3

// outlines returns a view's tiles: as drawn, and found in the reference where none were drawn.
func (r *run) outlines(v *viewResult, ref *reference, img *plane.Image) ([]outline.Tile, error) {
	given := v.spec.Tiles
	var open []plane.Region
	for _, z := range v.spec.Zones {
		if tileArea(z, given) < drawnShare*z.Area() {
			open = append(open, z)
		}
	}
	if len(open) == 0 {
		return drawn(given, nil), nil
	}
	// A control is stable and not tiled: joints between its stones are no joints between tiles.
	bare := append(append([]plane.Region(nil), v.spec.Ignore...), v.spec.Controls...)
	key := ledger.Key("outlines", outlineMethod, ref.sha, v.frame, open, bare, v.spec.Gaps, given)
	var tiles []outline.Tile
	if r.store.Get("outlines", key, &tiles) {
		return tiles, nil
	}
	tiles, err := outline.Find(img, v.frame, open, bare, v.spec.Gaps, given, outline.DefaultOptions())
	if err != nil && !errors.Is(err, outline.ErrNoJoints) {
		return nil, err
	}
	tiles = drawn(given, tiles)
	tiles = append(tiles, cells(bareOf(open, tiles))...)
	return tiles, r.store.Put("outlines", key, tiles)
}

// bareOf returns the zones in which no tile lies.
func bareOf(zones []plane.Region, tiles []outline.Tile) []plane.Region {
	var bare []plane.Region
	for _, z := range zones {
		if !slices.ContainsFunc(tiles, func(t outline.Tile) bool { return z.Contains(t.Centroid.X, t.Centroid.Y) }) {
			bare = append(bare, z)
		}
	}
	return bare
}

// gridNote is said of a zone that was cut into cells.
const gridNote = "a grid of cells stands for the tiles, because no joints between them were told in the reference (draw the tiles, with class tile)"

// gridded reports whether a zone was cut into cells, by their names.
func gridded(zone string, tiles []outline.Tile) bool {
	return slices.ContainsFunc(tiles, func(t outline.Tile) bool { return !t.Given && strings.HasPrefix(t.ID, zone+cellMark) })
}

// drawn puts the drawn tiles before the found ones, each once.
func drawn(given []plane.Region, found []outline.Tile) []outline.Tile {
	var ts []outline.Tile
	for _, g := range given {
		t := outline.Tile{Region: g, AreaPx: g.Area(), Given: true}
		t.Centroid.X, t.Centroid.Y = g.Centroid()
		ts = append(ts, t)
	}
	for _, t := range found {
		if !t.Given {
			ts = append(ts, t)
		}
	}
	return ts
}

// tileArea is the area of the tiles whose centroid lies in a zone.
func tileArea(zone plane.Region, tiles []plane.Region) float64 {
	sum := 0.0
	for _, t := range tiles {
		if zone.Contains(t.Centroid()) {
			sum += t.Area()
		}
	}
	return sum
}
