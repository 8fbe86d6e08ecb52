package demo

import "math"

// state is a wall on the day of a visit.
type state struct {
	years float64   // since the reference photo
	alpha []float32 // opacity of the scale on every texel
	gone  []bool    // tiles lost
	odd   int       // tile of another stock, -1 = none
}

// age brings a wall through the visits: scale grows, tiles fall beside earlier gaps and where scale sits thickest.
// years holds the visits' dates in years after the reference.
func age(w *wall, g *growth, years []float64, cleanedAt float64) []*state {
	var out []*state
	gone := make([]bool, len(w.cells))
	odd, lost := -1, 0
	means := make([]float64, len(w.cells))
	for v, t := range years {
		for n := 0; n < w.scene.losses[v]; n++ {
			gone[w.weakest(gone, means, odd, lost)] = true
			lost++
		}
		if w.scene.odd == v {
			odd = w.swapped(gone)
		}
		st := &state{years: t, alpha: g.cover(t, cleanedAt), gone: append([]bool(nil), gone...), odd: odd}
		for k, i := range w.id {
			if i >= 0 && gone[i] {
				st.alpha[k] *= 0.15 // the fresh bed bears hardly any
			}
		}
		means = w.means(st.alpha)
		out = append(out, st)
	}
	return out
}

// means returns the mean of a texel field over every tile.
func (w *wall) means(field []float32) []float64 {
	sum, n := make([]float64, len(w.cells)), make([]float64, len(w.cells))
	for k, i := range w.id {
		if i >= 0 {
			sum[i] += float64(field[k])
			n[i]++
		}
	}
	for i := range sum {
		sum[i] /= math.Max(n[i], 1)
	}
	return sum
}

// weakest picks the tile to fall next. Every fourth loss starts a new gap.
func (w *wall) weakest(gone []bool, alpha []float64, odd, lost int) int {
	best, score := 0, math.Inf(-1)
	for i := range w.cells {
		c := &w.cells[i]
		if gone[i] || i == odd || c.zone < 0 || toEdge(c.centre, w.scene.panel) < 60 {
			continue
		}
		beside := 0.0
		for j := range w.cells {
			if gone[j] && math.Hypot(c.centre.u-w.cells[j].centre.u, c.centre.v-w.cells[j].centre.v) < 78 {
				beside = 1
			}
		}
		if lost%4 == 0 {
			beside = -beside
		}
		zone := 0.9 * unit(w.scene.seed+94, c.zone, lost/4) // gaps start in different zones
		if s := beside + 1.6*alpha[i] + zone + 0.5*unit(w.scene.seed+95, i, lost/4); s > score {
			best, score = i, s
		}
	}
	return best
}

// swapped picks the tile that is replaced with one of another stock.
func (w *wall) swapped(gone []bool) int {
	best, score := -1, -1.0
	for i := range w.cells {
		c := &w.cells[i]
		if gone[i] || c.zone != w.scene.oddZone || c.glaze >= umber || toEdge(c.centre, w.scene.zones[c.zone].ring) < 80 {
			continue
		}
		if s := unit(w.scene.seed+96, i, 0); s > score {
			best, score = i, s
		}
	}
	return best
}
