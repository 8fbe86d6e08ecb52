package outline

import (
	"math"
	"sort"

	"tilelapse/measure/plane"
)

// What can't be a net of tiles, whatever it looks like; our choices.
const (
	// handful is how many tiles a zone has at the least, if it is not a small one.
	handful = 6
	// smallZone is the area up to which a zone may be one tile or a few, measuring px: some 140 x 140.
	smallZone = 20_000
	// fills and alike let fewer than a handful pass: large tiles that fill their zone to this share, the largest at most
	// so many times the smallest.
	fills = 0.6
	alike = 2.5
	// giant is how many times the zone's middle tile an outline may have, and giantShare the share of the zone, before it
	// is taken for several tiles whose joints were not seen.
	giant      = 8
	giantShare = 0.15
)

// believable drops found outlines that can't be tiles: one that covers most of its zone, or the few of a zone that would
// hold many. No zones means the whole view.
func believable(tiles []Tile, zones []plane.Region, f plane.Frame) []Tile {
	if len(zones) == 0 {
		zones = []plane.Region{plane.Whole("", f.RefW, f.RefH)}
	}
	in := make([][]int, len(zones))
	drop := make([]bool, len(tiles))
	for i, t := range tiles {
		for k, z := range zones {
			if contains(z.Rings, t.Centroid) {
				in[k] = append(in[k], i)
				break
			}
		}
	}
	for k, z := range zones {
		whole := z.Area()
		if len(in[k]) == 0 || whole <= smallZone*float64(f.K*f.K) {
			continue
		}
		var areas []float64
		sum := 0.0
		for _, i := range in[k] {
			areas = append(areas, tiles[i].AreaPx)
			sum += tiles[i].AreaPx
		}
		sort.Float64s(areas)
		n := len(areas)
		few := n < handful && (n == 1 || sum < fills*whole || areas[n-1] > alike*areas[0])
		most := math.Max(giant*areas[n/2], giantShare*whole)
		for _, i := range in[k] {
			drop[i] = few || n >= handful && tiles[i].AreaPx > most
		}
	}
	var kept []Tile
	for i, t := range tiles {
		if !drop[i] {
			kept = append(kept, t)
		}
	}
	return kept
}
