package measure

import (
	"math"
	"slices"
	"strings"

	"tilelapse/measure/light"
)

// Light is what Solve found of one photo: all that Read needs besides the pixels.
type Light struct {
	Key     string      `json:"key"`
	Basis   ColourBasis `json:"basis"`
	Line    light.Line  `json:"line"`
	Level   float64     `json:"level"` // the middle of the tiles' levels
	Deposit [3]float64  `json:"deposit"`
	From    string      `json:"deposit_from"`
	Tiles   []TileLight `json:"tiles"`
	Notes   []string    `json:"notes,omitempty"`
}

// TileLight is the clean glaze of one tile in one photo, relative to the reference.
type TileLight struct {
	Gain  [3]float64 `json:"gain"`  // 0 = unknown
	Sigma float64    `json:"sigma"` // relative spread of the light's level inside the tile
	Borne float64    `json:"borne"` // how far Gain is the tile's own, 0..1; else its neighbours'
}

// Solve finds every photo's light from the observations of all photos of the view. The order of obs does not matter;
// the results come in the order of obs.
func (v *View) Solve(obs []*Observation) []*Light {
	out := make([]*Light, len(obs))
	for i, o := range obs {
		out[i] = v.solveOne(o)
	}
	return out
}

func (v *View) solveOne(o *Observation) *Light {
	l := &Light{Key: o.Photo.Key, Line: o.Line, Deposit: v.deposit, From: v.from, Basis: BasisSurface}
	if o.HasLine {
		l.Basis = BasisControl
	}
	if o.Photo.Kind != "" && o.Photo.Kind != "digital" {
		l.Basis = BasisNone
	}
	l.Tiles = make([]TileLight, len(v.tiles))
	var levels []float64
	good := func(k int) bool { return k < len(o.Tiles) && o.Tiles[k].N > 0 && o.Tiles[k].Clean > 0.3 }
	for k := range v.tiles {
		if k >= len(o.Tiles) || o.Tiles[k].N == 0 {
			continue
		}
		r := o.Tiles[k]
		t := TileLight{Gain: r.Gain, Sigma: r.Spread, Borne: 1}
		if !good(k) {
			var g [3][]float64
			for _, q := range v.near[k] {
				if good(int(q)) {
					for c := range 3 {
						g[c] = append(g[c], o.Tiles[q].Gain[c])
					}
				}
			}
			if len(g[0]) >= 3 {
				t = TileLight{Gain: [3]float64{median(g[0]), median(g[1]), median(g[2])}, Sigma: r.Spread, Borne: 0}
			}
		}
		levels = append(levels, light.Y(t.Gain))
		round3(&t.Gain)
		t.Sigma = digits(math.Max(t.Sigma, 0.02), 4)
		l.Tiles[k] = t
	}
	l.Level = 1
	if len(levels) > 0 {
		l.Level = digits(median(levels), 6)
	}
	return l
}

// sortedByKey returns the order in which records are looked at, so that no result depends on the order they came in.
func sortedByKey(obs []*Observation) []int {
	idx := make([]int, len(obs))
	for i := range idx {
		idx[i] = i
	}
	slices.SortFunc(idx, func(a, b int) int { return strings.Compare(obs[a].Photo.Key, obs[b].Photo.Key) })
	return idx
}
