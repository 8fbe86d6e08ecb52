package associate

import (
	"cmp"
	"math"
	"slices"

	"tilelapse/measure/middle"
)

// group is what a loss is compared within: one zone and height band of one view, one pair of readings, and, where
// whitening is compared, one visit that it is taken from.
type group struct {
	view                 int
	zone                 string
	band, from, to, read int
}

// atRisk is one tile between two readings in a row.
type atRisk struct {
	group   group
	tile    int
	lost    bool
	exposed bool
	scale   float64 // percent on the earlier visit, NaN = not used
}

// cases lists the tiles at risk of every view. With earlier set only those whose whitening was read on a visit before
// the last one that saw them.
func cases(views []View, earlier bool) []atRisk {
	var r []atRisk
	for vi, v := range views {
		band := v.bandOf()
		for _, s := range v.spells() {
			t := v.Tiles[s.tile]
			c := atRisk{group{vi, t.Zone, band[s.tile], s.from, s.to, -1}, s.tile, s.lost, false, math.NaN()}
			if earlier {
				for k := s.from - 1; k >= 0; k-- {
					if v.reading(s.tile, k) == Present && !math.IsNaN(t.Scale[k]) && v.Visits[k].Before(v.Visits[s.from]) {
						c.group.read, c.scale = k, t.Scale[k]
						break
					}
				}
				if c.group.read < 0 {
					continue
				}
			}
			r = append(r, c)
		}
	}
	return r
}

// byGroup returns the cases of each group, groups in a fixed order.
func byGroup(all []atRisk) [][]atRisk {
	s := slices.Clone(all)
	slices.SortStableFunc(s, func(a, b atRisk) int { return compareGroups(a.group, b.group) })
	var r [][]atRisk
	for i, c := range s {
		if i == 0 || c.group != s[i-1].group {
			r = append(r, nil)
		}
		r[len(r)-1] = append(r[len(r)-1], c)
	}
	return r
}

func compareGroups(a, b group) int {
	return cmp.Or(cmp.Compare(a.view, b.view), cmp.Compare(a.zone, b.zone), cmp.Compare(a.band, b.band),
		cmp.Compare(a.from, b.from), cmp.Compare(a.to, b.to), cmp.Compare(a.read, b.read))
}

// exposeByScale marks the cases more whitened than the middle one of their group.
func exposeByScale(groups [][]atRisk) {
	for _, g := range groups {
		v := make([]float64, len(g))
		for i, c := range g {
			v[i] = c.scale
		}
		m := middle.Of(v)
		for i := range g {
			g[i].exposed = g[i].scale > m
		}
	}
}

// exposeByGap marks the cases with a neighbour known to be missing when they were last seen.
func exposeByGap(views []View, groups [][]atRisk) {
	for _, g := range groups {
		for i, c := range g {
			g[i].exposed = views[c.group.view].besideGap(c.tile, c.group.from)
		}
	}
}

// ring is how many joints from a gap a tile may stand to be held against those beside it in the closer comparison.
const ring = 3

// nearGaps keeps the cases up to ring joints from a gap known when they were last seen: what makes a whole stretch of
// wall shed tiles acts on these as on the tiles beside the gap.
func nearGaps(views []View, groups [][]atRisk) [][]atRisk {
	type key struct{ view, visit int }
	dist := map[key][]int{}
	r := make([][]atRisk, len(groups))
	for i, g := range groups {
		for _, c := range g {
			k := key{c.group.view, c.group.from}
			if dist[k] == nil {
				dist[k] = views[k.view].jointsFromGap(k.visit)
			}
			if d := dist[k][c.tile]; d > 0 && d <= ring {
				r[i] = append(r[i], c)
			}
		}
	}
	return r
}

// jointsFromGap returns every tile's distance from the nearest gap known on a visit, in joints, up to ring; 0 for gaps
// themselves and -1 for tiles further away.
func (v View) jointsFromGap(visit int) []int {
	d := make([]int, len(v.Tiles))
	var queue []int
	for i := range v.Tiles {
		d[i] = -1
		if v.gapAt(i, visit) {
			d[i] = 0
			queue = append(queue, i)
		}
	}
	for at := 0; at < len(queue); at++ {
		i := queue[at]
		if d[i] == ring {
			break
		}
		for _, n := range v.Tiles[i].Neighbours {
			if d[n] < 0 {
				d[n] = d[i] + 1
				queue = append(queue, n)
			}
		}
	}
	return d
}

// tables counts every group that can tell anything; of the others the losses are returned as untold.
func tables(groups [][]atRisk) (strata []Table, sum Table, untold int) {
	for _, g := range groups {
		var t Table
		for _, c := range g {
			switch {
			case c.exposed && c.lost:
				t.ExposedLost++
			case c.exposed:
				t.ExposedKept++
			case c.lost:
				t.OtherLost++
			default:
				t.OtherKept++
			}
		}
		if !t.Informative() {
			untold += t.ExposedLost + t.OtherLost
			continue
		}
		strata = append(strata, t)
		sum = sum.Plus(t)
	}
	return strata, sum, untold
}

// onceEach keeps one loss of every cluster of neighbouring tiles lost at the same reading and drops the cluster's
// others: tiles that fell together are no independent losses. The one kept is the middle by whitening, of an even number
// the lower; without whitening one that is not exposed, if there is.
func onceEach(views []View, groups [][]atRisk) [][]atRisk {
	type key struct{ view, tile int }
	lost := map[key]atRisk{}
	for _, g := range groups {
		for _, c := range g {
			if c.lost {
				lost[key{c.group.view, c.tile}] = c
			}
		}
	}
	drop := map[key]bool{}
	seen := map[key]bool{}
	for _, g := range groups {
		for _, c := range g {
			start := key{c.group.view, c.tile}
			if !c.lost || seen[start] {
				continue
			}
			cluster := []atRisk{}
			stack := []key{start}
			seen[start] = true
			for len(stack) > 0 {
				k := stack[len(stack)-1]
				stack = stack[:len(stack)-1]
				cluster = append(cluster, lost[k])
				for _, n := range views[k.view].Tiles[k.tile].Neighbours {
					nk := key{k.view, n}
					if o, ok := lost[nk]; ok && !seen[nk] && o.group.to == c.group.to {
						seen[nk] = true
						stack = append(stack, nk)
					}
				}
			}
			slices.SortFunc(cluster, func(a, b atRisk) int {
				return cmp.Or(compareScales(a.scale, b.scale), compareBools(a.exposed, b.exposed), cmp.Compare(a.tile, b.tile))
			})
			keep := (len(cluster) - 1) / 2
			if math.IsNaN(cluster[0].scale) {
				keep = 0
			}
			for i, o := range cluster {
				drop[key{o.group.view, o.tile}] = i != keep
			}
		}
	}
	r := make([][]atRisk, len(groups))
	for i, g := range groups {
		for _, c := range g {
			if !c.lost || !drop[key{c.group.view, c.tile}] {
				r[i] = append(r[i], c)
			}
		}
	}
	return r
}

func compareScales(a, b float64) int {
	if math.IsNaN(a) || math.IsNaN(b) {
		return 0
	}
	return cmp.Compare(a, b)
}

func compareBools(a, b bool) int {
	switch {
	case a == b:
		return 0
	case b:
		return -1
	}
	return 1
}
