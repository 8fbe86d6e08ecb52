package measure

import (
	"fmt"
	"math"
	"math/rand"
	"sort"

	"tilelapse/measure/colour"
)

// GlazeResult is one glaze of a view in one photo: the middle of its tiles' signed colour differences. NaN = not measured.
type GlazeResult struct {
	Name              string
	Ref               colour.Lab // in the reference, D65: by its chart, else as photographed
	Tiles             int        // tiles it was measured on
	DriftDE00, Lo, Hi float64    // CIEDE2000 of the middle difference, 95 % interval: tiles and light
	DL, DA, DB        float64
	PaletteDE00       float64 // the middle colour now to the intended one, CIEDE2000; NaN unless the basis is a chart
	PaletteLo         float64 // 95 % interval of it
	PaletteHi         float64
}

// glazeSpread is how far, ΔE00, tiles of one glaze may lie from their glaze's colour: hand-made tiles differ (our choice).
const glazeSpread = 7

// paletteReach is how far, ΔE00, a glaze as photographed may lie from a palette glaze and still bear its name: the
// reference photo's light is not cancelled without a chart (our choice).
const paletteReach = 12

// glazeNames gives every tile the name of its glaze, from the reference alone: never from its colour now. With a palette
// the nearest glaze within reach; else tiles of like colour form a group, found by taking the colour with most tiles
// around it first.
func (v *View) glazeNames() (names []string, centre map[string]colour.Lab) {
	names, centre = make([]string, len(v.tiles)), map[string]colour.Lab{}
	left := make([]int, 0, len(v.tiles))
	for k := range v.tiles {
		t := &v.tiles[k]
		if t.zone < 0 || t.gap || t.scaled || t.dark || len(t.inner) == 0 {
			continue
		}
		best, at := math.Inf(1), -1
		for i, g := range v.spec.Palette {
			if d := colour.CIEDE2000(t.colour, g.Lab); d < best {
				best, at = d, i
			}
		}
		if at >= 0 && best <= paletteReach {
			names[k] = v.spec.Palette[at].Name
			continue
		}
		left = append(left, k)
	}
	near := make([][]bool, len(left)) // which tiles not named by the palette are alike
	for a := range left {
		near[a] = make([]bool, len(left))
	}
	count := make([]int, len(left))
	for a := range left {
		for b := a; b < len(left); b++ {
			if colour.CIEDE2000(v.tiles[left[a]].colour, v.tiles[left[b]].colour) <= glazeSpread {
				near[a][b], near[b][a] = true, true
				count[a]++
				if a != b {
					count[b]++
				}
			}
		}
	}
	for n := 1; ; n++ {
		seed := -1
		for a := range left {
			if names[left[a]] == "" && (seed < 0 || count[a] > count[seed]) {
				seed = a
			}
		}
		if seed < 0 {
			break
		}
		name := fmt.Sprintf("group-%02d", n)
		for b := range left {
			if !near[seed][b] || names[left[b]] != "" {
				continue
			}
			names[left[b]] = name
			for c := range left {
				if near[b][c] {
					count[c]--
				}
			}
		}
	}
	by := map[string][][3]float64{}
	for k, n := range names {
		if n != "" {
			l := v.tiles[k].colour
			by[n] = append(by[n], [3]float64{l.L, l.A, l.B})
		}
	}
	for n, ls := range by {
		m := medians(ls)
		centre[n] = colour.Lab{L: m[0], A: m[1], B: m[2]}
	}
	return names, centre
}

// Glazes tells the drift of every glaze in one photo, sorted by name, and names each tile's glaze in res.
func (v *View) Glazes(res *PhotoResult) []GlazeResult {
	names, centre := v.names, v.centre
	diffs, byChart := map[string][][3]float64{}, map[string][][3]float64{}
	veils := map[string][]float64{}
	for i := range res.Tiles {
		t := &res.Tiles[i]
		t.Glaze = names[t.Tile]
		if t.Glaze != "" && t.State == Present && !math.IsNaN(t.DL+t.DA+t.DB) {
			diffs[t.Glaze] = append(diffs[t.Glaze], [3]float64{t.DL, t.DA, t.DB})
			veils[t.Glaze] = append(veils[t.Glaze], t.OpacityPct/100)
			if !math.IsNaN(t.ChartNow[0]) {
				l := colour.RGB(t.ChartNow).Lab()
				byChart[t.Glaze] = append(byChart[t.Glaze], [3]float64{l.L, l.A, l.B})
			}
		}
	}
	var order []string
	for n := range centre {
		order = append(order, n)
	}
	sort.Strings(order)
	nan := math.NaN()
	var out []GlazeResult
	for _, n := range order {
		g := GlazeResult{Name: n, Ref: centre[n], Tiles: len(diffs[n]), DriftDE00: nan, Lo: nan, Hi: nan, DL: nan, DA: nan, DB: nan, PaletteDE00: nan, PaletteLo: nan, PaletteHi: nan}
		// what light and haze may have added is common to all tiles; where it is too much, nothing is told
		if d := diffs[n]; len(d) >= fewest {
			if s := math.Hypot(res.light, v.haze(g.Ref, math.Max(0, median(veils[n])))); s <= driftLimit {
				m := medians(d)
				g.DL, g.DA, g.DB = m[0], m[1], m[2]
				raw := shifted(g.Ref, m)
				g.DriftDE00 = unbiased(raw, s)
				lo, hi := spanOf(g.Ref, d)
				g.Lo = math.Max(0, g.DriftDE00-math.Hypot(math.Max(0, raw-lo), 1.96*s))
				g.Hi = math.Max(raw, g.DriftDE00+math.Hypot(math.Max(0, hi-raw), 1.96*s))
			}
		}
		if want, ok := v.intended(n); ok && len(byChart[n]) > 0 {
			m := medians(byChart[n])
			now := colour.Lab{L: m[0], A: m[1], B: m[2]}
			g.PaletteDE00 = colour.CIEDE2000(now, want)
			g.PaletteLo, g.PaletteHi = res.chart.paletteBounds(g.PaletteDE00, now, res.light)
		}
		out = append(out, g)
	}
	return out
}

// shifted is the size of a colour difference at a colour.
func shifted(at colour.Lab, d [3]float64) float64 {
	return colour.CIEDE2000(at, colour.Lab{L: at.L + d[0], A: at.A + d[1], B: at.B + d[2]})
}

// fewest is the least number of tiles that a glaze's drift is told from: one or two may be wrong together (our choice).
const fewest = 3

// spanOf returns how far the drift of a glaze may lie by the scatter of its tiles: from few tiles, the least and the largest of
// theirs; else by drawing them anew.
func spanOf(at colour.Lab, d [][3]float64) (lo, hi float64) {
	if len(d) >= 5 {
		return bootstrap(at, d)
	}
	lo = math.Inf(1)
	for _, x := range d {
		e := shifted(at, x)
		lo, hi = math.Min(lo, e), math.Max(hi, e)
	}
	return lo, hi
}

// bootstrap draws tiles anew and returns the middle 95 % of the drift (Efron, 1979, Ann. Stat. 7, 1-26: percentile
// bootstrap, from memory). Tiles are what is independent, not pixels. The light's error, common to all tiles, is not in it.
func bootstrap(at colour.Lab, d [][3]float64) (lo, hi float64) {
	rng := rand.New(rand.NewSource(1))
	const draws = 400
	ds := make([]float64, draws)
	s := make([][3]float64, len(d))
	for i := range ds {
		for j := range s {
			s[j] = d[rng.Intn(len(d))]
		}
		ds[i] = shifted(at, medians(s))
	}
	sort.Float64s(ds)
	return ds[draws*25/1000], ds[draws*975/1000]
}

// medians returns the median of each component.
func medians(d [][3]float64) (m [3]float64) {
	v := make([]float64, len(d))
	for c := range 3 {
		for i := range d {
			v[i] = d[i][c]
		}
		m[c] = median(v)
	}
	return m
}
