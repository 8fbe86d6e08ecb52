package associate

import (
	"fmt"
	"slices"

	"tilelapse/measure/trend"
)

// State of a tile on a visit, in the words of the tables. Any other word means that it was not read.
type State string

// The states that count as readings.
const (
	Present    State = "present"
	Missing    State = "missing"
	OffPalette State = "offpalette"
)

// Tile is one tile's history over the visits of its view.
type Tile struct {
	ID, Zone   string
	Y          float64   // of its centroid, px of the reference, downwards
	Neighbours []int     // indices of the tiles it shares a joint with
	States     []State   // one a visit
	Scale      []float64 // whitened share on each visit, percent; NaN = not read
}

// View is a view's tiles and visits, the visits in order of date.
type View struct {
	ID     string
	Visits []trend.Span
	Tiles  []Tile
}

// Validate reports histories or neighbours that do not fit the view.
func (v View) Validate() error {
	for i := 1; i < len(v.Visits); i++ {
		if v.Visits[i].From < v.Visits[i-1].From {
			return fmt.Errorf("view %s: visits are not in order of date", v.ID)
		}
	}
	for _, t := range v.Tiles {
		if len(t.States) != len(v.Visits) || len(t.Scale) != len(v.Visits) {
			return fmt.Errorf("view %s, tile %s: %d states and %d scales for %d visits", v.ID, t.ID, len(t.States), len(t.Scale), len(v.Visits))
		}
		for _, n := range t.Neighbours {
			if n < 0 || n >= len(v.Tiles) {
				return fmt.Errorf("view %s, tile %s: neighbour %d is no tile", v.ID, t.ID, n)
			}
		}
	}
	return nil
}

// Loss is a tile seen on one visit and missing at its next reading: it went in between.
type Loss struct {
	Tile         int // index into View.Tiles
	Seen, Missed int // indices into View.Visits
}

// Losses returns the losses photographed, in order of tiles. A tile missing on one visit and present at its next reading
// is not counted: it was behind something, or replaced; one missing at two readings in a row is, even if a tile is there
// later. Losses between visits whose dates overlap are left out, for their order is not known.
func (v View) Losses() []Loss {
	var r []Loss
	for _, s := range v.spells() {
		if s.lost {
			r = append(r, Loss{s.tile, s.from, s.to})
		}
	}
	return r
}

// spell is the time between two readings in a row of one tile that was present at the first.
type spell struct {
	tile, from, to int
	lost           bool
}

func (v View) spells() []spell {
	var r []spell
	for i := range v.Tiles {
		from := -1
		for k := range v.Visits {
			state := v.reading(i, k)
			if state == "" {
				continue
			}
			if from >= 0 && state != OffPalette && v.Visits[from].Before(v.Visits[k]) {
				r = append(r, spell{i, from, k, state == Missing})
			}
			if state != Present {
				break // what comes later is not this tile
			}
			from = k
		}
	}
	return r
}

// reading returns the tile's state on a visit, "" when it was not read or a single missing reading is contradicted by
// the next one.
func (v View) reading(tile, visit int) State {
	s := v.Tiles[tile].States
	switch s[visit] {
	case Present, OffPalette:
		return s[visit]
	case Missing:
		for _, next := range s[visit+1:] {
			switch next {
			case Present:
				if !v.missingBefore(tile, visit) {
					return ""
				}
				return Missing
			case Missing, OffPalette:
				return Missing
			}
		}
		return Missing
	}
	return ""
}

func (v View) missingBefore(tile, visit int) bool {
	for k := visit - 1; k >= 0; k-- {
		switch v.Tiles[tile].States[k] {
		case Missing:
			return true
		case Present, OffPalette:
			return false
		}
	}
	return false
}

// gapAt reports whether the tile's last reading up to a visit was missing.
func (v View) gapAt(tile, visit int) bool {
	for k := visit; k >= 0; k-- {
		if s := v.reading(tile, k); s != "" {
			return s == Missing
		}
	}
	return false
}

// besideGap reports whether a neighbour was known to be missing on a visit.
func (v View) besideGap(tile, visit int) bool {
	return slices.ContainsFunc(v.Tiles[tile].Neighbours, func(n int) bool { return v.gapAt(n, visit) })
}

// AtRisk returns how many present tiles of a zone have a missing neighbour on a visit, and how many missing neighbours
// each tile of the view has (0 for tiles not present).
func (v View) AtRisk(zone string, visit int) (tiles int, beside []int) {
	beside = make([]int, len(v.Tiles))
	for i, t := range v.Tiles {
		if v.reading(i, visit) != Present {
			continue
		}
		for _, n := range t.Neighbours {
			if v.gapAt(n, visit) {
				beside[i]++
			}
		}
		if beside[i] > 0 && t.Zone == zone {
			tiles++
		}
	}
	return tiles, beside
}

// Bands of height within a zone, and the fewest tiles worth a band of their own (our choice).
const (
	bands     = 3
	bandTiles = 12
)

// bandOf returns the height band of every tile: up to three bands with equally many tiles a zone, from the top.
func (v View) bandOf() []int {
	zones := map[string][]int{}
	for i, t := range v.Tiles {
		zones[t.Zone] = append(zones[t.Zone], i)
	}
	band := make([]int, len(v.Tiles))
	for _, tiles := range zones { // each zone writes its own tiles only: order does not matter
		slices.SortStableFunc(tiles, func(a, b int) int {
			switch {
			case v.Tiles[a].Y < v.Tiles[b].Y:
				return -1
			case v.Tiles[a].Y > v.Tiles[b].Y:
				return 1
			}
			return a - b
		})
		n := min(bands, max(1, len(tiles)/bandTiles))
		for rank, i := range tiles {
			band[i] = rank * n / len(tiles)
		}
	}
	return band
}
