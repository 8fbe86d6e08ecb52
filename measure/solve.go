package measure

import (
	"math"
	"slices"
	"strings"

	"tilelapse/measure/colour"
	"tilelapse/measure/light"
	"tilelapse/measure/scale"
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
	Gain   [3]float64 `json:"gain"`   // 0 = unknown
	Sigma  float64    `json:"sigma"`  // relative spread of the light's level inside the tile
	Level  float64    `json:"level"`  // the light's level, photo over reference
	Uneven float64    `json:"uneven"` // how uneven the light is on the joints around it, relative
	Borne  float64    `json:"borne"`  // how far Gain is the tile's own, 0..1; else its neighbours'
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
	levels := v.levels(o)
	var known []float64
	for k := range v.tiles {
		if levels[k] > 0 {
			known = append(known, levels[k])
		}
	}
	l.Level = 1
	if len(known) > 0 {
		l.Level = digits(median(known), 6)
	}
	tail := v.tail(o)
	peaked := make([]bool, len(v.tiles))
	base := make([][3]float64, len(v.tiles)) // glaze now over reference, light cancelled
	for k := range v.tiles {
		if o.Tiles[k].N == 0 || levels[k] <= 0 {
			continue
		}
		r := &o.Tiles[k]
		g := r.Gain
		dep := mulv(l.Line.At(levels[k]), l.Deposit)
		// the clean glaze lies no further above the low end of the tile's whitenesses than noise reaches
		if over := r.Tail - tail*r.Sigma - 0.01; over > 0 {
			g = unveil(g, dep, v.tiles[k].mean, math.Min(over, 0.5))
		}
		peaked[k] = r.Clean > 0.35 && r.Tail < 2*tail*r.Sigma+0.02
		kg := l.Line.At(levels[k])
		for c := range 3 {
			base[k][c] = g[c] / kg[c]
		}
	}
	for k := range v.tiles {
		if levels[k] <= 0 || o.Tiles[k].N == 0 {
			continue
		}
		r := &o.Tiles[k]
		kg := l.Line.At(levels[k])
		t := TileLight{Level: levels[k], Sigma: r.Spread, Uneven: r.Uneven, Borne: 1}
		b := base[k]
		if !peaked[k] {
			if like, ok := v.alike(k, peaked, base); ok {
				// only downwards in whiteness: a veil may be taken off, never put on
				w := v.whiteness(k, b, l.Deposit) - v.whiteness(k, like, l.Deposit)
				if w > 0.02 {
					b, t.Borne = like, 0
				}
			}
		}
		t.Gain = mulv(b, kg)
		round3(&t.Gain)
		t.Level = digits(t.Level, 5)
		t.Sigma = digits(math.Max(t.Sigma, 0.02), 4)
		l.Tiles[k] = t
	}
	return l
}

// whiteness is the opacity that a veil of deposit would need to turn the tile's reference colour into the one it is now.
func (v *View) whiteness(k int, base [3]float64, deposit [3]float64) float64 {
	g := v.tiles[k].mean
	now := mulv(g, base)
	m := scale.Split(now, g, deposit, noiseOf(now, 0.02), scale.Prior{Level: 1, Sigma: 0.1})
	if math.IsNaN(m.Alpha) {
		return 0
	}
	return m.Alpha
}

// unveil takes a veil of opacity a off a tile's gain.
func unveil(gain, dep, ref [3]float64, a float64) [3]float64 {
	var out [3]float64
	for c := range 3 {
		now := gain[c] * ref[c]
		out[c] = math.Max(0.2*now, (now-a*dep[c])/(1-a)) / math.Max(ref[c], 1e-6)
	}
	return out
}

// alike returns the middle of what happened to the clean tiles whose reference colour is most like tile k's.
func (v *View) alike(k int, peaked []bool, base [][3]float64) ([3]float64, bool) {
	type cand struct {
		d float64
		q int
	}
	var cs []cand
	for q := range v.tiles {
		if q == k || !peaked[q] || base[q][1] <= 0 {
			continue
		}
		d := colour.CIEDE2000(v.tiles[k].lab, v.tiles[q].lab)
		if v.tiles[q].zone != v.tiles[k].zone {
			d += 8
		}
		cs = append(cs, cand{d, q})
	}
	if len(cs) < 5 {
		return [3]float64{}, false
	}
	slices.SortFunc(cs, func(a, b cand) int {
		if a.d != b.d {
			if a.d < b.d {
				return -1
			}
			return 1
		}
		return a.q - b.q
	})
	cs = cs[:min(len(cs), 15)]
	var g [3][]float64
	for _, c := range cs {
		for j := range 3 {
			g[j] = append(g[j], base[c.q][j])
		}
	}
	return [3]float64{median(g[0]), median(g[1]), median(g[2])}, true
}

// tail returns how far, in standard errors, the low end of whiteness lies below the mode on tiles that are clean.
func (v *View) tail(o *Observation) float64 {
	var t []float64
	for _, r := range o.Tiles {
		if r.N >= 50 && r.Clean > 0.75 && r.Sigma > 0 && r.Sigma < 0.1 {
			t = append(t, r.Tail/r.Sigma)
		}
	}
	if len(t) < 8 {
		return 1.6
	}
	return math.Min(3, math.Max(0.5, median(t)))
}

// levels returns the light's level at every tile: the middle of what the joints of the tile and its neighbours say.
// 0 = unknown.
func (v *View) levels(o *Observation) []float64 {
	out := make([]float64, len(v.tiles))
	var all []float64
	for k := range v.tiles {
		if o.Tiles[k].Joint > 0 {
			all = append(all, o.Tiles[k].Joint)
		}
	}
	mid := 1.0
	if len(all) > 0 {
		mid = median(all)
	} else if o.HasLine {
		mid = (o.Line.Lo + o.Line.Hi) / 2
	}
	for k := range v.tiles {
		if o.Tiles[k].N == 0 {
			continue
		}
		var l []float64
		for range 2 {
			if o.Tiles[k].Joint > 0 {
				l = append(l, o.Tiles[k].Joint)
			}
		}
		for _, q := range v.near[k][:min(6, len(v.near[k]))] {
			if o.Tiles[q].Joint > 0 {
				l = append(l, o.Tiles[q].Joint)
			}
		}
		if len(l) >= 3 {
			out[k] = median(l)
		} else {
			out[k] = mid
		}
	}
	return out
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
