package trend

import "math"

// MinShare is the share of a zone's tile area that must be read in all compared visits (contract: under half in common
// is not comparable).
const MinShare = 0.5

// CommonSet is a choice of visits and of the tiles read in all of them.
type CommonSet struct {
	Visits  []int   // indices kept, rising
	Dropped []int   // indices left out because too few of the tiles were read in them
	Tiles   []int   // indices read in every kept visit, rising
	Share   float64 // their area over all tile area, 0..1
}

// Comparable reports whether at least half of the area is common to at least two visits.
func (c CommonSet) Comparable() bool { return c.Share >= MinShare && len(c.Visits) >= 2 }

// Common chooses the tiles read in all visits; while they are under half of the area, the visit is left out without
// which most area is common, of equals the later one. read[visit][tile] says what was read; area[tile] is the tile's
// area in any unit, above 0. Values take no part in the choice.
func Common(read [][]bool, area []float64) CommonSet {
	c := CommonSet{}
	total := 0.0
	for _, a := range area {
		total += a
	}
	missed := make([]int, len(area)) // kept visits that did not read the tile
	kept := make([]bool, len(read))
	for v := range read {
		kept[v] = true
		for t := range area {
			if !read[v][t] {
				missed[t]++
			}
		}
	}
	share := func(without int) float64 {
		s := 0.0
		for t := range area {
			m := missed[t]
			if without >= 0 && !read[without][t] {
				m--
			}
			if m == 0 {
				s += area[t]
			}
		}
		return s / math.Max(total, math.SmallestNonzeroFloat64)
	}
	for left := len(read); ; left-- {
		if c.Share = share(-1); c.Share >= MinShare || left <= 2 {
			break
		}
		worst, best := -1, -1.0
		for v := range read {
			if !kept[v] {
				continue
			}
			// Of equal gain the visit that reads least goes, so that a start from no common area at all is not blind.
			if s := share(v) + 1e-6*unread(read[v], area)/math.Max(total, math.SmallestNonzeroFloat64); s >= best {
				worst, best = v, s
			}
		}
		kept[worst] = false
		for t := range area {
			if !read[worst][t] {
				missed[t]--
			}
		}
	}
	for v := range read {
		if kept[v] {
			c.Visits = append(c.Visits, v)
		} else {
			c.Dropped = append(c.Dropped, v)
		}
	}
	for t := range area {
		if missed[t] == 0 {
			c.Tiles = append(c.Tiles, t)
		}
	}
	return c
}

func unread(read []bool, area []float64) float64 {
	s := 0.0
	for t, ok := range read {
		if !ok {
			s += area[t]
		}
	}
	return s
}

// Restrict turns a zone's series into one on common tiles: the area-weighted mean of the tiles' values in percent,
// value[visit][tile], for the kept visits. Its interval is the zone's own, moved to the new value, widened by the
// square root of 1/share because fewer tiles carry it, and held within 0 to 100.
// zone holds one Point a visit, in the order of value.
func Restrict(c CommonSet, value [][]float64, area []float64, zone []Point) []Point {
	var r []Point
	for _, v := range c.Visits {
		sum, weight := 0.0, 0.0
		for _, t := range c.Tiles {
			sum += area[t] * value[v][t]
			weight += area[t]
		}
		p := Point{When: zone[v].When, Value: math.NaN(), Lo: math.NaN(), Hi: math.NaN()}
		if weight > 0 {
			p.Value = sum / weight
			wide := 1 / math.Sqrt(c.Share)
			p.Lo = math.Max(0, p.Value-wide*(zone[v].Value-zone[v].Lo))
			p.Hi = math.Min(100, p.Value+wide*(zone[v].Hi-zone[v].Value))
		}
		r = append(r, p)
	}
	return r
}
