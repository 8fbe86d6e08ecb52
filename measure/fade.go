package measure

import (
	"cmp"
	"math"
	"slices"

	"tilelapse/measure/glaze"
)

// leastFade is how many tiles of one glaze are worth as much as all of its zone for telling how it faded.
const leastFade = 10

// fadeWidth is how far the fades of glazes may lie apart that count as one, in ln of lightness (our choice).
const fadeWidth = 0.08

// fades tells how each tile's glaze changed in lightness, ln now over then: its own level (as if unchanged) over that of
// the joints around it, by zone and glaze, less what most glazes have in common, which is taken for light. joint and own
// are levels by tile, 0 = unknown. A fade held for light, or light held for a fade, would be whitening that is not there.
func (v *View) fades(joint, own []float64) []float64 {
	type key struct {
		zone int
		name string
	}
	byZone, byGlaze := map[int][]float64{}, map[key][]float64{}
	for k := range v.tiles {
		if joint[k] > 0 && own[k] > 0 {
			d := math.Log(joint[k]) - math.Log(own[k])
			g := key{v.tiles[k].zone, v.names[k]}
			byZone[g.zone] = append(byZone[g.zone], d)
			byGlaze[g] = append(byGlaze[g], d)
		}
	}
	// scale on tiles lowers the difference and scale on joints raises it: the crowd of clean pairs lies at its upper end
	middleOf := func(d []float64) float64 { return -math.Max(glaze.LowMode(d, 0.02), glaze.Median(d)) }
	of := map[key]float64{}
	var fs []weighted
	for g, d := range byGlaze {
		n := float64(len(d))
		share := n / (n + leastFade)
		of[g] = share*middleOf(d) + (1-share)*middleOf(byZone[g.zone])
		fs = append(fs, weighted{of[g], n})
	}
	slices.SortFunc(fs, func(a, b weighted) int { return cmp.Or(cmp.Compare(a.x, b.x), cmp.Compare(a.w, b.w)) })
	light := common(fs, fadeWidth)
	out := make([]float64, len(v.tiles))
	for k := range v.tiles {
		if f, ok := of[key{v.tiles[k].zone, v.names[k]}]; ok {
			out[k] = f - light
		}
	}
	return out
}

// weighted is a value and how much it counts.
type weighted struct{ x, w float64 }

// common returns where most of the weight lies: the best of the local maxima of a Cauchy kernel density of the given
// width, with a tenth of the weight added at 0. 0 for no values.
func common(vs []weighted, width float64) float64 {
	total := 0.0
	for _, v := range vs {
		total += v.w
	}
	vs = append([]weighted{{0, 0.1 * total}}, vs...)
	best, at := -1.0, 0.0
	for _, start := range vs {
		x := start.x
		for range 30 {
			s, n := 0.0, 0.0
			for _, v := range vs {
				w := v.w / (1 + sq((v.x-x)/width))
				s, n = s+w*v.x, n+w
			}
			if n == 0 {
				return 0
			}
			x = s / n
		}
		d := 0.0
		for _, v := range vs {
			d += v.w / (1 + sq((v.x-x)/width))
		}
		if d > best+1e-12 {
			best, at = d, x
		}
	}
	return at
}
