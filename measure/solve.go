package measure

import (
	"math"
	"slices"
	"strings"

	"tilelapse/measure/light"
)

// Light is what Solve found of one photo: all that Read needs besides the pixels.
type Light struct {
	Key          string      `json:"key"`
	Basis        ColourBasis `json:"basis"`
	Line         light.Line  `json:"line"`
	Shadows      bool        `json:"shadows"` // cast shadows lie over the tiles
	Level        float64     `json:"level"`   // the middle of the tiles' levels
	Noise        float64     `json:"noise"`   // relative noise of one channel of one pixel
	Deposit      [3]float64  `json:"deposit"`
	DepositSigma float64     `json:"deposit_sigma"` // relative standard error of its level
	From         string      `json:"deposit_from"`
	Tiles        []TileLight `json:"tiles"`
	Notes        []string    `json:"notes,omitempty"`
}

// TileLight is the clean glaze of one tile in one photo, relative to the reference.
type TileLight struct {
	Gain       [3]float64 `json:"gain"`        // 0 = unknown
	Sigma      float64    `json:"sigma"`       // relative spread of the light's level inside the tile
	Level      float64    `json:"level"`       // the light's level, photo over reference
	GlazeLevel float64    `json:"glaze_level"` // the same for the glaze's colour: told by the tile itself
	Uneven     float64    `json:"uneven"`      // how uneven the light is on the joints around it, relative
	Noise      float64    `json:"noise"`       // standard error of a pixel's whiteness at the first look
	Told       bool       `json:"told"`        // under cast shadows: clearly on one side of their edges
	Borne      float64    `json:"borne"`       // how far Gain is the tile's own, 0..1; else its neighbours'
}

// Solve finds every photo's light from the observations of all photos of the view. The order of obs does not matter;
// the results come in the order of obs.
func (v *View) Solve(obs []*Observation) []*Light {
	deposit, sigma, from := v.deposit, 0.03, v.from
	if from != "sample" {
		var n int
		if deposit, sigma, n = v.shared(obs); n >= 20 && from == "common" {
			from = "estimated"
		}
	}
	round3(&deposit)
	out := make([]*Light, len(obs))
	for i, o := range obs {
		out[i] = v.solveOne(o)
		out[i].Deposit, out[i].DepositSigma, out[i].From = deposit, digits(sigma, 3), from
	}
	return out
}

func (v *View) solveOne(o *Observation) *Light {
	l := &Light{Key: o.Photo.Key, Line: o.Line, Basis: BasisSurface}
	if o.HasLine {
		l.Basis = BasisControl
	}
	if o.Photo.Kind != "" && o.Photo.Kind != "digital" {
		l.Basis = BasisNone
	}
	l.Noise = o.Noise
	l.Tiles = make([]TileLight, len(v.tiles))
	// how uneven the light is inside a tile is seen on coloured glaze; grey hides it
	var known, spreads []float64
	for k := range v.tiles {
		if r := &o.Tiles[k]; r.N > 0 && v.tiles[k].lab.Chroma() > 15 && r.Clean > 0.3 {
			spreads = append(spreads, r.Spread)
		}
	}
	usual := 0.05
	if len(spreads) >= 8 {
		usual = median(spreads)
	}
	l.Shadows = o.Shadows
	for k := range v.tiles {
		r := &o.Tiles[k]
		if r.N == 0 || r.Level <= 0 || r.Doubt {
			continue
		}
		known = append(known, r.Level)
		t := TileLight{Gain: r.Gain, Level: r.Level, GlazeLevel: r.GlazeLevel, Told: r.Told, Uneven: r.Uneven, Noise: r.Sigma, Sigma: math.Max(math.Max(r.Spread, usual), 0.02)}
		if o.Shadows && !r.Told {
			// a shadow's edge may cross the tile: what can be told without the level, is
			switch even := math.Max(t.Sigma, r.Uneven); {
			case v.nearBlack(k):
				t.Sigma = math.Min(math.Max(t.Sigma, 0.08), 0.12)
			case even > 0.1:
				t.Sigma = shadowSigma
			default:
				t.Sigma = even
			}
		}
		t.Sigma = digits(t.Sigma, 4)
		if r.Own {
			t.Borne = 1
		}
		l.Tiles[k] = t
	}
	l.Level = 1
	if len(known) > 0 {
		l.Level = digits(median(known), 6)
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
