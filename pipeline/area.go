package pipeline

import (
	"math"

	"tilelapse/measure/outline"
	"tilelapse/measure/plan"
	"tilelapse/measure/plane"
)

// area turns outlines in the reference photo into cm² on the surface.
type area struct {
	plan  *plan.Plan
	tiles []outline.Tile
	of    []float64   // cm² a tile, NaN = not known
	zones []plan.Area // cm² of each zone's tiles together, with their interval
}

// areaOf rectifies a view from its length lines, or from mm_per_px.
func areaOf(ref *reference, tiles []outline.Tile) (area, error) {
	var lines []plan.Length
	if d := ref.view.Drawing; d != nil {
		for _, l := range d.Lengths {
			lines = append(lines, plan.Length{A: l.A, B: l.B, MM: l.MM})
		}
	}
	p, err := plan.Rectify(ref.w, ref.h, lines, ref.view.MMPerPx, plan.DefaultOptions())
	if err != nil {
		return area{}, err
	}
	a := area{plan: p, tiles: tiles, of: make([]float64, len(tiles))}
	for i, t := range tiles {
		a.of[i] = p.Area(t.Rings).CM2
	}
	return a, nil
}

// sum is the area of tiles together, cm².
func (a area) sum(tiles []int) float64 {
	s := 0.0
	for _, t := range tiles {
		s += a.of[t]
	}
	if len(tiles) == 0 {
		return math.NaN()
	}
	return s
}

// settle works out the zones' areas, of all their tiles at once, so that the interval is a joint one.
func (a *area) settle(zones int, zoneOf func(tile int) int) {
	a.zones = make([]plan.Area, zones)
	for z := range a.zones {
		var rings [][][]plane.Point
		for i, t := range a.tiles {
			if zoneOf(i) == z {
				rings = append(rings, t.Rings)
			}
		}
		a.zones[z] = a.plan.Area(rings...)
	}
}

// basis says in words what areas rest on.
func (a area) basis() string { return string(a.plan.Basis) }
