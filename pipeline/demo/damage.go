package demo

import "math"

// state is a wall on the day of a visit.
type state struct {
	years float64   // since the reference photo
	alpha []float32 // opacity of the scale on every texel
	gone  []bool    // tiles lost
	odd   int       // tile of another stock, -1 = none
}

// ageing brings a wall through the visits, one at a time: scale grows, tiles fall beside earlier gaps and where scale
// sits thickest.
type ageing struct {
	wall      *wall
	growth    *growth
	cleanedAt float64 // years after the reference
	visit     int     // the next one
	gone      []bool
	odd, lost int
	means     []float64 // opacity of every tile at the visit before
}

func newAgeing(w *wall, g *growth, cleanedAt float64) *ageing {
	return &ageing{wall: w, growth: g, cleanedAt: cleanedAt, gone: make([]bool, len(w.cells)), odd: -1, means: make([]float64, len(w.cells))}
}

// next returns the wall on the next visit, years after the reference.
func (a *ageing) next(years float64) *state {
	w := a.wall
	for n := 0; n < w.scene.losses[a.visit]; n++ {
		a.gone[w.weakest(a.gone, a.means, a.odd, a.lost)] = true
		a.lost++
	}
	if w.scene.odd == a.visit {
		a.odd = w.swapped(a.gone)
	}
	st := &state{years: years, alpha: a.growth.cover(years, a.cleanedAt), gone: append([]bool(nil), a.gone...), odd: a.odd}
	for k, i := range w.id {
		if i >= 0 && a.gone[i] {
			st.alpha[k] *= 0.15 // the fresh bed bears hardly any
		}
	}
	a.means = w.means(st.alpha)
	a.visit++
	return st
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
